"""Measured curves: exact where they are clean, on the unsafe side and told where they are not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.inputs.measured_curves import sampled

from surge.errors import CaseError
from surge.records.curve_file import MeasuredCurve, Sample
from surge.records.stroke_tests import Direction
from surge.reports.measured import notes_of
from surge.valves.curve import SIGMAS, MeasuredStroke, stroke_of


def straight(u: float) -> float:
    return 1.0 - u


def two_stage(u: float) -> float:
    return 1.0 - 1.5 * u if u < 0.5 else 0.5 * (1.0 - u)


def at(law: tuple[tuple[float, float], ...], times: np.ndarray) -> np.ndarray:
    t, x = zip(*law, strict=True)
    return np.interp(times, t, x)


def text_of(stroke: MeasuredStroke) -> str:
    return " ".join(notes_of(stroke))


def refused(curve: MeasuredCurve) -> str:
    with pytest.raises(CaseError) as caught:
        stroke_of(curve)
    (fault,) = caught.value.faults
    assert fault.expected
    assert fault.remedy
    return f"{fault.path[1]}: {fault.found}"


@pytest.mark.parametrize("shape", [straight, two_stage])
def test_a_clean_curve_stays_what_it_is(shape: object) -> None:
    stroke = stroke_of(sampled(shape, 10.0, step=0.1))  # type: ignore[arg-type]
    assert stroke.direction is Direction.CLOSING
    assert stroke.time == pytest.approx(10.0, abs=1e-9)
    assert stroke.lead == pytest.approx(2.0, abs=1e-9)
    times = np.linspace(0.0, 10.0, 101)
    assert at(stroke.law, times) == pytest.approx([shape(t / 10.0) for t in times], abs=2e-9)  # type: ignore[operator]
    assert len(stroke.law) == (2 if shape is straight else 3)
    assert stroke.steep is None
    assert (stroke.noise, stroke.over_open, stroke.over_shut) == (0.0, 0.0, 0.0)
    assert "nothing was smoothed" in text_of(stroke)


def test_an_opening_curve_is_the_mirror() -> None:
    closing = sampled(two_stage, 10.0, noise=0.002)
    mirrored = MeasuredCurve(
        samples=tuple(Sample(row=s.row, time=s.time, position=1.0 - s.position) for s in closing.samples)
    )
    one, other = stroke_of(closing), stroke_of(mirrored)
    assert other.direction is Direction.OPENING
    for first, second in ((one.law, other.law), (one.steep, other.steep)):
        assert first is not None
        assert second is not None
        assert [(t, 1.0 - x) for t, x in second] == [
            (pytest.approx(t, abs=1e-6), pytest.approx(x, abs=1e-6)) for t, x in first
        ]


def test_noise_is_taken_off_and_both_extremes_stay_within_it() -> None:
    stroke = stroke_of(sampled(straight, 10.0, noise=0.004))
    assert 0.001 < stroke.noise < 0.004
    assert stroke.sigma == pytest.approx(0.004, rel=0.2)
    assert "Noise" in text_of(stroke)
    times = np.linspace(0.3, 9.7, 200)
    # Twice the half width (of the law, and of when it begins), and the noise that stays in the curve itself.
    near = (2 * SIGMAS + 4) * stroke.sigma
    assert stroke.steep is not None
    assert np.abs(at(stroke.law, times) - (1.0 - times / 10.0)).max() < near
    assert np.abs(at(stroke.steep, times) - (1.0 - times / 10.0)).max() < near
    assert len(stroke.law) < 20 < len(stroke.steep)
    assert stroke.fall_law < stroke.fall_measured


def test_a_steep_part_is_not_smoothed_away() -> None:
    def slams(u: float) -> float:
        return 1.0 - 0.85 * u if u < 0.9 else max(0.235 - (u - 0.9) / 0.02 * 0.235, 0.0)

    clean = stroke_of(sampled(slams, 20.0))
    noisy = stroke_of(sampled(slams, 20.0, noise=0.003))
    assert clean.fall_law == pytest.approx(clean.fall_measured, abs=1e-6)
    assert noisy.fall_law > clean.fall_law - 2 * SIGMAS * noisy.sigma


def test_rest_off_shut_counts_as_shut() -> None:
    stroke = stroke_of(sampled(straight, 10.0, rest=0.04))
    assert stroke.rest_shut == pytest.approx(0.04)
    assert stroke.law[-1] == (pytest.approx(10.0), 0.0)
    assert at(stroke.law, np.array([5.0]))[0] == pytest.approx(0.5)
    assert "a leak" in text_of(stroke)
    below = stroke_of(sampled(lambda u: 1.02 * (1.0 - u) - 0.02, 10.0))
    assert below.time == pytest.approx(10.0 / 1.02, abs=1e-6 + 0.05)
    assert "the indicator is off" in text_of(below)


def test_rest_off_open_counts_as_open() -> None:
    stroke = stroke_of(sampled(lambda u: 0.95 * (1.0 - u), 10.0))
    assert stroke.law[0] == (0.0, 1.0)
    assert stroke.law[-1] == (pytest.approx(10.0), 0.0)
    assert "when open" in text_of(stroke)


def test_overshoot_is_clipped_and_told() -> None:
    stroke = stroke_of(sampled(straight, 10.0, over=0.03))
    assert stroke.over_shut == pytest.approx(0.03, abs=0.006)
    assert stroke.time <= 10.0 + 1e-6
    assert min(x for _, x in stroke.law) == 0.0
    assert "overshoots by" in text_of(stroke)


def test_gaps_are_told_and_a_wide_one_is_refused_at_its_boundary() -> None:
    # 200 samples in 10 s: 0.5 % each. A fifth of the stroke may be missing, near shut a tenth.
    def missing(first: int, count: int) -> MeasuredCurve:
        return sampled(straight, 10.0, drop=range(first, first + count))

    gap = stroke_of(missing(100, 10))
    assert gap.gaps == 1
    assert gap.between == pytest.approx(11 * 0.005)
    assert gap.between_row == 112
    assert gap.steep is not None
    assert "Samples are missing" in text_of(gap)
    assert stroke_of(missing(100, 39)).between == pytest.approx(0.20)
    assert refused(missing(100, 40)).startswith("142: the opening changes by 20 %")
    assert stroke_of(missing(205, 19)).between == pytest.approx(0.10)
    assert "changes by 10 %" in refused(missing(205, 20))


def test_the_steep_law_makes_the_change_of_a_gap_at_its_end() -> None:
    stroke = stroke_of(sampled(straight, 10.0, drop=range(100, 130)))
    assert stroke.steep is not None
    begin, end = 99 * 0.05 - 2.0, 130 * 0.05 - 2.0
    times = np.array([end - 0.11 * (end - begin), end])
    assert at(stroke.steep, times) == pytest.approx([1.0 - begin / 10.0, 1.0 - end / 10.0], abs=1e-6)


@pytest.mark.parametrize(
    ("curve", "words"),
    [
        (MeasuredCurve(samples=()), "0 samples"),
        (sampled(lambda u: 1.0 - 0.7 * u, 10.0), "from 100 % to 30 %"),
        (sampled(lambda u: 1.0 - 0.89 * u, 10.0), "at rest at 11.0 % open where the valve should be shut"),
        (sampled(lambda u: 0.89 * (1.0 - u), 10.0), "at rest at 89.0 % open where the valve should be open"),
        (sampled(straight, 0.3), "7 samples within the movement"),
        (sampled(lambda u: straight(u) + (0.15 if 0.4 < u < 0.5 else 0.0), 10.0), "off every curve"),
        (sampled(lambda u: 1.2 - 1.2 * u, 10.0), "120.0 % open"),
        (sampled(straight, 620.0, step=10.0, lead=20.0, tail=20.0), "a movement of 620 s"),
        (sampled(straight, 0.1, step=0.005), "a movement of 0.1 s"),
    ],
)
def test_what_is_no_stroke_is_refused(curve: MeasuredCurve, words: str) -> None:
    assert words in refused(curve)


@given(
    st.lists(st.integers(0, 60), min_size=20, max_size=60),
    st.sampled_from([0.0, 0.0005, 0.003]),
    st.integers(0, 5),
)
@settings(deadline=None, max_examples=60)
def test_every_law_is_a_whole_stroke_that_goes_one_way(falls: list[int], noise: float, seed: int) -> None:
    total = sum(falls)
    shares = [1.0 - sum(falls[:k]) / total for k in range(len(falls) + 1)] if total else [1.0, 0.0]

    def shape(u: float) -> float:
        return float(np.interp(u * (len(shares) - 1), range(len(shares)), shares))

    try:
        stroke = stroke_of(sampled(shape, 12.0, noise=noise, seed=seed))
    except CaseError:
        return
    for law in (stroke.law, stroke.steep):
        if law is None:
            continue
        times, openings = zip(*law, strict=True)
        assert times[0] == 0.0
        assert all(a < b for a, b in zip(times, times[1:], strict=False))
        assert (openings[0], openings[-1]) == (1.0, 0.0)
        assert all(a >= b for a, b in zip(openings, openings[1:], strict=False))
    assert notes_of(stroke)


def test_a_valve_that_bounces_off_its_seat_still_goes_shut_in_the_law() -> None:
    """What it keeps open at the end would soften the surge: the law is a whole stroke all the same."""
    clean = sampled(straight, 10.0, step=0.1)
    last = clean.samples[-1].time
    bounced = [replace(s, position=0.04) if s.time > last - 0.6 else s for s in clean.samples]
    stroke = stroke_of(MeasuredCurve(samples=tuple(bounced)))
    assert stroke.steep is not None
    for law in (stroke.law, stroke.steep):
        assert (law[0][1], law[-1][1]) == (1.0, 0.0)
    assert stroke.time <= 10.0 + 1e-9
