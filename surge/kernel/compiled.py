"""Compiling for the machine at hand, and keeping what was compiled for the next time.

Where it cannot be kept (no folder that can be written, a full disk) or not be read again (a file that was cut
off), it is compiled anew: that takes some ten seconds and changes no figure.

Decisions
---------
* Compiled code takes arrays without reference counts (``_nrt=False``): counting made a march of a hundred
  nodes three times as long. So nothing compiled may allocate or return an array; the compiler refuses what
  does.
"""

from __future__ import annotations

from collections.abc import Callable

from numba import njit
from numba.core.caching import FunctionCache

TROUBLE: list[str] = []  # why compiled code could not be kept; empty when it could


class _Forgiving(FunctionCache):
    """The compiler's files, without which the work goes on."""

    def load_overload(self, sig: object, target_context: object) -> object:
        """Return compiled code of earlier, or None."""
        try:
            return super().load_overload(sig, target_context)
        except Exception:  # a damaged file can bring any error; compiled anew, it is written anew
            self._cache_file.flush()
            return None

    def save_overload(self, sig: object, data: object) -> None:
        """Keep compiled code, if it can be kept."""
        try:
            super().save_overload(sig, data)
        except OSError as error:
            TROUBLE.append(f"{self.cache_path}: {error.strerror}")


def jit(function: Callable[..., object]):  # type: ignore[no-untyped-def]
    """Compile a function of the kernel when it is first called, once for a machine.

    Parameters
    ----------
    function : callable
        Takes numbers and arrays, returns numbers.
    """
    made = njit(nogil=True, error_model="numpy", _nrt=False)(function)
    if not hasattr(made, "enable_caching"):
        return made  # the compiler is switched off
    try:
        made._cache = _Forgiving(function)
    except RuntimeError:  # the compiler found no folder that it may write
        TROUBLE.append("no folder for it can be written")
    return made


# Handing arrays to a function costs more than a law: laws are put where they are used.
inlined = njit(nogil=True, error_model="numpy", forceinline=True, _nrt=False)
