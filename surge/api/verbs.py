"""Words and pictures of answers as functions, as scripts of version 0.1 call them: each calls a method.

In version 0.1 the case had to be given beside its answer. It may still be given, and must be the same one.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Sequence

from surge.api.answers import Answer, CaseAnswer, Picture
from surge.api.chart import ChartAnswer
from surge.api.check import CheckAnswer
from surge.api.compare import CompareAnswer
from surge.api.inputs import Ends
from surge.api.records import RecordsAnswer
from surge.arguments import checked
from surge.case.file import Case
from surge.choices import PictureKind, PictureOf
from surge.errors import ArgumentError


def _refuse_another(answer: Answer, case: Case | None) -> None:
    """Refuse a case that an answer was not made from: text and file of rules must be the same."""
    if case is None:
        return
    own: tuple[Case, ...] = ()
    if isinstance(answer, CaseAnswer):
        own = (answer.case,)
    elif isinstance(answer, CompareAnswer):
        own = answer.cases
    elif isinstance(answer, RecordsAnswer) and answer.case is not None:
        own = (answer.case,)
    if not any((one.sha256, one.rules_path) == (case.sha256, case.rules_path) for one in own):
        made = " and ".join(dict.fromkeys(one.filename for one in own)) or "no case"
        raise ArgumentError(("case",), case.filename, f"this answer was made from {made}; give that, or none")


@checked
def report(answer: Answer, case: Case | None = None, *, details: bool = False) -> str:
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
    ArgumentError
        The answer was made from another case.

    Examples
    --------
    >>> import surge
    >>> answer = surge.check("cases/restart-into-a-shut-deck-line.toml")
    >>> surge.report(answer).splitlines()[2]
    'VERDICT: LIMITS KEPT'
    """
    _refuse_another(answer, case)
    if details and "details" not in inspect.signature(answer.text).parameters:
        found = f"True with a {type(answer).__name__}"
        raise ArgumentError(("details",), found, "its words have no more details: leave it out")
    words: Callable[..., str] = answer.text
    return words(details=True) if details else words()


@checked
def draw(
    answer: CheckAnswer,
    case: Case | None = None,
    *,
    of: PictureOf = "time",
    scenario: str | None = None,
    places: Sequence[str] = (),
    to: str | None = None,
    span: Ends = (None, None),
    kind: PictureKind = "png",
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
    ArgumentError
        The answer was made from another case.

    Examples
    --------
    >>> import surge
    >>> answer = surge.check("cases/restart-into-a-shut-deck-line.toml")
    >>> picture = surge.draw(answer, of="line", kind="svg")
    >>> b"shore line" in picture.content
    True
    """
    _refuse_another(answer, case)
    return answer.draw(of, scenario=scenario, places=places, to=to, span=span, kind=kind)


@checked
def draw_chart(chart: ChartAnswer, case: Case | None = None, *, kind: PictureKind = "png") -> Picture:
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
    ArgumentError
        The chart was made from another case.
    """
    _refuse_another(chart, case)
    return chart.draw(kind=kind)


@checked
def draw_records(answer: RecordsAnswer, *, kind: PictureKind = "png") -> tuple[Picture, ...]:
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
