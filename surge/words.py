"""Numbers and findings as words, in the units that the reader chose."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

from surge.units import ShowUnits, show
from surge.verdict import EXCEEDED, UNDECIDED, WITHIN, Finding

SHORT = {WITHIN: "kept", EXCEEDED: "EXCEEDED", UNDECIDED: "undecided"}
HEADLINE = {WITHIN: "LIMITS KEPT", EXCEEDED: "LIMIT EXCEEDED", UNDECIDED: "CANNOT BE DECIDED"}
LINE = 100  # columns of the text output

CAUTIONS = (
    "This is a calculation, not a permit. Local codes, the procedures of terminal and ship, and qualified "
    "persons decide.",
    "A pressure below the rating does not make a hose sound: look at its test date and its condition. A hose "
    "whose rating was exceeded is withdrawn and tested again before use (common practice).",
    "The model is liquid-filled, with friction as in steady flow; no vapour cavities, no free gas, no "
    "choking valves, no moving pipe supports.",
)


@dataclass(frozen=True, kw_only=True)
class Shown:
    """Writes SI values in the reader's units.

    Attributes
    ----------
    units : ShowUnits
    density : float
        Of the cargo [kg/m3], for flows by mass.
    """

    units: ShowUnits
    density: float

    def pressure(self, value: float, *, unit: bool = False) -> str:
        """A gauge pressure [Pa gauge], or a difference."""
        return show(value, unit=self.units.pressure) + (f" {self.units.pressure}(g)" if unit else "")

    def difference(self, value: float) -> str:
        """A pressure difference [Pa] with its unit."""
        return f"{show(value, unit=self.units.pressure)} {self.units.pressure}"

    def flow(self, value: float) -> str:
        """A flow [m3/s] with its unit."""
        return show(value, unit=self.units.flow, density=self.density, with_unit=True)

    def length(self, value: float) -> str:
        """A length [m] with its unit."""
        return show(value, unit=self.units.length, decimals=1, with_unit=True)

    def time(self, value: float) -> str:
        """A time [s], without its unit."""
        return show(value, unit="s")


def paragraph(text: str, *, indent: str = "", first: str | None = None) -> str:
    """Wrap a text to the width of the output."""
    return textwrap.fill(
        text,
        LINE,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_on_hyphens=False,
    )


def whose(finding: Finding) -> str:
    """The element, place or scenario that a finding is about."""
    return {"place": "the place ", "scenario": "the scenario "}.get(finding.subject, "") + f'"{finding.name}"'


def what_happens(finding: Finding, say: Shown) -> str:
    """One plain clause: what the pressure does there."""
    if finding.value is None:
        return finding.reason
    value = say.pressure(finding.value, unit=True)
    where = ""
    if finding.distance is not None and finding.check in ("peak", "lowest", "vapour"):
        where = f", {say.length(finding.distance)} from its start"
    when = f" at {say.time(finding.time)} s" if finding.time is not None else ""
    return {
        "peak": f"the pressure peaks at {value}{when}{where}",
        "steady": f"the pressure is {value} before anything moves",
        "static": f"shut-off pressure alone, with no surge, is {value}",
        "lowest": f"the pressure falls to {value}{when}{where}",
        "vapour": f"the pressure falls to {value}{when}{where}, to where the cargo boils",
    }[finding.check]


def against(finding: Finding, say: Shown) -> str:
    """One clause: the limit, its source, and by how much it is kept or not."""
    if finding.limit is None or finding.margin is None:
        return ""
    limit = f"the limit is {say.pressure(finding.limit, unit=True)} ({finding.limit_source})"
    by = say.difference(abs(finding.margin))
    if finding.verdict == EXCEEDED:
        return f"{limit}: exceeded by {by}"
    if finding.verdict == WITHIN:
        return f"{limit}: kept by {by}"
    return f"{limit}: cannot be decided, {finding.reason}"


def sentence(finding: Finding, say: Shown) -> str:
    """The weakest place in one plain sentence."""
    happens = what_happens(finding, say)
    if finding.check == "vapour" and finding.verdict == WITHIN:
        happens = happens.replace(", to where the cargo boils", "")
    scenario = f' in the scenario "{finding.scenario}"' if finding.scenario else ""
    parts = [f"Weakest is {whose(finding)}{scenario}: {happens}", against(finding, say)]
    return "; ".join(p for p in parts if p) + "."
