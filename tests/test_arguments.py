"""Every argument of every public function is held against what its signature says, and refused otherwise."""

from __future__ import annotations

import importlib
import inspect
import math
import pkgutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any, Literal, get_args, get_origin

import numpy as np
import pint
import pytest
from click.testing import CliRunner
from support.demos import Demos

import surge
import surge.api
from surge.api.answers import Answer, Picture
from surge.api.pictures import FilmAnswer
from surge.arguments import hint_of, hold
from surge.cli.main import main
from surge.errors import ArgumentError

ROOT = Path(__file__).parents[1]
CASE = str(ROOT / "cases" / "restart-into-a-shut-deck-line.toml")
OTHER = ROOT / "cases" / "gas-oil-release-coupling.toml"
RECORDS = str(ROOT / "cases" / "records" / "stroke-tests.csv")

# What is right for a parameter that must be given. A wrong value is refused before these are looked at.
RIGHT: dict[str, Any] = {
    "before": CASE,
    "after": CASE,
    "case": CASE,
    "filename": "a case",
    "folder": "no such folder",
    "kind": "liquids",
    "kinds": ["png"],
    "path": RECORDS,
    "size": 1000,
    "stroke": RECORDS,
    "study": CASE,
    "system": "windows",
    "text": "",
    "trace": RECORDS,
    "valve": "a valve",
    "what": CASE,
}
# No text, number, list, day, path, case, function or anything else that a function takes.
NOTHING = [object(), 2j, [object()], {"a": object()}, {object(): "a"}]
NONE = type(None)
U = pint.UnitRegistry()
SIGNED = {
    "clock",
    "ends",
}  # before an instant or after it, positions in the unit of a file: any finite number


def answers() -> Iterator[type]:
    for module in pkgutil.iter_modules(surge.api.__path__):
        for _, kind in inspect.getmembers(
            importlib.import_module(f"surge.api.{module.name}"), inspect.isclass
        ):
            if issubclass(kind, (Answer, Picture, FilmAnswer)) and kind.__module__.startswith("surge.api"):
                yield kind


def door() -> dict[str, Callable[..., Any]]:
    """Every public function, and every public method of an answer, by its name."""
    found = {n: getattr(surge, n) for n in surge.__all__ if inspect.isfunction(getattr(surge, n))}
    found["read_stroke"] = importlib.import_module("surge.api.stroke").read_stroke
    for kind in answers():
        for name, method in inspect.getmembers(kind, inspect.isfunction):
            if not name.startswith("_") and method.__module__.startswith("surge.api"):
                found[method.__qualname__] = method
    return found


DOOR = door()
INSIDE = {"CaseAnswer.signed"}  # lines are joined by the answers themselves
PARAMETERS = [
    (function, parameter)
    for function in sorted(DOOR.keys() - INSIDE)
    for parameter in inspect.signature(DOOR[function]).parameters
    if parameter != "self"
]


def call(function: str, parameter: str, value: Any, **right: Any) -> Any:
    """Call a function with one wrong argument; of an answer it must not come to need anything."""
    own = inspect.signature(DOOR[function]).parameters
    given = {n: RIGHT[n] for n, p in own.items() if n in RIGHT and p.default is p.empty}
    given |= {n: None for n in own if n == "self"} | right | {parameter: value}
    return DOOR[function](**given)


def refused(function: str, parameter: str, value: Any, **right: Any) -> ArgumentError:
    with pytest.raises(surge.RequestError) as caught:
        call(function, parameter, value, **right)
    assert isinstance(caught.value, ArgumentError), (function, parameter, value, caught.value)
    assert parameter in caught.value.names
    assert caught.value.remedy
    return caught.value


def wrong(parameter: str, hint: Any) -> Iterator[Any]:
    """What a parameter may not be, by what kinds of things it may be."""
    yield from NOTHING
    text = str(hint)
    kinds = list(parts(hint))
    if float in kinds or int in kinds or "pint quantity" in text:
        bad = [math.nan, math.inf, -math.inf, 10**400, -(10**400), True, "1"] + (
            [] if parameter in SIGNED else [-1.0]
        )
        pair = any(get_origin(kind) is tuple for kind in kinds)
        bad += [U.Quantity(m, u) for m in ([1, 2], 1j) for u in ("s", "m**3/s", "K")]
        yield from [(b, 5.0) for b in bad] + [(5.0, b) for b in bad] + [(1.0,), 5.0] if pair else bad
        if parameter in {"rates", "strokes"}:
            yield from [(2.0, 1.0), (0.0, 1.0), (1.0, 1e9)]
    for words in (get_args(kind) for kind in kinds if get_origin(kind) is Literal):
        for word in words:
            bad_words = [word[:-1], word.upper(), word + " ", "", 1 if NONE in kinds else None]
            yield from ([[b] for b in bad_words] + [word] if "Sequence" in text else bad_words)
    if bool in kinds:
        yield from ["no", "", 1, 0] + ([] if NONE in kinds else [None])
    if "Sequence[str]" in text:
        yield from ["text", b"text", [1], {"a": 1}, None]
    if "Mapping[str, str]" in text:
        yield from ["text", ["text"], {"a": 1}, {1: "a"}]
    if date in kinds:
        yield datetime(2026, 2, 20, 12)


