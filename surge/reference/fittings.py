"""Loss factors of fittings, by names that a ship's officer knows; the figures come from the library `fluids`.

The library is imported when a loss is asked for, and never before. Loss factors are for turbulent flow and
one fitting by itself: two bends close together lose more or less than twice one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from surge.reference.rows import look_up, matching

_STEEP = 1e8  # [-] Reynolds number that stands for complete turbulence


@dataclass(frozen=True, kw_only=True)
class Fitting:
    """A fitting that has a loss factor on the velocity head of its own pipe.

    Attributes
    ----------
    loss : callable
        K [-] from inside diameter and roughness [m].
    typical : float
        K [-] in clean 12 inch standard steel pipe, to choose by.
    """

    name: str
    loss: Callable[[float, float], float]
    typical: float
    source: str
    status: str = "computed"
    validity: str = "turbulent flow, on the velocity head of the fitting's own pipe"

    @property
    def words(self) -> str:
        """The text that a search looks at."""
        return f"fitting {self.name}"


def _bend(degrees: float, radius: float) -> Callable[[float, float], float]:
    """Return the loss of a bend with a centre-line radius given in diameters."""

    def loss(diameter: float, roughness: float) -> float:
        from fluids.fittings import bend_rounded

        k: float = bend_rounded(
            Di=diameter,
            angle=degrees,
            bend_diameters=radius,
            Re=_STEEP,
            roughness=roughness,
            method="Rennels",
        )
        return k

    return loss


def _mitre(degrees: float) -> Callable[[float, float], float]:
    def loss(diameter: float, roughness: float) -> float:  # noqa: ARG001  the law knows the angle only
        from fluids.fittings import bend_miter

        k: float = bend_miter(angle=degrees, method="Rennels")
        return k

    return loss


def _crane(multiple: float) -> Callable[[float, float], float]:
    """Return the loss of a fitting whose K is a multiple of fT, whatever the pipe's own roughness."""

    def loss(diameter: float, roughness: float) -> float:  # noqa: ARG001  fT is that of clean steel
        from fluids.friction import ft_Crane

        k: float = multiple * ft_Crane(diameter)
        return k

    return loss


def _sharp_entrance(diameter: float, roughness: float) -> float:  # noqa: ARG001
    from fluids.fittings import entrance_sharp

    k: float = entrance_sharp(method="Crane")
    return k


def _rounded_entrance(diameter: float, roughness: float) -> float:  # noqa: ARG001
    from fluids.fittings import entrance_rounded

    k: float = entrance_rounded(Di=diameter, rc=0.16 * diameter, method="Crane")
    return k


def _projecting_entrance(diameter: float, roughness: float) -> float:  # noqa: ARG001
    from fluids.fittings import entrance_distance

    k: float = entrance_distance(Di=diameter, t=0.01 * diameter, l=diameter, method="Crane")
    return k


def _exit(diameter: float, roughness: float) -> float:  # noqa: ARG001
    from fluids.fittings import exit_normal

    k: float = exit_normal()
    return k


_RENNELS = "Rennels and Hudson, Pipe Flow (2012), by fluids.fittings."
_CRANE_410 = "Crane TP 410, fT by fluids.friction.ft_Crane; "

FITTINGS: Mapping[str, Fitting] = MappingProxyType(
    {
        fitting.name: fitting
        for fitting in (
            Fitting(
                name="long-radius elbow",
                loss=_bend(90.0, 1.5),
                typical=0.18,
                source=_RENNELS + "bend_rounded; 90 degrees, radius 1.5 diameters",
            ),
            Fitting(
                name="short-radius elbow",
                loss=_bend(90.0, 1.0),
                typical=0.25,
                source=_RENNELS + "bend_rounded; 90 degrees, radius 1 diameter",
            ),
            Fitting(
                name="45 degree elbow",
                loss=_bend(45.0, 1.5),
                typical=0.12,
                source=_RENNELS + "bend_rounded; 45 degrees, radius 1.5 diameters",
            ),
            Fitting(
                name="wide bend",
                loss=_bend(90.0, 5.0),
                typical=0.20,
                source=_RENNELS
                + "bend_rounded; 90 degrees, radius 5 diameters, friction along it counted in",
            ),
            Fitting(
                name="mitre bend",
                loss=_mitre(90.0),
                typical=1.2,
                source=_RENNELS + "bend_miter; 90 degrees in one weld",
            ),
            Fitting(
                name="tee, straight through",
                loss=_crane(20.0),
                typical=0.26,
                source=_CRANE_410 + "K = 20 fT (from memory), no flow in the branch",
                status="from memory",
            ),
            Fitting(
                name="tee, into branch",
                loss=_crane(60.0),
                typical=0.78,
                source=_CRANE_410 + "K = 60 fT (from memory), all of the flow through the branch",
                status="from memory",
            ),
            Fitting(
                name="sharp entrance",
                loss=_sharp_entrance,
                typical=0.5,
                source="Crane TP 410, by fluids.fittings.entrance_sharp; flush with the tank wall",
            ),
            Fitting(
                name="rounded entrance",
                loss=_rounded_entrance,
                typical=0.04,
                source="Crane TP 410, by fluids.fittings.entrance_rounded; radius above 0.15 diameters",
            ),
            Fitting(
                name="projecting entrance",
                loss=_projecting_entrance,
                typical=0.78,
                source="Crane TP 410, by fluids.fittings.entrance_distance; a pipe standing into the tank",
            ),
            Fitting(
                name="exit",
                loss=_exit,
                typical=1.0,
                source="all of the velocity head, by fluids.fittings.exit_normal",
            ),
        )
    }
)


def loss_factor(name: str, *, diameter: float, roughness: float) -> tuple[float, str]:
    """Return the loss factor of a fitting [-] and where it comes from.

    Parameters
    ----------
    name : str
        A key of ``FITTINGS``.
    diameter, roughness : float
        Inside diameter and wall roughness of its pipe [m].

    Returns
    -------
    loss_factor, source : float, str
        K on the velocity head of the fitting's own pipe [-].

    Raises
    ------
    UnknownNameError
        With the fittings that there are.
    """
    fitting = look_up(FITTINGS, name, kind="fitting")
    return fitting.loss(diameter, roughness), f"{fitting.source} ({fitting.status})"


def search(text: str) -> list[Fitting]:
    """Return the fittings whose name has every word of ``text``."""
    return matching(FITTINGS.values(), text)
