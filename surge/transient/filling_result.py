"""What a filling gives: figures of both models, extremes of all parts on the way of the liquid."""

from __future__ import annotations

from dataclasses import dataclass

from surge.model.filling import Filling
from surge.model.ranges import Taken
from surge.transient.filling_elastic import ElasticFill
from surge.transient.filling_line import FillLine
from surge.transient.filling_rigid import RigidFill

RIGID, ELASTIC, IMPACT = "rigid column", "elastic line", "rigid column, then waves"


@dataclass(frozen=True, kw_only=True)
class Figure:
    """A figure with its numerical error and when it is reached [s]; None: at no instant in particular."""

    value: float
    error: float
    time: float | None = None


@dataclass(frozen=True, kw_only=True)
class FillExtreme:
    """Highest or lowest pressure of an element or place.

    Attributes
    ----------
    pressure, error : float
        [Pa gauge], [Pa]
    time : float
        [s]
    distance : float
        From the element's start [m].
    model : str
        Which of the marches has it.
    """

    pressure: float
    error: float
    time: float
    distance: float
    model: str


@dataclass(frozen=True, kw_only=True)
class Arrival:
    """The front arrives where the line ends.

    Attributes
    ----------
    time, velocity : Figure
        [s], [m/s]
    through : float
        Velocity in the last pipe of what passes on [m/s].
    pressure : Figure
        p_b + rho a (v_f - v_through), p_b of the gas in that instant [Pa gauge].
    """

    time: Figure
    velocity: Figure
    through: float
    pressure: Figure


@dataclass(frozen=True, kw_only=True, eq=False)
class FillingResult:
    """What a filling gives.

    Attributes
    ----------
    name : str
    filling : Filling
    taken : tuple of Taken
        Figures of what is a range.
    line : FillLine
    rigid : RigidFill
    elastic : ElasticFill
        With the finer step.
    impact : ElasticFill or None
        Waves in the full line from the rigid column's arrival on; None where it does not arrive.
    peak_gas_rigid, peak_gas_elastic : Figure
        Highest pressure of the gas [Pa gauge].
    arrival_rigid, arrival_elastic : Arrival or None
    highest, lowest : dict of (subject, name) to FillExtreme
        Of "element" and "place" on the way of the liquid: the worst of all marches.
    velocity : dict of str to Figure
        Greatest in every pipe of the way [m/s], the worst of both models.
    boils : float or None
        When liquid first boils somewhere [s].
    warnings : tuple of str
        What to mind.
    undecided : str
        Why nothing can be said of what comes of it; "" where it can.
    """

    name: str
    filling: Filling
    taken: tuple[Taken, ...]
    line: FillLine
    rigid: RigidFill
    elastic: ElasticFill
    impact: ElasticFill | None
    peak_gas_rigid: Figure
    peak_gas_elastic: Figure
    arrival_rigid: Arrival | None
    arrival_elastic: Arrival | None
    highest: dict[tuple[str, str], FillExtreme]
    lowest: dict[tuple[str, str], FillExtreme]
    velocity: dict[str, Figure]
    boils: float | None
    warnings: tuple[str, ...] = ()
    undecided: str = ""

    @property
    def end(self) -> float:
        """Last instant of all marches [s]."""
        last = [float(self.rigid.time[-1]), float(self.elastic.time[-1])]
        return max([*last, float(self.impact.time[-1])] if self.impact is not None else last)
