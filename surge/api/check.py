"""A case checked against every limit and every rule; pictures and films of the runs that were made for it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, overload

from surge import __version__
from surge.api.answers import CaseAnswer, Json, Picture, data, parts_of, written
from surge.api.inputs import Ends, case_of, in_case, rules_of_case, units_of
from surge.arguments import Measure, Number, checked
from surge.case.file import Case
from surge.choices import FILM_SECONDS, DrawnKind, PictureOf
from surge.errors import ArgumentError
from surge.model.lineup import LineUp
from surge.reports.words import CAUTIONS
from surge.rules.assess import Assessment, assess
from surge.rules.book import RuleBook
from surge.rules.reading import built_in
from surge.search.remedies import Advised, remedies_of
from surge.workers import Progress

if TYPE_CHECKING:
    from surge.api.pictures import FilmAnswer
    from surge.reports.check_json import CheckDocument
    from surge.views.subject import Subject
    from surge.views.time import TimePicture


FILM = Measure(dimension="time", least=FILM_SECONDS[0], most=FILM_SECONDS[1])


@dataclass(frozen=True, kw_only=True, eq=False)
class CheckAnswer(Advised, CaseAnswer):
    """What a check found: all of :class:`surge.rules.assess.Assessment`, and the case that was checked.

    Attributes
    ----------
    remedies : Remedies or None
        What was tried to mend a case that is not kept; None where all is kept, or where it was left out.
    """

    @checked
    def text(self, *, details: bool = False, style: Callable[[str, str], str] | None = None) -> str:
        """Return the answer in words: on one screen, or with everything.

        The first line after the title is the verdict, and the last line is the verdict again.

        Parameters
        ----------
        details : bool
            Every element and place, every run and source, and how it was computed.
        style : callable, optional
            Marks words by their verdict, as with a colour: called with a text and a verdict, it returns the
            marked text.

        Returns
        -------
        str
        """
        from surge.reports.text import TextReport, unstyled

        report = TextReport(
            self, self.display, details=details, style=style or unstyled, signature=self.signature
        )
        return "\n".join(report.lines())

    @checked
    def document(self, *, histories: bool = False) -> Json:
        """Return the answer as plain data in SI (``surge schema result``).

        Parameters
        ----------
        histories : bool
            Also pressures against time at every place, and along every element.

        Returns
        -------
        dict
        """
        return data(self._made(histories))

    @checked
    def json(self, *, histories: bool = False) -> str:
        """Return the document as JSON text; ``histories`` as of :meth:`document`."""
        return "".join(self.json_pieces(histories=histories))

    @checked
    def json_pieces(self, *, histories: bool = False) -> Iterator[str]:
        """Yield the JSON text piece by piece: with histories it may be hundreds of megabytes."""
        return written(self._made(histories))

    def _made(self, histories: bool) -> CheckDocument:
        """The document, as types."""
        from surge.reports.advice import advice
        from surge.reports.check_json import answer
        from surge.reports.fillings import filling_sentences
        from surge.reports.gauge import gauge_sentences
        from surge.reports.words import sentence

        worst = self.weakest
        return answer(
            self.case,
            self,
            version=__version__,
            sentence=sentence(worst, self.run_of(worst), self.display) if worst else "",
            advice=advice(self, self.display),
            gauge=gauge_sentences(self.gauge, self.display),
            remedies=self.remedies,
            cautions=CAUTIONS,
            histories=histories,
            fillings=filling_sentences(self.fillings, self.display),
        )

    @checked
    def subject(self, scenario: str | None = None) -> Subject:
        """Return the scenario that a picture is to show, with its run.

        Parameters
        ----------
        scenario : str, optional
            Its name; by default the one that comes nearest to a limit.

        Raises
        ------
        RequestError
            There is no such scenario.
        """
        from surge.views.subject import subject_of

        return subject_of(self, scenario)

    @checked
    def draw(
        self,
        of: PictureOf = "time",
        *,
        scenario: str | None = None,
        places: Sequence[str] = (),
        to: str | None = None,
        span: Ends = (None, None),
        kind: DrawnKind = "png",
    ) -> Picture:
        """Draw pressures of one scenario, as ``surge picture`` does.

        Parameters
        ----------
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
        kind : {"png", "svg", "pdf", "csv"}
            "csv" of "time" only: the histories as a table for a spreadsheet.

        Returns
        -------
        Picture

        Raises
        ------
        RequestError
            A scenario, a name or a time that the case does not have.
        """
        return self.draw_all(of, scenario=scenario, places=places, to=to, span=span, kinds=(kind,))[kind]

    @checked
    def draw_all(
        self,
        of: PictureOf = "time",
        *,
        scenario: str | None = None,
        places: Sequence[str] = (),
        to: str | None = None,
        span: Ends = (None, None),
        kinds: Sequence[DrawnKind] = ("png",),
    ) -> dict[DrawnKind, Picture]:
        """Draw one picture as files of several kinds; parameters as of :meth:`draw`."""
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

    @checked
    def animate(
        self,
        *,
        scenario: str | None = None,
        to: str | None = None,
        span: Ends = (None, None),
        seconds: Annotated[Number, FILM] = 12.0,
    ) -> FilmAnswer:
        """Film the pressure as it travels along the line, as ``surge animate`` does.

        Parameters
        ----------
        scenario : str, optional
            By default the one that comes nearest to a limit.
        to : str, optional
            The tank or point at which the way from the shore ends.
        span : (number or None, number or None)
            Show from and until [s]; by default from before the first movement until the peak has passed.
        seconds : number
            How long the film runs, 2 to 60 [s].

        Returns
        -------
        FilmAnswer

        Raises
        ------
        RequestError
            A scenario, a name or a time that the case does not have.
        """
        from surge.api.pictures import filmed

        return filmed(
            self.subject(scenario),
            to=to,
            span=span,
            seconds=seconds,
            display=self.display,
            signature=self.signature,
        )

    @checked
    def figures(self, scenario: str | None = None, places: Sequence[str] = ()) -> TimePicture:
        """Return what :meth:`draw` shows against time, as figures: pressures, limits, extremes, flows.

        Parameters
        ----------
        scenario : str, optional
            By default the one that comes nearest to a limit.
        places : sequence of str
            Points and elements beside the weakest place.

        Raises
        ------
        RequestError
            A scenario or a name that the case does not have.
        """
        from surge.views.time import time_picture

        return time_picture(self.subject(scenario), places)

    @checked
    def picture_text(self, scenario: str | None = None) -> str:
        """Return the words that go with a picture: scenario, verdict, weakest place, cautions."""
        from surge.plots.captions import picture_lines

        return "\n".join([*picture_lines(self.subject(scenario), self.display), self.signature])


@overload
def check(
    what: Case | str | Path,
    *,
    book: RuleBook | None = None,
    units: Mapping[str, str] | None = None,
    remedies: bool = True,
    progress: Progress | None = None,
) -> CheckAnswer: ...
@overload
def check(
    what: LineUp,
    *,
    book: RuleBook | None = None,
    units: Mapping[str, str] | None = None,
    remedies: bool = True,
    progress: Progress | None = None,
) -> Assessment: ...
@checked
def check(
    what: Case | str | Path | LineUp,
    *,
    book: RuleBook | None = None,
    units: Mapping[str, str] | None = None,
    remedies: bool = True,
    progress: Progress | None = None,
) -> Assessment:
    """Check a case, or a line-up, against every limit and every rule.

    Parameters
    ----------
    what : Case, str, Path or LineUp
        A case as :func:`surge.load_case` gives it, or the path of its file. A line-up does not say which
        rules its case names: it is held against the program's own.
    book : RuleBook, optional
        Rules to hold it against, in place of those of the case, or of the program.
    units : mapping of str to str, optional
        Units of words and pictures, in place of those of the case: ``{"pressure": "psi", "flow": "bbl/h"}``.
    remedies : bool
        Of a case that is not kept: try what mends it. It takes several times as long as the check, up to
        about a minute of work (:mod:`surge.search.remedies`). Of a line-up nothing is tried.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Returns
    -------
    CheckAnswer, or Assessment for a line-up
        ``verdict``, ``exit_code``, ``weakest``, ``findings``, ``scenarios``; pressures [Pa gauge], times [s],
        flows [m3/s].

    Raises
    ------
    CaseError
        A file, of the case or of its rules, that cannot be used: with all of its faults.
    GridError, SolveError
        The case cannot be computed.
    ArgumentError
        An argument that is not what it should be: a unit that the output does not offer; units for a line-up.

    Examples
    --------
    >>> import surge
    >>> answer = surge.check("cases/restart-into-a-shut-deck-line.toml")
    >>> answer.verdict, answer.exit_code
    ('limit kept', 0)
    >>> answer.weakest.name, answer.weakest.scenario
    ('shore line', 'wrong order, quick')
    >>> round(answer.weakest.value / 1e5, 1), round(answer.weakest.limit / 1e5, 1)  # from Pa to bar, gauge
    (7.7, 10.0)
    """
    if isinstance(what, LineUp):
        if units:
            raise ArgumentError(
                ("units",), "with a line-up", "only a case has words and pictures: leave them out"
            )
        return assess(what, book=book or built_in(), progress=progress)
    case = case_of(what)
    shown = units_of(case, units)
    rules = rules_of_case(case) if book is None else book
    with in_case(case):
        made = assess(case.lineup, book=rules, progress=progress)
    tried = remedies_of(made, rules, progress=progress) if remedies else None
    return CheckAnswer(**parts_of(made), remedies=tried, case=case, units=shown)
