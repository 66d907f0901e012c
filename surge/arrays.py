"""Types of arrays, named once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
"""Real numbers, in SI units."""
Ints = NDArray[np.int64]
"""Rows, columns and counts."""
Mask = NDArray[np.bool_]
"""True where something holds."""

_FOLD = 64  # rows that are taken as one: measured on rows of ten to forty numbers


def down(how: np.ufunc, rows: Array) -> Array:
    """Return ``how.reduce(rows)``, many times as fast where rows are short and many.

    numpy goes over such an array row by row; here it goes over as many as ``_FOLD`` rows at once. A sum may
    differ from numpy's own by rounding.

    Parameters
    ----------
    how : numpy.ufunc
        add, maximum or minimum.
    rows : ndarray, shape (n, m)
        Contiguous, with one row at least.

    Returns
    -------
    ndarray, shape (m,)
    """
    count, width = rows.shape
    whole = count // _FOLD * _FOLD
    if whole == 0:
        return np.asarray(how.reduce(rows))
    folded = how.reduce(rows[:whole].reshape(whole // _FOLD, _FOLD * width))
    found = how.reduce(folded.reshape(_FOLD, width))
    return np.asarray(how(found, how.reduce(rows[whole:])) if whole < count else found)
