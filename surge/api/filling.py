"""Lines that fill: what a filling gives by both models, its picture, its film, its histories."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from surge.api.answers import CaseAnswer, Json, Picture, data
from surge.api.inputs import case_of, in_case, rules_of_case, units_of
from surge.arguments import checked
from surge.case.file import Case
from surge.choices import FillingKind
from surge.errors import RequestError
from surge.reports.words import CAUTIONS, RANK
from surge.rules.fillings import FilledCase, filled_case
from surge.rules.findings import EXIT_CODE, worst_of
from surge.rules.pressure import with_pump_top
from surge.workers import Progress


@dataclass(frozen=True, kw_only=True, eq=False)
class FillingAnswer(CaseAnswer):
    """Fillings of a case.

    Attributes
    ----------
    fillings : tuple of FilledCase
        Those that were looked at, each with its results, findings and rulings.
    """

    fillings: tuple[FilledCase, ...]

    @property
    def verdict(self) -> str:
        """Of these fillings; that of the whole case is of :func:`surge.check`."""
        return worst_of(one.verdict for one in self.fillings)

    @property
    def exit_code(self) -> int:
        """0 all kept, 3 a limit exceeded, 4 cannot be decided."""
        return EXIT_CODE[self.verdict]

    @property
    def worst(self) -> FilledCase:
        """The filling that pictures are of: nearest to a limit, or furthest beyond it."""
        return min(self.fillings, key=_order)

    @checked
    def text(self) -> str:
        """Return everything about the fillings in words."""
        from surge.reports.fillings import answer_lines

        return self.signed(answer_lines(self.fillings, self.case.lineup.title, self.verdict, self.display))

    @checked
    def document(self, *, histories: bool = True) -> Json:
        """Return the fillings as plain data in SI (``surge schema filling``)."""
        from surge.reports.fillings import filling_sentences
        from surge.reports.fillings_json import filling_document

        made = filling_document(
            self.fillings,
            filling_sentences(self.fillings, self.display),
            self.case.lineup.title,
            self.head,
            verdict=self.verdict,
            exit_code=self.exit_code,
            cautions=CAUTIONS,
            histories=histories,
        )
        return data(made)

    @checked
    def files(self, kinds: Sequence[FillingKind]) -> dict[str, bytes]:
        """Return the worst filling as files: pictures, a film (GIF), histories as a table (CSV).

        Parameters
        ----------
        kinds : sequence of {"png", "svg", "pdf", "csv", "gif"}

        Returns
        -------
        dict of str to bytes
            The whole file for each kind.

        Raises
        ------
        RequestError
            The filling could not be followed.
        """
        one = self.worst
        if one.usual is None:
            raise RequestError(f'nothing can be drawn of "{one.name}": {one.trouble}')
        found: dict[str, bytes] = {}
        title = self.case.lineup.title
        pictures = [kind for kind in kinds if kind in ("png", "svg", "pdf")]
        if pictures:
            from surge.plots.filling import filling_files

            found |= filling_files(one, title, self.display, self.signature, kinds=pictures)
        if "gif" in kinds:
            from surge.plots.filling_film import filling_film

            found["gif"] = filling_film(one, title, self.display, self.signature)
        if "csv" in kinds:
            from surge.reports.fillings_table import filling_csv

            found["csv"] = filling_csv(one, self.signature).encode()
        return found

    @checked
    def draw(self, *, kind: FillingKind = "png") -> Picture:
        """Draw the worst filling against time, or give it as a film or a table."""
        return Picture(content=self.files([kind])[kind], kind=kind)  # type: ignore[arg-type]


def _order(one: FilledCase) -> tuple[int, float]:
    """For sorting: the worst first."""
    return RANK[one.verdict], -(one.weakest.load if one.weakest else 0.0)


@checked
def fill_lines(
    case: Case | str | Path,
    *,
    fillings: Sequence[str] = (),
    units: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> FillingAnswer:
    """Follow the lines of a case that fill, as ``surge filling`` does.

    Parameters
    ----------
    case : Case, str or Path
        A case, or the path of its file.
    fillings : sequence of str
        Those to look at; by default all.
    units : mapping of str to str, optional
        Units of words and pictures, in place of those of the case.
    progress : callable, optional
        Called with a word as work goes on.

    Returns
    -------
    FillingAnswer
        ``fillings``, each with ``results`` (the first with all figures as usual), ``verdict``; pressures [Pa
        gauge], velocities [m/s].

    Raises
    ------
    CaseError
        A file that cannot be used; a rate that cannot be reached.
    RequestError
        A filling that the case does not have, or a case without any.
    ArgumentError
        An argument that is not what it should be.

    Examples
    --------
    >>> import surge
    >>> answer = surge.fill_lines("cases/gas-oil-first-fill.toml", fillings=["first fill of the deck line"])
    >>> (filled,) = answer.fillings
    >>> arrival = filled.usual.arrival_elastic
    >>> filled.verdict, round(arrival.velocity.value, 2), round(arrival.time.value)
    ('limit kept', 0.83, 176)
    """
    from surge.views.subject import unknown

    made = case_of(case)
    lineup, book = made.lineup, rules_of_case(made)
    names = [f.name for f in lineup.fillings]
    if not names:
        raise RequestError(
            "the case has no filling: write [[filling]] with name, from, to, gas_pressure and vent"
        )
    for name in fillings:
        if name not in names:
            raise RequestError(f"--filling {unknown('filling', name, names)}")
    found = []
    with in_case(made):
        for one in lineup.fillings:
            if fillings and one.name not in fillings:
                continue
            if progress:
                progress(f'filling "{one.name}"')
            found.append(filled_case(with_pump_top(lineup, book), one, book))
    return FillingAnswer(fillings=tuple(found), case=made, units=units_of(made, units))
