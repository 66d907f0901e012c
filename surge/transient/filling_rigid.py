"""Filling with a rigid column: the liquid behind the front moves as one.

(sum of l/(g A)) dQ/dt = head of the source + pumps - losses - head of the front, over all pipes behind.
Without bends in its way the front goes dx/dt = Q/A.

Decisions
---------
* Explicit Runge-Kutta of fifth order with an error of fourth (Dormand & Prince 1980, J. Comput. Appl.
  Math. 6, 19-26; from memory), in steps that end where a movement changes its pace. The error of a figure
  is what it changes by with ``LOOSER`` times the tolerance.
* A pocket is followed until the liquid has turned ``TURNS`` times after the last movement, or nearly rests:
  by then each peak is lower than the one before.
* Where a valve shuts while the column moves, the column stops with it, at a thousandth of its Kv: the blow of
  that is not in this model.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from surge.arrays import Array, Ints
from surge.effort import spend
from surge.kernel.curves import head as head_of_pump
from surge.model.filling import HOLE, SHUT
from surge.transient.filling_line import AS_GOOD_AS_SHUT, FillLine

TOLERANCE = 1e-9
LOOSER = 100.0
LONGEST = 7200.0  # [s] a filling that takes longer is not followed to its end
TURNS = 3
MOST_STEPS = 60_000
COUNTED, STEP = 100, 6e4  # steps that are counted together; effort of one, in plain nodes of a march
LEAST_COLUMN = 1e-3  # [-] of the length at first: driven back so far, it is not a column any more
BEGIN = 1e-4  # [s] first step behind a valve that opens from nought
SLOW = 1e-4  # [m/s] and slower is at rest

_C = (0.0, 0.2, 0.3, 0.8, 8.0 / 9.0, 1.0, 1.0)
_A = (
    (),
    (0.2,),
    (3.0 / 40.0, 9.0 / 40.0),
    (44.0 / 45.0, -56.0 / 15.0, 32.0 / 9.0),
    (19372.0 / 6561.0, -25360.0 / 2187.0, 64448.0 / 6561.0, -212.0 / 729.0),
    (9017.0 / 3168.0, -355.0 / 33.0, 46732.0 / 5247.0, 49.0 / 176.0, -5103.0 / 18656.0),
    (35.0 / 384.0, 0.0, 500.0 / 1113.0, 125.0 / 192.0, -2187.0 / 6784.0, 11.0 / 84.0),
)
_E = (
    71.0 / 57600.0,
    0.0,
    -71.0 / 16695.0,
    71.0 / 1920.0,
    -17253.0 / 339200.0,
    22.0 / 525.0,
    -1.0 / 40.0,
)

State = tuple[float, float, float]  # volume filled [m3], flow [m3/s], share of the gas that is left [-]


@dataclass(frozen=True, kw_only=True, eq=False)
class RigidFill:
    """What a rigid column does; arrays of shape (n,).

    Attributes
    ----------
    time : ndarray
        [s]
    pipe : ndarray of int
        That the front is in.
    length : ndarray
        How far it is in it [m].
    flow, rate : ndarray
        Of the column [m3/s], and its change [m3/s2].
    gas : ndarray
        Pressure [Pa absolute].
    heads : ndarray, shape (n, pipes, 2)
        At both ends of every pipe, or of what of it is filled [m]; not a number where there is gas.
    arrival : float or None
        When the front arrives [s].
    velocity : float
        Of the front then [m/s].
    ended : str
        "arrived", "rests", "turned", "driven back", "not ended" or "not followed".
    """

    time: Array
    pipe: Ints
    length: Array
    flow: Array
    rate: Array
    gas: Array
    heads: Array
    arrival: float | None
    velocity: float
    ended: str

    @property
    def peak_gas(self) -> float:
        """Highest pressure of the gas [Pa absolute]."""
        return float(self.gas.max())


class _Column:
    """The equations of one line."""

    def __init__(self, fill: FillLine) -> None:
        self.fill, self.line = fill, fill.line
        line = self.line
        volumes = line.length * line.area
        self.length, self.area, self.inertia = line.length.tolist(), line.area.tolist(), line.inertia.tolist()
        self.ends = np.cumsum(volumes).tolist()  # [m3] of liquid when the front is at the end of each pipe
        self.behind = float(self.ends[fill.first_pipe] - volumes[fill.first_pipe])
        self.first = self.behind + fill.first_length * self.area[fill.first_pipe]
        self.full = np.concatenate([[0.0], np.cumsum(line.length * line.inertia)]).tolist()

    def front(self, filled: float) -> tuple[int, float]:
        """Pipe and place of the front, ``filled`` [m3] after the beginning."""
        volume = self.first + filled
        k = min(bisect_left(self.ends, volume), len(self.ends) - 1)
        before = self.ends[k - 1] if k else 0.0
        return k, (volume - before) / self.area[k]

    def pressure(self, filled: float, mass: float) -> float:
        """Of the gas [Pa absolute]."""
        return self.fill.gas.pressure(self.fill.gas.volume - filled, mass)

    def lifted(self, j: int, q: float, time: float) -> float | None:
        """Head added at a junction [m]; None where a valve is shut."""
        head = 0.0
        for one in self.fill.between[j]:
            value = one.at(time)
            if one.curve is not None:
                head += head_of_pump(one.curve, q, speed=value)[0]
            elif value <= AS_GOOD_AS_SHUT * (1.0 + 1e-9):
                return None
            else:
                head -= q * abs(q) / (one.conductance * value) ** 2
        return head

    def drive(self, k: int, x: float, q: float, time: float, p: float) -> float | None:
        """Head that moves the column [m]; None where it is shut off."""
        fill, line = self.fill, self.line
        head = fill.source - fill.source_loss * q * abs(q) - fill.head_of_gas(p, fill.place(k, x))
        for j in range(k + 1):
            more = self.lifted(j, q, time)
            if more is None:
                return None
            head += more - line.loss(j, q) * (x if j == k else self.length[j])
        return head

    def slope(self, time: float, y: State) -> State:
        """Of the state."""
        filled, q, mass = y
        k, x = self.front(filled)
        p = self.pressure(filled, mass)
        out = self.fill.gas.leaves(p) if self.fill.gas.vent == HOLE else 0.0
        head = self.drive(k, x, q, time, p)
        if head is None:
            return 0.0, 0.0, -out
        inertia = self.full[k] + x * self.inertia[k]
        if self.checked(k) and q <= 0.0 and head < 0.0:
            return 0.0, 0.0, -out
        return q, head / inertia, -out

    def checked(self, k: int) -> bool:
        """Whether a non-return valve stands behind the front."""
        return any(one.check for j in range(k + 1) for one in self.fill.between[j])

    def shut(self, k: int, time: float) -> bool:
        """Whether a valve behind the front is shut."""
        return any(self.lifted(j, 0.0, time) is None for j in range(k + 1))

    def heads(self, k: int, x: float, q: float, rate: float, time: float, p: float) -> Array:
        """At both ends of every pipe behind the front, shape (pipes, 2) [m]."""
        fill, line = self.fill, self.line
        found = np.full((len(line.length), 2), math.nan)
        if self.shut(k, time):
            return self._at_rest(found, k, x, time, p)
        here = fill.head_of_gas(p, fill.place(k, x))
        for j in range(k, -1, -1):
            length = x if j == k else self.length[j]
            found[j, 1] = here
            here += length * (self.inertia[j] * rate + line.loss(j, q))
            found[j, 0] = here
            here -= self.lifted(j, q, time) or 0.0
        return found

    def _at_rest(self, found: Array, k: int, x: float, time: float, p: float) -> Array:
        fill = self.fill
        before = fill.source
        after = fill.head_of_gas(p, fill.place(k, x))
        heads, last = [], 0
        for j in range(k + 1):
            more = self.lifted(j, 0.0, time)
            last = j if more is None else last
            before = before if more is None else before + more
            heads.append(before)
        for j in range(k + 1):
            found[j] = heads[j] if j < last else after
        return found


def _moved(y: State, h: float, weights: Sequence[float], slopes: Sequence[State]) -> State:
    """State after ``h`` [s] along slopes, each with its weight [-]; written out, since it takes most time."""
    a0 = a1 = a2 = 0.0
    for a, (s0, s1, s2) in zip(weights, slopes, strict=True):
        a0 += a * s0
        a1 += a * s1
        a2 += a * s2
    return y[0] + h * a0, y[1] + h * a1, y[2] + h * a2


def rigid_fill(fill: FillLine, *, tolerance: float = TOLERANCE) -> RigidFill:
    """March a rigid column until its front arrives, or what it compresses has given its highest pressure.

    Parameters
    ----------
    fill : FillLine
    tolerance : float
        Of a step, relative [-].

    Returns
    -------
    RigidFill
    """
    return _March(_Column(fill), tolerance).result()


class _March:
    def __init__(self, column: _Column, tolerance: float) -> None:
        self.column, self.tolerance, self.fill = column, tolerance, column.fill
        self.volume = self.fill.gas.volume
        self.scale = float(self.fill.line.area.min())
        self.time, self.cut, self.y = 0.0, LONGEST, (0.0, 0.0, 1.0)
        self.rows: list[tuple[float, State]] = [(0.0, self.y)]
        self.turns = 0
        self.arrival: float | None = None
        self.ended = self._go()

    def _step(self, h: float) -> tuple[State, float]:
        """State after ``h`` [s], and its error over what it may be; laws are those before the next knot."""
        t, y = self.time, self.y
        slopes: list[State] = []
        for c, row in zip(_C, _A, strict=True):
            new = y0, y1, y2 = _moved(y, h, row, slopes)
            filled = min(y0, self.volume * (1.0 - 1e-12))
            when = min(t + c * h, max(self.cut - 1e-7, t))
            slopes.append(self.column.slope(when, (filled, y1, max(y2, 0.0))))
        off = _moved((0.0, 0.0, 0.0), h, _E, slopes)
        least = self.volume - y[0]
        scales = (
            1e-3 * min(self.volume, least + 1e-6 * self.volume),
            0.1 * self.scale + abs(y[1]),
            1e-3 + abs(y[2]),
        )
        worst = max(abs(o) / (self.tolerance * s) for o, s in zip(off, scales, strict=True))
        if self.fill.gas.vent == SHUT and new[0] >= self.volume * (1.0 - 1e-12):
            worst = math.inf
        return (new[0], new[1], min(max(new[2], 0.0), 1e9)), worst

    def _go(self) -> str:
        h, knots = 1e-4, [t for t in self.fill.knots if t > 0.0] + [LONGEST]
        for k in range(MOST_STEPS):
            if k % COUNTED == 0:
                spend(COUNTED * STEP)
            self.cut = cut = next(t for t in knots if t > self.time + 1e-9)
            if (word := self._waiting(cut)) is not None:
                if word:
                    return word
                continue
            h = min(max(h, 1e-9), 1.0)
            to_cut = h >= cut - self.time
            size = cut - self.time if to_cut else h
            new, worst = self._step(size)
            if not worst <= 1.0:
                h = size * max(0.2, 0.9 * worst**-0.2 if math.isfinite(worst) else 0.2)
                continue
            if word := self._accept(cut if to_cut else self.time + size, size, new):
                return word
            h = size * min(5.0, 0.9 * max(worst, 1e-9) ** -0.2)
        return "not followed"

    def _waiting(self, cut: float) -> str | None:
        """While shut off: jump to the next change; "" where it jumped, a word where nothing follows."""
        k, _ = self.column.front(self.y[0])
        middle = self.time + 0.5 * (min(cut, self.time + 2e-4) - self.time)
        gas_moves = self.fill.gas.vent == HOLE and abs(self.fill.gas.leaves(self._p())) > 1e-9
        if not self.column.shut(k, middle):
            return self._let_go(k) if self.column.shut(k, self.time) else None
        if gas_moves:
            return None
        self.y = (self.y[0], 0.0, self.y[2])
        if cut >= LONGEST:
            return "rests"
        self.time = cut
        self.rows.append((cut, self.y))
        return ""

    def _let_go(self, k: int) -> str:
        """Begin the flow through a valve that opens from nought: a first step, implicit in the flow."""
        k, x = self.column.front(self.y[0])
        time = self.time + BEGIN
        head = self.column.drive(k, x, 0.0, time, self._p()) or 0.0
        loss = -(self.column.drive(k, x, 1.0, time, self._p()) or 0.0) + head
        inertia = (self.column.full[k] + x * self.column.inertia[k]) / BEGIN
        flow = 2.0 * head / (inertia + math.sqrt(inertia**2 + 4.0 * loss * head)) if head > 0.0 else 0.0
        self.time, self.y = time, (self.y[0] + 0.5 * BEGIN * flow, flow, self.y[2])
        self.rows.append((time, self.y))
        return ""

    def _p(self) -> float:
        return self.column.pressure(self.y[0], self.y[2])

    def _accept(self, time: float, size: float, new: State) -> str:
        """Take a step; a word where the march is over."""
        gas = self.fill.gas
        end = self.volume - gas.least
        if gas.vent != SHUT and new[0] >= end:
            return self._arrive(size, end)
        before = self.y[1]
        if before > 0.0 >= new[1] and gas.vent == SHUT:
            self._turn(size)
        self.time, self.y = time, new
        k, _ = self.column.front(new[0])
        if self.column.checked(k) and new[1] < 0.0:
            self.y = (new[0], 0.0, new[2])
        self.rows.append((time, self.y))
        if self.column.first + new[0] < LEAST_COLUMN * self.column.first:
            return "driven back"
        if time >= LONGEST:
            return "not ended"
        return self._over(before)

    def _over(self, before: float) -> str:
        """Whether nothing more follows."""
        if self.time < self.fill.last_event:
            return ""
        if before > 0.0 >= self.y[1]:
            self.turns += 1
        if self.turns >= TURNS:
            return "turned"
        slope = self.column.slope(self.time, self.y)
        still = abs(self.y[1]) < SLOW * self.scale and abs(slope[1]) < SLOW * self.scale
        return "rests" if still and abs(slope[2]) < 1e-9 and self.time > 1.0 else ""

    def _turn(self, size: float) -> None:
        """Enter the instant within a step at which the column stands and the gas has its highest pressure."""
        low, high = 0.0, size
        for _ in range(60):
            middle = 0.5 * (low + high)
            if self._step(middle)[0][1] > 0.0:
                low = middle
            else:
                high = middle
            if high - low < 1e-12:
                break
        self.rows.append((self.time + low, self._step(low)[0]))

    def _arrive(self, size: float, end: float) -> str:
        low, high = 0.0, size
        for _ in range(60):
            middle = 0.5 * (low + high)
            if self._step(middle)[0][0] < end:
                low = middle
            else:
                high = middle
        self.arrival = self.time + high
        self.rows.append((self.arrival, self._step(high)[0]))
        return "arrived"

    def result(self) -> RigidFill:
        column, n = self.column, len(self.rows)
        pipe, length = np.zeros(n, dtype=np.int64), np.zeros(n)
        rate, gas = np.zeros(n), np.zeros(n)
        heads = np.zeros((n, len(column.ends), 2))
        for i, (time, y) in enumerate(self.rows):
            k, x = column.front(y[0])
            gas[i] = column.pressure(y[0], y[2])
            pipe[i], length[i] = k, x
            rate[i] = column.slope(time, y)[1]
            heads[i] = column.heads(k, x, y[1], rate[i], time, gas[i])
        last = self.rows[-1][1][1] / self.column.area[pipe[-1]]
        return RigidFill(
            time=np.array([t for t, _ in self.rows]),
            pipe=pipe,
            length=length,
            flow=np.array([y[1] for _, y in self.rows]),
            rate=rate,
            gas=gas,
            heads=heads,
            arrival=self.arrival,
            velocity=last if self.arrival is not None else 0.0,
            ended=self.ended,
        )
