"""Two cases side by side: what differs, and what that does to every pressure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from surge import __version__
from surge.api.answers import Answer, Json, Picture, data, parts_of, signature
from surge.api.check import CheckAnswer, check
from surge.api.inputs import case_of, rules_of_case, units_of
from surge.arguments import checked
from surge.case.file import Case
from surge.choices import PictureKind
from surge.reports.words import Display
from surge.rules.book import RuleBook
from surge.units import ShowUnits
from surge.views.compare import Comparison
from surge.views.compare import compare as compared
from surge.workers import Progress


@dataclass(frozen=True, kw_only=True, eq=False)
class CompareAnswer(Comparison, Answer):
    """Two cases held side by side: all of :class:`surge.views.compare.Comparison`, and the cases.

    Attributes
    ----------
    cases : (Case, Case)
        The case before, and the case after.
    units : ShowUnits
        Units of words and pictures. A document is always in SI.
    """

    cases: tuple[Case, Case]
    units: ShowUnits

    @property
    def display(self) -> Display:
        """How words and pictures write a figure: its unit and its rounding."""
        return Display(units=self.units, density=self.cases[1].lineup.liquid.density)

    def text(self) -> str:
        """Return in words what differs, and every pressure before and after."""
        from surge.reports.compare import comparison_lines

        before, after = self.cases
        lines = comparison_lines(self, (before.filename, after.filename), self.display)
        return "\n".join([*lines, "", signature(before), signature(after)])

    def differences(self) -> tuple[str, ...]:
        """Return in words what the two cases do not say alike, scenarios included."""
        from surge.reports.compare import change_words

        found = [*self.changes, *(c for pair in self.pairs for c in pair.changes)]
        return tuple(dict.fromkeys(change_words(c, self.display) for c in found))

    def document(self) -> Json:
        """Return the comparison as plain data (``surge schema compare``)."""
        from surge.reports.compare_json import comparison_document

        cases = [(case.filename, case.sha256) for case in self.cases]
        return data(comparison_document(self, cases, version=__version__))

    @checked
    def draw_all(self, kinds: Sequence[PictureKind] = ("png",)) -> dict[PictureKind, Picture]:
        """Draw both cases in one picture, as files of several kinds; see :meth:`draw`."""
        from surge.plots.compare import comparison_files

        wanted = list(dict.fromkeys(kinds))
        files = comparison_files(self, self.display, [signature(c) for c in self.cases], kinds=wanted)
        return {kind: Picture(content=files[kind], kind=kind) for kind in wanted}

    @checked
    def draw(self, *, kind: PictureKind = "png") -> Picture:
        """Draw both cases in one picture: the pair of scenarios that comes nearest to a limit."""
        return self.draw_all([kind])[kind]


@checked
def compare(
    before: CheckAnswer | Case | str | Path,
    after: CheckAnswer | Case | str | Path,
    *,
    scenarios: Sequence[str] = (),
    units: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> CompareAnswer:
    """Hold two cases side by side, as ``surge compare`` does.

    Parameters
    ----------
    before, after : CheckAnswer, Case, str or Path
        What :func:`surge.check` found; or a case, or the path of its file, which is then checked first.
    scenarios : sequence of str
        One name: this scenario of both cases. Two names: this one of ``before``, that one of ``after``. By
        default every scenario that has the same name in both, or the only one of each.
    units : mapping of str to str, optional
        Units of words and pictures, in place of those of ``after``.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Returns
    -------
    CompareAnswer
        ``changes``, what the cases do not say alike; ``pairs``, the scenarios with every pressure before and
        after [Pa gauge]; ``exit_code``, that of the case after.

    Raises
    ------
    CaseError, GridError, SolveError
        As :func:`surge.check`.
    ArgumentError
        An argument that is not what it should be, such as a unit that is not offered.
    RequestError
        A scenario that a case does not have, or no scenario that both have.

    Examples
    --------
    Two scenarios of one case: the same coupling shuts at a third of the rate.

    >>> import surge
    >>> case = surge.load_case("cases/gas-oil-release-coupling.toml")
    >>> both = surge.compare(case, case, scenarios=["release at full rate", "release at reduced rate"])
    >>> both.governing.verdicts
    ('limit exceeded', 'limit kept')
    >>> hose = next(p for p in both.governing.places if p.name == "cargo hose" and p.way == "high")
    >>> round(hose.difference / 1e5, 1)  # from Pa to bar
    -7.7
    """
    checked = _Checked(progress)
    first, second = checked(before), checked(after)
    made = compared(first, second, tuple(scenarios))
    return CompareAnswer(
        **parts_of(made), cases=(first.case, second.case), units=units_of(second.case, units)
    )


class _Checked:
    """Checks cases; a file that both sides name, of a case or of rules, is read once."""

    def __init__(self, progress: Progress | None) -> None:
        self.progress = progress
        self.answers: dict[str, CheckAnswer] = {}
        self.books: dict[Path | None, RuleBook] = {}

    def __call__(self, one: CheckAnswer | Case | str | Path) -> CheckAnswer:
        """Return what a check finds."""
        if isinstance(one, CheckAnswer):
            return one
        if not isinstance(one, (str, Path)):
            return self._check(one)
        if str(one) not in self.answers:
            self.answers[str(one)] = self._check(case_of(one))
        return self.answers[str(one)]

    def _check(self, case: Case) -> CheckAnswer:
        if case.rules_path not in self.books:
            self.books[case.rules_path] = rules_of_case(case)
        return check(case, book=self.books[case.rules_path], remedies=False, progress=self.progress)
