"""``surge verify --json`` as types. A value that is no finite number is null."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from surge.proof.checks import STATUSES, Outcome, work
from surge.reports.document import Demand, JsonObject, Program, finite


@dataclass(frozen=True, slots=True, kw_only=True)
class GivenJson(JsonObject):
    """One input of a check."""

    symbol: str
    """Its letter in the working."""
    value: float | None
    """Null: infinite."""
    unit: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingLineJson(JsonObject):
    """One line of the working, and what it comes to."""

    line: str
    """Letter = expression."""
    value: float | None
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureJson(JsonObject):
    """One figure that is held against another."""

    what: str
    unit: str
    expected: float
    """Printed in the source, or the digits of the working."""
    by_hand: float | None
    """What the working gives; null where it has no line for it."""
    program: float | None
    """What the program gives; null when it refused."""
    tolerance: Annotated[float, Demand(minimum=0)]
    """Either way, in the same unit."""
    within: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckJson(JsonObject):
    """What the program is held against in one case."""

    name: str
    """For --only."""
    group: str
    title: str
    source: str
    status: Annotated[str, Demand(enum=list(STATUSES))]
    """How far the source was seen."""
    program_part: str
    """What of the program gives the figures."""
    tolerance_reason: str
    refused: str
    """What the program said when it gave no figure; empty otherwise."""
    given: tuple[GivenJson, ...]
    working: tuple[WorkingLineJson, ...]
    figures: Annotated[tuple[FigureJson, ...], Demand(minItems=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class VerifyDocument(JsonObject):
    """Every check with its source, its working and its figures."""

    schema_version: Literal[1] = 1
    program: Program
    verdict: Literal["within", "outside"]
    """Outside when any figure is."""
    checks: tuple[CheckJson, ...]


def check_json(outcomes: Sequence[Outcome]) -> CheckJson:
    """Return one check from the outcomes of its figures; there is at least one."""
    c, refused = outcomes[0].check, outcomes[0].refused
    return CheckJson(
        name=c.name,
        group=c.group,
        title=c.title,
        source=c.source,
        status=c.status,
        program_part=c.program,
        tolerance_reason=c.why,
        refused=refused,
        given=tuple(
            GivenJson(symbol=g.symbol, value=finite(g.value), unit=g.unit, what=g.what) for g in c.given
        ),
        working=tuple(WorkingLineJson(line=w.text, value=finite(w.value), words=w.words) for w in work(c)),
        figures=tuple(
            FigureJson(
                what=o.figure.what,
                unit=o.figure.unit,
                expected=o.figure.expected,
                by_hand=finite(o.by_hand),
                program=finite(o.got),
                tolerance=o.figure.tolerance,
                within=o.within,
            )
            for o in outcomes
        ),
    )
