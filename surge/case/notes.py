"""What the parts of the case builder share: noted faults, units that need barometer or density."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from surge.errors import Fault, Origin, UnknownNameError, meant
from surge.model.lineup import Assumed
from surge.toml.text import shown
from surge.units import Reading

if TYPE_CHECKING:
    from surge.reference.rows import Row


def _digits(text: str) -> str:
    return "".join(c for c in text if c.isdigit())


IN_CASE = "given in the case"
COMMON = "common practice, no source"


@dataclass(kw_only=True)
class Notes:
    """The faults noted so far, and the figures that other figures need.

    Attributes
    ----------
    pick : int
        0 or 1: stand-ins for missing figures are small or large. A fault that appears with both does not
        come from the stand-ins.
    atmosphere : float
        [Pa absolute]
    density, sound_speed : float
        Of the liquid [kg/m3], [m/s].
    temperature : float or None
        Of the liquid [K].
    assumed : list of Assumed
        Figures that the case leaves to the program.
    """

    pick: int
    atmosphere: float
    density: float = 0.0
    sound_speed: float = 0.0
    temperature: float | None = None
    faults: list[Fault] = field(default_factory=list)
    assumed: list[Assumed] = field(default_factory=list)

    def assume(self, subject: str, quantity: str, value: str, source: str, *, asked: bool = False) -> None:
        """Note a figure that the case does not give."""
        self.assumed.append(
            Assumed(subject=subject, quantity=quantity, value=value, source=source, asked=asked)
        )

    def took(self, subject: str, quantity: str, value: str, row: Row) -> None:
        """Note a figure of a row of the program's tables that the case names."""
        self.assume(subject, quantity, value, f"{row.source} ({row.status})", asked=True)

    def unknown(self, path: Origin, error: UnknownNameError) -> None:
        """Note a name that the program's tables do not have."""
        known = list(error.known)
        # Of two sizes none is meant by the other, however alike they look.
        near = meant(error.given, [k for k in known if _digits(k) == _digits(error.given)])
        few = ", ".join(known[:12]) + (", ..." if len(known) > 12 else "")
        remedy = f'did you mean "{near}"?' if near else "write one of them; `surge list` shows all"
        self.fault(path, shown(error.given), f"{error.kind}: {few}", remedy)

    def fault(self, path: Origin, found: str, expected: str, remedy: str) -> None:
        """Note a fault."""
        self.faults.append(Fault(path=path, found=found, expected=expected, remedy=remedy))

    def missing(self, path: Origin, expected: str, remedy: str) -> None:
        """Note that a key is not there."""
        self.fault(path, f"no key {path[-1]}", expected, remedy)

    def needs(self, path: Origin, expected: str, key: str) -> None:
        """Note that a key makes sense only beside another one."""
        self.fault(path, f"{path[-1]} without {key}", expected, f"add the key {key}, or take {path[-1]} out")

    def exactly_one(self, path: Origin, **values: object) -> None:
        """Note the fault if not exactly one of the keys is given."""
        given = [key for key, value in values.items() if value is not None]
        listed = " or ".join(values)
        if not given:
            self.fault(
                (*path, next(iter(values))), f"neither {' nor '.join(values)}", listed, f"add {listed}"
            )
        for key in given[1:]:
            remedy = f"take {given[0]} or {key} out"
            self.fault((*path, key), f"{key} beside {given[0]}", f"only one of {listed}", remedy)

    def flow(self, reading: Reading) -> float:
        """Return a volume flow [m3/s]."""
        return reading.value / self.density if reading.kind == "mass flow" else reading.value

    def volume(self, reading: Reading) -> float:
        """Return a volume at loading temperature [m3]."""
        return reading.value / self.density if reading.kind == "mass" else reading.value

    def pressure(self, reading: Reading | None, path: Origin) -> float | None:
        """Return a gauge pressure [Pa gauge]; None stays None."""
        if reading is None:
            return None
        absolute = reading.kind == "absolute pressure"
        gauge = reading.value - self.atmosphere if absolute else reading.value
        found = shown(reading.text)
        if gauge < -self.atmosphere:
            lowest = f"at least {-self.atmosphere / 1e5:.5g} bar(g), which is vacuum"
            self.fault(path, found, lowest, "no pressure is below vacuum: check the number and the unit")
        return gauge