def parts(hint: Any) -> Iterator[Any]:
    """An annotation and everything inside it."""
    yield hint
    inside = get_args(hint)[:1] if get_origin(hint) is Annotated else get_args(hint)
    if get_origin(hint) is not Literal:
        for one in inside:
            yield from parts(one)


def test_the_whole_door_is_looked_at() -> None:
    assert {
        "check",
        "draw",
        "survey",
        "simulate",
        "CheckAnswer.animate",
        "Proof.page",
        "Picture.save",
    } <= set(DOOR)
    assert len(PARAMETERS) > 90


@pytest.mark.parametrize(("function", "parameter"), PARAMETERS)
def test_what_an_argument_may_not_be_is_refused_before_anything_is_done(
    function: str, parameter: str
) -> None:
    """A parameter that a function does not hold against its annotation takes an object of no kind."""
    right = (
        {"lineup": surge.load_case(CASE).lineup} if function == "simulate" and parameter != "lineup" else {}
    )
    if function == "simulate" and parameter != "scenario":
        right["scenario"] = surge.load_case(CASE).lineup.scenarios[0]
    if function == "fill":
        lineup = surge.load_case(str(ROOT / "cases" / "gas-oil-first-fill.toml")).lineup
        right |= {
            k: v for k, v in {"lineup": lineup, "filling": lineup.fillings[0]}.items() if k != parameter
        }
    if "answer" in inspect.signature(DOOR[function]).parameters and parameter != "answer":
        right["answer"] = an_answer(function)
    if function == "draw_chart" and parameter != "chart":
        right["chart"] = an_answer(function)
    if function == "FilmAnswer.file" and parameter != "kind":
        right["kind"] = "gif"
    for value in wrong(parameter, hint_of(inspect.unwrap(DOOR[function]), parameter)):
        refused(function, parameter, value, **right)


def an_answer(function: str) -> Any:
    """An answer of the right kind without anything in it."""
    own = inspect.unwrap(DOOR[function])
    kind = hint_of(own, next(iter(inspect.signature(own).parameters)))
    kind = surge.api.check.CheckAnswer if kind is Answer else kind
    return object.__new__(kind)


@pytest.mark.parametrize(
    ("function", "given", "names"),
    [
        ("find_windows", {"shortest": 30.0, "longest": 20.0}, ("shortest", "longest")),
        ("find_windows", {"shortest": 20.0, "longest": 20.0}, ("shortest", "longest")),
        ("find_windows", {"shortest": 0.01}, ("shortest",)),
        ("find_windows", {"longest": 4000.0}, ("longest",)),
        ("survey", {"points": 2}, ("points",)),
        ("survey", {"points": 10.0}, ("points",)),
        ("list_known", {"kind": "liquids", "temperature": 20.0}, ("temperature",)),
        ("list_known", {"kind": "liquids", "words": "benzene"}, ("words",)),
        ("make_sheet", {"limits": RECORDS}, ("limits",)),
        ("check", {"units": {"pressure": "bars"}}, ("pressure",)),
        ("check", {"units": {"presure": "bar"}}, ("units",)),
        ("judge_records", {"today": "20.2.2026"}, ("today",)),
        ("judge_records", {"columns": {"Stroke": "tyme"}}, ("columns",)),
        ("judge_records", {"units": {"time": "moons"}}, ("unit",)),
        ("judge_records", {"dates": "dayfirst"}, ("dates",)),
        ("judge_records", {"timed": "from order"}, ("timed",)),
    ],
)
def test_what_is_asked_for_that_cannot_be(
    function: str, given: dict[str, Any], names: tuple[str, ...]
) -> None:
    own = inspect.signature(DOOR[function]).parameters
    with pytest.raises(ArgumentError) as caught:
        DOOR[function](**({n: RIGHT[n] for n, p in own.items() if p.default is p.empty} | given))
    assert caught.value.names == names


def test_the_shortest_stroke_is_below_the_longest_looked_at_by_itself() -> None:
    with pytest.raises(ArgumentError, match="the longest stroke looked at is 120 s"):
        surge.find_windows(OTHER, shortest=200.0)
    told = CliRunner().invoke(main, ["window", str(OTHER), "--shortest", "200 s"])
    assert (told.exit_code, told.stdout) == (2, "")
    assert "--shortest 200 s: the longest stroke looked at is 120 s" in told.stderr


