"""What the parts of the case builder share: noted faults, units that need barometer or density."""

from __future__ import annotations

from dataclasses import dataclass, field

from surge.errors import Fault
from surge.leaves import shown
from surge.lineup import Origin
from surge.units import Reading

IN_CASE = "given in the case"


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
    """

    pick: int
    atmosphere: float
    density: float
    sound_speed: float = 0.0
    faults: list[Fault] = field(default_factory=list)

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
