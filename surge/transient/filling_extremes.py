"""Highest and lowest pressures of a filling, in every part on the way: the worst of all marches.

Decisions
---------
* What the front has not reached has the pressure of the gas.
* What has no length takes the worst of the pipes beside it and of the places between, each at its own height;
  behind a pump that may be its shut-off pressure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from surge.arrays import Array
from surge.model.lineup import LineUp, Link
from surge.transient.filling_elastic import ElasticFill
from surge.transient.filling_line import Between, FillLine
from surge.transient.filling_result import ELASTIC, RIGID, Figure, FillExtreme
from surge.transient.filling_rigid import RigidFill

SAFETY = 3.0
LEAST_ERROR = 100.0  # [Pa] of a pressure of a march


class Extremes:
    """Collects them.

    Parameters
    ----------
    lineup : LineUp
        Every figure a single one.
    line : FillLine
    rigid : RigidFill
    pairs : sequence of (model, finer march, coarser march)
    peaks : (Figure, Figure)
        Highest pressure of the gas by the rigid column, and with an elastic line [Pa gauge].
    """

    def __init__(
        self,
        lineup: LineUp,
        line: FillLine,
        rigid: RigidFill,
        pairs: Sequence[tuple[str, ElasticFill, ElasticFill]],
        peaks: tuple[Figure, Figure],
    ) -> None:
        self.lineup, self.line, self.rigid, self.pairs, self.peaks = lineup, line, rigid, pairs, peaks
        self.rho_g, self.elastic = line.rho_g, pairs[0][1]
        self.highest: dict[tuple[str, str], FillExtreme] = {}
        self.lowest: dict[tuple[str, str], FillExtreme] = {}
        self._extremes()

    def _gauge(self, p_abs: float) -> float:
        return p_abs - self.line.atmosphere

    def _note(self, key: tuple[str, str], upper: FillExtreme | None, lower: FillExtreme | None) -> None:
        if upper is not None:
            now = self.highest.get(key)
            if now is None or upper.pressure + upper.error > now.pressure + now.error:
                self.highest[key] = upper
        if lower is not None:
            now = self.lowest.get(key)
            if now is None or lower.pressure - lower.error < now.pressure - now.error:
                self.lowest[key] = lower

    def _extremes(self) -> None:
        for model, fine, coarse in self.pairs:
            for k in range(len(self.line.column.pipes)):
                self._pipe_extremes(model, fine, coarse, k)
        self._rigid_extremes()
        self._gas_extremes()
        self._link_extremes()

    def _pipe_extremes(self, model: str, fine: ElasticFill, coarse: ElasticFill, k: int) -> None:
        one = self.line.column.pipes[k]
        length = one.pipe.length
        up = _extreme(fine.highest[k], fine.highest_time[k], coarse.highest[k], self.rho_g, top=True)
        low = _extreme(fine.lowest[k], fine.lowest_time[k], coarse.lowest[k], self.rho_g, top=False)
        key = ("element", one.pipe.name)
        made = [self._made(model, one.backward, length, found) for found in (up, low)]
        self._note(key, made[0], made[1])
        for end, point in ((0, one.first), (-1, one.last)):
            pair: list[FillExtreme | None] = []
            for hi, times, other in (
                (fine.highest[k], fine.highest_time[k], coarse.highest[k]),
                (fine.lowest[k], fine.lowest_time[k], coarse.lowest[k]),
            ):
                cut = slice(0, 1) if end == 0 else slice(-1, None)
                got = _extreme(hi[cut], times[cut], other[cut], self.rho_g, top=len(pair) == 0)
                pair.append(self._made(model, False, 0.0, got))
            self._note(("place", point), pair[0], pair[1])

    @staticmethod
    def _made(
        model: str, backward: bool, length: float, found: tuple[float, float, float, float] | None
    ) -> FillExtreme | None:
        if found is None:
            return None
        pressure, error, time, share = found
        distance = length * ((1.0 - share) if backward else share)
        return FillExtreme(pressure=pressure, error=error, time=time, distance=distance, model=model)

    def _rigid_extremes(self) -> None:
        line = self.line.line
        for k, one in enumerate(self.line.column.pipes):
            for end, point in ((0, one.first), (1, one.last)):
                heads = self.rigid.heads[:, k, end]
                wet = np.isfinite(heads)
                if not wet.any():
                    continue
                z = np.array(
                    [
                        line.z[k] if end == 0 else self.line.place(k, x if p == k else line.length[k])
                        for p, x in zip(self.rigid.pipe[wet], self.rigid.length[wet], strict=True)
                    ]
                )
                p = self.rho_g * (heads[wet] - z)
                full = end == 0 or self.rigid.pipe[wet] > k
                times = self.rigid.time[wet]
                for key, mask in (
                    (("element", one.pipe.name), np.ones(p.size, dtype=bool)),
                    (("place", point), np.broadcast_to(full, p.shape)),
                ):
                    if mask.any():
                        self._note_rigid(key, p[mask], times[mask], end, one.backward, one.pipe.length)

    def _note_rigid(
        self, key: tuple[str, str], p: Array, times: Array, end: int, backward: bool, length: float
    ) -> None:
        def made(i: int) -> FillExtreme:
            return FillExtreme(
                pressure=float(p[i]),
                error=LEAST_ERROR,
                time=float(times[i]),
                distance=length * (end != backward) if key[0] == "element" else 0.0,
                model=RIGID,
            )

        self._note(key, made(int(np.argmax(p))), made(int(np.argmin(p))))

    def _gas_extremes(self) -> None:
        """The gas presses on all that the front has not reached."""
        rigid, elastic = self.peaks
        column = self.line.column
        for model, peak, gas, times in (
            (RIGID, rigid, self.rigid.gas, self.rigid.time),
            (ELASTIC, elastic, self.elastic.gas, self.elastic.time),
        ):
            at = int(np.argmin(gas))
            low = self._gauge(float(gas[at]))
            places = [("place", one.last) for one in column.gas_pipes]
            for key in [*(("element", one.pipe.name) for one in column.gas_pipes), *places]:
                self._note(
                    key,
                    FillExtreme(
                        pressure=peak.value,
                        error=peak.error,
                        time=peak.time or 0.0,
                        distance=0.0,
                        model=model,
                    ),
                    FillExtreme(
                        pressure=low, error=peak.error, time=float(times[at]), distance=0.0, model=model
                    ),
                )

    def _link_extremes(self) -> None:
        """Links take the worse of the pipes beside them; a pump that stands still lifts to shut-off."""
        column, here = self.line.column, self.line.column.source
        self._note(("place", here), self._source(), self._source())
        for links, one, between in zip(column.links, column.pipes, self.line.between[:-1], strict=True):
            self._between(links, between, here, one.first)
            here = one.last
        if column.end is not None:
            self._note(("element", column.end.name), *self._at(here))

    def _source(self) -> FillExtreme:
        p = self.rho_g * (self.line.source - self._z(self.line.column.source))
        return FillExtreme(pressure=p, error=0.0, time=0.0, distance=0.0, model=RIGID)

    def _z(self, place: str) -> float:
        return self.lineup.points_by_name[place].elevation

    def _at(self, place: str) -> tuple[FillExtreme, FillExtreme]:
        """Highest and lowest of a place, as far as known by now."""
        return self.highest["place", place], self.lowest["place", place]

    def _between(self, links: tuple[Link, ...], between: tuple[Between, ...], first: str, last: str) -> None:
        """All links from one place to another take the worst of both ends and of the places between them."""
        lift = sum(
            self.rho_g * float(b.curve.coef[0, 0]) * max(v for _, v in b.law) ** 2
            for b in between
            if b.curve is not None
        )
        inner = [p for a, b in pairwise(links) for p in (a.start, a.end) if p in (b.start, b.end)]
        ends = [(place, *self._at(place)) for place in (first, last) if links]
        for end, high, low in ends:
            for place in (end, *inner):
                fall = self.rho_g * (self._z(end) - self._z(place))
                top = replace(high, pressure=high.pressure + fall + (lift if end == first else 0.0))
                bottom = replace(low, pressure=low.pressure + fall)
                if place != end:
                    self._note(("place", place), top, bottom)
                for link in links:
                    self._note(("element", link.name), top, bottom)


def _extreme(
    fine: Array, times: Array, coarse: Array, rho_g: float, *, top: bool
) -> tuple[float, float, float, float] | None:
    """Pressure [Pa], error [Pa], time [s] and place [-] of the extreme of nodes' pressure heads."""
    ok, other = np.isfinite(fine), np.isfinite(coarse)
    if not ok.any():
        return None
    pick = np.argmax if top else np.argmin
    at = int(pick(np.where(ok, fine, -np.inf if top else np.inf)))
    value = float(fine[at])
    again = float((np.max if top else np.min)(coarse[other])) if other.any() else value
    error = SAFETY * rho_g * abs(value - again) + LEAST_ERROR
    return rho_g * value, error, float(times[at]), at / max(fine.size - 1, 1)
