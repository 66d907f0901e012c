"""Pressure-surge (water-hammer) checker for tanker loading.

The names below are loaded when they are first used, so that ``import surge`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_WHERE = {
    "Assessment": "assess",
    "Case": "casefile",
    "CaseError": "errors",
    "LineUp": "lineup",
    "Scenario": "lineup",
    "SurgeError": "errors",
    "assess": "assess",
    "load_case": "casefile",
    "read_case": "casefile",
    "simulate": "run",
}
__all__ = [*_WHERE, "__version__"]  # noqa: PLE0604  names of _WHERE are strings


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        return getattr(import_module(f"surge.{_WHERE[name]}"), name)
    raise AttributeError(f"module 'surge' has no attribute {name!r}")
