"""What was done to a measured curve, and what it shows, in plain sentences."""

from __future__ import annotations

from collections.abc import Callable

from surge.records.tests import Direction
from surge.valves.curve import FLAT, GAP, SIGMAS, MeasuredStroke


def notes_of(stroke: MeasuredStroke) -> tuple[str, ...]:
    """Everything about a measured stroke that its reader should know."""
    return (*stroke.curve.notes, *(text for progress in _TELL for text in [progress(stroke)] if text))


def _tell_movement(s: MeasuredStroke) -> str:
    way = "Closes" if s.direction is Direction.CLOSING else "Opens"
    text = f"{way} in {s.time:.2f} s, {len(s.curve.samples)} samples, usually {s.usual:.3g} s apart."
    if s.lead > 0.0:
        text += f" {s.lead:.2f} s before it moves are cut off: the case says itself when the movement begins."
    return text


def _tell_noise(s: MeasuredStroke) -> str:
    if s.noise == 0.0:
        return "The curve goes one way only: nothing was smoothed."
    return (
        f"Noise of {100 * s.noise:.2f} % rms (at most {100 * s.furthest:.1f} %) was taken off to make it go "
        f"one way, and the law is the straightest within ±{SIGMAS * 100 * s.sigma:.2f} % of that. Steepest "
        f"change within {s.window:.2f} s: {100 * s.fall_measured:.1f} % as measured, with "
        f"noise in it, {100 * s.fall_law:.1f} % in the law."
    )


def _tell_overshoot(s: MeasuredStroke) -> str:
    ends = [(s.over_open, "open"), (s.over_shut, "shut")]
    said = [f"{100 * x:.1f} % beyond {end}" for x, end in ends if x > max(3 * s.sigma, FLAT)]
    return (
        f"It overshoots by {' and '.join(said)}: clipped at the end, which is the steeper way."
        if said
        else ""
    )


def _tell_rest(s: MeasuredStroke) -> str:
    said = []
    least = max(s.sigma, 1e-4)
    if s.rest_shut > least:
        said.append(
            f"It rests at {100 * s.rest_shut:.1f} % when shut: a leak, or an indicator that is off. Taken as "
            "shut (a leak would soften the surge), the stroke stretched to reach 0"
        )
    elif s.rest_shut < -least:
        said.append(
            f"It rests at {100 * s.rest_shut:.1f} % when shut: the indicator is off. Taken as shut from 0 "
            "on, the earlier and steeper way"
        )
    if s.rest_open < 1.0 - least:
        said.append(
            f"It rests at {100 * s.rest_open:.1f} % when open: taken as fully open, the stroke stretched to "
            "begin at 100 %, which is the steeper way"
        )
    return ". ".join(said) + "." if said else ""


def _tell_gaps(s: MeasuredStroke) -> str:
    text = (
        f"Greatest change between two samples {100 * s.between:.1f} % (row {s.between_row}); longest time "
        f"between two in the movement {s.gap:.3g} s (row {s.gap_row})."
    )
    if s.gaps:
        gaps = "one gap" if s.gaps == 1 else f"{s.gaps} gaps"
        text += f" Samples are missing: {gaps} of more than {GAP:g} times the usual."
    return text


def _tell_steep(s: MeasuredStroke) -> str:
    if s.steep is None:
        return ""
    return (
        "How steep it was between the samples and within the noise is not known: a second law, as steep as "
        f"they allow (steps within ±{SIGMAS:g} times the noise from sample to sample, the whole of a coarse "
        "change or of a gap in its last tenth), is run as well. What only that one exceeds cannot be decided."
    )


_TELL: tuple[Callable[[MeasuredStroke], str], ...] = (
    _tell_movement,
    _tell_noise,
    _tell_overshoot,
    _tell_rest,
    _tell_gaps,
    _tell_steep,
)
