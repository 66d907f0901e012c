"""First screens of windows, records and measured strokes: thirty lines, the verdict at both ends."""

from __future__ import annotations

import contextvars
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from support.demos import CASES, Demos

import surge
from surge.api.windows import WindowAnswer
from surge.reports.layout import fit
from surge.reports.room import MOST, Part, fitted
from surge.reports.window_screen import Head, allowed
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.search.strokes import StrokeLimits
from surge.search.window import Windows

RECORDS = CASES / "records"
LONG = "a name of sixty letters, which is as long as a name can be, {:02}"
# Those of which other tests of the session ask for windows, or whose windows are quick.
QUICK = {
    "gas-oil-release-coupling": 'Close "quick-release coupling" in 8.6 s or more',
    "gasoline-through-cargo-pumps": "The case is not kept all the same:",
    "kerosene-shutdown-linked-and-not": "What to do",
    "restart-into-a-shut-deck-line": 'Open "manifold valve" in any time from 1 s on',
}


def on_a_screen(said: Callable[[], str], columns: int = 80) -> list[str]:
    """The lines of a text on a terminal of so many columns."""

    def lines() -> list[str]:
        fit(columns)
        return said().split("\n")

    return contextvars.copy_context().run(lines)


def hold(said: Callable[[], str], signature: str) -> str:
    """What every first screen keeps; the words of the one of 80 columns."""
    for columns in (80, 100):
        lines = on_a_screen(said, columns)
        assert sum(max(1, -(-len(line) // columns)) for line in lines) <= MOST
        verdicts = [i for i, line in enumerate(lines) if line.startswith("VERDICT: ")]
        assert len(verdicts) == 2
        assert signature in lines
        assert lines[verdicts[1] :] == lines[verdicts[0] : verdicts[0] + len(lines) - verdicts[1]]
    return " ".join(" ".join(on_a_screen(said)).split())


@pytest.mark.slow
@pytest.mark.parametrize("name", QUICK)
def test_windows_of_a_demo_fit_one_screen(name: str, demos: Demos) -> None:
    made = demos[name].windows
    assert QUICK[name] in hold(made.text, made.signature)


def test_a_window_says_what_the_case_has_and_what_was_held(demos: Demos) -> None:
    made = demos["kerosene-shutdown-linked-and-not"].windows
    text = hold(made.text, made.signature)
    assert 'In "not linked" "shore line" asks for 27.2 s or more' in text
    assert 'in "linked" the rule "Shutdown time at this berth" allows 26.0 s at most' in text
    assert 'Held meanwhile: "shore valve" at 28 s.' in text


def crowded(made: WindowAnswer) -> WindowAnswer:
    """Twelve valves with long names, each in four scenarios with long names."""
    (parts,) = made.by_valve.values()
    scenarios = [LONG.format(90 + k) for k in range(4)]
    by_valve = {
        LONG.format(i): tuple(
            replace(parts[0], valve=LONG.format(i), scenario=s, held={LONG.format(80): 9.0}, together=())
            for s in scenarios
        )
        for i in range(12)
    }
    return replace(made, by_valve=by_valve, opens_at={}, open_up_to={}, idle=(LONG.format(70),))


def test_twelve_valves_with_long_names_fit_too(demos: Demos) -> None:
    made = crowded(demos["kerosene-shutdown-linked-and-not"].windows)
    text = hold(made.text, made.signature)
    assert "each with a window (--details)" in text or "without a window (--details)" in text
    details = " ".join(made.text(details=True).split())
    assert all(LONG.format(i) in details for i in range(12))


def part(stroke: float, shortest: float | None, longest: float | None = None) -> StrokeLimits:
    return StrokeLimits(
        valve="v",
        scenario="s",
        period=1.0,
        stroke=stroke,
        shortest=shortest,
        from_=1.0,
        to=120.0,
        governs=None,
        run=None,
        looked=(),
        longest=longest,
        slow_rule=None,
        reason="" if shortest else "no stroke is shown to be safe",
        verdict=WITHIN if shortest else EXCEEDED,
    )


def test_the_valve_with_most_to_do_comes_first() -> None:
    inside, near = part(20.0, 10.0), part(10.5, 10.0)
    quick, slow = part(8.0, 10.0), part(40.0, 10.0, 30.0)
    heads = {name: Head(valves=(name,), parts=(p,)) for name, p in locals().items() if name != "heads"}
    heads["none"] = Head(valves=("none",), parts=(part(20.0, None),))
    heads["empty"] = Head(valves=("empty",), parts=(part(20.0, 25.0), part(20.0, 5.0, 22.0)))
    assert heads["empty"].verdict == EXCEEDED
    order = sorted(heads, key=lambda name: heads[name].order)
    assert set(order[:2]) == {"none", "empty"}
    assert order[2:] == ["quick", "slow", "near", "inside"]


def test_no_stroke_is_called_unsafe_where_it_cannot_be_decided() -> None:
    unsafe = part(20.0, None)
    undecided = replace(unsafe, verdict=UNDECIDED)
    assert Head(valves=("v",), parts=(undecided, unsafe)).fastest is unsafe


@pytest.mark.parametrize(
    ("bounds", "words"),
    [
        ((None, None), "none shown to be safe"),
        ((12.0, 10.0), "none: 12.0 s or more, and 10.0 s or less"),
        ((12.0, 0.0), "none in time"),
        ((1.0, None), "any from 1 s on"),
        ((1.0, 30.0), "up to 30.0 s"),
        ((12.0, 30.0), "12.0 s to 30.0 s"),
        ((12.04, None), "12.0 s or more"),
    ],
)
def test_safe_strokes_in_a_few_words(bounds: tuple[float | None, float | None], words: str) -> None:
    assert allowed(*bounds, tried=1.0) == words


def test_a_window_without_valves() -> None:
    assert Windows(by_valve={}, rates=()).verdict == WITHIN


@pytest.mark.parametrize("limits", [None, RECORDS / "limits.toml"])
def test_records_fit_one_screen(limits: Path | None) -> None:
    made = surge.judge_records(RECORDS / "stroke-tests.csv", limits=limits, today=date(2026, 2, 20))
    text = hold(made.text, made.signature)
    if limits:
        assert 'Look first at "T4S", closing' in text
        assert "Nothing to do: 15 closing with every limit kept, 22 opening without a limit." in text
    else:
        assert "add --limits with a limits file" in text
    assert "2 refused" in text
    details = " ".join(made.text(details=True).split())
    assert "How the answer was made" in details


def test_a_measured_stroke_fits_one_screen() -> None:
    curve, case = RECORDS / "manifold-valve-stroke.csv", CASES / "gasoline-drop-lines.toml"
    made = surge.run_measured_stroke(curve, case, "manifold valve")
    text = hold(made.text, made.signature)
    assert "alike" in text  # the deck line and the valve at its end
    assert "not kept or not decided (--details)" in text
    assert "It rests at 0.4 % when shut" in " ".join(made.text(details=True).split())


def test_what_went_comes_back_where_it_fits() -> None:
    """The long item goes; the two short ones that went before it fit again."""
    parts = [
        Part(["a"], [["x"], ["x"] * 6], lambda n: f"{n} more"),
        Part(["b"], [["y"], ["y"], ["y"]], lambda n: f"{n} more"),
    ]
    made = fitted(parts, 7, floors=((1, 1),))
    assert made == [["a", "x", "1 more"], ["b", "y", "y", "y"]]
