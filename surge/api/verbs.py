"""Words and pictures of answers as functions, for scripts written for version 0.1: each calls a method.

A case may be given beside an answer that was made from one, as it had to be; it must be the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from surge.api.answers import CaseAnswer, Kind, Picture
from surge.api.chart import ChartAnswer
from surge.api.check import CheckAnswer
from surge.api.records import RecordsAnswer
from surge.case.file import Case

if TYPE_CHECKING:
    from surge.api.inputs import Ends
    from surge.api.pictures import What


def _same(answer: CaseAnswer, case: Case | None) -> None:
    if case is not None and case.sha256 != answer.case.sha256:
        raise ValueError(f"this answer was made from {answer.case.filename}, not from {case.filename}")


def report(answer: Any, case: Case | None = None, *, details: bool = False) -> str:
    """Return an answer in words, as its ``text`` does.

    Parameters
    ----------
    answer : CheckAnswer, WindowAnswer, ChartAnswer, RecordsAnswer, ...
    case : Case, optional
        The one that it was made from.
    details : bool
        Everything, of a check or of records.

    Raises
    ------
    ValueError
        The answer was made from another case.
    """
    if isinstance(answer, CaseAnswer):
        _same(answer, case)
    text: str = answer.text(details=True) if details else answer.text()
    return text


def draw(
    answer: CheckAnswer,
    case: Case | None = None,
    *,
    of: What = "time",
    scenario: str | None = None,
    places: Sequence[str] = (),
    to: str | None = None,
    span: Ends = (None, None),
    kind: Kind = "png",
) -> Picture:
    """Draw pressures of one scenario; see :func:`surge.api.pictures.drawn`."""
    _same(answer, case)
    return answer.draw(of, scenario=scenario, places=places, to=to, span=span, kind=kind)


def draw_chart(chart: ChartAnswer, case: Case | None = None, *, kind: Kind = "png") -> Picture:
    """Draw the chart of rate against stroke time, as its ``draw`` does."""
    _same(chart, case)
    return chart.draw(kind=kind)


def draw_records(answer: RecordsAnswer, *, kind: Kind = "png") -> tuple[Picture, ...]:
    """Draw the histories of valves, 24 on a page, the worst first, as its ``draw`` does."""
    return answer.draw(kind=kind)
