"""Lanes of a batch marched one by one, each for as long as it needs and able to go on.

A block costs what its longest lane costs, whether the other lanes are still under way or not, and losses
from tables gain little from standing side by side. So few lanes, or lanes of very different lengths, are
sooner done each for itself; the figures are those of the block to rounding.
"""

from __future__ import annotations

import threading
from dataclasses import replace

import numpy as np

from surge.kernel import laws as b
from surge.kernel.march import Net, march
from surge.transient.batch_lane import Halted, Lane, LaneResult, law_rows, two_thirds
from surge.transient.grid import staggered

PIECE = 2e7  # nodes times steps between two looks at whether to go on: some hundredths of a second
EACH_STEP = 150  # nodes that cost as much as what a step does besides
# What a march changes; the rest of a net is only read and may be shared.
CHANGED = (
    *("window", "place", "share", "pi", "pf", "ef", "li", "lf", "probe_head", "probe_step"),
    *("matrix", "rhs", "found"),
)


class SingleRun:
    """One lane by the single march."""

    def __init__(self, lane: Lane, *, frozen: bool, envelope: bool) -> None:
        self.lane, self.frozen, self.envelope = lane, frozen, envelope
        self.steps = lane.steps
        self.done = lane.further.done if lane.further else 0

    def run(self, stop: threading.Event) -> list[LaneResult]:
        """March to the last step, or until ``stop`` is set."""
        net = self.lane.further.net if self.lane.further else _own_net(self.lane)
        dt = self.lane.grid.reaches.dt
        most = max(1, int(PIECE / (self.lane.grid.reaches.nodes + EACH_STEP)))
        nothing, status, before = np.empty((0, 1)), b.OK, None
        for end in (max(self.done, two_thirds(self.steps)), self.steps):
            while self.done < end and status == b.OK and not stop.is_set():
                n = min(end - self.done, most)
                status, count, _ = march(net, self.done, n, dt, self.frozen, False, 1, nothing, nothing)
                self.done += count
            if end < self.steps:
                before = self._read(net, int(status), self.done)
        result = replace(self._read(net, int(status), self.done), halted=Halted(net=net, done=self.done))
        self.done = self.steps
        return [replace(result, before=before) if status == b.OK else result.failed()]

    def _read(self, net: Net, status: int, done: int) -> LaneResult:
        doubled = None
        if self.envelope:
            size, at = net.hi.size, np.concatenate(self.lane.grid.nodes)
            first, last = net.window
            now = net.p[first : first + size] + net.m[last : last + size]
            doubled = np.stack([np.maximum(net.hi, now)[at], np.minimum(net.lo, now)[at]])
        return LaneResult(
            grid=self.lane.grid,
            status=status,
            done=done,
            point_hi=net.pf[:, b.P_HI].copy(),
            point_lo=net.pf[:, b.P_LO].copy(),
            point_steps=net.pi[:, [b.P_HI_STEP, b.P_LO_STEP]],
            probe_head=net.probe_head.copy(),
            probe_step=net.probe_step.copy(),
            time=np.empty(0),
            heads=np.empty((0, 0)),
            flows=np.empty((0, 0)),
            doubled=doubled,
        )


def _own_net(lane: Lane) -> Net:
    """The lane's arrays, those that the march changes as copies."""
    net = lane.grid.net
    p, m, hi, lo = staggered(net.p.size, net.m.size, net.hi.size, net.lo.size)
    p[:], m[:], hi[:], lo[:] = net.p, net.m, net.hi, net.lo
    law_i, law_t, law_v = law_rows(lane)
    own = {name: getattr(net, name).copy() for name in CHANGED}
    return net._replace(p=p, m=m, hi=hi, lo=lo, law_i=law_i, law_t=law_t, law_v=law_v, **own)
