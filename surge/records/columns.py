"""The header of a table of records: where it is, and what each column means. A closed list of names.

Decisions
---------
* A title above ``LONGEST_TITLES`` characters means nothing: patterns with two open ends would take minutes
  for a long one.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from surge.errors import CaseError, Fault
from surge.records.cells import HOURS, MINUTES, TIMED, unit_of
from surge.records.stroke_tests import Direction, Timed
from surge.records.text import RowFault, row_fault
from surge.units import quoted

LOOK = 60  # rows in which the header is looked for: title, ship, ports, legend stand above it
CLOSING, OPENING = "closing time", "opening time"
TIMES = ("time", CLOSING, OPENING)
LISTED = 30  # titles that a message repeats
COMPARED, LONGEST_TITLES = (
    100,
    200,
)  # titles compared with the names looked for; characters of one with a meaning

# What a column can mean -> the names that it goes by.
NAMES: Mapping[str, tuple[str, ...]] = {
    "tag": (
        "tag",
        "valve",
        "valve tag",
        "tag no",
        "tag number",
        "valve no",
        "valve number",
        "valve name",
        "valve id",
    ),
    "direction": (
        *(
            "direction",
            "movement direction",
            "stroke direction",
            "open/close",
            "opening/closing",
            "open or close",
        ),
        *("opening or closing", "close/open", "closing/opening", "operation"),
    ),
    "date": (
        *("date", "test date", "date of test", "date tested", "tested on", "tested", "day"),
        *("date and time", "date/time", "date time", "datetime", "date & time", "test date and time"),
    ),
    "time of day": ("time of day", "clock", "clock time", "local time", "hour", "time of test"),
    "time": (
        *("measured time", "stroke time", "stroke", "stroking time", "travel time", "measured stroke time"),
        *("measured", "time measured", "time taken", "measured stroke"),
    ),
    CLOSING: (
        *("closing time", "close time", "time to close", "time to shut", "time closing", "closing", "close"),
        *("open to shut", "time open to shut", "closing stroke", "closing stroke time", "shut time"),
    ),
    OPENING: (
        *("opening time", "open time", "time to open", "time opening", "opening", "open", "shut to open"),
        *("time shut to open", "opening stroke", "opening stroke time"),
    ),
    "timed": (
        *(
            "timed",
            "timed from",
            "timed as",
            "measured from",
            "definition",
            "time definition",
            "start and end",
        ),
        *(
            "start/end",
            "start and end definition",
            "start/end definition",
            "from what to what",
            "what was timed",
        ),
    ),
    "delay": ("signal delay", "delay", "order to movement", "time from order to movement", "command delay"),
    "temperature": (
        *(
            "temperature",
            "temp",
            "oil temperature",
            "oil temp",
            "hydraulic oil temperature",
            "hydraulic oil temp",
        ),
        *("test temperature", "temperature at test", "test temp", "temp at test"),
    ),
    "pressure": (
        *("hydraulic pressure", "pressure", "hydraulic oil pressure", "oil pressure", "system pressure"),
        *("supply pressure", "hydr pressure", "hyd pressure", "control air pressure"),
    ),
    "together": (
        *("alone or together", "alone/together", "together or alone", "together/alone", "single or group"),
        *("single/group", "together", "together with others", "with others", "alone", "single"),
    ),
    "flowing": (
        *(
            "dry or with flow",
            "dry/flow",
            "dry or flow",
            "flow",
            "with flow",
            "flowing",
            "dry",
            "dry/with flow",
        ),
    ),
    "by": ("by", "by whom", "tested by", "name", "person", "officer", "done by", "signed", "signature"),
    "remark": ("remark", "remarks", "comment", "comments", "note", "notes"),
    "repeat": ("repeat", "repeat no", "repetition", "test no", "test number", "run", "run no"),
}
MEANING = {name: meaning for meaning, names in NAMES.items() for name in names}
REVERSED = ("alone", "single", "dry")  # a "yes" under these means the opposite of the column's word
PLAIN_YES = ("together", "together with others", "with others", "with flow", "flowing", "flow")
UNCLEAR_TIME = "time"  # of day, or measured: its unit and its neighbours tell
KIND = {"time": "time", CLOSING: "time", OPENING: "time", "delay": "time"}
KIND |= {"temperature": "temperature", "pressure": "pressure"}
_BRACKET = re.compile(r"^(.*?)[\s,]*[\[(]([^\[\]()]*(?:\([ga]\))?)[\])]\s*$", re.DOTALL)
_IN = re.compile(r"^(.*?\S)(?:,\s*|\s+in\s+|\s+)(\S+)$", re.DOTALL)


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column that is understood.

    Attributes
    ----------
    index : int
        Of its cells, from 0.
    title : str
        As it stands in the file.
    meaning : str
        A key of :data:`NAMES`.
    unit : str or None
        From the header.
    timed : Timed or None
        What a time in it counts, where the header says so.
    direction : Direction or None
        That the header fixes.
    yes : bool or None
        What "yes" in it means; None where yes and no say nothing.
    told : bool
        The user said what it means.
    """

    index: int
    title: str
    meaning: str
    unit: str | None = None
    timed: Timed | None = None
    direction: Direction | None = None
    yes: bool | None = None
    told: bool = False


