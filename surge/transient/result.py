"""What a run gives: extremes with their errors, histories, envelopes and how it was computed.

Pressures [Pa gauge], times [s], distances from an element's start [m], flows [m3/s].
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from surge.arrays import Array
from surge.model.ranges import Taken
from surge.model.topology import PipelinePeriod
from surge.phrases import Phrase
from surge.transient.cavity_result import Cavities
from surge.transient.history import History


@dataclass(frozen=True, kw_only=True)
class Extreme:
    """A highest or lowest pressure.

    Attributes
    ----------
    pressure : float
        [Pa gauge]
    time : float
        When it was reached [s].
    distance : float
        Where, from the element's start [m]; 0 at a place.
    error : float
        Numerical error of the pressure, either way [Pa]: the sum of its parts; more after a sudden stop, and
        where the errors of a scenario did not come down to what was aimed at
        (:mod:`surge.transient.errors`). Where figures are ranges, also how much worse it may be elsewhere in
        them.
    step_part, lumping_part : float
        From the time step, and from lumping short elements [Pa].
    late_part : float
        For what may come after the end of the run, as far as first marches looked ahead [Pa].
    range_part : float
        How much worse it may be at other figures within the ranges than at those taken [Pa].
    before_vapour : float
        The extreme of the part of the run before the liquid boiled anywhere [Pa gauge]; the same
        as ``pressure`` when it never did.
    """

    pressure: float
    time: float
    distance: float
    error: float
    step_part: float
    lumping_part: float
    late_part: float
    before_vapour: float
    range_part: float = 0.0


@dataclass(frozen=True, kw_only=True)
class PocketFigures:
    """Figures of one element that can be checked on a pocket calculator.

    Attributes
    ----------
    flow : float
        [m3/s]
    velocity : float
        Flow over bore area [m/s].
    wave_speed : float
        [m/s]
    travel_time : float
        Length over wave speed [s].
    instant_stop : float
        Density times wave speed times velocity [Pa].
    """

    flow: float
    velocity: float
    wave_speed: float
    travel_time: float
    instant_stop: float


@dataclass(frozen=True, kw_only=True)
class ElementResult:
    """Pressures in one element over its whole length, or at both ends if it has none.

    Attributes
    ----------
    kind : str
        "pipe", "hose", "arm", "valve", "passage", "pump".
    steady_high, steady_low : float
        Highest and lowest along the element before anything moves [Pa gauge].
    steady, steady_at_lowest : float
        Before anything moves, where the highest and where the lowest is reached later [Pa gauge].
    start, end : str
        Its points.
    figures : PocketFigures or None
        None for elements without a length.
    reaches : int
        0 when the element was lumped, or has no length.
    lumped : bool
    steady_range : float
        How much higher the steady pressure may be at other figures within the ranges [Pa].
    ashore : bool
        The cargo goes ashore: what flows in it comes from the ship.
    """

    name: str
    kind: str
    steady: float
    steady_high: float
    steady_low: float
    steady_at_lowest: float
    start: str
    end: str
    highest: Extreme
    lowest: Extreme
    figures: PocketFigures | None
    reaches: int
    lumped: bool
    steady_range: float = 0.0
    ashore: bool = False

    @property
    def length(self) -> float:
        """From end to end [m]; 0 where it has none."""
        return self.figures.wave_speed * self.figures.travel_time if self.figures else 0.0


@dataclass(frozen=True, kw_only=True)
class PlaceResult:
    """Pressures at one named point; ``roles`` say what it is ("dead end", "before valve X" ...).

    ``steady_range`` is how much higher the steady one may be at other figures within the ranges [Pa].
    """

    name: str
    roles: tuple[str, ...]
    steady: float
    highest: Extreme
    lowest: Extreme
    steady_range: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Vapour:
    """Where and when the liquid first boils; pressures after it are not valid in this model."""

    time: float
    where: str
    distance: float | None


@dataclass(frozen=True, kw_only=True)
class Method:
    """How the numbers were computed.

    Attributes
    ----------
    dt : float
        Time step of the reported run [s].
    nodes, steps : int
    duration : float
        [s]
    ahead : float
        How long first marches went on, to see what comes later; beyond that nothing is claimed [s].
    lumped : tuple of str
        Elements shorter than a reach.
    tolerance : float
        What the numerical error was to stay below [Pa].
    worst_error : float
        Greatest numerical error of any extreme [Pa].
    runs : int
        Marches made for this scenario.
    weight_error : float
        With unsteady friction, greatest error of a weight as it was marched with, as a share of it [-].
    """

    dt: float
    nodes: int
    steps: int
    duration: float
    ahead: float
    lumped: tuple[str, ...]
    tolerance: float
    worst_error: float
    runs: int
    weight_error: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Envelope:
    """Highest, lowest and steady pressure along a pipe, each of shape (n,)."""

    distance: Array
    highest: Array
    lowest: Array
    steady: Array


@dataclass(frozen=True, kw_only=True)
class Closure:
    """How gently a valve closes against the flow.

    Attributes
    ----------
    valve : str
    stroke : float
        Time of the whole stroke [s].
    period : float
        Longest pipeline period of the valve [s].
    effective : float or None
        Time in which its flow falls from 95 to 5 % [s]; None when it does not.
    greatest_fall : float
        Greatest part of its first flow lost within one period [-]; the surge goes by it.
    """

    valve: str
    stroke: float
    period: float
    effective: float | None
    greatest_fall: float


@dataclass(frozen=True, kw_only=True)
class ReliefResult:
    """What a relief valve did.

    Attributes
    ----------
    point : str
        Where it stands.
    set_pressure : float
        [Pa gauge]
    opened : float or None
        When it first opened [s]; None: it stayed shut.
    lift, lift_error : float
        The greatest, and its numerical error, either way [-].
    passed, passed_error : float
        Volume that was spilled up to the end of the run, and its numerical error [m3].
    later : float
        How much more was spilled while a first march looked ahead [m3].
    """

    name: str
    point: str
    set_pressure: float
    opened: float | None
    lift: float
    passed: float
    lift_error: float = 0.0
    passed_error: float = 0.0
    later: float = 0.0


@dataclass(frozen=True, kw_only=True)
class NonReturnResult:
    """What a non-return valve did.

    Attributes
    ----------
    closed : float or None
        When it was first shut [s], 0 where it was so at first; None: it stayed open.
    reverse : float
        Greatest flow that came back through it [m3/s].
    stopped : float
        Greatest reverse flow that it stopped at once [m3/s].
    slam, slam_error : float
        Rise of the pressure behind it by stopping that: B times it; and its numerical error [Pa].
    """

    name: str
    closed: float | None
    reverse: float
    stopped: float
    slam: float
    slam_error: float = 0.0


@dataclass(frozen=True, kw_only=True)
class TripResult:
    """What a pump did that tripped.

    Attributes
    ----------
    at : float
        When it tripped [s].
    speed, speed_error : float
        What is left of its full speed at the end of the run, and its numerical error [-].
    unknown : float or None
        When it left what is known of it: its curve, or the flow up to which its torque is known [s].
    backwards : bool
        Whether the liquid flowed back through it then.
    again : float or None
        When it is started again [s].
    """

    name: str
    at: float
    speed: float
    unknown: float | None
    speed_error: float = 0.0
    backwards: bool = False
    again: float | None = None


@dataclass(frozen=True, kw_only=True)
class DrumResult:
    """What a surge drum did.

    Attributes
    ----------
    gas, least, most : float
        Gas volume before anything moves, the smallest and the greatest [m3].
    volume : float
        Of the vessel [m3].
    emptied : float or None
        When the gas first filled the vessel [s]; None: never.
    least_error, most_error : float
        Numerical errors of the smallest and the greatest volume [m3].
    """

    name: str
    point: str
    gas: float
    least: float
    most: float
    volume: float
    emptied: float | None
    least_error: float = 0.0
    most_error: float = 0.0


@dataclass(frozen=True, kw_only=True)
class VesselResult:
    """What a vessel open to the air did: its level before anything moves, the lowest and the highest [m].

    With the numerical errors of these two [m].
    """

    name: str
    point: str
    level: float
    lowest: float
    highest: float
    lowest_error: float = 0.0
    highest_error: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Elsewhere:
    """What other figures within the ranges may add to a run, beside its pressures.

    Attributes
    ----------
    inflow : mapping of str to float
        To the flow into a tank [m3/s].
    rules : mapping of str to float
        By how much less a rule may be kept, by its identifier; in the unit of its measure.
    depends : str
        What the verdict on the scenario turns on, "" where no range turns it.
    """

    inflow: Mapping[str, float] = field(default_factory=dict)
    rules: Mapping[str, float] = field(default_factory=dict)
    depends: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sensitivity:
    """A scenario run once more, because the case asks what else than usual would make of it.

    Attributes
    ----------
    kind : str
        "unsteady friction" or "gas in the liquid".
    words : str
        What the run is made with, for a sentence: "unsteady friction", "0.5 % of gas".
    run : ScenarioResult or None
        Only its pressures are looked at; None where there is none.
    missing : str
        Why there is none, "" otherwise.
    boils : bool
        There is none since the cargo boils without it: then marches with cavities decide alone.
    fit : float
        Of unsteady friction: greatest error of a weight as it was marched with, as a share of it [-].
    """

    kind: str
    words: str
    run: ScenarioResult | None
    missing: str = ""
    boils: bool = False
    fit: float = 0.0

    @property
    def undecided(self) -> str:
        """Why nothing is known with it although the case asks for it, "" where it is known."""
        return "" if self.run is not None or self.boils else f"there is no such run: {self.missing}"


@dataclass(frozen=True, kw_only=True, eq=False)
class ScenarioResult:
    """Everything about one scenario, at one place in the ranges of what is not known.

    Attributes
    ----------
    taken : tuple of Taken
        What was taken of each figure that is a range.
    elsewhere : Elsewhere
        What other figures within the ranges may add.
    periods : tuple of PipelinePeriod
        Of each valve.
    closures : tuple of Closure
        Of each valve movement that closes against flow, in order of time.
    undecided : tuple of str
        Reasons why no verdict can be given on this scenario as a whole.
    notes : tuple of Phrase
        What the reader should know: means of the rate, lumped elements, reverse flow ...
    opening : dict of str to float
        Of every valve at the start.
    cavities : Cavities or None
        Of a scenario that boils, where it was followed with cavities
        (:func:`surge.transient.followed.with_cavities`). Then ``closures``, ``undecided`` and what hangs on
        the line are of a march with cavities too.
    sensitivities : tuple of Sensitivity
        The same scenario with what the case asks for beside the usual; no verdict is better for them.
    """

    name: str
    note: str
    taken: tuple[Taken, ...]
    elsewhere: Elsewhere
    elements: tuple[ElementResult, ...]
    places: tuple[PlaceResult, ...]
    periods: tuple[PipelinePeriod, ...]
    closures: tuple[Closure, ...]
    vapour: Vapour | None
    undecided: tuple[str, ...]
    notes: tuple[Phrase, ...]
    timing: tuple[tuple[str, float], ...]
    last_event: float
    opening: dict[str, float]
    method: Method
    envelopes: dict[str, Envelope]
    history: History
    trips: tuple[TripResult, ...] = ()
    non_return_valves: tuple[NonReturnResult, ...] = ()
    relief_valves: tuple[ReliefResult, ...] = ()
    surge_drums: tuple[DrumResult, ...] = ()
    open_vessels: tuple[VesselResult, ...] = ()
    cavities: Cavities | None = None
    sensitivities: tuple[Sensitivity, ...] = ()

    @property
    def followed(self) -> bool:
        """Whether it boils, and marches with cavities tell what comes of that."""
        return self.cavities is not None and not self.cavities.missing

    def made_with(self, words: str) -> ScenarioResult:
        """The run that was made with what the case asks for beside the usual; with "" this one.

        Parameters
        ----------
        words : str
            Of one of its sensitivities.
        """
        return next((s.run for s in self.sensitivities if s.words == words and s.run is not None), self)

    @property
    def histories(self) -> tuple[History, ...]:
        """What its flows go by: where it was followed, all marches with cavities."""
        if self.cavities is None or self.cavities.missing:
            return (self.history,)
        return tuple(run.history for run in self.cavities.runs)
