"""Whether the solver is ready: apart from the rest, so that asking costs no command its start."""

from __future__ import annotations

from pathlib import Path
from typing import Any


def solver_is_compiled() -> bool:
    """Whether the solver is compiled on this machine; if not, the first check takes some seconds more."""
    from surge.kernel.march import march

    return compiled_before(march)


def compiled_before(function: Any) -> bool:
    """Whether the compiler's cache holds a compiled function; when in doubt, no."""
    cache = getattr(getattr(function, "_cache", None), "cache_path", None)
    return cache is not None and any(Path(cache).glob("march.march*.nbi"))
