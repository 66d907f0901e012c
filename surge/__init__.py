"""Pressure-surge (water-hammer) checker for tanker loading.

The names below are loaded when they are first used, so that ``import surge`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

# A name must not be that of a module of ours: importing the module would put it in the name's place.
_WHERE = {
    # Reading a case.
    "Case": ("casefile", "Case"),
    "load_case": ("casefile", "load_case"),
    "read_case": ("casefile", "read_case"),
    # Answers, one for each command that gives one.
    "check": ("checks", "check"),
    "find_windows": ("library", "find_windows"),
    "survey": ("library", "survey"),
    "judge_records": ("library", "judge_records"),
    # Answers in words and pictures.
    "report": ("library", "report"),
    "draw": ("library", "draw"),
    "draw_chart": ("library", "draw_chart"),
    "draw_records": ("library", "draw_records"),
    # What they are made of.
    "Assessment": ("assess", "Assessment"),
    "ChartData": ("chart", "ChartData"),
    "LineUp": ("lineup", "LineUp"),
    "Picture": ("library", "Picture"),
    "Scenario": ("lineup", "Scenario"),
    "Windows": ("window", "Windows"),
    "simulate": ("run", "simulate"),
    # Refusals.
    "CaseError": ("errors", "CaseError"),
    "SurgeError": ("errors", "SurgeError"),
}
__all__ = [*_WHERE, "__version__"]  # noqa: PLE0604  the names are strings


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        module, attribute = _WHERE[name]
        return getattr(import_module(f"surge.{module}"), attribute)
    raise AttributeError(f"module 'surge' has no attribute {name!r}")