@dataclass(frozen=True, kw_only=True)
class ColumnTitles:
    """The header of a table.

    Attributes
    ----------
    row : int
        As a spreadsheet counts.
    width : int
        Cells in it, up to the last one with a title.
    cells : tuple of str
    columns : dict of str to Column
    unused : tuple of str
        Titles that mean nothing to the program.
    """

    row: int
    width: int
    cells: tuple[str, ...]
    columns: Mapping[str, Column]
    unused: tuple[str, ...]

    @property
    def times(self) -> list[Column]:
        """Columns with measured times."""
        return [self.columns[m] for m in TIMES if m in self.columns]


def plain(title: str) -> str:
    """A title as it is looked up."""
    words = title.replace("\xa0", " ").replace("_", " ").replace("\ufeff", " ").casefold()
    words = re.sub(r"\s*/\s*", "/", re.sub(r"(?<=[a-z])\.", "", words))
    return " ".join(words.split()).strip(" :*")


def column_of(title: str, index: int, *, said: Mapping[str, str] | None = None) -> Column | None:
    """What a title means, or None.

    Parameters
    ----------
    title : str
    index : int
    said : mapping of str to str, optional
        Plain title -> meaning, as the user says.
    """
    if not title or len(title) > LONGEST_TITLES:
        return None
    name, unit_text, timed = title, "", None
    while (found := _BRACKET.match(name)) is not None:
        name, inner = found.groups()
        as_timed = TIMED.get(" ".join(inner.casefold().split()))
        if as_timed is not None:
            timed = as_timed
        elif not unit_text:
            unit_text = inner.strip()
        else:
            return None
    meaning = _meaning(plain(title), said) or _meaning(plain(name), said)
    if meaning is None and not unit_text and (found := _IN.match(name)) is not None:
        name, unit_text = found.groups()
        meaning = _meaning(plain(name), said)
    if meaning is None:
        return None
    told = plain(title) in (said or {})
    unit = unit_of(unit_text, KIND[meaning]) if meaning in KIND and unit_text else None
    if unit_text and unit is None and not told:
        return None  # "closing time (port side)" is a column of which the program does not know what it holds
    key = plain(name)
    return Column(
        index=index,
        title=title.strip(),
        meaning=meaning,
        unit=unit,
        timed=timed,
        direction={CLOSING: Direction.CLOSING, OPENING: Direction.OPENING}.get(meaning),
        yes=False if key in REVERSED else True if key in PLAIN_YES else None,
        told=told,
    )


def _meaning(key: str, said: Mapping[str, str] | None) -> str | None:
    if said and key in said:
        return said[key]
    return "time" if key == UNCLEAR_TIME else MEANING.get(key)


def find_header(
    rows: Iterable[Sequence[str]], *, said: Mapping[str, str] | None = None
) -> tuple[ColumnTitles | None, ColumnTitles | None, list[RowFault]]:
    """Look for the row that names tag, date and time.

    Returns
    -------
    header : ColumnTitles or None
    nearest : ColumnTitles or None
        The row that names most, when none names enough.
    faults : list of RowFault
        Of the header that was found: columns that cannot be told apart.
    """
    nearest: ColumnTitles | None = None
    for number, cells in enumerate(rows, start=1):
        if number > LOOK:
            break
        header, faults = _header(cells, number, said)
        if not lacking(header):
            return header, header, faults
        if header.width > 1 and (nearest is None or named(header) > named(nearest)):
            nearest = header
    return None, nearest, []


