"""The door and the command line take the same: every option of a command is a parameter of what it calls."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any

import click
import pytest

import surge
from surge.api.check import CheckAnswer
from surge.api.fit import FitAnswer
from surge.api.forces import ForcesAnswer
from surge.api.proof import Proof
from surge.api.records import RecordsAnswer
from surge.api.stroke import StrokeAnswer
from surge.api.study import StudyAnswer
from surge.api.windows import WindowAnswer
from surge.cli.main import main

# What only a command has: where the answer goes, in which form it is printed, how long it may take.
PRINTING = {"output", "force", "as_json", "pictures", "page", "patient"}
# What only Python has, and why.
PYTHON_ONLY = {
    "progress": "the command's own line on standard error",
    "book": "rules as an object; a command takes those of the case",
    "kind": "the ending of the file's name says it",
    "kinds": "as kind",
    "style": "colours of the terminal",
    "self": "",
    "afresh": "--force, which every command that writes has",
}
UNITS = ("pressure", "flow", "length", "diameter")

Called = tuple[Callable[..., Any], str]


def of(function: Callable[..., Any], **names: str) -> dict[str, Called]:
    """Options of a command -> the function and its parameter."""
    return {option: (function, parameter) for option, parameter in names.items()}


def same(function: Callable[..., Any], *names: str) -> dict[str, Called]:
    return {name: (function, name) for name in names}


COMMANDS: dict[str, dict[str, Called]] = {
    "new": same(surge.new_case, "arms", "tanks", "through", "cargo"),
    "check": {
        **of(surge.check, case="what", no_remedies="remedies", **dict.fromkeys(UNITS, "units")),
        **same(CheckAnswer.text, "details"),
        **same(CheckAnswer.document, "histories"),
    },
    "window": {
        **same(surge.find_windows, "case", "valves", "shortest", "longest"),
        **same(surge.find_windows, "orders", "shapes", "bands", "sizes"),
        **same(WindowAnswer.text, "details"),
    },
    "study": {
        **same(surge.run_study, "study", "into", "workers", "cluster"),
        **of(surge.run_study, **dict.fromkeys(UNITS[:2], "units")),
        **same(StudyAnswer.text, "details"),
    },
    "chart": same(surge.survey, "case", "valve", "scenario", "rates", "strokes", "points"),
    "picture": {
        **of(surge.check, case="what", **dict.fromkeys(UNITS[:3], "units")),
        **of(CheckAnswer.draw, what="of", begin="span", end="span"),
        **same(CheckAnswer.draw, "scenario", "places", "to"),
    },
    "animate": {
        **of(surge.check, case="what", **dict.fromkeys(UNITS[:3], "units")),
        **of(CheckAnswer.animate, begin="span", end="span"),
        **same(CheckAnswer.animate, "scenario", "to", "seconds"),
    },
    "compare": {
        **same(surge.compare, "before", "after", "scenarios"),
        **of(surge.compare, **dict.fromkeys(UNITS, "units")),
    },
    "forces": {
        **same(surge.find_forces, "case", "scenarios"),
        **of(surge.find_forces, **dict.fromkeys(UNITS[:3], "units")),
        **same(ForcesAnswer.text, "details"),
    },
    "filling": {
        **same(surge.fill_lines, "case", "fillings"),
        **of(surge.fill_lines, **dict.fromkeys(UNITS[:3], "units")),
    },
    "fit": {
        **same(surge.fit_record, "case", "trace", "scenario", "wave_speed", "roughness", "minor_loss", "kv"),
        **same(
            surge.fit_record, "stroke", "start", "run_down", "inertia", "places", "decimal", "clock", "zeros"
        ),
        **of(surge.fit_record, begin="span", end="span", **dict.fromkeys(UNITS[:3], "units")),
        **same(FitAnswer.text, "details"),
    },
    "sheet": {
        **same(surge.make_sheet, "case", "records", "limits", "today"),
        **of(surge.make_sheet, no_window="window", **dict.fromkeys(UNITS[:3], "units")),
    },
    "records": {
        **of(surge.judge_records, file="path", tested="together"),
        **same(surge.judge_records, "case", "limits", "dates", "timed", "columns", "units", "joined"),
        **same(surge.judge_records, "interval", "today", "decimal"),
        **of(surge.run_measured_stroke, curve="valve"),
        **same(surge.run_measured_stroke, "scenario", "ends"),
        **same(RecordsAnswer.text, "details"),
    },
    "list": {
        **same(surge.list_known, "kind", "words", "temperature"),
        **of(surge.list_known, rules_file="rules"),
    },
    "offline": same(surge.pack_offline, "folder", "system", "python"),
    "verify": {**same(surge.verify, "only"), **same(Proof.text, "details")},
}
NO_ANSWER = {"page", "schema"}  # one serves what others answer, one copies a file that comes with the program


def parameters(function: Callable[..., Any]) -> set[str]:
    return set(inspect.signature(function).parameters)


def test_every_command_is_looked_at() -> None:
    assert set(main.commands) == set(COMMANDS) | NO_ANSWER


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_is_a_parameter_of_the_door(name: str) -> None:
    options = {p.name for p in main.commands[name].params if isinstance(p, click.Parameter)} - PRINTING
    assert options == set(COMMANDS[name])
    for function, parameter in COMMANDS[name].values():
        assert parameter in parameters(function), f"{function.__qualname__}({parameter}=...)"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_parameter_of_the_door_is_an_option(name: str) -> None:
    called = COMMANDS[name].values()
    for function in {function for function, _ in called}:
        asked = {parameter for other, parameter in called if other is function}
        left = parameters(function) - asked - set(PYTHON_ONLY)
        # A function behind several commands gets the rest from the others; units of words a window lacks.
        elsewhere = {p for other in COMMANDS.values() for f, p in other.values() if f is function}
        assert left - elsewhere <= ALLOWED.get(function.__name__, set()), (function.__name__, left)


# Parameters that no command has an option for.
ALLOWED = {
    "find_windows": {"units"},  # the command shows the units of the case
    "survey": {"units"},
    "run_measured_stroke": {"stroke", "case", "units"},  # FILE and --case, which judge_records has too
}


def test_a_measured_stroke_has_details_too() -> None:
    assert "details" in parameters(StrokeAnswer.text)
