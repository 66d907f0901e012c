"""A measured curve of position against time made into a stroke law, on the unsafe side.

Times [s]; positions and openings as fractions, 0 shut and 1 open [-]. What is done to the measured figures is
kept, so that it can be told: nothing is smoothed, clipped or shifted in silence.

Decisions
---------
* First the nearest monotone curve (isotonic regression: what is monotone stays exactly), then, within
  ``SIGMAS`` on both sides of it, two extremes. The taut string is the law; a staircase is the steepest that
  the samples allow.
* Isotonic regression alone leaves steps of noise: they rang the short deck line of the sea-line demo until it
  boiled. A smoothing filter would hide a real fall.
* Sigma is the greater of what was taken off and what second differences show.
* Noise of 0.2 % of the travel can leave a scenario at a low rate undecided: in the last per cent of the
  travel a step of noise is a large part of the flow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from surge.arrays import Array
from surge.errors import CaseError, Fault
from surge.model.lineup import Table
from surge.records.curve_file import MeasuredCurve
from surge.records.stroke_tests import Direction
from surge.valves.trend import monotone

# Bounds of our own, no source, but for the quarter.
LEAST_SAMPLES = 10  # within the movement
SHORTEST_CURVE, LONGEST_CURVE = 0.2, 600.0  # [s] of a stroke: what is beyond is a slip of the unit
LEAST_STROKE = 0.8  # [-] of the travel: less is no whole stroke
MOST_REST = 0.10  # [-] off its end at rest: more is no matter of an indicator
MOST_BEYOND = 0.10  # [-] beyond the ends: more means wrong units or ends
MOST_BACK = 0.05  # [-] off the monotone curve: more is no noise, the valve may have turned back
QUARTER = (
    0.25  # [-] opening; "the last quarter or less" of the port area does the work (ISGOTT 5th ed. 16.9.1)
)
MOST_BETWEEN = 0.20  # [-] between two samples: more tells nothing about the surge
MOST_NEAR_SHUT = 0.10  # [-] the same below a quarter
COARSE = 0.025  # [-] between two samples: from here the steeper law is run as well
NOISY = 0.001  # [-] rms: the same
SIGMAS = 2.0  # rms of noise on both sides, within which the steeper law stays
STEEP_PART = 0.1  # of a gap, or of the time of a coarse change, in which the steeper law makes all of it
WINDOW = 0.05  # of the movement time: the steepest fall is told over this
GAP = 3.0  # times the usual time between samples: longer is a gap
FLAT = 1e-9  # [-] knots nearer to a straight line than this are left out


@dataclass(frozen=True, kw_only=True, eq=False)
class MeasuredStroke:
    """A stroke law from a measurement.

    Attributes
    ----------
    curve : MeasuredCurve
    direction : Direction
    law : Table
        (time from the first movement, opening), a whole stroke; as straight as the noise allows.
    steep : Table or None
        The steepest law that the samples allow, for where noise or coarse samples may hide how steep it was;
        None where they hide nothing. What only this one exceeds cannot be decided.
    lead : float
        Time before the first movement, cut off [s].
    noise : float
        Root mean square of what was taken off to make the curve monotone [-].
    sigma : float
        Noise of a single sample [-]: the same or, if more, what the bends between samples show; where it
        moves fast, noise leaves the curve monotone, and nothing is taken off.
    furthest : float
        The greatest single part of it [-].
    over_open, over_shut : float
        How far the position went beyond its ends [-].
    rest_open, rest_shut : float
        Position at rest at either end [-].
    usual : float
        Usual time between samples [s].
    gap, gap_row : float, int
        Longest time between two samples of the movement [s], and the row after it.
    gaps : int
        Times between samples longer than three times the usual one.
    between, between_row : float, int
        Greatest change of opening between two samples [-], and the row after it.
    window : float
        Time over which the steepest falls are told [s].
    fall_measured, fall_law : float
        Greatest change of opening within it, of the samples and of the law [-].
    """

    curve: MeasuredCurve
    direction: Direction
    law: Table
    steep: Table | None
    lead: float
    noise: float
    sigma: float
    furthest: float
    over_open: float
    over_shut: float
    rest_open: float
    rest_shut: float
    usual: float
    gap: float
    gap_row: int
    gaps: int
    between: float
    between_row: int
    window: float
    fall_measured: float
    fall_law: float

    @property
    def time(self) -> float:
        """Movement time [s]."""
        return self.law[-1][0]


def stroke_of(curve: MeasuredCurve) -> MeasuredStroke:
    """Make a stroke law of a measured curve.

    Parameters
    ----------
    curve : MeasuredCurve
        Times strictly rising.

    Raises
    ------
    CaseError
        The curve is no whole stroke, goes beyond its ends, turns back, or is too coarse to tell the surge.

    Notes
    -----
    Nearest to the samples lies one monotone curve; the law is the straightest line within the noise about it,
    so a clean curve stays exactly what it is, and a fall that is greater than the noise stays in the law. The
    steep law is the other extreme, a staircase within the same noise. Where there is a choice the steeper way
    is taken: the position at rest near shut counts as shut (a leak would leave the valve passing), beyond its
    ends the valve stands at the end, what is within the noise of an end is at the end.
    """
    rows = [s.row for s in curve.samples]
    times = np.array([s.time for s in curve.samples])
    seen = np.array([s.position for s in curve.samples])
    closing = _whole_stroke(rows, seen)
    fit = monotone(seen, rising=not closing)
    off = seen - fit
    noise = float(np.sqrt(np.mean(off**2)))
    noise = noise if noise > FLAT else 0.0  # equal samples pooled differ by the rounding of their mean
    sigma = max(noise, _scatter(seen)) if noise else 0.0
    first, last = _rests(seen, fit, sigma)
    opened, shut = (first, last) if closing else (last, first)
    _refuse_ends(rows, seen, opened, shut)
    _refuse_turning(rows, off, seen, noise)
    low, high = max(shut, 0.0), min(opened, 1.0)
    edge = SIGMAS * sigma / (high - low)
    opening = np.clip((fit - low) / (high - low), 0.0, 1.0)
    opening = np.where(opening >= 1.0 - edge, 1.0, np.where(opening <= edge, 0.0, opening))
    # Where it comes to rest it counts as at its end, even if it bounced there: it is a whole stroke.
    for end, value in ((fit[0], 1.0 if closing else 0.0), (fit[-1], 0.0 if closing else 1.0)):
        opening = np.where(np.abs(fit - end) <= FLAT, value, opening)
    moved = _movement(opening)
    t, x = times[moved] - times[moved.start], opening[moved]
    of_move = rows[moved.start : moved.stop]
    steps, changes = np.diff(t), np.abs(np.diff(x))
    _refuse_coarse(of_move, steps, changes, x)
    _refuse_time(of_move, float(t[-1]))
    law = _straightest(t, x, edge) if edge > 0.0 else _knots(t, x)
    window = max(WINDOW * float(t[-1]), 2.0 * float(np.median(steps)))
    return MeasuredStroke(
        curve=curve,
        direction=Direction.CLOSING if closing else Direction.OPENING,
        law=law,
        steep=_steepest(t, x, edge) if sigma > NOISY or float(changes.max()) > COARSE else None,
        lead=float(times[moved.start] - times[0]),
        noise=noise,
        sigma=sigma,
        furthest=float(np.max(np.abs(off))),
        over_open=max(float(seen.max()) - 1.0, 0.0),
        over_shut=max(-float(seen.min()), 0.0),
        rest_open=opened,
        rest_shut=shut,
        usual=float(np.median(np.diff(times))),
        gap=float(steps.max()),
        gap_row=of_move[int(steps.argmax()) + 1],
        gaps=int(np.sum(np.diff(times) > GAP * np.median(np.diff(times)))),
        between=float(changes.max()),
        between_row=of_move[int(changes.argmax()) + 1],
        window=window,
        fall_measured=_fall(times, seen, window) / (high - low),
        fall_law=_fall(np.array([p[0] for p in law]), np.array([p[1] for p in law]), window),
    )


def _fault(row: int, found: str, expected: str, remedy: str) -> CaseError:
    return CaseError([Fault(path=("row", row, "position"), found=found, expected=expected, remedy=remedy)])


def _whole_stroke(rows: Sequence[int], seen: Array) -> bool:
    """Tell a closing from an opening stroke."""
    ends = max(1, seen.size // 20)
    first, last = (
        (float(np.median(part)) for part in (seen[:ends], seen[-ends:])) if seen.size else (0.0, 0.0)
    )
    if seen.size >= LEAST_SAMPLES and abs(last - first) >= LEAST_STROKE:
        return last < first
    raise _fault(
        rows[-1] if rows else 0,
        f"{seen.size} samples from {100 * first:.0f} % to {100 * last:.0f} % open",
        f"one whole stroke from one end to the other in {LEAST_SAMPLES} samples or more",
        "give a curve that begins with the valve at rest at one end and ends with it at rest at the other; "
        "if the position has other ends than 0 and 100 %, say --ends SHUT OPEN",
    )


def _rests(seen: Array, fit: Array, noise: float) -> tuple[float, float]:
    """Position at rest before and after the movement: the middle of the samples there."""
    if not noise:
        return float(fit[0]), float(fit[-1])
    found = []
    for end in (fit[0], fit[-1]):
        level = float(np.median(seen[np.abs(fit - end) <= 2 * SIGMAS * noise]))
        near = seen[np.abs(fit - level) <= SIGMAS * noise]
        found.append(float(np.median(near)) if near.size else level)
    return found[0], found[1]


def _scatter(seen: Array) -> float:
    """Noise from second differences, by their median absolute value: 1.4826 for normal scatter [-]."""
    return 1.4826 * float(np.median(np.abs(np.diff(seen, 2)))) / math.sqrt(6.0)


def _refuse_ends(rows: Sequence[int], seen: Array, opened: float, shut: float) -> None:
    beyond = np.maximum(seen - 1.0, -seen)
    if float(beyond.max()) > MOST_BEYOND:
        k = int(beyond.argmax())
        raise _fault(
            rows[k],
            f"{100 * seen[k]:.1f} % open",
            f"positions between {-100 * MOST_BEYOND:.0f} and {100 * (1 + MOST_BEYOND):.0f} %",
            "check the unit of the position and its ends; take out samples that are no measurement",
        )
    for rest, end, word in ((shut, 0.0, "shut"), (opened, 1.0, "open")):
        if abs(rest - end) > MOST_REST:
            raise _fault(
                rows[-1],
                f"at rest at {100 * rest:.1f} % open where the valve should be {word}",
                f"a position at rest within {100 * MOST_REST:.0f} % of its end",
                "find out whether the valve did not reach its end or the indicator is off, then say "
                "--ends SHUT OPEN or measure again",
            )


def _refuse_turning(rows: Sequence[int], off: Array, seen: Array, noise: float) -> None:
    k = int(np.abs(off).argmax())
    if abs(off[k]) > MOST_BACK:
        raise _fault(
            rows[k],
            f"{100 * seen[k]:.1f} % open, {100 * abs(off[k]):.1f} % off every curve that goes one way only "
            f"(noise elsewhere {100 * noise:.2f} % rms)",
            f"a stroke that goes one way, within {100 * MOST_BACK:.0f} %",
            "if the sensor slipped, leave the position of those rows blank; if the valve really turned back, "
            "write its movement into the case as a law of its own",
        )


def _movement(opening: Array) -> slice:
    """From the last sample at rest before the movement to the first one after it."""
    start = int(np.flatnonzero(opening == opening[0])[-1])
    return slice(start, int(np.flatnonzero(opening == opening[-1])[0]) + 1)


def _refuse_coarse(rows: Sequence[int], steps: Array, changes: Array, x: Array) -> None:
    if steps.size < LEAST_SAMPLES - 1:
        raise _fault(
            rows[-1],
            f"{steps.size + 1} samples within the movement",
            f"{LEAST_SAMPLES} or more",
            "measure again with a shorter time between samples",
        )
    near = np.minimum(x[1:], x[:-1]) < QUARTER
    used = changes / np.where(near, MOST_NEAR_SHUT, MOST_BETWEEN)
    k = int(used.argmax())
    if used[k] > 1.0 + FLAT:
        share = MOST_NEAR_SHUT if near[k] else MOST_BETWEEN
        raise _fault(
            rows[k + 1],
            f"the opening changes by {100 * changes[k]:.0f} % in {steps[k]:.2f} s between two samples",
            f"at most {100 * share:.0f} % {'near shut' if near[k] else ''}".rstrip()
            + ", since nobody knows how steep it was between them",
            "measure again with less time between samples, or fill in the missing ones from the recorder",
        )


def _refuse_time(rows: Sequence[int], time: float) -> None:
    if not SHORTEST_CURVE <= time <= LONGEST_CURVE:
        raise _fault(
            rows[-1],
            f"a movement of {time:g} s",
            f"a stroke from {SHORTEST_CURVE:g} to {LONGEST_CURVE:g} s",
            "check the unit of time in the title",
        )


def _fall(t: Array, x: Array, window: float) -> float:
    """Greatest change within a time [-]; it begins or ends at a point of the curve."""
    starts = np.clip(np.concatenate([t, t - window]), t[0], max(t[-1] - window, t[0]))
    return float(np.max(np.abs(np.interp(starts + window, t, x) - np.interp(starts, t, x)), initial=0.0))


def _knots(t: Array, x: Array) -> Table:
    """Leave out every point that lies on the straight line between those that stay."""
    kept = [(float(t[0]), float(x[0]))]
    low, high = -np.inf, np.inf
    for k in range(1, t.size):
        t0, x0 = kept[-1]
        slope = (x[k] - x0) / (t[k] - t0)
        if not low <= slope <= high:
            kept.append((float(t[k - 1]), float(x[k - 1])))
            t0, x0 = kept[-1]
            low, high = -np.inf, np.inf
        low = max(low, (x[k] - FLAT - x0) / (t[k] - t0))
        high = min(high, (x[k] + FLAT - x0) / (t[k] - t0))
    return (*kept, (float(t[-1]), float(x[-1])))


def _straightest(t: Array, x: Array, edge: float) -> Table:
    """The taut string from end to end within ``edge`` of the curve."""
    low, high = np.maximum(x - edge, 0.0), np.minimum(x + edge, 1.0)
    low[[0, -1]] = high[[0, -1]] = x[[0, -1]]
    points, at, k = [(float(t[0]), float(x[0]))], 0, 1
    floor, ceiling = (-np.inf, 0), (np.inf, 0)  # slope that keeps above, below all samples so far, and where
    while k < t.size:
        down, up = ((edge_[k] - points[-1][1]) / (t[k] - t[at]) for edge_ in (low, high))
        if down > ceiling[0] or up < floor[0]:
            at = ceiling[1] if down > ceiling[0] else floor[1]
            points.append((float(t[at]), float((high if down > ceiling[0] else low)[at])))
            floor, ceiling, k = (-np.inf, 0), (np.inf, 0), at + 1
            continue
        floor, ceiling = max(floor, (down, k)), min(ceiling, (up, k))
        k += 1
    return (*points, (float(t[-1]), float(x[-1])))


def _steepest(t: Array, x: Array, edge: float) -> Table:
    """A staircase within the noise about the law: it waits as long as it may, then goes as far as it may.

    A step of the noise takes the time between two samples; the change in a gap, or one that is coarse, takes
    the last tenth of its time only.
    """
    down = x if x[-1] < x[0] else 1.0 - x
    steps = np.diff(t)
    unseen = (np.abs(np.diff(x)) > COARSE) | (steps > GAP * np.median(steps))
    points, level = [(0.0, 1.0)], 1.0
    for k in range(1, t.size):
        if level > down[k] + edge:
            taken = steps[k - 1] * (STEEP_PART if unseen[k - 1] else 1.0)
            if t[k] - taken > points[-1][0]:
                points.append((float(t[k] - taken), level))
            level = max(float(down[k]) - edge, 0.0)
            points.append((float(t[k]), level))
    if level > 0.0:
        points.append((float(t[-1]), 0.0))
    if points[-1][0] < t[-1]:
        points.append((float(t[-1]), 0.0))
    return tuple(points if x[-1] < x[0] else ((s, 1.0 - y) for s, y in points))
