"""Pressure-surge (water-hammer) checker for tanker loading.

The names below are loaded when they are first used, so that ``import surge`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module

TYPE_CHECKING = False  # as that of typing, which would be a quarter of the time until an interrupt is quiet
if TYPE_CHECKING:
    from typing import Any

__version__ = "0.2.0"

# A name must not be that of a module of ours: importing the module would put it in the name's place.
_WHERE = {
    # Reading a case.
    "Case": ("case.file", "Case"),
    "load_case": ("case.file", "load_case"),
    "read_case": ("case.file", "read_case"),
    "new_case": ("api.new", "new_case"),
    # Answers, one for each command that gives one.
    "check": ("api.check", "check"),
    "find_windows": ("api.windows", "find_windows"),
    "run_study": ("api.study", "run_study"),
    "survey": ("api.chart", "survey"),
    "find_forces": ("api.forces", "find_forces"),
    "fill_lines": ("api.filling", "fill_lines"),
    "fit_record": ("api.fit", "fit_record"),
    "compare": ("api.compare", "compare"),
    "make_sheet": ("api.sheet", "make_sheet"),
    "judge_records": ("api.records", "judge_records"),
    "run_measured_stroke": ("api.stroke", "run_measured_stroke"),
    "list_known": ("api.known", "list_known"),
    "verify": ("api.proof", "verify"),
    "pack_offline": ("api.offline", "pack_offline"),
    # Answers in words and pictures: what their methods give.
    "report": ("api.verbs", "report"),
    "draw": ("api.verbs", "draw"),
    "draw_chart": ("api.verbs", "draw_chart"),
    "draw_records": ("api.verbs", "draw_records"),
    # What they are made of.
    "Assessment": ("rules.assess", "Assessment"),
    "ChartData": ("search.chart", "ChartData"),
    "Filling": ("model.filling", "Filling"),
    "LineUp": ("model.lineup", "LineUp"),
    "Picture": ("api.answers", "Picture"),
    "Scenario": ("model.lineup", "Scenario"),
    "Windows": ("search.window", "Windows"),
    "fill": ("transient.filling", "fill"),
    "simulate": ("transient.run", "simulate"),
    # Refusals.
    "ArgumentError": ("errors", "ArgumentError"),
    "CaseError": ("errors", "CaseError"),
    "RequestError": ("errors", "RequestError"),
    "SurgeError": ("errors", "SurgeError"),
}
__all__ = [*_WHERE, "__version__"]  # noqa: PLE0604  the names are strings


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        module, attribute = _WHERE[name]
        return getattr(import_module(f"surge.{module}"), attribute)
    raise AttributeError(f"module 'surge' has no attribute {name!r}")
