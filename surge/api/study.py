"""A study: many line-ups, uncertain figures, and how sure a number is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

from surge import __version__
from surge.api.answers import Answer, Json, Picture, data
from surge.api.inputs import rules_of_case
from surge.arguments import Measure, checked
from surge.case.file import Case, read_case
from surge.choices import PictureKind, StudyPicture
from surge.effort import foresee, spend, within
from surge.errors import ArgumentError, SurgeError
from surge.inputs import InputFile
from surge.reports.words import CAUTIONS, Display
from surge.studies.engines import Made, made_by
from surge.studies.file import load_study
from surge.studies.plan import Plan, plan_of
from surge.studies.store import MANIFEST, RUNS, Store, arrow
from surge.studies.summary import Summary, summary_of
from surge.studies.types import Study
from surge.studies.work import text_of
from surge.toml.text import read_file
from surge.units import ShowUnits, offered, printable
from surge.workers import Progress

PARTS = 500
WORKERS = Measure(least=1, most=512)


@dataclass(frozen=True, kw_only=True, eq=False)
class StudyAnswer(Answer):
    """What came of a study.

    Attributes
    ----------
    study : Study
        As it was read.
    summary : Summary
        Counts, probabilities, the worst run, how pressures spread, which figure matters.
    into : Path
        The folder of results: ``study.json``, ``runs/*.parquet``, ``worst.toml``.
    units : ShowUnits
        Units of words and pictures.
    density : float
        Of the cargo of the first case, for flows by mass in words [kg/m3].
    """

    study: Study
    summary: Summary
    into: Path
    units: ShowUnits
    density: float

    @property
    def verdict(self) -> str:
        """The worst of all runs; quick looks decide nothing."""
        return self.summary.verdict

    @property
    def exit_code(self) -> int:
        """0 every run is kept, 3 a limit is exceeded in one, 4 one cannot be decided."""
        return self.summary.exit_code

    @property
    def display(self) -> Display:
        """How words and pictures write a figure."""
        return Display(units=self.units, density=self.density)

    @property
    def signature(self) -> str:
        """Which program and which study, with its hash."""
        file = self.study.file
        return f"surge {__version__}, study {printable(file.filename)}, sha256 {file.sha256[:16]}"

    @checked
    def text(self, *, details: bool = False) -> str:
        """Return the answer in words; with ``details`` every line-up."""
        from surge.reports.study import study_lines

        lines = study_lines(self.summary, self.display, details=details)
        return "\n".join([*lines, "", self.signature])

    def document(self) -> Json:
        """Return the answer as plain data in SI (``surge schema study-result``)."""
        from surge.reports.study_json import study_document

        return data(study_document(self.summary, version=__version__, cautions=CAUTIONS))

    @property
    def pictures(self) -> tuple[StudyPicture, ...]:
        """Which pictures :meth:`draw` has of this study."""
        from surge.plots.study import drawable

        return drawable(self.summary)

    @checked
    def draw(self, of: StudyPicture = "table", *, kind: PictureKind = "png") -> Picture:
        """Draw the line-ups as a table, how the peak spreads, or which figure matters.

        Parameters
        ----------
        of : {"table", "peaks", "matters"}
            "table" of a study with axes; "peaks" of pressures; "matters" of the design "saltelli".
        kind : {"png", "svg", "pdf"}

        Raises
        ------
        RequestError
            The study has nothing to show in that picture.
        """
        from surge.plots.study import study_files

        files = study_files(of, self.summary, self.display, self.signature, kinds=(kind,))
        return Picture(content=files[kind], kind=kind)


@checked
def run_study(
    study: str | Path,
    *,
    into: str | Path | None = None,
    workers: Annotated[int | None, WORKERS] = None,
    cluster: str | None = None,
    afresh: bool = False,
    units: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> StudyAnswer:
    """Run a study, or go on with one, as ``surge study`` does.

    Parameters
    ----------
    study : str or Path
        The study file; the cases that it names are beside it or below.
    into : str or Path, optional
        The folder of results; by default one of the study's name with "-results", beside it. What is there of
        the same study is kept, and the rest is run.
    workers : int, optional
        Processes of this computer; by default as many as it has processors, or this one for a short study.
    cluster : str, optional
        Address of the scheduler of a Dask cluster, whose workers then run the study.
    afresh : bool
        Take away what another study left in the folder.
    units : mapping of str to str, optional
        Units of words and pictures, in place of those of the first case.
    progress : callable, optional
        Called with a word as work goes on.

    Returns
    -------
    StudyAnswer
        ``verdict``, ``exit_code``, ``summary``, ``into``.

    Raises
    ------
    CaseError
        A study, or a file that it names, with all of its faults.
    RequestError
        A library is missing, the folder has something else or cannot be written, another study is at work in
        it, or the cluster does not answer. What is written is kept.
    SolveError
        Workers die again and again.
    """
    if workers is not None and cluster is not None:
        raise ArgumentError(("workers", "cluster"), "both given", "a cluster has its own: leave one out")
    wanted = offered(units or {})
    arrow()  # before anything is read
    path = Path(study)
    read = load_study(path, rules_of=_rules_of)
    plan = plan_of(read)
    folder = Path(into) if into is not None else path.with_name(f"{path.stem}-results")
    store = Store(plan=plan, folder=folder)
    with _held(store):
        store.open(afresh=afresh)
        _run(store, workers=workers, cluster=cluster, progress=progress)
        made = summary_of(store)
        _keep_worst(store, made)
    first = next(iter(read.cases))
    case = read_case(read.cases[first], filename=read.filenames[first])
    return StudyAnswer(
        study=read,
        summary=made,
        into=folder,
        units=replace(case.show, **wanted),
        density=case.lineup.liquid.density,
    )


def _rules_of(case: Case) -> tuple[str, InputFile] | None:
    """The file of rules that a case names, once it was read without a fault."""
    from surge.rules.reading import RULES

    rules_of_case(case)
    if case.rules_file is None or case.rules_path is None:
        return None
    return case.rules_file, read_file(case.rules_path, RULES)


def _run(store: Store, *, workers: int | None, cluster: str | None, progress: Progress | None) -> None:
    """Run what is missing, and write each chunk as it comes."""
    tell, plan = progress or (lambda _: None), store.plan
    missing = store.missing()
    if not missing:
        return
    done = plan.study.runs - sum(plan.span(number)[1] for number in missing)
    told = _Foretold(plan, missing)
    tell(f"{done} of {plan.study.runs} runs")
    for number, table in _made(plan, missing, workers=workers, cluster=cluster):
        store.write(number, table)
        told.through(number)
        done += plan.span(number)[1]
        tell(f"{done} of {plan.study.runs} runs")


@contextmanager
def _held(store: Store) -> Iterator[None]:
    """Hold the folder of results; one that was made for them and has none is taken away again."""
    new = not store.folder.exists()
    try:
        with store.held():
            try:
                yield
            except SurgeError:
                if new:
                    with suppress(OSError):  # there are runs: all of it stays
                        (store.folder / RUNS).rmdir()
                        (store.folder / MANIFEST).unlink()
                raise
    finally:
        if new:
            with suppress(OSError):  # it is not empty
                store.folder.rmdir()


class _Foretold:
    """What is left of a study, in at most ``PARTS`` parts: telling it takes a look at each."""

    def __init__(self, plan: Plan, numbers: list[int]) -> None:
        self.plan, size = plan, -(-len(numbers) // PARTS)
        self.part_of = {number: k // size for k, number in enumerate(numbers)}
        self.left = Counter(self.part_of.values())
        runs: Counter[int] = Counter()
        for number, part in self.part_of.items():
            runs[part] += plan.span(number)[1]
        self.parts = foresee(sorted(runs), lambda part: plan.effort * runs[part])

    def through(self, number: int) -> None:
        """Count a chunk as done."""
        at = self.part_of[number]
        with within(self.parts[at]):
            spend(self.plan.effort * self.plan.span(number)[1])
        self.left[at] -= 1
        self.parts[at].ended = self.left[at] == 0


def _made(plan: Plan, numbers: list[int], *, workers: int | None, cluster: str | None) -> Iterator[Made]:
    if cluster is None:
        return made_by(plan, numbers, workers=workers)
    from surge.studies.cluster import made_on

    return made_on(cluster, plan, numbers)


def _keep_worst(store: Store, made: Summary) -> None:
    """Write the case of the worst run, with the rules that it names."""
    worst = made.worst
    if worst is None:
        return
    plan = store.plan
    study, number = plan.study, worst.run // plan.chunk
    chunk = next(plan.some(iter([number])))
    text = text_of(study, worst.run, chunk.figures[worst.run - chunk.first].tolist())
    store.write_worst(text, study.rules.get(study.case_of(worst.run // study.samples)))
