"""Which limits hold for which tags of a file of records: from a limits file, a case's window, or both.

Decisions
---------
* The signal delay of a case is counted by its rules on time already, so a window bounds the movement.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from surge.errors import CaseError, Fault, Origin, meant
from surge.model.lineup import LineUp
from surge.records.limits_file import LIMITS, LimitFile, fold, is_pattern, speaks
from surge.records.read import Records
from surge.records.stroke_tests import (
    EVERY_STROKE_TOO_SLOW,
    NO_STROKE_IS_SAFE,
    Bound,
    Direction,
    LostTest,
    Side,
    StrokeTest,
    Timed,
    ValveLimits,
)
from surge.records.text import RowFault, row_fault
from surge.rules.book import RuleBook
from surge.rules.findings import EXCEEDED, WITHIN
from surge.toml.text import FileError
from surge.units import quoted
from surge.workers import Progress

if TYPE_CHECKING:  # without a case nobody needs the solver
    from surge.search.strokes import StrokeLimits
    from surge.search.window import Windows

NOT_LOOKED_UP = "its window as "  # so such a reason begins
NO_CASE = "add --case with the case that in_case is about"


@dataclass(frozen=True, kw_only=True)
class MatchedRecords:
    """Records whose tags are known, and the limits of every tag.

    Attributes
    ----------
    records : Records
        Rows of unknown tags are refused.
    limits : mapping of str to ValveLimits
    notes : tuple of str
        What is to be known about the windows.
    """

    records: Records
    limits: Mapping[str, ValveLimits]
    notes: tuple[str, ...] = ()


def held_against(
    records: Records,
    *,
    stated: LimitFile | None = None,
    lineup: LineUp | None = None,
    book: RuleBook | None = None,
    progress: Progress | None = None,
) -> MatchedRecords:
    """Find the limits of every tag; windows of the case's valves are searched.

    Parameters
    ----------
    records : Records
    stated : LimitFile, optional
    lineup : LineUp, optional
        With ``book``, the rules that bound strokes from above.
    progress : callable, optional

    Raises
    ------
    CaseError
        A name under ``in_case`` that the case does not have, no tag that is a valve of the case; and as
        :func:`surge.search.window.windows_of`.
    """
    spelt = {fold(t): t for t in (*_valves(lineup), *(stated.named if stated else ()))}
    records = _spelt(records, spelt)
    if stated is not None or lineup is not None:
        records = _known(records, stated, lineup)
    tags = list(dict.fromkeys([*(stated.named if stated else ()), *(t.tag for t in records.tests)]))
    limits, named = {}, {}
    for tag in (spelt.get(fold(t), t) for t in tags):
        limits[tag], named[tag] = stated.limits_of(tag) if stated else (ValveLimits(tag=tag), "")
    if stated is not None:
        _refuse_what_no_test_can_meet(stated, limits)
    if stated is None and lineup is not None:
        limits |= {v.name: ValveLimits(tag=v.name, required=True) for v in lineup.valves if v.adjustable}
        named |= dict.fromkeys(limits, "")
    if lineup is None or book is None:
        return MatchedRecords(
            records=records, limits={tag: _unseen(limits[tag], named[tag]) for tag in limits}
        )
    windows, named = _windows(named, stated, lineup, book, progress)
    found = with_windows(limits.values(), windows, named=named)
    return MatchedRecords(
        records=records, limits={one.tag: one for one in found}, notes=tuple(_notes(windows))
    )


def _unseen(limits: ValveLimits, name: str) -> ValveLimits:
    """The limits of a valve that stands for one of a case which was not given: its window is missing."""
    if not name:
        return limits
    reason = f"{NOT_LOOKED_UP}{quoted(name)} was not looked up: {NO_CASE}"
    lacking = [(Direction.CLOSING, side, reason) for side in Side]
    return replace(limits, missing=(*limits.missing, *lacking))


def _notes(windows: Windows) -> Iterator[str]:
    yield "The window of a valve holds with everything else as in the case."
    if windows.joint is not None and windows.joint.verdict != WITHIN:
        strokes = ", ".join(f"{quoted(v)} {s:.1f} s" for v, s in windows.joint_strokes.items())
        yield (
            f"All of them together at their shortest ({strokes}): {windows.joint.verdict}. Valves that keep "
            "their own windows may exceed a limit together: see surge window."
        )


def _valves(lineup: LineUp | None) -> list[str]:
    return [v.name for v in lineup.valves] if lineup else []


def _spelt(records: Records, spelt: dict[str, str]) -> Records:
    """The records with every tag spelt as in the limits or the case, else as where it stands first."""
    tests = [replace(t, tag=spelt.setdefault(fold(t.tag), t.tag)) for t in records.tests]
    bare = {_bare(tag): tag for tag in spelt.values()}
    lost = [replace(t, tag=spelt.get(fold(t.tag), bare.get(_bare(t.tag), t.tag))) for t in records.lost]
    notes = tuple(_alike(dict.fromkeys(t.tag for t in tests)))
    return replace(records, tests=tuple(tests), lost=tuple(lost), notes=(*records.notes, *notes))


def _alike(tags: Iterable[str]) -> Iterator[str]:
    """Progress tags that may be one valve: its tests would be divided between them."""
    groups: dict[str, list[str]] = {}
    for tag in tags:
        groups.setdefault(_bare(tag), []).append(tag)
    for alike in groups.values():
        if len(alike) > 1:
            listed = ", ".join(quoted(t) for t in alike)
            yield f"Taken for different valves, since more than capitals differ: {listed}."


def _bare(tag: str) -> str:
    """Letters and figures of a tag: M 1P, m1p and M-1P may be one valve."""
    return "".join(c for c in tag.casefold() if c.isalnum())


def _known(records: Records, stated: LimitFile | None, lineup: LineUp | None) -> Records:
    """Refuse the rows of tags that neither file knows."""
    valves = _valves(lineup)
    tags = {t.tag for t in records.tests}
    known = {t for t in tags if t in valves or (stated is not None and stated.knows(t))}
    if known == tags:
        return records
    names = [*valves, *(stated.named if stated else ())]
    faults = {t.row: _unknown(t, names, records.tag_title) for t in records.tests if t.tag not in known}
    bare = {_bare(tag): tag for tag in (*names, *known)}
    lost = [
        *records.lost,
        *(
            LostTest(row=t.row, tag=t.tag, directions=(t.direction,), day=t.when.date())
            for t in records.tests
            if t.tag not in known
        ),
    ]
    lost = [t if t.tag in known else replace(t, tag=bare.get(_bare(t.tag), t.tag)) for t in lost]
    return replace(
        records,
        tests=tuple(t for t in records.tests if t.tag in known),
        faults=(*records.faults, *faults.values()),
        refused=records.refused | faults.keys(),
        lost=tuple(lost),
    )


def _unknown(test: StrokeTest, names: Sequence[str], title: str) -> RowFault:
    near = meant(test.tag, names)
    remedy = f"did you mean {quoted(near)}? " if near else ""
    return row_fault(
        test.row,
        title,
        f"the tag {quoted(test.tag)}",
        "a tag that the limits file or the case knows",
        f"{remedy}correct the tag, or name it in a table of the limits file; a table with "
        'tags = ["*"] takes in all that have no limit',
    )


def _windows(
    named: Mapping[str, str],
    stated: LimitFile | None,
    lineup: LineUp,
    book: RuleBook,
    progress: Progress | None,
) -> tuple[Windows, dict[str, str]]:
    """Search the windows of the valves that the tags stand for; which tag stands for which."""
    from surge.search.window import windows_of

    closing = closing_in(lineup)
    named = {tag: name or (tag if tag in closing else "") for tag, name in named.items()}
    if stated is not None:
        _refuse_strangers(stated, closing, lineup)
    wanted = sorted({name for name in named.values() if name})
    if not wanted:
        raise _nobody(closing, stated)
    return windows_of(lineup, book=book, valves=wanted, progress=progress), dict(named)


def _refuse_what_no_test_can_meet(stated: LimitFile, limits: Mapping[str, ValveLimits]) -> None:
    """Refuse limits of one valve, from whatever tables, between which no stroke time lies."""
    faults: dict[Origin, Fault] = {}
    for tag, one in limits.items():
        for way in Direction:
            ends = [[b for b in one.bounds if (b.direction, b.side) == (way, side)] for side in Side]
            low = max((b.value for b in ends[0]), default=0.0)  # of the movement alone
            for slow in ends[1]:
                delay = (one.delay or 0.0) if slow.timed is Timed.ORDER else 0.0
                if low + delay <= slow.value and delay < slow.value:
                    continue
                key = f"{Side.SLOWEST.value}_{way.value}"
                path: Origin = ("valve", _table_of(stated, tag, key), key)
                words = f"slowest {slow.value:g} s of {quoted(tag)}, below a signal delay of {delay:g} s"
                faults[path] = Fault(
                    path=path,
                    found=f"{words} and a fastest movement of {low:g} s: no time can keep both",
                    expected="limits between which a stroke time lies",
                    remedy="check the tables that name this valve, patterns too",
                )
    if faults:
        raise FileError(list(faults.values()), file=stated.file, kind=LIMITS)


def _table_of(stated: LimitFile, tag: str, key: str) -> int:
    """The table that says a key of a tag: one that names it in full goes before patterns."""
    having = [s for s in stated.stated if key in s.values and speaks(s, tag)]
    return min(having, key=lambda s: all(is_pattern(t) for t in s.tags)).number


def _refuse_strangers(stated: LimitFile, closing: set[str], lineup: LineUp) -> None:
    listed = ", ".join(quoted(n) for n in sorted(closing)) or "none closes"
    faults = [
        Fault(
            path=("valve", one.number, "in_case"),
            found=f"{quoted(name)}, which is no valve that closes in {quoted(lineup.title)}",
            expected=f"one of {listed}",
            remedy="write the name of the valve as in the case",
        )
        for one in stated.stated
        if (name := one.values.get("in_case")) is not None and name not in closing
    ]
    if faults:
        raise FileError(faults, file=stated.file, kind=LIMITS)


def _nobody(closing: set[str], stated: LimitFile | None) -> CaseError:
    listed = ", ".join(quoted(n) for n in sorted(closing))
    fault = Fault(
        path=("valve",),
        found="no tag of the records or the limits file stands for a valve that closes in the case",
        expected=f"one of {listed}" if listed else "a valve that closes in some scenario of the case",
        remedy='write a limits file with in_case = "..." beside the tags, and give it with --limits',
    )
    return FileError([fault], file=stated.file, kind=LIMITS) if stated else CaseError([fault])


def closing_in(lineup: LineUp) -> set[str]:
    """Valves that close in some scenario: those that have a window."""
    from surge.search.movers import closing_valves

    return {name for scenario in lineup.scenarios for name in closing_valves(lineup, scenario)}


def with_windows(
    limits: Iterable[ValveLimits], windows: Windows, *, named: dict[str, str]
) -> list[ValveLimits]:
    """Add the window of a case's valve to the limits of every tag that stands for it.

    Parameters
    ----------
    limits : iterable of ValveLimits
    windows : Windows
    named : dict of str to str
        Tag -> name of the valve in the case.
    """
    return [
        _together(_added(one, (*windows.by_valve[name], *windows.apart.get(name, ()))), windows, name)
        if (name := named.get(one.tag, "")) in windows.by_valve
        else one
        for one in limits
    ]


def _together(limits: ValveLimits, windows: Windows, name: str) -> ValveLimits:
    """Add what comes of all valves together: the window of one valve does not prove the set."""
    strokes = windows.joint_strokes
    if windows.together is None or len(strokes) < 2:
        return limits
    listed = ", ".join(f'"{v}"' for v in strokes)
    source = f'window of "{name}" when {listed} close together'
    if windows.together.verdict == WITHIN:
        return replace(limits, bounds=(*limits.bounds, _bound(Side.FASTEST, strokes[name], source)))
    reason = f"{source}: {windows.together.verdict} at their shortest strokes; see surge window"
    return replace(limits, missing=(*limits.missing, (Direction.CLOSING, Side.FASTEST, reason)))


def _added(limits: ValveLimits, parts: Iterable[StrokeLimits]) -> ValveLimits:
    """Every part bounds the stroke, that beside a held twin too: the strictest of each side holds."""
    bounds: list[Bound] = []
    missing = list(limits.missing)
    for part in parts:
        held = ", ".join(f"{quoted(v)} held at {s:g} s" for v, s in part.held.items())
        source = f'window of "{part.valve}" in "{part.scenario}"' + (f", with {held}" if held else "")
        if part.shortest is not None:
            bounds.append(_bound(Side.FASTEST, part.shortest, source))
        elif part.verdict == EXCEEDED:
            bounds.append(_bound(Side.FASTEST, NO_STROKE_IS_SAFE, f"{source}: {part.reason}"))
        else:
            missing.append((Direction.CLOSING, Side.FASTEST, f"{source}: {part.reason}"))
        if part.longest is not None and part.slow_rule is not None:
            longest = max(part.longest, EVERY_STROKE_TOO_SLOW)
            bounds.append(_bound(Side.SLOWEST, longest, f'{source} by the rule "{part.slow_rule.name}"'))
    return replace(limits, bounds=(*limits.bounds, *_strictest(bounds)), missing=tuple(missing))


def _strictest(bounds: Iterable[Bound]) -> list[Bound]:
    """Of bounds that all count the movement, the one of each side that holds."""
    bounds = list(bounds)
    fast = max((b for b in bounds if b.side is Side.FASTEST), key=lambda b: b.value, default=None)
    slow = min((b for b in bounds if b.side is Side.SLOWEST), key=lambda b: b.value, default=None)
    return [b for b in (fast, slow) if b is not None]


def _bound(side: Side, value: float, source: str) -> Bound:
    # The chain of the case's shutdown holds the signal already: what is left for the stroke is movement.
    return Bound(direction=Direction.CLOSING, side=side, value=value, timed=Timed.MOVEMENT, source=source)
