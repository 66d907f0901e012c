"""An exact frictionless line from a tank to an end at which things hang: a delay, and an ODE at its end.

The line without friction only delays: what comes back from the tank is what left the end 2L/a before. So
the head at the end is P - B Q, with P known from before and Q what leaves the line for all that hangs on it;
their states are integrated by ``scipy``. Nothing of the program is used. Heads [m], flows [m3/s], times [s].
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

Array = NDArray[np.float64]
SAMPLES = 4000  # of the waves in one period, straight between them


@dataclass
class Ended:
    """What happened at the end: instants, heads, flows out of the line, and states."""

    time: Array
    head: Array
    flow: Array
    state: Array


@dataclass(kw_only=True)
class DelayLine:
    """A line that flows steadily at first.

    Attributes
    ----------
    head : float
        Of the tank [m].
    flow : float
        At first [m3/s].
    impedance : float
        B = a/(gA) [s/m2].
    back : float
        2L/a [s].
    leaves : callable
        (time, state, head at the end) -> flow that leaves the line; rises with the head.
    moves : callable
        (time, state, head at the end, flow) -> change of the states in time.
    enters : callable, optional
        (time, M = H - BQ that arrives at the beginning) -> P = H + BQ there; a tank without it.
    solved : callable, optional
        (time, state, P) -> flow that leaves, of P - B Q = H, in closed form: instead of ``leaves``.
    after : callable, optional
        Called with time, head and flow at the end, in order of time: for a line without states.
    """

    head: float
    flow: float
    impedance: float
    back: float
    leaves: Callable[[float, Array, float], float]
    moves: Callable[[float, Array, float, float], list[float]]
    spread: float = 3000.0
    enters: Callable[[float, float], float] | None = None
    after: Callable[[float, float, float], None] | None = None
    first: float | None = None
    solved: Callable[[float, Array, float], float] | None = None
    known: list[tuple[Array, Array]] = field(default_factory=list)

    def _arrives(self, time: float) -> float:
        if not self.known:
            first = self.first if self.first is not None else self.head
            if self.enters is not None and time > self.back / 2:
                return self.enters(time - self.back / 2, first - self.impedance * self.flow)
            return first + self.impedance * self.flow
        t, away = self.known[-1]
        arrived = float(np.interp(time - self.back, t, away))
        if self.enters is not None:
            return self.enters(time - self.back / 2, arrived)
        return 2 * self.head - arrived

    def _end(self, time: float, state: Array) -> tuple[float, float]:
        """Head and flow at the end."""
        p = self._arrives(time)
        if self.solved is not None:
            flow = self.solved(time, state, p)
            return p - self.impedance * flow, flow

        def miss(h: float) -> float:
            return h - p + self.impedance * self.leaves(time, state, h)

        h = float(brentq(miss, p - self.spread, p + self.spread, xtol=1e-11, rtol=1e-14))
        return h, (p - h) / self.impedance

    def _told(self, time: float, state: Array) -> tuple[float, float]:
        head, flow = self._end(time, state)
        if self.after is not None:
            self.after(time, head, flow)
        return head, flow

    def run(self, until: float, state: list[float], *, rtol: float = 1e-8) -> Ended:
        """Integrate from rest of the states, window after window of 2L/a."""
        parts: list[tuple[Array, ...]] = []
        now, y = 0.0, np.array(state, dtype=float)
        while now < until - 1e-12:
            end = now + self.back

            def rhs(t: float, s: Array) -> list[float]:
                return self.moves(t, s, *self._end(t, s))

            times = np.linspace(now, end, SAMPLES + 1)
            if y.size:
                found = solve_ivp(
                    rhs, (now, end), y, method="LSODA", rtol=rtol, atol=1e-10, t_eval=times,
                    max_step=self.back / 50,
                )  # fmt: skip
                assert found.success, found.message
                states = found.y.T
            else:
                states = np.zeros((times.size, 0))
            ends = np.array([self._told(t, s) for t, s in zip(times, states, strict=True)])
            parts.append((times, ends[:, 0], ends[:, 1], states))
            self.known.append((times, ends[:, 0] - self.impedance * ends[:, 1]))
            now, y = end, states[-1]
        return Ended(*(np.concatenate(p) for p in zip(*parts, strict=True)))
