"""Wall roughness by the condition of a pipe or hose.

Peaks are judged at the LOW roughness: friction takes from a pressure wave as it runs. The HIGH one serves
for the rate and for the pressure at the pump. In a long line with much friction the pressure goes on rising
after the stop (line packing), and there the high roughness may give the higher peak: run both.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from surge.errors import UnknownNameError
from surge.reference.rows import matching


@dataclass(frozen=True, kw_only=True)
class Roughness:
    """Absolute roughness of one kind of wall.

    Attributes
    ----------
    low, high : float
        Ends of the usual band [m].
    note : str
    """

    name: str
    low: float
    high: float
    source: str
    status: str
    note: str = ""

    @property
    def validity(self) -> str:
        """The band, in words."""
        return f"{self.low * 1e3:g} to {self.high * 1e3:g} mm; for clean liquids in turbulent flow"

    @property
    def words(self) -> str:
        """The text that a search looks at."""
        return f"roughness {self.name} {self.note}"


_HANDBOOKS = "handbooks of pipe friction"


def _wall(
    name: str, low: float, high: float, note: str = "", source: str = _HANDBOOKS
) -> tuple[str, Roughness]:
    return name, Roughness(
        name=name, low=low / 1e3, high=high / 1e3, source=source, status="from memory", note=note
    )


ROUGHNESS: Mapping[str, Roughness] = MappingProxyType(
    dict(
        (
            _wall("new steel", 0.02, 0.1, "the usual single figure is 0.045 mm"),
            _wall("stainless steel", 0.015, 0.03),
            _wall("coated steel", 0.005, 0.03, "smooth lining, such as epoxy"),
            _wall("slightly rusted steel", 0.15, 0.3),
            _wall("old steel", 0.5, 1.0, "rusted throughout or with deposits"),
            _wall("galvanised steel", 0.1, 0.15),
            _wall("cast iron", 0.2, 0.5, "uncoated; old and rusted cast iron is like old steel or worse"),
            _wall("GRP", 0.005, 0.03),
            _wall("smooth hose", 0.01, 0.06, "smooth-bore rubber or lined hose"),
            _wall(
                "rough-bore hose",
                0.3,
                2.0,
                "inner wire helix or corrugated bore, composite hoses among them",
                "chosen so that a 200 to 300 mm bore loses 1.5 to over 2 times as much as a smooth one, "
                "which is the handbooks' figure",
            ),
        )
    )
)


def roughness(condition: str) -> Roughness:
    """Return the roughness band of a wall.

    Parameters
    ----------
    condition : str
        A key of ``ROUGHNESS``.

    Raises
    ------
    UnknownNameError
        With the conditions that there are.
    """
    if condition not in ROUGHNESS:
        raise UnknownNameError("wall condition", given=condition, known=ROUGHNESS)
    return ROUGHNESS[condition]


def search(text: str) -> list[Roughness]:
    """Return the walls whose name or note has every word of ``text``."""
    return matching(ROUGHNESS.values(), text)
