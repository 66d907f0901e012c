"""What histories of a stretch of steps come to: sums, sizes and extremes, row by row.

Who looks at a march (:mod:`surge.transient.watch`, :mod:`surge.transient.spans`) judges them. In plain numpy
this took as long as half a small march, and marches in other threads waited for every one of its hundred
calls a stretch.
"""

from __future__ import annotations

from collections import namedtuple

import numpy as np

from surge.kernel.compiled import entry, jit, larger, smaller

# Sums and sizes over a stretch of rows.
#   a, b (links,), owner (ends,)        points at both sides of a link, point of an end
#   lift (links,)                       greatest head that a pump can give [m]; 0 of other links
#   lumps (lumped,)                     lumped elements among the links
#   start_head, start_flow (points,), (flows,)  before anything moves [m], [m3/s]
# written, over all rows:
#   total (flows,), power (ends,)       sums of flow [m3/s], and of head times flow [m4/s]
#   worked, worked_size (lumped,)       sum of head lost times flow, four times the trapezoidal one, and
#                                       of its size [m4/s]
#   swiftest (lumped,)                  greatest size of the flow [m3/s]
# in one of ``spot`` rows:
#   flow_size (flows,), head_size (points,)  greatest size [m3/s], [m]
#   missed (points,)                    the most by which what flows out of a point is not nought [m3/s]
# in one of ``every`` rows:
#   end_size, pushed (ends,)            greatest size of flow [m3/s], and of head at the point [m]
#   moved_head, moved_flow (points,), (flows,)  before anything moves, the most that it is off the start
#   gained, gained_size (links,)        most head times flow that a link gives beyond ``lift``, and its
#                                       size [m4/s]
#   most, least (links,)                greatest size of its flow, and the least flow, with its sign [m3/s]
# room:
#   left (points,)
Tally = namedtuple(
    "Tally",
    "a b owner lift lumps start_head start_flow total power worked worked_size swiftest flow_size head_size "
    "missed end_size pushed moved_head moved_flow gained gained_size most least left",
)

# Extremes of points in spans of time.
#   rows (spans, 4, points)             highest and lowest of the span, and with what widens it [m]
#   first, end (spans,)                 rows of heads that are in it, the last excluded; there may be fewer
Spread = namedtuple("Spread", "rows first end")


@jit
def _sum_up(heads, flows, a, b, owner, lumps, total, power, worked, worked_size, swiftest):
    """Sums over all rows; arrays as for :func:`tally` and of its :class:`Tally`."""
    links = a.size
    total[:] = 0.0
    power[:] = 0.0
    worked[:] = 0.0
    worked_size[:] = 0.0
    swiftest[:] = 0.0
    for i in range(heads.shape[0]):
        for k in range(total.size):
            total[k] += flows[i, k]
        for e in range(owner.size):
            power[e] += heads[i, owner[e]] * flows[i, links + e]
        for n in range(lumps.size):
            e = lumps[n]
            q = flows[i, e]
            lost = heads[i, a[e]] - heads[i, b[e]]
            worked_size[n] += abs(lost * q)
            swiftest[n] = larger(abs(q), swiftest[n])
            if i > 0:
                worked[n] += (lost + heads[i - 1, a[e]] - heads[i - 1, b[e]]) * (q + flows[i - 1, e])


@jit
def _look(heads, flows, still, every, a, b, owner, lift, start_head, start_flow, end_size, pushed, moved_head,
          moved_flow, gained, gained_size, most, least):  # fmt: skip
    """What is looked at in one of ``every`` rows; arrays as for :func:`tally` and of its :class:`Tally`."""
    links = a.size
    end_size[:] = 0.0
    pushed[:] = 0.0
    moved_head[:] = 0.0
    moved_flow[:] = 0.0
    gained[:] = -np.inf
    gained_size[:] = 0.0
    most[:] = 0.0
    least[:] = np.inf
    for i in range(0, heads.shape[0], every):
        for e in range(owner.size):
            end_size[e] = larger(abs(flows[i, links + e]), end_size[e])
            pushed[e] = larger(abs(heads[i, owner[e]]), pushed[e])
        if i < still:
            for k in range(start_head.size):
                moved_head[k] = larger(abs(heads[i, k] - start_head[k]), moved_head[k])
            for k in range(start_flow.size):
                moved_flow[k] = larger(abs(flows[i, k] - start_flow[k]), moved_flow[k])
        for e in range(links):
            q = flows[i, e]
            given = (heads[i, b[e]] - heads[i, a[e]]) * q - lift[e] * max(q, 0.0)
            gained[e] = larger(given, gained[e])
            gained_size[e] = larger(abs(given), gained_size[e])
            most[e] = larger(abs(q), most[e])
            least[e] = smaller(q, least[e])


@jit
def _balance(heads, flows, spot, a, b, owner, flow_size, head_size, missed, left):
    """What is looked at in one of ``spot`` rows; arrays as for :func:`tally` and of its :class:`Tally`."""
    links = a.size
    flow_size[:] = 0.0
    head_size[:] = 0.0
    missed[:] = 0.0
    for i in range(0, heads.shape[0], spot):
        for k in range(flow_size.size):
            flow_size[k] = larger(abs(flows[i, k]), flow_size[k])
        for k in range(left.size):
            head_size[k] = larger(abs(heads[i, k]), head_size[k])
            left[k] = 0.0
        for e in range(links):
            left[a[e]] += flows[i, e]
            left[b[e]] -= flows[i, e]
        for e in range(owner.size):
            left[owner[e]] += flows[i, links + e]
        for k in range(left.size):
            missed[k] = larger(abs(left[k]), missed[k])


@entry(results=0)
def tally(t, heads, flows, still, every, spot):
    """Sum up a stretch; ``t`` is written.

    Parameters
    ----------
    t : Tally
    heads, flows : float64 arrays, shape (rows, points) and (rows, flows)
        [m], [m3/s]; flows through links, then into the ends of pipes.
    still : int
        In so many of the first rows nothing moves.
    every, spot : int
        Where not all rows are needed, every so many are looked at.
    """
    _sum_up(heads, flows, t.a, t.b, t.owner, t.lumps, t.total, t.power, t.worked, t.worked_size, t.swiftest)
    _look(
        heads, flows, still, every, t.a, t.b, t.owner, t.lift, t.start_head, t.start_flow, t.end_size,
        t.pushed, t.moved_head, t.moved_flow, t.gained, t.gained_size, t.most, t.least,
    )  # fmt: skip
    _balance(heads, flows, spot, t.a, t.b, t.owner, t.flow_size, t.head_size, t.missed, t.left)


@entry(results=0)
def spread(s, heads, wider):
    """Take heads into the extremes of spans; ``s`` is written.

    Parameters
    ----------
    s : Spread
    heads : float64 array, shape (rows, points)
        [m]
    wider : int
        Rows by which a span is widened on both sides.
    """
    rows = s.rows
    for span in range(rows.shape[0]):
        first = s.first[span]
        end = s.end[span]
        for i in range(max(first - wider, 0), min(end + wider, heads.shape[0])):
            at = 0 if first <= i < end else 2
            for k in range(heads.shape[1]):
                rows[span, at, k] = larger(heads[i, k], rows[span, at, k])
                rows[span, at + 1, k] = smaller(heads[i, k], rows[span, at + 1, k])
        for k in range(heads.shape[1]):
            rows[span, 2, k] = larger(rows[span, 0, k], rows[span, 2, k])
            rows[span, 3, k] = smaller(rows[span, 1, k], rows[span, 3, k])
