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
