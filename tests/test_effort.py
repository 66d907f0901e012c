"""Work is counted before it begins, foretold by parts, and bounded for one answer."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surge.cli.shared import ProgressLine
from surge.effort import PACE, SURE, Meter, at_most, compiling, foresee, metered, spend, within
from surge.errors import PatienceError
from surge.workers import workers


def test_without_a_meter_nothing_is_counted() -> None:
    spend(1e30)
    (part,) = foresee([1.0], float)
    with within(part):
        spend(1e30)


def test_work_of_all_threads_counts_for_the_answer_that_asked_for_it() -> None:
    with metered(Meter()) as one, workers(4) as pool:
        list(pool.map(spend, [1.0] * 50))
    with metered(Meter()) as other:
        spend(3.0)
    assert (one.spent, other.spent) == (50.0, 3.0)


def test_more_than_it_may_is_refused_before_it_is_done() -> None:
    with metered(Meter(10.0)) as meter:
        for _ in range(3):
            spend(3.0)
        with pytest.raises(PatienceError, match="--patient"):
            spend(3.0)
    assert meter.granted == 9.0


def test_what_is_certainly_too_much_is_refused_before_it_begins() -> None:
    with metered(Meter(10.0)):
        foresee([4.0, 5.9 / SURE - 4.0], float)
    with metered(Meter(10.0)), pytest.raises(PatienceError):
        foresee([4.0, 10.1 / SURE - 4.0], float)


def test_parts_of_a_part_are_its_own_matter() -> None:
    with metered(Meter()) as meter:
        (whole,) = foresee([8.0], float)
        with within(whole):
            (inner,) = foresee([1e9], float)
            with within(inner):
                spend(2.0)
    assert len(meter.parts) == 1
    assert whole.spent == 2.0


@given(st.lists(st.tuples(st.floats(1.0, 1e6), st.floats(0.1, 10.0)), min_size=1, max_size=8))
def test_what_is_foretold_ends_at_what_was_done(parts: list[tuple[float, float]]) -> None:
    """However far off the first words were: parts that are through correct it; never below what is done."""
    with metered(Meter()) as meter:
        made = foresee([weight for weight, _ in parts], float)
        assert meter.foretold() == pytest.approx(sum(weight for weight, _ in parts))
        for part, (weight, times) in zip(made, parts, strict=True):
            with within(part):
                spend(weight * times)
                assert meter.foretold() >= meter.spent
    assert meter.foretold() == pytest.approx(sum(weight * times for weight, times in parts))


def test_parts_that_took_longer_lengthen_what_is_left() -> None:
    """Twenty where ten were expected, and the ten of what is usual: one and a half times as much is left."""
    with metered(Meter()) as meter:
        first, _ = foresee([10.0, 10.0], float)
        with within(first):
            spend(20.0)
    assert meter.foretold() == pytest.approx(20.0 + 1.5 * 10.0)


def test_small_parts_say_little_of_large_ones() -> None:
    with metered(Meter()) as meter:
        small, _ = foresee([1e-3, 1000.0], float)
        with within(small):
            spend(10.0)
    assert meter.foretold() < 1100.0


def test_time_left_at_the_start_is_that_of_the_usual_pace(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [0.0]
    monkeypatch.setattr("surge.effort.time.monotonic", lambda: now[0])
    with metered(Meter()) as meter:
        foresee([100 * PACE], float)
        now[0] = 3.0
        spend(1.0)
    left = meter.left()
    assert left is not None
    assert 100.0 < left < 1000.0


class Meant(Meter):
    """Says what it is told to."""

    def __init__(self, foretold: float, left: float | None) -> None:
        super().__init__(math.inf)
        self._foretold, self._left = foretold, left

    def foretold(self) -> float:
        return self._foretold

    def left(self) -> float | None:
        return self._left


@pytest.mark.parametrize(
    ("left", "words"),
    [
        (None, ""),
        (3.0, ", some seconds left"),
        (31.0, ", about 35 s left"),
        (89.0, ", about 90 s left"),
        (200.0, ", about 4 minutes left"),
    ],
)
def test_time_left_in_words(
    left: float | None, words: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ProgressLine, "SLOW", 0.0)
    line = ProgressLine(Meant(1e12, left))
    line("first march")
    assert capsys.readouterr().err == f"surge: 0 s{words}\n"


def test_a_pipe_hears_of_long_work_only_and_ever_more_seldom(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    now = [0.0]
    monkeypatch.setattr("surge.cli.shared.time.monotonic", lambda: now[0])
    for foretold, told in ((0.9 * ProgressLine.LONG, []), (1.1 * ProgressLine.LONG, [10, 20, 40, 80])):
        now[0] = 0.0
        line = ProgressLine(Meant(foretold, None))
        for second in range(100):
            now[0] = float(second)
            line("a march")
        line.done()
        assert capsys.readouterr().err.splitlines() == [f"surge: {second} s" for second in told]


def test_compiling_is_told_and_is_no_part_of_the_pace(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sixteen seconds of it, in a bounded part and in a thread of a pool: what is left stays as it was."""
    clock = [100.0]
    monkeypatch.setattr("surge.effort.time.monotonic", lambda: clock[0])
    meter, heard = Meter(), []
    meter.at_compiling = lambda: heard.append(clock[0])

    def compile_something() -> None:
        with compiling():
            clock[0] += 16.0

    with metered(meter):
        foresee([4e9], float)
        clock[0] += 1.0
        spend(4e8)
        before = meter.left()
        with at_most(1e9), workers(1) as pool:
            pool.submit(compile_something).result()
    assert heard == [101.0]
    assert meter.left() == before
