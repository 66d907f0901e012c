"""Words and pictures of answers as functions, as scripts of version 0.1 call them: each calls a method.

In version 0.1 the case had to be given beside its answer. It may still be given, and must be the same one.
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
    """Return an answer in words, as its method ``text`` does.

    Parameters
    ----------
    answer : CheckAnswer, WindowAnswer, ChartAnswer, RecordsAnswer, ...
        What one of the public functions returned.
    case : Case, optional
        The case that it was made from.
    details : bool
        Say everything. Only answers whose ``text`` takes ``details`` can: of a check, of records, of a
        measured stroke, of a proof.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        The answer was made from another case.

    Examples
    --------
    >>> import surge
    >>> answer = surge.check("cases/restart-into-a-shut-deck-line.toml")
    >>> surge.report(answer).splitlines()[2]
    'VERDICT: LIMITS KEPT'
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
    """Draw pressures of one scenario, as the method ``draw`` of the answer does.

    Parameters
    ----------
    answer : CheckAnswer
        What :func:`surge.check` returned.
    case : Case, optional
        The case that it was made from.
    of : {"time", "line", "map"}
        Pressures against time; the highest and lowest along the line; pressures in place and time.
    scenario : str, optional
        By default the one that comes nearest to a limit.
    places : sequence of str
        For "time": points and elements to show beside the weakest place.
    to : str, optional
        For "line" and "map": the tank or point at which the way from the shore ends.
    span : (number or None, number or None)
        For "time" and "map": show from and until [s].
    kind : {"png", "svg", "pdf"}

    Returns
    -------
    Picture
        In a notebook a PNG or SVG is seen when it stands in the last line of a cell.

    Raises
    ------
    RequestError
        A scenario, a name or a time that the case does not have.
    ValueError
        The answer was made from another case.

    Examples
    --------
    >>> import surge
    >>> answer = surge.check("cases/restart-into-a-shut-deck-line.toml")
    >>> picture = surge.draw(answer, of="line", kind="svg")
    >>> b"shore line" in picture.content
    True
    """
    _same(answer, case)
    return answer.draw(of, scenario=scenario, places=places, to=to, span=span, kind=kind)


def draw_chart(chart: ChartAnswer, case: Case | None = None, *, kind: Kind = "png") -> Picture:
    """Draw a chart of rate against stroke time, as the method ``draw`` of the answer does.

    Parameters
    ----------
    chart : ChartAnswer
        What :func:`surge.survey` returned.
    case : Case, optional
        The case that it was made from.
    kind : {"png", "svg", "pdf"}

    Returns
    -------
    Picture

    Raises
    ------
    ValueError
        The chart was made from another case.
    """
    _same(chart, case)
    return chart.draw(kind=kind)


def draw_records(answer: RecordsAnswer, *, kind: Kind = "png") -> tuple[Picture, ...]:
    """Draw the test histories of valves, as the method ``draw`` of the answer does.

    Parameters
    ----------
    answer : RecordsAnswer
        What :func:`surge.judge_records` returned.
    kind : {"png", "svg", "pdf"}

    Returns
    -------
    tuple of Picture
        One for each page of 24 valves, the worst first; a PDF holds all pages.
    """
    return answer.draw(kind=kind)
