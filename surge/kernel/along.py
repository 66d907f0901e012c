"""What passes along a pipe, from the waves at its ends.

For the forces on its legs (:mod:`surge.transient.forces`), which in numpy took as long as twenty marches.
"""

from __future__ import annotations

from collections import namedtuple

import numpy as np

from surge.kernel.compiled import entry, jit, smaller

# One pipe, at every step of a march.
#   onward, back (n,)                   waves as they leave the start and the end [m]
#   lost_onward, lost_back (n,)         what each has lost when it comes to the other end [m]
#   places (places,)                    shares of the length, evenly from 0 to 1
#   row (steps + 1,)                    head lost over the whole pipe at equal steps of flow [m]
# written:
#   ahead, behind (places, n)           what the wave that leaves at a step has lost at each place [m]; the
#                                       rounds begin with what they hold
#   head, flow (places, n)              [m], [m3/s]; those at the ends are read
#   loss (places, n)                    what the whole pipe would lose at the flow of each place [m]
# room:
#   p, m, left (n,)
Along = namedtuple(
    "Along",
    "onward back lost_onward lost_back places row ahead behind flow loss head p m left",
)


# What a whole pipe would lose at many flows: flow, out (n,) [m3/s], [m]; row as of Along.
Lost = namedtuple("Lost", "flow row out")


@jit
def ago(values, steps, out):
    """Values so many steps ago, straight between two; before the first and after the last these hold.

    values, out (n,); ``steps`` of either sign.
    """
    n = values.size
    whole = int(np.floor(steps))
    part = steps - whole
    first = min(max(whole + 1, 0), n)
    end = max(min(whole, 0) + n, first)
    out[:first] = values[0]
    for i in range(first, end):
        now = values[i - whole]
        out[i] = now + part * (values[i - whole - 1] - now)
    out[end:] = values[n - 1]


@jit
def losses(flow, step, row, out):
    """Head lost at every flow, with its sign [m]; straight on beyond the table.

    flow, out (n,) [m3/s]; row (steps + 1,) [m] at flows ``step`` [m3/s] apart.
    """
    top = row.size - 2.0
    for i in range(flow.size):
        size = abs(flow[i]) / step
        at = int(smaller(size, top))
        lost = row[at] + (size - at) * (row[at + 1] - row[at])
        out[i] = np.copysign(lost, flow[i])


@entry(results=0)
def lose(one, step):
    """Find what a whole pipe would lose at many flows; ``one`` is written.

    Parameters
    ----------
    one : Lost
    step : float
        Of the table of losses [m3/s].
    """
    losses(one.flow, step, one.row, one.out)


@jit
def waves(a, k, way):
    """Both waves at place ``k``, less what they have lost on the way there: in ``p`` and ``m``.

    ``a`` is an :class:`Along`; ``way`` [steps].
    """
    for i in range(a.left.size):
        a.left[i] = a.onward[i] - a.ahead[k, i]
    ago(a.left, a.places[k] * way, a.p)
    for i in range(a.left.size):
        a.left[i] = a.back[i] - a.behind[k, i]
    ago(a.left, a.places[a.places.size - 1 - k] * way, a.m)


@jit
def spread(a, way, turned, lost, out):
    """What waves that leave at each step have lost at each place, as the flow that they meet has it.

    ``a`` is an :class:`Along`; ``way`` [steps]; ``turned`` is 1 for those that go towards the start.
    lost (n,) [m] in all: the sum is made to fit. out (places, n) [m].
    """
    last = a.places.size - 1
    share = 0.5 / last
    k = last if turned else 0
    out[k] = 0.0
    ago(a.loss[k], 0.0, a.p)
    for j in range(1, last + 1):
        before = k
        k = last - j if turned else j
        ago(a.loss[k], -a.places[j] * way, a.m)
        for i in range(lost.size):
            out[k, i] = out[before, i] + share * (a.p[i] + a.m[i])
            a.p[i] = a.m[i]
    for i in range(lost.size):
        a.left[i] = lost[i] - out[k, i]
    for j in range(last + 1):
        k = last - j if turned else j
        for i in range(lost.size):
            out[k, i] += a.places[j] * a.left[i]


@entry(results=0)
def pass_along(a, way, step, impedance, rounds):
    """Put heads and flows inside a pipe together; ``a`` is written.

    Parameters
    ----------
    a : Along
    way : float
        Steps that a wave takes over the pipe, above 0.
    step : float
        Of the table of losses [m3/s].
    impedance : float
        a/(g A) [s/m2].
    rounds : int
        In which what a wave meets on its way is found.
    """
    last = a.places.size - 1
    for _ in range(rounds):
        for k in range(last + 1):
            if 0 < k < last:
                waves(a, k, way)
                for i in range(a.p.size):
                    a.flow[k, i] = (a.p[i] - a.m[i]) / (2.0 * impedance)
            losses(a.flow[k], step, a.row, a.loss[k])
        spread(a, way, 0, a.lost_onward, a.ahead)
        spread(a, way, 1, a.lost_back, a.behind)
    for k in range(1, last):
        waves(a, k, way)
        for i in range(a.p.size):
            a.head[k, i] = 0.5 * (a.p[i] + a.m[i])