def test_an_answer_takes_no_other_case(demos: Demos) -> None:
    answer, other = demos[Path(CASE).stem].answer, surge.load_case(OTHER)
    records = surge.judge_records(RECORDS, today="2026-02-20")
    for call in (
        lambda: surge.report(answer, other),
        lambda: surge.draw(answer, other),
        lambda: surge.report(records, other),
        lambda: surge.report(surge.list_known("hoses"), other),
    ):
        with pytest.raises(ArgumentError, match="this answer was made from"):
            call()
    same_text = surge.read_case(other.file.text + '\n[rules]\nfile = "ours.toml"\n', filename=other.filename)
    elsewhere = surge.read_case(same_text.file.text, filename="elsewhere/case.toml")
    from surge.api.verbs import _refuse_another

    held = object.__new__(surge.api.check.CheckAnswer)
    object.__setattr__(held, "case", same_text)
    _refuse_another(held, same_text)
    with pytest.raises(ArgumentError, match="this answer was made from"):  # its rules are another file
        _refuse_another(held, elsewhere)


def test_what_has_no_use_is_refused(demos: Demos) -> None:
    answer = demos[Path(CASE).stem].answer
    for given in ({"of": "line", "span": (1.0, None)}, {"of": "map", "places": ["x"]}, {"to": "a tank"}):
        with pytest.raises(ArgumentError, match="has no use in the picture"):
            answer.draw(**given)
    with pytest.raises(ArgumentError, match="only a case has words"):
        surge.check(answer.case.lineup, units={"pressure": "psi"})
    with pytest.raises(ArgumentError, match="no more details"):
        surge.report(surge.list_known("hoses"), details=True)


@pytest.mark.parametrize(
    ("words", "function", "given"),
    [
        (["picture", CASE, "--of", "maps"], "CheckAnswer.draw", {"self": None, "of": "maps"}),
        (
            ["records", RECORDS, "--dates", "dayfirst"],
            "judge_records",
            {"path": RECORDS, "dates": "dayfirst"},
        ),
        (["records", RECORDS, "--timed", "orders"], "judge_records", {"path": RECORDS, "timed": "orders"}),
        (["records", RECORDS, "--today", "now"], "judge_records", {"path": RECORDS, "today": "now"}),
        (
            ["records", RECORDS, "--unit", "time=x"],
            "judge_records",
            {"path": RECORDS, "units": {"time": "x"}},
        ),
        (["window", CASE, "--shortest", "0.01 s"], "find_windows", {"case": CASE, "shortest": 0.01}),
        (
            ["window", CASE, "--shortest", "9 s", "--longest", "3 s"],
            "find_windows",
            {"case": CASE, "shortest": 9.0, "longest": 3.0},
        ),
        (["chart", CASE, "--json", "--points", "101"], "survey", {"case": CASE, "points": 101}),
        (["sheet", CASE, "--json", "--limits", CASE], "make_sheet", {"case": CASE, "limits": CASE}),
        (["check", CASE, "--pressure", "bars"], "check", {"what": CASE, "units": {"pressure": "bars"}}),
    ],
)
def test_the_command_line_says_the_same(words: list[str], function: str, given: dict[str, Any]) -> None:
    with pytest.raises(ArgumentError) as caught:
        DOOR[function](**given)
    told = CliRunner().invoke(main, words)
    assert (told.exit_code, told.stderr) == (2, f"surge: {caught.value.as_option}\n")


def test_what_is_right_is_taken() -> None:
    """Numbers of other libraries, lists for pairs, days as text: what was taken stays so."""
    second = pint.UnitRegistry().second
    rates = hint_of(inspect.unwrap(surge.survey), "strokes")
    for pair in (
        [2, 60],
        (np.float64(2.0), np.int64(60)),
        (2 * second, 1.0 * pint.get_application_registry().minute),
    ):
        hold("strokes", pair, rates)
    hold("today", date(2026, 2, 20), hint_of(inspect.unwrap(surge.judge_records), "today"))
    hold("case", surge.load_case(CASE), hint_of(inspect.unwrap(surge.judge_records), "case"))
    registry = hint_of(inspect.unwrap(Answer.quantities), "registry")
    for one in (None, pint.UnitRegistry(), pint.get_application_registry()):
        hold("registry", one, registry)


def test_help_and_import_load_nothing_more() -> None:
    script = "import surge, sys\nfrom click.testing import CliRunner\nfrom surge.cli.main import main\n"
    script += "for words in (['--help'], ['picture', '--help']): CliRunner().invoke(main, words)\n"
    script += "heavy = ('numpy', 'pydantic', 'pint', 'matplotlib', 'surge.arguments', 'surge.api')\n"
    script += "print([m for m in heavy if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