def named(header: ColumnTitles) -> tuple[int, int]:
    """How much a row names: columns that are understood, then columns at all."""
    return len(header.columns), header.width


def lacking(header: ColumnTitles) -> list[str]:
    """What a table cannot do without."""
    has = header.columns
    missing = [m for m in ("tag", "date") if m not in has]
    if not header.times:
        missing.append("time")
    elif "time" in has and "direction" not in has:
        missing.append("direction")
    return missing


def _header(
    cells: Sequence[str], number: int, said: Mapping[str, str] | None
) -> tuple[ColumnTitles, list[RowFault]]:
    titles = [c.strip() for c in cells]
    found = [column_of(t, k, said=said) for k, t in enumerate(titles)]
    columns: dict[str, Column] = {}
    faults: list[RowFault] = []
    understood = _times_told_apart([c for c in found if c is not None])
    told = {c.meaning for c in understood if c.told}
    for column in understood:
        if column.meaning in told and not column.told:
            continue  # the user says which one it is
        if (other := columns.get(column.meaning)) is not None:
            both = f"{quoted(other.title)} and {quoted(column.title)}"
            faults.append(
                row_fault(
                    number,
                    column.title,
                    f"two columns that both mean {column.meaning}: {both}",
                    "one column for each meaning",
                    f"say --column {_shell(f'{column.meaning}={other.title}')} if that is the one, or rename "
                    "the other in the header",
                )
            )
        columns.setdefault(column.meaning, column)
    used = {c.index for c in columns.values()}
    unused = tuple(t for k, t in enumerate(titles) if t and k not in used)
    width = max((k + 1 for k, t in enumerate(titles) if t), default=0)
    return ColumnTitles(row=number, width=width, cells=tuple(titles), columns=columns, unused=unused), faults


def _times_told_apart(columns: list[Column]) -> list[Column]:
    """Say whether a column called "Time" is the time of day: it is when another one holds measured times."""
    unclear = [c for c in columns if c.meaning == "time" and _only_time(c)]
    others = [c for c in columns if c.meaning in TIMES and c not in unclear]
    return [
        Column(index=c.index, title=c.title, meaning="time of day") if c in unclear and others else c
        for c in columns
    ]


def _only_time(column: Column) -> bool:
    return plain(column.title) == UNCLEAR_TIME and column.unit in (None, MINUTES, HOURS)


def no_header(nearest: ColumnTitles | None) -> CaseError:
    """Return the error for a table without a header that is understood."""
    wanted = "a row of titles with tag, date, direction and time [s] (or closing time [s], opening time [s])"
    if nearest is None:
        found = f"no titles of columns in the first {LOOK} rows"
        remedy = "write a row of titles above the tests: tag; date; direction; time [s]"
        return CaseError([row_fault(0, "", found, wanted, remedy)])
    faults: list[Fault] = []
    for what in lacking(nearest):
        near = _near(what, nearest.unused)
        names = ", ".join(f'"{n}"' for n in NAMES[what][:4])
        remedy = (
            f"name the column {names}, or say --column '{what}=ITS TITLE'"
            if near is None or len(near[1]) > LONGEST_TITLES or not near[1].isprintable()
            else f"say --column {_shell('='.join(near))} if it is that"
        )
        titles = [quoted(t) for t in nearest.cells if t]
        more = f" and {len(titles) - LISTED} more" if len(titles) > LISTED else ""
        found = f"no column for {what} among {', '.join(titles[:LISTED])}{more}"
        faults.append(row_fault(nearest.row, "", found, wanted, remedy))
    return CaseError(faults)


def _shell(text: str) -> str:
    return "'" + text.replace("'", "'\\''") + "'"


def _near(what: str, titles: Sequence[str]) -> tuple[str, str] | None:
    """The title that is most like a name of what is missing, and the meaning it would have."""
    best: tuple[float, str, str] = (0.6, "", "")
    for title in titles[:COMPARED]:
        name = plain(_BRACKET.sub(r"\1", title[:LONGEST_TITLES]))
        for meaning in TIMES if what == "time" else (what,):
            for known in NAMES[meaning]:
                score = difflib.SequenceMatcher(None, name, known).ratio()
                inside = 0.9 if known in name.split() else 0.0
                best = max(best, (max(score, inside), meaning, title), key=lambda x: x[0])
    return best[1:] if best[1] else None
