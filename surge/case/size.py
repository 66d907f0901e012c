"""How much a case may hold: counted on the bare data, before anything is built.

Decisions
---------
* What a check takes grows with elements times scenarios: 3.9 GB were measured for 200 elements, 192 of them
  closed branches, in 8 scenarios, two marched at once; its histories as JSON (316 MB) add nothing to that.
* At most 200 faults of a file are listed (:mod:`surge.toml.mend`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from surge.errors import Fault, Origin

ELEMENTS = 200  # pipes, arms, hoses, valves, passages and pumps together
PLACES = 250  # points; tanks and supplies together
SCENARIOS = 100
FILLINGS = 10
READINGS = 50
RUNS = 1600  # elements times scenarios: what is kept of every run grows with it
EVENTS = 200  # of one scenario
ROWS = 2000  # of one table: a stroke law, a pump curve, a characteristic
_ELEMENTS = (
    "pipe",
    "arm",
    "hose",
    "valve",
    "passage",
    "pump",
    "non_return_valve",
    "relief_valve",
    "surge_drum",
    "open_vessel",
)
_SMALLER = (
    "a line-up from the shore tank to the ship's tanks takes some dozens: join pipes of one size, leave out "
    "what is shut off, or make several cases of it"
)


def size_faults(data: Mapping[str, Any]) -> list[Fault]:
    """Return what a case has too much of.

    Parameters
    ----------
    data : mapping
        As ``tomllib`` gives it, of whatever shape.
    """
    elements = sum(_count(data.get(key)) for key in _ELEMENTS)
    longest = max(_ELEMENTS, key=lambda key: _count(data.get(key)))
    scenarios = _count(data.get("scenario"))
    counted = (
        ((longest,), elements, ELEMENTS, "elements (pipes, arms, hoses, valves, passages, pumps)", _SMALLER),
        (("points",), _count(data.get("points")), PLACES, "points", _SMALLER),
        (
            ("tank",),
            _count(data.get("tank")) + _count(data.get("supply")),
            PLACES,
            "tanks and supplies",
            _SMALLER,
        ),
        (("scenario",), scenarios, SCENARIOS, "scenarios", "make several cases of it"),
        (("filling",), _count(data.get("filling")), FILLINGS, "fillings", "make several cases of it"),
        (("reading",), _count(data.get("reading")), READINGS, "readings", "keep those of the last loadings"),
    )
    faults = [
        _fault(path, count, most, what, remedy) for path, count, most, what, remedy in counted if count > most
    ]
    if not faults and elements * scenarios > RUNS:
        found = f"{scenarios} scenarios with {elements} elements each"
        expected = f"at most {RUNS // elements} scenarios with so many elements"
        faults.append(
            Fault(path=("scenario",), found=found, expected=expected, remedy="make several cases of it")
        )
    return faults + list(_long(data, ()))


def _count(item: object) -> int:
    return len(item) if isinstance(item, list | dict) else 0


def _fault(path: Origin, count: int, most: int, what: str, remedy: str) -> Fault:
    return Fault(path=path, found=f"{count} {what}", expected=f"at most {most}", remedy=remedy)


def _long(item: object, path: Origin) -> Iterator[Fault]:
    """Yield the faults of lists that are too long, in tables of the case's own depth."""
    if isinstance(item, dict):
        for key, child in item.items():
            yield from _long(child, (*path, key))
    elif isinstance(item, list) and item and all(isinstance(child, dict) for child in item):
        if path[0] in ("scenario", "filling") and len(path) > 2 and len(item) > EVENTS:
            yield _fault(path, len(item), EVENTS, "events in one scenario", "make several scenarios of it")
        for k, child in enumerate(item):
            yield from _long(child, (*path, k))
    elif isinstance(item, list) and len(item) > ROWS:
        remedy = (
            "leave out rows between which it is straight; a measured stroke goes into surge records --curve"
        )
        yield _fault(path, len(item), ROWS, "rows in one table", remedy)
