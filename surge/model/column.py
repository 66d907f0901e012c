"""The one way that a column of liquid takes from its source to where its front arrives.

Decisions
---------
* Pipes and what stands between them, behind one another: no branch that is open, nothing that hangs on the
  way. A valve that stays shut through the whole filling closes a branch.
* Between the points of a filling only pipes: what a front does at a valve in the middle is an arrival of its
  own.
* The gas may leave through what stands at the end only where the vent is open: gas that is trapped has no
  open way out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from surge.errors import Fault
from surge.model.filling import OPEN, Filling
from surge.model.lineup import Element, LineUp, Link, NonReturnValve, Passage, Pipe, Pump, Valve


@dataclass(frozen=True, kw_only=True)
class ColumnPipe:
    """A pipe of the way; ``backward``: the liquid comes from its end."""

    pipe: Pipe
    backward: bool

    @property
    def first(self) -> str:
        """The point that the liquid comes from."""
        return self.pipe.end if self.backward else self.pipe.start

    @property
    def last(self) -> str:
        """The point that it goes to."""
        return self.pipe.start if self.backward else self.pipe.end


@dataclass(frozen=True, kw_only=True)
class Column:
    """The way of the liquid.

    Attributes
    ----------
    source : str
        Point of the tank or supply that it comes from.
    pipes : tuple of ColumnPipe
        In order; the last one ends where the front arrives.
    links : tuple of tuple of Link
        What stands before each pipe, in order: ``links[0]`` between the source and the first pipe.
    gas_from : int
        The first pipe that holds gas at first.
    end : Valve, Passage or None
        What stands where the front arrives; None: a closed end, a tank, or valves that stay shut.
    tank : bool
        A tank stands there.
    """

    source: str
    pipes: tuple[ColumnPipe, ...]
    links: tuple[tuple[Link, ...], ...]
    gas_from: int
    end: Valve | Passage | None
    tank: bool

    @property
    def gas_pipes(self) -> tuple[ColumnPipe, ...]:
        """Those that hold gas at first."""
        return self.pipes[self.gas_from :]

    @property
    def elements(self) -> tuple[Element, ...]:
        """All of the way, with what stands at its end."""
        found: list[Element] = []
        for links, one in zip(self.links, self.pipes, strict=True):
            found += [*links, one.pipe]
        return (*found, self.end) if self.end is not None else tuple(found)

    @property
    def points(self) -> tuple[str, ...]:
        """All points of the way, in order."""
        here, found = self.source, [self.source]
        for e in self.elements:
            if e is not self.end:
                here = e.end if e.start == here else e.start
                found.append(here)
        return tuple(found)


class ColumnError(Exception):
    """The way cannot be found: key of the filling, what was found, what is expected, what to write."""

    def __init__(self, key: str, found: str, expected: str, remedy: str) -> None:
        self.key, self.found, self.expected, self.remedy = key, found, expected, remedy
        super().__init__(found)


ONE_WAY = "one way without branches from a tank or supply to where the front arrives"


def stays_shut(lineup: LineUp, filling: Filling) -> set[str]:
    """Return the names of valves that are shut at first and never open; to be closed is no move then."""
    scenario = filling.scenario
    opened = {m.valve for m in scenario.moves if max(x for _, x in m.law) > m.law[0][1]}
    shut = {name for name, x in lineup.openings(scenario).items() if x is not None and x <= 0.0}
    return shut - opened


def column_of(lineup: LineUp, filling: Filling) -> Column:
    """Return the way of the liquid of a filling.

    Parameters
    ----------
    lineup : LineUp
        Its names are known to be right.
    filling : Filling

    Raises
    ------
    ColumnError
        There is no such way, or it is not one that can be computed.
    """
    return _Finder(lineup, filling).column()


def filling_faults(lineup: LineUp, filling: Filling) -> Iterator[Fault]:
    """Yield the fault of a filling whose way cannot be used."""
    try:
        column_of(lineup, filling)
    except ColumnError as error:
        yield filling_fault(filling, error)


def filling_fault(filling: Filling, error: ColumnError) -> Fault:
    """Return what is wrong with the way of a filling, with its place in the case file."""
    return Fault(
        path=(*filling.origin, error.key),
        found=error.found,
        expected=error.expected,
        remedy=error.remedy,
    )


class _Finder:
    """Walks the line-up from the end of the gas back to the source."""

    def __init__(self, lineup: LineUp, filling: Filling) -> None:
        self.lineup, self.filling = lineup, filling
        self.shut = stays_shut(lineup, filling)
        self.sources = set(lineup.sources)
        self.tanks = {t.point for t in lineup.tanks}

    def joined(self, point: str) -> list[Element]:
        """Elements at a point that are not shut for good."""
        return [e for e in self.lineup.elements if point in (e.start, e.end) and e.name not in self.shut]

    def column(self) -> Column:
        end, start = self.filling.end, self.filling.start
        if start == end:
            raise ColumnError(
                "to",
                f'"{end}", where the gas begins already',
                "another point: the gas stands between from and to",
                "write the point at which the front arrives",
            )
        walked = self._walk()
        pipes, links, gas_from = self._ordered(walked)
        self._look_at_gas(pipes, links, gas_from)
        beyond, tank = self._beyond(pipes[-1].pipe)
        source = walked[-1][1]
        return Column(source=source, pipes=pipes, links=links, gas_from=gas_from, end=beyond, tank=tank)

    def _walk(self) -> list[tuple[Element, str]]:
        """Elements from the end of the gas back to the source, each with the point that it leads to."""
        end, start = self.filling.end, self.filling.start
        path = self._toward(end, start)
        if path is None:
            raise ColumnError(
                "from",
                f'no way of pipes from "{start}" to "{end}"',
                ONE_WAY,
                'write the points between which gas stands: "from" nearer the source, "to" where the front '
                "arrives",
            )
        walked: list[tuple[Element, str]] = []
        seen, here, last = {end}, end, None
        while True:
            others = [e for e in self.joined(here) if e is not last]
            if here != end:
                self._refuse_hung(here)
                if here in self.sources:
                    return walked
                if len(others) != 1:
                    raise self._branched(here, [e.name for e in others])
            element = path.pop(0) if path else others[0]
            other = element.end if element.start == here else element.start
            if other in seen:
                raise self._branched(other, [element.name])
            seen.add(other)
            walked.append((element, other))
            here, last = other, element

    def _toward(self, end: str, start: str) -> list[Element] | None:
        """Pipes from the end of the gas back to its beginning."""
        ways: list[tuple[str, list[Element]]] = [(end, [])]
        seen = {end}
        while ways:
            here, way = ways.pop(0)
            if here == start:
                return way
            for e in self.joined(here):
                other = e.end if e.start == here else e.start
                if isinstance(e, Pipe) and other not in seen:
                    seen.add(other)
                    ways.append((other, [*way, e]))
        return None

    def _branched(self, point: str, names: list[str]) -> ColumnError:
        if not names:
            return ColumnError(
                "from",
                f'the way ends at "{point}", before a tank or supply',
                ONE_WAY,
                "open what stands between the source and the gas, or open it in an event: a valve that stays "
                "shut lets nothing come",
            )
        listed = ", ".join(f'"{name}"' for name in names[:4])
        return ColumnError(
            "to",
            f'the way branches at "{point}": {listed}',
            ONE_WAY,
            "shut the branches in openings or shut_at_start of this filling; branches that fill together are "
            "not computed",
        )

    def _refuse_hung(self, point: str) -> None:
        hung = next((a.name for a in self.lineup.attached if a.point == point), None)
        if hung is not None:
            raise ColumnError(
                "to",
                f'"{hung}" hangs on the way, at "{point}"',
                "a way without relief valves, drums and open vessels",
                f'fill by a copy of the case without "{hung}": what it takes off is not computed here',
            )
        if point in self.tanks and point not in self.sources:
            raise ColumnError(
                "to",
                f'a tank that receives stands at "{point}"',
                ONE_WAY,
                "end the gas there: write it as to",
            )

    def _ordered(
        self, walked: list[tuple[Element, str]]
    ) -> tuple[tuple[ColumnPipe, ...], tuple[tuple[Link, ...], ...], int]:
        """Pipes and links from the source on, and the first pipe with gas."""
        pipes: list[ColumnPipe] = []
        links: list[tuple[Link, ...]] = []
        before: list[Link] = []
        gas_from = -1
        for element, comes_from in reversed(walked):
            if comes_from == self.filling.start:
                gas_from = len(pipes)
            backward = element.end == comes_from
            if isinstance(element, Pipe):
                pipes.append(ColumnPipe(pipe=element, backward=backward))
                links.append(tuple(before))
                before = []
                continue
            self._refuse_link(element, backward=backward)
            before.append(element)
        return tuple(pipes), tuple(links), gas_from

    def _refuse_link(self, link: Link, *, backward: bool) -> None:
        if isinstance(link, (Pump, NonReturnValve)) and backward:
            raise ColumnError(
                "from",
                f'"{link.name}" lets nothing through towards the gas',
                ONE_WAY,
                "write from and to of the filling in the direction of the flow",
            )
        if isinstance(link, NonReturnValve) and not link.ideal:
            raise ColumnError(
                "from",
                f'"{link.name}" shuts late',
                "non-return valves that shut as the flow turns",
                "fill by a copy of the case in which it has no delay, closing_time or reverse_flow",
            )

    def _look_at_gas(
        self, pipes: tuple[ColumnPipe, ...], links: tuple[tuple[Link, ...], ...], gas_from: int
    ) -> None:
        length = sum(p.pipe.length for p in pipes[gas_from:])
        front = self.filling.front
        if not 0.0 <= front < length:
            raise ColumnError(
                "front",
                f'{front:g} m beyond "{self.filling.start}"',
                f"less than {length:g} m: the front lies outside the line of gas",
                f'write how far the liquid stands beyond "{self.filling.start}", or take front out',
            )
        for one in links[gas_from + 1 :]:
            if one:
                raise ColumnError(
                    "to",
                    f'"{one[0].name}" stands between "{self.filling.start}" and "{self.filling.end}"',
                    "pipes only between from and to",
                    f'let the front arrive at "{one[0].name}"; what lies behind it is another filling',
                )
        if gas_from == 0 and front <= 0.0:
            raise ColumnError(
                "front",
                f'no liquid between "{pipes[0].first}" and the gas',
                "a column of liquid behind the front",
                'write front = "1 m" or more: without any liquid nothing holds the flow back',
            )

    def _beyond(self, last: Pipe) -> tuple[Valve | Passage | None, bool]:
        """What stands where the front arrives, and whether a tank does."""
        end, vent = self.filling.end, self.filling.vent
        self_hung = next((a for a in self.lineup.attached if a.point == end), None)
        if self_hung is not None:
            self._refuse_hung(end)
        ahead = [e for e in self.joined(end) if e is not last]
        tank = end in self.tanks
        if (tank or ahead) and vent != OPEN:
            way = f'the tank at "{end}"' if tank else f'"{ahead[0].name}"'
            raise ColumnError(
                "vent",
                f"{vent}, and {way} is an open way out",
                'vent = "open": gas that has an open way out is not trapped',
                f'write vent = "open", or shut {way} in openings or shut_at_start of this filling'
                if not tank
                else 'write vent = "open", or end the gas at a valve that is shut',
            )
        if len(ahead) > 1 or (tank and ahead):
            raise self._branched(end, [e.name for e in ahead])
        if not ahead:
            return None, tank
        beyond = ahead[0]
        if not isinstance(beyond, (Valve, Passage)):
            raise ColumnError(
                "to",
                f'"{beyond.name}" goes on from "{end}"',
                "a valve, a passage, a closed end or a tank where the front arrives",
                "write as to the point at which the line ends, or stands before a valve",
            )
        return beyond, False
