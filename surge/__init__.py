"""Pressure-surge (water-hammer) checker for tanker loading.

The names below are loaded when they are first used, so that ``import surge`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

# A name must not be that of a module of ours: importing the module would put it in the name's place.
_WHERE = {
    "Assessment": ("assess", "Assessment"),
    "Case": ("casefile", "Case"),
    "CaseError": ("errors", "CaseError"),
    "LineUp": ("lineup", "LineUp"),
    "Scenario": ("lineup", "Scenario"),
    "SurgeError": ("errors", "SurgeError"),
    "check": ("checks", "check"),
    "load_case": ("casefile", "load_case"),
    "read_case": ("casefile", "read_case"),
    "simulate": ("run", "simulate"),
}
__all__ = [*_WHERE, "__version__"]  # noqa: PLE0604  the names are strings


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        module, attribute = _WHERE[name]
        return getattr(import_module(f"surge.{module}"), attribute)
    raise AttributeError(f"module 'surge' has no attribute {name!r}")
