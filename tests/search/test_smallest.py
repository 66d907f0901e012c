"""The search for the smallest safe value, on functions whose answer a dense scan finds."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surge.search.smallest import Samples, first_look, smallest_safe


def resolution(value: float) -> float:
    return max(0.01 * value, 0.1)


def found(
    margin: Callable[[float], float], *, spacing: float = 2.0, need: float = 0.0, swing: float = 0.0
) -> float | None:
    return smallest_safe(
        lambda xs: [margin(x) for x in xs],
        first_look(120.0, 0.5),
        need=need,
        resolution=resolution,
        spacing=spacing,
        hidden=lambda t: 2 * swing * min(1.0, (4 * spacing / t) ** 2),
    )


def dense(margin: Callable[[float], float], need: float = 0.0) -> float:
    """Where a scan at a hundredth of the range of steps is unsafe last."""
    values = np.linspace(0.5, 120.0, 60_000)
    unsafe = values[np.array([margin(v) < need for v in values])]
    return float(unsafe.max()) if unsafe.size else 0.0


def test_a_monotone_margin() -> None:
    """Closed form: 10 - 150/T is zero at T = 15."""
    assert found(lambda t: 10.0 - 150.0 / t) == pytest.approx(15.0, abs=0.15)


def test_the_answer_is_never_below_the_last_unsafe_value() -> None:
    got = found(lambda t: 10.0 - 150.0 / t)
    assert got is not None
    assert got >= 15.0


def test_all_safe_and_none_safe() -> None:
    assert found(lambda _: 1.0) == 0.5
    assert found(lambda _: -1.0) is None
    assert found(lambda _: math.nan) is None


def test_a_need_moves_the_answer() -> None:
    assert found(lambda t: 10.0 - 150.0 / t, need=5.0) == pytest.approx(30.0, abs=0.3)


def test_an_unsafe_island_among_longer_strokes() -> None:
    """Safe at 8 s, unsafe about 14 s: a shorter stroke that is safe does not count."""

    def margin(t: float) -> float:
        return 10.0 - 50.0 / t - 12.0 * math.exp(-(((t - 14.0) / 1.5) ** 2))

    got = found(margin)
    assert got is not None
    assert margin(8.0) > 0.0
    assert got >= dense(margin)
    assert got == pytest.approx(dense(margin), abs=0.2)


def test_nothing_is_looked_at_twice() -> None:
    seen: list[float] = []

    def evaluate(xs: object) -> list[float]:
        values = list(xs)  # type: ignore[call-overload]
        seen.extend(values)
        return [10.0 - 150.0 / t for t in values]

    samples = Samples()
    values = first_look(120.0, 0.5)
    for need in (0.0, 1.0):
        smallest_safe(
            evaluate,
            values,
            need=need,
            resolution=resolution,
            spacing=2.0,
            hidden=lambda _: 0.0,
            samples=samples,
        )
    assert len(seen) == len(set(seen)) < 200


@settings(max_examples=100, deadline=None)
@given(
    level=st.floats(1.0, 20.0),
    scale=st.floats(5.0, 400.0),
    swing=st.floats(0.0, 6.0),
    period=st.floats(1.0, 8.0),
    phase=st.floats(0.0, 6.28),
    need=st.floats(0.0, 3.0),
)
def test_never_unsafe_where_a_dense_scan_finds_it(
    level: float, scale: float, swing: float, period: float, phase: float, need: float
) -> None:
    """A margin that rises with the stroke and swings with the pipeline period, less and less.

    Never on the unsafe side; on the other side it may give away what it could not prove.
    """

    def margin(t: float) -> float:
        wave = swing * math.sin(2 * math.pi * t / period + phase) * min(1.0, (period / t) ** 2)
        return level - scale / t + wave

    got = found(margin, spacing=period / 4, need=need, swing=swing)
    last = dense(margin, need)
    if got is None:
        assert margin(120.0) < need
    else:
        assert got >= last - 0.005  # the scan's own step
        assert got <= 1.1 * last + period + 0.2


def test_the_first_look_falls_from_end_to_end() -> None:
    values = first_look(120.0, 0.5)
    assert (values[0], values[-1]) == (120.0, 0.5)
    assert all(1.0 < a / b <= 1.18 + 1e-12 for a, b in zip(values, values[1:], strict=False))
