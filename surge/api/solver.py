"""Whether the solver is ready: apart from the rest, so that asking costs no command its start."""

from __future__ import annotations


def solver_is_compiled() -> bool:
    """Whether the solver is compiled on this machine; if not, the first check takes some seconds more."""
    from surge.kernel.march import march

    return march.kept()
