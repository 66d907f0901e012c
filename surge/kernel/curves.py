"""Head curves of pumps as piecewise cubics, in a form that compiled code can evaluate.

Units: flow [m3/s], head [m], speed as a fraction of full speed [-].

Decisions
---------
* Two points of a curve: H0 - c Q**2. Three: the parabola through them. More: a monotone cubic
  (Fritsch-Butland), which goes on as t0 - t2 Q**2 beyond its last point.
* A curve must fall everywhere; a line-up with another is refused.
* At standstill a pump resists with the Q**2 term of its curve.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surge.arrays import Array

Table = tuple[tuple[float, float], ...]


STANDSTILL = 1e-9  # [-] a speed below this is none; keeps the cubic term finite
ROUNDING = 1e-9  # [-] a coefficient that moves the head by less than this part of it is none


@dataclass(frozen=True, kw_only=True, eq=False)
class PumpCurve:
    """A head curve at full speed.

    Attributes
    ----------
    knots : ndarray of shape (n,)
        Flows where the pieces meet [m3/s], rising from 0; the last may be infinite.
    coef : ndarray of shape (n - 1, 4)
        H = c0 + c1 x + c2 x**2 + c3 x**3 with x = Q - knot.
    tail0, tail2 : float
        Beyond the last knot H = tail0 - tail2 Q**2; at standstill H = -tail2 Q|Q|.
    """

    knots: Array
    coef: Array
    tail0: float
    tail2: float


def pump_curve(points: Table) -> PumpCurve:
    """Return the curve through the points of a pump.

    Parameters
    ----------
    points : tuple of (flow, head)
        [m3/s], [m], flows rising from 0, at least two. Two: H0 - c Q**2; three: the parabola through them;
        both go on as they are. More: a monotone cubic, going on as t0 - t2 Q**2 with the value and slope of
        its end.

    Returns
    -------
    PumpCurve
        At full speed.

    Notes
    -----
    :func:`rising_from` says whether the curve falls; this function takes any.

    References
    ----------
    Fritsch & Butland 1984, A method for constructing local monotone piecewise cubic interpolants, SIAM J.
    Sci. Stat. Comput. 5, 300-304; from memory.
    """
    if len(points) <= 3:
        c0, c1, c2 = _parabola(points)
        return PumpCurve(
            knots=np.array([0.0, math.inf]), coef=np.array([[c0, c1, c2, 0.0]]), tail0=c0, tail2=-c2
        )
    flow, head = np.array(points, dtype=float).T
    slope = _monotone_slopes(flow, head)
    width = np.diff(flow)
    mean = np.diff(head) / width
    coef = np.column_stack(
        (
            head[:-1],
            slope[:-1],
            (3.0 * mean - 2.0 * slope[:-1] - slope[1:]) / width,
            (slope[:-1] + slope[1:] - 2.0 * mean) / width**2,
        )
    )
    tail2 = float(-slope[-1] / (2.0 * flow[-1]))
    tail0 = float(head[-1] + tail2 * flow[-1] ** 2)
    return PumpCurve(knots=flow, coef=np.ascontiguousarray(coef), tail0=tail0, tail2=tail2)


def pump_head(
    flow: float,
    speed: float,
    first: int,
    last: int,
    knots: Array,
    coef: Array,
    tail0: float,
    tail2: float,
) -> tuple[float, float]:
    """Return the head of a pump [m] and its slope dH/dQ [s/m2], in a form that numba compiles.

    Parameters
    ----------
    flow : float
        [m3/s], either sign: H(-Q) = 2 H(0) - H(Q).
    speed : float
        Fraction of full speed [-], 0 or more: H = n**2 H1(Q/n), which at standstill is -tail2 Q|Q|.
    first, last : int
        Rows of the curve among those of many: handing over a part of an array would cost more than the law.
    knots, coef, tail0, tail2
        As in :class:`PumpCurve`.
    """
    q = abs(flow)
    if speed < STANDSTILL:
        return -tail2 * q * flow, -2.0 * tail2 * q
    if q >= speed * knots[last - 1]:
        head = speed * speed * tail0 - tail2 * q * q
        slope = -2.0 * tail2 * q
    else:
        k = first
        while q >= speed * knots[k + 1]:
            k += 1
        x = q - speed * knots[k]
        cubic = coef[k, 3] * (x / speed)
        head = speed * speed * coef[k, 0] + x * (speed * coef[k, 1] + x * (coef[k, 2] + cubic))
        slope = speed * coef[k, 1] + x * (2.0 * coef[k, 2] + 3.0 * cubic)
    if flow < 0.0:
        head = 2.0 * speed * speed * coef[first, 0] - head
    return head, slope


def head(curve: PumpCurve, flow: float, *, speed: float = 1.0) -> tuple[float, float]:
    """Return head [m] and slope dH/dQ [s/m2] of a curve at a flow.

    Parameters
    ----------
    curve : PumpCurve
    flow : float
        [m3/s], either sign.
    speed : float
        Fraction of full speed [-].

    Returns
    -------
    head, slope : float, float
        [m], [s/m2]

    Notes
    -----
    Affinity laws, H = n**2 H1(Q/n); see :func:`pump_head`.

    Examples
    --------
    A pump of 80 m shut off and 60 m at 0.2 m3/s has c = 20/0.2**2 = 500 s2/m5: at 0.1 m3/s it lifts 80 - 5 =
    75 m, with a slope of -2 * 500 * 0.1. At half speed it lifts 80/4 - 5.

    >>> pump = pump_curve(((0.0, 80.0), (0.2, 60.0)))
    >>> tuple(round(x, 9) for x in head(pump, 0.1))
    (75.0, -100.0)
    >>> round(head(pump, 0.1, speed=0.5)[0], 9)
    15.0
    """
    result = pump_head(flow, speed, 0, curve.knots.size, curve.knots, curve.coef, curve.tail0, curve.tail2)
    return float(result[0]), float(result[1])


def rising_from(points: Table) -> float | None:
    """Return a flow [m3/s] where the drawn curve rises or no longer falls, None if it falls throughout.

    Parameters
    ----------
    points : tuple of (flow, head)
        As for :func:`pump_curve`, heads not rising from point to point.

    Notes
    -----
    A curve that rises anywhere can meet the line's own curve twice: more than one working point.
    A monotone cubic falls wherever its points do; only its continuation can fail, when the curve
    flattens so much that its end slope is zero.
    """
    curve = pump_curve(points)
    if len(points) > 3:
        return None if curve.tail2 > 0.0 else points[-1][0]
    slope, bend = float(curve.coef[0, 1]), float(curve.coef[0, 2])
    if slope > 0.0 or (slope == 0.0 and bend >= 0.0):
        return 0.0
    return -slope / (2.0 * bend) if bend > 0.0 else None


def _parabola(points: Table) -> tuple[float, float, float]:
    """Coefficients of c0 + c1 Q + c2 Q**2; a term that is only rounding is set to zero."""
    h0, (q1, h1) = points[0][1], points[1]
    if len(points) == 2:
        return h0, 0.0, (h1 - h0) / q1**2
    q2, h2 = points[2]
    chord = (h1 - h0) / q1
    bend = ((h2 - h1) / (q2 - q1) - chord) / q2
    slope = chord - bend * q1
    span = ROUNDING * max(abs(h0), abs(h2))
    return h0, slope if abs(slope) * q2 > span else 0.0, bend if abs(bend) * q2**2 > span else 0.0


def _monotone_slopes(flow: Array, head: Array) -> Array:
    """Slopes at the points that keep a cubic monotone.

    Weighted harmonic mean inside (Fritsch & Butland 1984), three-point end slopes kept to the
    monotone range (Moler, Numerical Computing with MATLAB, 2004): what scipy's PCHIP does.
    """
    width = np.diff(flow)
    mean = np.diff(head) / width
    before, after = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    same_sign = mean[:-1] * mean[1:] > 0.0
    safe = np.where(same_sign, mean[:-1], 1.0), np.where(same_sign, mean[1:], 1.0)
    inner = (before + after) / (before / safe[0] + after / safe[1])
    slope = np.empty_like(flow)
    slope[1:-1] = np.where(same_sign, inner, 0.0)
    slope[0] = _end_slope(width[0], width[1], mean[0], mean[1])
    slope[-1] = _end_slope(width[-1], width[-2], mean[-1], mean[-2])
    return slope


def _end_slope(near: float, far: float, mean: float, next_mean: float) -> float:
    """Three-point slope at an end whose own interval is ``near`` wide, kept monotone."""
    slope = ((2.0 * near + far) * mean - near * next_mean) / (near + far)
    if slope * mean <= 0.0:
        return 0.0
    if mean * next_mean <= 0.0 and abs(slope) > 3.0 * abs(mean):
        return 3.0 * mean
    return slope
