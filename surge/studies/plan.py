"""The plan of a study: which runs there are, in which chunks, and what each is expected to take.

Decisions
---------
* Runs are counted line-up by line-up: all samples of one, then those of the next. Every line-up gets the same
  samples, so that line-ups are compared at the same figures.
* A chunk is some seconds of work of one processor by what runs are expected to take. How long it is follows
  from the study alone: whoever runs it, and with how many workers, the same chunks have the same files.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from surge.arrays import Array
from surge.case.file import read_case
from surge.effort import PACE
from surge.errors import CaseError, SolveError
from surge.model.lineup import LineUp, Scenario
from surge.rules.assess import typical_effort
from surge.search.window import search_effort
from surge.studies.designs import Samples
from surge.studies.lineups import as_written, template
from surge.studies.schema import QUICK, VERDICT
from surge.studies.types import Study
from surge.transient.plan import first_effort
from surge.units import QuantityError

CHUNK = 5.0 * PACE  # effort of a chunk: some seconds of one processor
LAID_OUT = 0.002 * PACE  # of a run, and of each of its scenarios: to read the case, and to lay it out
MOST_CHUNK = 1000  # runs
SEARCHES = 2.0  # of a scenario: windows of its valves, and its greatest rate
TRIED = 8  # line-ups by which the effort of a run is judged


@dataclass(frozen=True, kw_only=True)
class Chunk:
    """Some runs, one after the other.

    Attributes
    ----------
    number : int
    first : int
        Its first run, from 0.
    figures : ndarray, shape (runs, uncertain figures)
        What is drawn, as written.
    """

    number: int
    first: int
    figures: Array

    @property
    def count(self) -> int:
        """How many runs."""
        return len(self.figures)


@dataclass(frozen=True, kw_only=True)
class Plan:
    """The plan of a study.

    Attributes
    ----------
    study : Study
    chunk : int
        Runs in a chunk.
    effort : float
        What a run is expected to take [-], see :mod:`surge.effort`.
    """

    study: Study
    chunk: int
    effort: float

    @property
    def chunks(self) -> int:
        """How many chunks there are."""
        return -(-self.study.runs // self.chunk)

    @property
    def total(self) -> float:
        """What all runs are expected to take [-]."""
        return self.effort * self.study.runs

    def span(self, number: int) -> tuple[int, int]:
        """Return the first run of a chunk, and how many it has."""
        first = number * self.chunk
        return first, min(self.chunk, self.study.runs - first)

    def some(self, numbers: Iterator[int]) -> Iterator[Chunk]:
        """Yield chunks of some numbers, which rise, with what is drawn for them."""
        drawn = _Drawn(self.study)
        for number in numbers:
            first, count = self.span(number)
            yield Chunk(number=number, first=first, figures=drawn.rows(first, count))


def plan_of(study: Study) -> Plan:
    """Return the plan of a study."""
    effort = _effort(study)
    return Plan(study=study, chunk=max(1, min(round(CHUNK / effort), MOST_CHUNK)), effort=effort)


def _effort(study: Study) -> float:
    """What a run takes: the mean of some line-ups, evenly among all [-]."""
    cells = np.unique(np.linspace(0, study.cells - 1, TRIED).astype(int))
    middle = [one.distribution.middle for one in study.uncertain]
    found = []
    for cell in cells.tolist():
        try:
            text = template(study, cell).text(middle)
            lineup = read_case(text, filename=study.filenames[study.case_of(cell)]).lineup
            marched = sum(_march(study.run, lineup, s) for s in lineup.scenarios)
            found.append(marched + LAID_OUT * (1 + len(lineup.scenarios)))
        except (QuantityError, CaseError, SolveError):
            continue  # such runs are refused at once
    return float(np.mean(found)) if found else LAID_OUT


def _march(run: str, lineup: LineUp, scenario: Scenario) -> float:
    if run == QUICK:
        return first_effort(lineup, scenario)
    if run == VERDICT:
        return typical_effort(lineup, scenario)
    return SEARCHES * search_effort(lineup, scenario)


class _Drawn:
    """What is drawn for runs, in their order."""

    def __init__(self, study: Study) -> None:
        self.study, self.samples = study, study.samples
        self._cell = -1
        self._rows: Samples | None = None
        matrix = np.array(study.correlation) if study.correlation else None
        self._mix = None if matrix is None else np.linalg.cholesky(matrix)

    def rows(self, first: int, count: int) -> Array:
        """Return the figures of runs, shape (count, figures) [as written]."""
        if self.study.design is None:
            return np.zeros((count, 0))
        parts = []
        while count:
            cell, sample = divmod(first, self.samples)
            n = min(count, self.samples - sample)
            if cell != self._cell or self._rows is None:
                self._rows, self._cell = Samples(self.study.design), cell
            parts.append(self._figures(self._rows.rows(sample, n)))
            first, count = first + n, count - n
        return np.vstack(parts)

    def _figures(self, shares: Array) -> Array:
        if self._mix is not None:
            shares = _correlated(shares, self._mix)
        columns = [one.distribution.at(shares[:, k]) for k, one in enumerate(self.study.uncertain)]
        return np.array([[as_written(v) for v in column.tolist()] for column in columns]).T


def _correlated(shares: Array, mix: Array) -> Array:
    """Shares whose normal scores are correlated, from shares that are not."""
    from scipy.special import ndtr, ndtri

    from surge.studies.distributions import LEAST

    scores = ndtri(np.clip(shares, LEAST, 1.0 - LEAST)) @ mix.T
    return np.asarray(ndtr(scores))
