"""What came of a study: counts, probabilities, the worst run, how pressures spread, which figure matters.

Decisions
---------
* Results are read chunk by chunk, twice: once for counts, ends and the worst run, once to sort pressures into
  ``BINS`` classes. Nothing grows with the number of runs but where Sobol indices are made.
* The worst run is the one that is not kept with the most of a limit used; where all are kept or cannot be
  decided, the one of those that comes nearest. One whose case cannot be read is counted, and cannot be shown.
  Of windows it is the one with the longest of the shortest strokes.
* Shares of a distribution are told at the upper ends of their classes: never too low.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from surge.arrays import Array
from surge.rules.findings import EXCEEDED, EXIT_CODE, UNDECIDED, WITHIN
from surge.studies.chances import Chance, chance_of
from surge.studies.columns import figure_column
from surge.studies.designs import SALTELLI
from surge.studies.indices import Index, indices_of
from surge.studies.plan import Plan
from surge.studies.schema import QUICK, WINDOW
from surge.studies.store import Store
from surge.studies.types import Study
from surge.studies.work import SEVERITY

BINS = 2000
MOST_CELLS = 2000  # line-ups that are told one by one
MOST_SEARCHED = 5000  # runs of windows that are told one by one
MATTERS = "peak_pa_gauge"  # the figure whose spread is explained


@dataclass(kw_only=True)
class Count:
    """Runs by what came of them."""

    kept: int = 0
    undecided: int = 0
    exceeded: int = 0

    def add(self, severity: int) -> None:
        """Count a run."""
        if severity == 0:
            self.kept += 1
        elif severity == 1:
            self.undecided += 1
        else:
            self.exceeded += 1

    @property
    def runs(self) -> int:
        """All of them."""
        return self.kept + self.undecided + self.exceeded

    @property
    def unsafe(self) -> int:
        """Those that are not kept for certain."""
        return self.undecided + self.exceeded

    @property
    def verdict(self) -> str:
        """The worst of them."""
        if self.exceeded:
            return EXCEEDED
        return UNDECIDED if self.undecided or not self.runs else WITHIN


@dataclass(frozen=True, kw_only=True)
class Spread:
    """How the highest pressure that is nearest to its limit spreads over runs.

    Attributes
    ----------
    name : str
        Of the line-up; "" for all.
    edges, counts : ndarray, shape (BINS + 1,) and (BINS,)
        Classes [Pa gauge, or share of the limit], and runs in each.
    limit : float
        The limit [Pa gauge], or 1.
    shares : bool
        The values are shares of limits that differ.
    lowest, highest : float
        Ends of the runs.
    missing : int
        Runs without such a pressure.
    """

    name: str
    edges: Array
    counts: Array
    limit: float
    shares: bool
    lowest: float
    highest: float
    missing: int

    def below(self, share: float) -> float:
        """Return a value that at least a share of the runs [-] do not exceed, from above."""
        reached = np.cumsum(self.counts) >= share * self.counts.sum() - 1e-9
        return min(float(self.edges[1 + int(np.argmax(reached))]), self.highest)


@dataclass(frozen=True, kw_only=True)
class Worst:
    """The worst run.

    Attributes
    ----------
    run : int
    name : str
        Its line-up.
    figures : tuple of (str, float)
        What was drawn: column and value.
    verdict, governing, scenario, reason : str
    sha256 : str
        Of the text of its case.
    used : float or None
    peak : (float, float) or None
        Pressure and limit [Pa gauge], where that governs.
    """

    run: int
    name: str
    figures: tuple[tuple[str, float], ...]
    verdict: str
    governing: str
    scenario: str
    reason: str
    sha256: str
    used: float | None
    peak: tuple[float, float] | None


@dataclass(frozen=True, kw_only=True)
class CellCount:
    """What came of one line-up."""

    cell: int
    name: str
    options: tuple[str, ...]
    count: Count
    chance: Chance | None


@dataclass(frozen=True, kw_only=True)
class Searched:
    """What a search found in one run."""

    run: int
    name: str
    options: tuple[str, ...]
    verdict: str
    reason: str
    windows: tuple[dict[str, Any], ...]
    rates: tuple[dict[str, Any], ...]


@dataclass(frozen=True, kw_only=True)
class Matter:
    """Which figure matters in one line-up; no indices where there is nothing to explain, or runs lack it."""

    name: str
    indices: tuple[Index, ...]


@dataclass(frozen=True, kw_only=True)
class Summary:
    """What came of a study.

    Attributes
    ----------
    study : Study
    count : Count
        Of all runs.
    cells : tuple of CellCount
        Of line-ups, as far as they are told one by one.
    worst : Worst or None
    unread : int
        Runs whose case could not be read.
    by_axis : tuple of tuple of Count
        Of each axis, and each of its options: all runs with it.
    spreads : tuple of Spread
        Of all runs; then of single line-ups with samples of their own.
    searched : tuple of Searched
    matters : tuple of Matter
    """

    study: Study
    count: Count
    cells: tuple[CellCount, ...]
    worst: Worst | None
    unread: int
    by_axis: tuple[tuple[Count, ...], ...] = ()
    spreads: tuple[Spread, ...] = ()
    searched: tuple[Searched, ...] = ()
    matters: tuple[Matter, ...] = ()

    @property
    def decides(self) -> bool:
        """Whether its runs are verdicts, or searches that a check confirms."""
        return self.study.run != QUICK

    @property
    def verdict(self) -> str:
        """The worst verdict; quick looks decide nothing."""
        return self.count.verdict if self.decides else UNDECIDED

    @property
    def exit_code(self) -> int:
        """That of the verdict."""
        return EXIT_CODE[self.verdict]

    @property
    def complete(self) -> bool:
        """Whether all runs are there."""
        return self.count.runs == self.study.runs


def summary_of(store: Store) -> Summary:
    """Read the results of a study and sum them up.

    Raises
    ------
    RequestError
        A file of the results is damaged.
    """
    return _Reader(store).summary()


class _Reader:
    """Reads the results of a study, chunk by chunk."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.plan: Plan = store.plan
        self.study = store.plan.study
        self.key = "look" if self.study.run == QUICK else "verdict"
        self.count, self.unread = Count(), 0
        self.by_cell: dict[int, list[Count]] = {}
        self.by_axis = tuple(tuple(Count() for _ in axis.options) for axis in self.study.axes)
        self.worst: tuple[tuple[int, float], dict[str, Any]] | None = None
        self.searched: list[Searched] = []
        self.limits: set[float] = set()
        self.ends: dict[int, list[float]] = {}  # of cells, -1 for all: pressure low, high, share low, high

    def summary(self) -> Summary:
        for table in self.store.tables():
            self._first(table)
        cells = tuple(self._cell(cell) for cell in sorted(self.by_cell))
        return Summary(
            study=self.study,
            count=self.count,
            cells=cells,
            worst=self._worst(),
            unread=self.unread,
            by_axis=self.by_axis,
            spreads=tuple(self._spreads()),
            searched=tuple(self.searched),
            matters=tuple(self._matters()),
        )

    # Counts and the worst run

    def _first(self, table: Any) -> None:
        names = ["run", self.key, "case_sha256"]
        rows = {name: table.column(name).to_pylist() for name in names}
        used = _nearness(table)
        for k, (run, verdict, sha) in enumerate(zip(*(rows[n] for n in names), strict=True)):
            severity = SEVERITY[verdict]
            self.count.add(severity)
            cell, sample = divmod(run, self.study.samples)
            for counts_of_axis, k_option in zip(self.by_axis, self.study.indices(cell), strict=True):
                counts_of_axis[k_option].add(severity)
            if self.study.cells <= MOST_CELLS:
                counts = self.by_cell.setdefault(cell, [])
                replicate = self.study.design.replicate_of(sample) if self.study.design else 0
                while len(counts) <= replicate:
                    counts.append(Count())
                counts[replicate].add(severity)
            if sha is None:
                self.unread += 1
                continue
            share = used[k]
            rank = severity, -math.inf if share is None else float(share)
            if self.worst is None or rank > self.worst[0]:
                self.worst = rank, {name: table.column(name)[k].as_py() for name in table.column_names}
        if self.study.run == WINDOW or "rates" in table.column_names:
            self._keep_searched(table)
        if "peak_pa_gauge" in table.column_names:
            self._ends(table)

    def _keep_searched(self, table: Any) -> None:
        for row in table.to_pylist() if len(self.searched) < MOST_SEARCHED else []:
            cell = row["run"] // self.study.samples
            self.searched.append(
                Searched(
                    run=row["run"],
                    name=self.study.name_of(cell),
                    options=tuple(o.name for o in self.study.options(cell)),
                    verdict=row["verdict"],
                    reason=row["reason"] or "",
                    windows=tuple(row.get("windows") or ()),
                    rates=tuple(row.get("rates") or ()),
                )
            )

    def _cell(self, cell: int) -> CellCount:
        counts, design = self.by_cell[cell], self.study.design
        whole = Count(
            kept=sum(c.kept for c in counts),
            undecided=sum(c.undecided for c in counts),
            exceeded=sum(c.exceeded for c in counts),
        )
        chance = (
            chance_of([c.unsafe for c in counts], [c.runs for c in counts], design)
            if design is not None
            else None
        )
        return CellCount(
            cell=cell,
            name=self.study.name_of(cell),
            options=tuple(o.name for o in self.study.options(cell)),
            count=whole,
            chance=chance,
        )

    def _worst(self) -> Worst | None:
        if self.worst is None:
            return None
        row = self.worst[1]
        peak = None
        if row.get("governing_check") == "peak" and row.get("peak_pa_gauge") is not None:
            peak = row["peak_pa_gauge"], row["peak_limit_pa_gauge"]
        return Worst(
            run=row["run"],
            name=self.study.name_of(row["run"] // self.study.samples),
            figures=tuple((one.name, row[figure_column(one)]) for one in self.study.uncertain),
            verdict=row[self.key],
            governing=row.get("governing") or "",
            scenario=row.get("governing_scenario") or "",
            reason=row["reason"] or "",
            sha256=row["case_sha256"],
            used=row.get("used"),
            peak=peak,
        )

    # Spread of the peak

    def _told_alone(self) -> bool:
        return 1 < self.study.cells <= MOST_CELLS and self.study.samples > 1

    def _groups(self, table: Any) -> Iterator[tuple[int, Array, Array]]:
        """Cells, -1 for all, with the peaks of their runs and their limits."""
        peak = table.column("peak_pa_gauge").to_numpy()
        limit = table.column("peak_limit_pa_gauge").to_numpy()
        yield -1, peak, limit
        if self._told_alone():
            cells = table.column("run").to_numpy() // self.study.samples
            for cell in np.unique(cells).tolist():
                here = cells == cell
                yield cell, peak[here], limit[here]

    def _ends(self, table: Any) -> None:
        for cell, peak, limit in self._groups(table):
            there = np.isfinite(peak)
            if not there.any():
                continue
            self.limits.update(np.unique(limit[there]).tolist())
            share = peak[there] / limit[there]
            old = self.ends.setdefault(cell, [math.inf, -math.inf, math.inf, -math.inf])
            self.ends[cell] = [
                min(old[0], float(peak[there].min())),
                max(old[1], float(peak[there].max())),
                min(old[2], float(share.min())),
                max(old[3], float(share.max())),
            ]

    def _spreads(self) -> Iterator[Spread]:
        if not self.ends:
            return
        shares = len(self.limits) > 1
        at = 2 if shares else 0
        whole = self.ends[-1][at : at + 2]
        edges = np.linspace(whole[0], max(whole[1], whole[0] + 1e-9 * max(1.0, abs(whole[0]))), BINS + 1)
        counts = {cell: np.zeros(BINS) for cell in self.ends}
        missing = dict.fromkeys(self.ends, 0)
        for table in self.store.tables(["run", "peak_pa_gauge", "peak_limit_pa_gauge"]):
            for cell, peak, limit in self._groups(table):
                if cell not in counts:
                    continue
                there = np.isfinite(peak)
                values = peak[there] / limit[there] if shares else peak[there]
                counts[cell] += np.histogram(values, edges)[0]
                missing[cell] += int((~there).sum())
        for cell in sorted(self.ends):
            low, high = self.ends[cell][at : at + 2]
            yield Spread(
                name="" if cell < 0 else self.study.name_of(cell),
                edges=edges,
                counts=counts[cell],
                limit=1.0 if shares else next(iter(self.limits)),
                shares=shares,
                lowest=low,
                highest=high,
                missing=missing[cell],
            )

    # Which figure matters

    def _matters(self) -> Iterator[Matter]:
        design = self.study.design
        if design is None or design.kind != SALTELLI or self.study.run == WINDOW:
            return
        if self.count.runs < self.study.runs:
            return
        values = np.concatenate([self._column(t) for t in self.store.tables([MATTERS])])
        names = [one.name for one in self.study.uncertain]
        for cell in range(min(self.study.cells, MOST_CELLS)):
            part = values[cell * design.size : (cell + 1) * design.size]
            yield Matter(name=self.study.name_of(cell), indices=indices_of(part, names, seed=design.seed))

    @staticmethod
    def _column(table: Any) -> Array:
        return np.asarray(table.column(MATTERS).to_numpy(), dtype=float)


def _nearness(table: Any) -> list[float | None]:
    """How near each run comes to a limit: the share that is used, or of windows the longest stroke needed."""
    if "used" in table.column_names:
        used: list[float | None] = table.column("used").to_pylist()
        return used
    found: list[float | None] = []
    for windows in table.column("windows").to_pylist():
        needed = [w["shortest_s"] for w in windows or ()]
        found.append(math.inf if None in needed else max(needed, default=None))
    return found
