"""A case while somebody is still writing it: what stands in its text, its faults, and how it is drawn.

Decisions
---------
* A drawing needs names only: who stands between which points. It is made of a case with faults too, as far as
  its names go, so that a wrong figure does not take the drawing away.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from surge.arguments import checked
from surge.case.file import CASE, Case, read_case
from surge.errors import Origin
from surge.sheet.layout import Network, rows_of
from surge.toml.faults import FaultRecord, placed
from surge.toml.text import FileError, file_of, parsed

BETWEEN = ("pump", "pipe", "hose", "arm", "valve", "passage", "non_return_valve")
AT_A_POINT = ("tank", "supply", "relief_valve", "surge_drum", "open_vessel")
Table = Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class PlacedFault:
    """A fault with the way to its key, as keys and positions in lists, and as it is printed."""

    path: Origin
    record: FaultRecord


@dataclass(frozen=True, kw_only=True)
class DrawnElement:
    """An element of a drawing, in a row between two points: table ``index`` of the list ``[[kind]]``."""

    kind: str
    index: int
    name: str
    start: str
    end: str
    row: int


@dataclass(frozen=True, kw_only=True)
class DrawnThing:
    """What stands on one point: a tank (of a side), a supply, what hangs there."""

    kind: str
    index: int
    name: str
    point: str
    side: str


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """Where everything of a line-up stands when it is drawn: shore at column 0, ship on the right.

    Attributes
    ----------
    points : mapping of str to (int, int)
        Column and row of every point.
    elements : tuple of DrawnElement
    things : tuple of DrawnThing
    """

    points: Mapping[str, tuple[int, int]]
    elements: tuple[DrawnElement, ...]
    things: tuple[DrawnThing, ...]


@dataclass(frozen=True, kw_only=True)
class Outline:
    """What can be said of the text of a case before anything is computed.

    Attributes
    ----------
    data : mapping
        Tables and values as they stand in the text; empty where it is no TOML.
    case : Case or None
        None where there are faults.
    faults : tuple of PlacedFault
        In the order of the text, each as ``surge check`` prints it.
    drawing : Drawing
    """

    data: Table
    case: Case | None
    faults: tuple[PlacedFault, ...]
    drawing: Drawing


@checked
def outline(text: str, *, filename: str) -> Outline:
    """Return what stands in the text of a case, all of its faults, and how it is drawn.

    Parameters
    ----------
    text : str
        The text, in TOML, perhaps with faults.
    filename : str
        What messages call the case; no such file is opened.

    Returns
    -------
    Outline

    Examples
    --------
    >>> import surge
    >>> from surge.api.outline import outline
    >>> seen = outline(surge.new_case(arms=2).replace('"26 s"', '"26"'), filename="berth.toml")
    >>> [fault.record.key for fault in seen.faults][:1]
    ['scenario "emergency shutdown": shutdown: step 3: stroke']
    >>> len(seen.drawing.elements)
    12
    """
    case: Case | None = None
    faults: tuple[PlacedFault, ...] = ()
    try:
        case = read_case(text, filename=filename)
    except FileError as error:
        faults = tuple(PlacedFault(path=fault.path, record=record) for fault, record in placed(error))
    try:
        data: Table = parsed(file_of(text, filename=filename, kind=CASE), CASE)
    except FileError:
        data = {}
    return Outline(data=data, case=case, faults=faults, drawing=drawing_of(data))


@dataclass(frozen=True, kw_only=True)
class _Joint:
    name: str
    start: str
    end: str


def drawing_of(data: Table) -> Drawing:
    """Return how a case is drawn, as far as its names go.

    Parameters
    ----------
    data : mapping
        Tables of a case as they stand in its text, with any faults.
    """
    between = [
        (kind, index, _Joint(name=f"{kind} {index}", start=table["from"], end=table["to"]), table)
        for kind, index, table in _tables(data, BETWEEN)
        if _is_name(table.get("from")) and _is_name(table.get("to")) and table["from"] != table["to"]
    ]
    things = [
        DrawnThing(
            kind=kind,
            index=index,
            name=_words(table.get("name")),
            point=table["at"],
            side=_words(table.get("side")),
        )
        for kind, index, table in _tables(data, AT_A_POINT)
        if _is_name(table.get("at"))
    ]
    points = data.get("points")
    names = dict.fromkeys([n for n in points if _is_name(n)] if isinstance(points, dict) else [])
    for _, _, joint, _ in between:
        names |= dict.fromkeys((joint.start, joint.end))
    names |= dict.fromkeys(thing.point for thing in things)
    if not names:
        return Drawing(points={}, elements=(), things=())
    ashore = [t.point for t in things if (t.kind, t.side) == ("tank", "shore")]
    supplies = [t.point for t in things if t.kind == "supply"]
    first = next(iter([*ashore, *supplies, *names]))
    network = Network(points=tuple(names), joints=tuple(j for _, _, j, _ in between), first=first)
    berth = data.get("berth")
    discharges = isinstance(berth, dict) and berth.get("operation") == "discharge"
    rows = rows_of(network.turned() if discharges else network)
    return Drawing(
        points={name: (rows.column[name], rows.row[name]) for name in names},
        elements=tuple(
            DrawnElement(
                kind=kind,
                index=index,
                name=_words(table.get("name")),
                start=joint.start,
                end=joint.end,
                row=rows.joint[joint.name],
            )
            for kind, index, joint, table in between
        ),
        things=tuple(things),
    )


def _tables(data: Table, kinds: tuple[str, ...]) -> Iterator[tuple[str, int, Table]]:
    for kind in kinds:
        listed = data.get(kind)
        for index, table in enumerate(listed if isinstance(listed, list) else []):
            if isinstance(table, dict):
                yield kind, index, table


def _is_name(value: object) -> bool:
    return isinstance(value, str) and value != ""


def _words(value: object) -> str:
    return value if isinstance(value, str) else ""
