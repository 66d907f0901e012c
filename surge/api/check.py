"""A case held against every limit and every rule; its pictures and films, which come from the same runs."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, overload

from surge import __version__
from surge.api.answers import CaseAnswer, Json, Kind, Picture, data, parts_of, written
from surge.api.inputs import case_of, of_file, rules_of_case, units_of
from surge.case.file import Case
from surge.model.lineup import LineUp
from surge.reports.words import CAUTIONS
from surge.rules.assess import Assessment, assess
from surge.rules.book import RuleBook
from surge.rules.reading import built_in
from surge.workers import Progress

if TYPE_CHECKING:
    from surge.api.inputs import Ends, Number
    from surge.api.pictures import Film, What
    from surge.views.subject import Subject


@dataclass(frozen=True, kw_only=True, eq=False)
class CheckAnswer(Assessment, CaseAnswer):
    """What a check found: :class:`surge.rules.assess.Assessment`, and the case that it was made from."""

    def text(self, *, details: bool = False, style: Callable[[str, str], str] | None = None) -> str:
        """Return the answer in words: verdict, weakest place, what to do, tables, cautions.

        Parameters
        ----------
        details : bool
            All elements and places, sources, and how it was computed.
        style : callable, optional
            Gets a text and its verdict and returns it marked, as with a colour.
        """
        from surge.reports.text import TextReport, unstyled

        return self.signed(TextReport(self, self.display, details=details, style=style or unstyled).lines())

    def document(self, *, histories: bool = False) -> Json:
        """Return the answer as plain data (``surge schema result``).

        Parameters
        ----------
        histories : bool
            Also pressures in time and along the line.
        """
        from surge.reports.advice import advice
        from surge.reports.check_json import answer
        from surge.reports.words import sentence

        worst = self.weakest
        return data(
            answer(
                self.case,
                self,
                version=__version__,
                sentence=sentence(worst, self.run_of(worst), self.display) if worst else "",
                advice=advice(self, self.display),
                cautions=CAUTIONS,
                histories=histories,
            )
        )

    def json(self, *, histories: bool = False) -> str:
        """Return the document as JSON text; ``histories`` as of :meth:`document`."""
        return written(self.document(histories=histories))

    def subject(self, scenario: str | None = None) -> Subject:
        """Return the scenario that a picture is of; without a name the one that comes nearest to a limit.

        Raises
        ------
        RequestError
            There is no such scenario.
        """
        from surge.views.subject import subject_of

        return subject_of(self, scenario)

    def draw(
        self,
        of: What = "time",
        *,
        scenario: str | None = None,
        places: Sequence[str] = (),
        to: str | None = None,
        span: Ends = (None, None),
        kind: Kind = "png",
    ) -> Picture:
        """Draw pressures of one scenario, as ``surge picture`` does; see :func:`surge.api.pictures.drawn`."""
        return self.draw_all(of, scenario=scenario, places=places, to=to, span=span, kinds=(kind,))[kind]

    def draw_all(
        self,
        of: What = "time",
        *,
        scenario: str | None = None,
        places: Sequence[str] = (),
        to: str | None = None,
        span: Ends = (None, None),
        kinds: Sequence[Kind] = ("png",),
    ) -> dict[Kind, Picture]:
        """Draw one picture as files of several kinds; see :func:`surge.api.pictures.drawn`."""
        from surge.api.pictures import drawn

        wanted = tuple(dict.fromkeys(kinds))
        files = drawn(
            self.subject(scenario),
            of,
            places=places,
            to=to,
            span=span,
            kinds=wanted,
            display=self.display,
            signature=self.signature,
        )
        return {kind: Picture(content=files[kind], kind=kind) for kind in wanted}

    def animate(
        self,
        *,
        scenario: str | None = None,
        to: str | None = None,
        span: Ends = (None, None),
        seconds: Number = 12.0,
    ) -> Film:
        """Film the pressure as it travels, as ``surge animate``; see :func:`surge.api.pictures.filmed`."""
        from surge.api.pictures import filmed

        return filmed(
            self.subject(scenario),
            to=to,
            span=span,
            seconds=seconds,
            display=self.display,
            signature=self.signature,
        )

    def picture_text(self, scenario: str | None = None) -> str:
        """Return what is said beside a picture: scenario, verdict, weakest place, cautions."""
        from surge.plots.captions import picture_lines

        return "\n".join([*picture_lines(self.subject(scenario), self.display), self.signature])


@overload
def check(
    what: Case | str | Path,
    *,
    book: RuleBook | None = None,
    units: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> CheckAnswer: ...
@overload
def check(
    what: LineUp,
    *,
    book: RuleBook | None = None,
    units: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> Assessment: ...
def check(
    what: Case | str | Path | LineUp,
    *,
    book: RuleBook | None = None,
    units: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> Assessment:
    """Check a case, or a line-up, against every limit and every rule.

    Parameters
    ----------
    what : Case, str, Path or LineUp
        As :func:`surge.load_case` gives it, or the path of its file. A line-up alone does not know of
        the rules that its case names.
    book : RuleBook, optional
        Other rules: by default those of the case, or of the program.
    units : mapping of str to str, optional
        Units of words and pictures over those of the case: ``{"pressure": "psi", "flow": "bbl/h"}``.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Returns
    -------
    CheckAnswer, or Assessment for a line-up
        ``verdict``, ``exit_code``, ``weakest``, ``findings``, ``scenarios``; pressures [Pa gauge], times [s],
        flows [m3/s].

    Raises
    ------
    CaseError, GridError, SolveError
        As :func:`surge.load_case` and :func:`surge.rules.assess.assess`.
    ValueError
        A unit that the output does not offer.

    Examples
    --------
    >>> import surge
    >>> answer = surge.check("cases/restart-into-a-shut-deck-line.toml")
    >>> answer.verdict
    'limit kept'
    >>> answer.weakest.name
    'shore line'
    """
    if isinstance(what, LineUp):
        return assess(what, book=book or built_in(), progress=progress)
    case = case_of(what)
    shown = units_of(case, units)
    rules = rules_of_case(case) if book is None else book
    with of_file(case.filename):
        made = assess(case.lineup, book=rules, progress=progress)
    return CheckAnswer(**parts_of(made), case=case, units=shown)


def solver_is_compiled() -> bool:
    """Whether the solver was compiled on this machine before; else the first check takes ten seconds more."""
    from surge.kernel.march import march

    return compiled_before(march)


def compiled_before(function: Any) -> bool:
    """Whether the compiler's cache holds the march; when in doubt, no."""
    cache = getattr(getattr(function, "_cache", None), "cache_path", None)
    return cache is not None and any(Path(cache).glob("march.march*.nbi"))
