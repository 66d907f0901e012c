"""Which uncertain figure matters: Sobol indices of a figure of the answer, by SALib.

Decisions
---------
* First-order and total indices with the half-width of their interval of ``LEVEL``, by resampling
  ``RESAMPLES`` times with a seed of its own.
* An index is told only of runs that all have the figure: with some left out the design is none. Where the
  figure does not vary there is nothing to explain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from surge.arrays import Array
from surge.errors import RequestError
from surge.studies.chances import LEVEL

RESAMPLES = 1000
INSTALL = 'pip install "surge[study]"'


@dataclass(frozen=True, kw_only=True)
class Index:
    """Indices of one uncertain figure [-], with the half-widths of their intervals."""

    name: str
    first: float
    first_half: float
    total: float
    total_half: float


def _problem(figures: int) -> dict[str, Any]:
    # As an array: SALib 1.5 hands them to a function of pandas that takes no list from pandas 3 on.
    names = np.array([f"x{k}" for k in range(figures)], dtype=object)
    return {"num_vars": figures, "names": names, "bounds": [[0.0, 1.0]] * figures}


def _lacking() -> RequestError:
    return RequestError(f"Sobol indices need the library SALib: {INSTALL}")


def sampled(figures: int, count: int, *, seed: int) -> Array:
    """Return Saltelli's design for first-order and total indices.

    Parameters
    ----------
    figures, count : int
        ``count`` is a power of two.
    seed : int

    Returns
    -------
    ndarray, shape (count * (figures + 2), figures)
        Shares [-].
    """
    try:
        from SALib.sample.sobol import sample
    except ImportError:
        raise _lacking() from None
    return np.asarray(sample(_problem(figures), count, calc_second_order=False, scramble=True, seed=seed))


def indices_of(values: Array, names: Sequence[str], *, seed: int) -> tuple[Index, ...]:
    """Return the indices of a figure over a design of :func:`sampled`.

    Parameters
    ----------
    values : ndarray, shape (count * (figures + 2),)
        The figure in the order of the design; empty indices where one is not finite, or all are the same.
    names : sequence of str
        Of the uncertain figures.
    seed : int
        Of the resampling.
    """
    if not np.all(np.isfinite(values)) or np.ptp(values) == 0.0:
        return ()
    try:
        from SALib.analyze.sobol import analyze
    except ImportError:
        raise _lacking() from None
    found = analyze(
        _problem(len(names)),
        np.asarray(values, dtype=float),
        calc_second_order=False,
        num_resamples=RESAMPLES,
        conf_level=LEVEL,
        seed=seed,
    )
    rows = zip(names, found["S1"], found["S1_conf"], found["ST"], found["ST_conf"], strict=True)
    return tuple(
        Index(name=n, first=float(s), first_half=float(sc), total=float(t), total_half=float(tc))
        for n, s, sc, t, tc in rows
    )
