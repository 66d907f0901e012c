"""Where everything of a line-up stands in its sketch: columns from shore to ship, a row for every way.

Columns come from how many elements lie between a point and the shore; rows from a walk through the line-up
that gives every branch, and every second way of a loop, a row of its own. So no two elements lie on one
another, whatever the network: trees, several tanks, loops.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from surge.model.lineup import Element, LineUp


class Joint(Protocol):
    """What lies between two points, by names."""

    @property
    def name(self) -> str: ...  # noqa: D102
    @property
    def start(self) -> str: ...  # noqa: D102
    @property
    def end(self) -> str: ...  # noqa: D102


@dataclass(frozen=True, slots=True, kw_only=True)
class _Turned:
    """An element as seen from the other end."""

    name: str
    start: str
    end: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """What is joined to what, by names: all that the layout goes by.

    Attributes
    ----------
    points : sequence of str
    joints : sequence of Joint
        Elements between the points, each with a name of its own.
    first : str
        The point at which the walk begins.
    """

    points: Sequence[str]
    joints: Sequence[Joint]
    first: str

    def turned(self) -> Network:
        """The network of a discharge as if it were a loading: the shore stays on the left."""
        joints = [_Turned(name=e.name, start=e.end, end=e.start) for e in self.joints]
        return replace(self, joints=joints)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Columns and rows by name.

    Attributes
    ----------
    column, row : mapping of str to int
        Of every point; column 0 is the shore.
    joint : mapping of str to int
        The row of every element.
    """

    column: Mapping[str, int]
    row: Mapping[str, int]
    joint: Mapping[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class SketchElement:
    """An element in the sketch: it lies in ``row`` between the columns of its two points."""

    element: Element
    row: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Columns and rows of the sketch.

    Attributes
    ----------
    column, row : mapping of str to int
        Of every point; column 0 is the shore.
    elements : tuple of SketchElement
        One for each element.
    """

    column: Mapping[str, int]
    row: Mapping[str, int]
    elements: tuple[SketchElement, ...]

    @property
    def columns(self) -> int:
        """How many elements lie side by side at most."""
        return max(self.column.values(), default=0)

    @property
    def rows(self) -> int:
        """How many rows there are."""
        return 1 + max((r for r in (*self.row.values(), *(drawn.row for drawn in self.elements))), default=0)


def layout_of(lineup: LineUp) -> Layout:
    """Return where everything stands."""
    points = tuple(p.name for p in lineup.points)
    network = Network(points=points, joints=lineup.elements, first=_first(lineup))
    rows = rows_of(network.turned() if lineup.discharges else network)
    return Layout(
        column=rows.column,
        row=rows.row,
        elements=tuple(SketchElement(element=e, row=rows.joint[e.name]) for e in lineup.elements),
    )


def rows_of(network: Network) -> Rows:
    """Return columns and rows of a network, whatever the figures of its parts."""
    column = _columns(network)
    walk = _Walk(network, column)
    return Rows(column=column, row=walk.row, joint=walk.row_of_element)


# Columns


def _columns(network: Network) -> dict[str, int]:
    """The longest way from the shore to every point, in elements; loops against the order are let go."""
    after: dict[str, list[str]] = {p: [] for p in network.points}
    waits = dict.fromkeys(after, 0)
    for e in network.joints:
        after[e.start].append(e.end)
        waits[e.end] += 1
    column = dict.fromkeys(after, 0)
    order: list[str] = []
    left = dict.fromkeys(after)
    while left:
        point = next((p for p in left if waits[p] == 0), next(iter(left)))
        del left[point]
        order.append(point)
        for other in after[point]:
            waits[other] -= 1
            if other in left:
                column[other] = max(column[other], column[point] + 1)
    _towards_the_ship(network, column, order, after)
    return column


def _towards_the_ship(
    network: Network, column: dict[str, int], order: list[str], after: Mapping[str, list[str]]
) -> None:
    """Move what joins later (a second tank, a second pump) next to where it joins."""
    behind = _reached(network.first, after)
    for point in reversed(order):
        next_ = [column[other] for other in after[point] if column[other] > column[point]]
        if point not in behind and next_:
            column[point] = min(next_) - 1


def _first(lineup: LineUp) -> str:
    """The point at which the walk begins: a shore tank or supply, or the first point."""
    tanks = [t.point for t in lineup.tanks if t.side == "shore"]
    return next(iter([*tanks, *(s.point for s in lineup.supplies), *(p.name for p in lineup.points)]))


def _reached(start: str, after: Mapping[str, Iterable[str]]) -> set[str]:
    seen: set[str] = set()
    stack = [start]
    while stack:
        point = stack.pop()
        if point not in seen:
            seen.add(point)
            stack.extend(after[point])
    return seen


# Rows


class _Walk:
    """Goes through the network once and gives rows."""

    def __init__(self, network: Network, column: Mapping[str, int]) -> None:
        self.column = column
        self.joined: dict[str, list[Joint]] = {p: [] for p in network.points}
        for e in network.joints:
            self.joined[e.start].append(e)
        for e in network.joints:  # what leads on comes before what leads back
            self.joined[e.end].append(e)
        self.children: dict[str, list[Joint]] = {p: [] for p in self.joined}
        self.seconds: dict[str, list[Joint]] = {p: [] for p in self.joined}
        self.parent: dict[str, Joint | None] = {}
        self.row: dict[str, int] = {}
        self.row_of_element: dict[str, int] = {}
        self.rows = 0
        for start in (network.first, *self.joined):
            if start not in self.parent:
                self._place(self._tree(start))

    def _other(self, element: Joint, point: str) -> str:
        return element.end if element.start == point else element.start

    def _tree(self, start: str) -> list[str]:
        """Points of a part in the order of the walk; each knows by which element it was reached."""
        order: list[str] = []
        stack: list[tuple[str, Joint | None]] = [(start, None)]
        used: set[str] = set()
        while stack:
            point, by = stack.pop()
            if by is not None and by.name in used:
                continue
            if by is not None:
                used.add(by.name)
                if point in self.parent:
                    self.seconds[self._other(by, point)].append(by)
                    continue
                self.children[self._other(by, point)].append(by)
            self.parent[point] = by
            order.append(point)
            for e in reversed(self.joined[point]):
                if e.name not in used:
                    stack.append((self._other(e, point), e))
        return order

    def _place(self, order: list[str]) -> None:
        """Give rows: a point stands in the row of the branch that leads straight on."""
        depth = dict.fromkeys(order, 1)
        for point in reversed(order):
            by = self.parent[point]
            if by is not None:
                above = self._other(by, point)
                depth[above] = max(depth[above], depth[point] + 1)
        stack = [(order[0], self._branches(order[0], depth))]
        while stack:
            point, branches = stack.pop()
            if not branches:
                self._finish(point)
                continue
            (element, second), rest = branches[0], branches[1:]
            stack.append((point, rest))
            if second:
                self.row_of_element[element.name] = self._new_row()
            else:
                below = self._other(element, point)
                stack.append((below, self._branches(below, depth)))

    def _branches(self, point: str, depth: Mapping[str, int]) -> list[tuple[Joint, bool]]:
        """What leaves a point, from top to bottom, the deepest way in the middle; True: a second way."""
        ways = [(e, False) for e in self.children[point]] + [(e, True) for e in self.seconds[point]]
        straight = [w for w in ways if self._straight(point, w[0])]
        if len(ways) < 2 or not straight:
            return ways
        deepest = max(straight, key=lambda w: 0 if w[1] else depth[self._other(w[0], point)])
        deep = 0 if deepest[1] else depth[self._other(deepest[0], point)]
        level = sum(not w[1] and depth[self._other(w[0], point)] == deep for w in ways)
        if level > 1:
            return ways
        others = [w for w in ways if w is not deepest]
        half = len(others) // 2
        return [*others[:half], deepest, *others[half:]]

    def _straight(self, point: str, element: Joint) -> bool:
        """Whether an element leads on in the direction in which its point was reached."""
        by = self.parent[point]
        here = self.column[point]
        onward = self.column[self._other(element, point)] - here
        inward = 1 if by is None else here - self.column[self._other(by, point)]
        return onward * inward > 0

    def _finish(self, point: str) -> None:
        """All branches of a point have rows: take the middle one of those that lead straight on."""
        ways = [
            (e, self.row_of_element[e.name])
            for e in (*self.children[point], *self.seconds[point])
            if self._straight(point, e)
        ]
        rows = sorted(row for _, row in ways)
        self.row[point] = rows[(len(rows) - 1) // 2] if rows else self._new_row()
        by = self.parent[point]
        if by is not None:
            self.row_of_element[by.name] = self.row[point]

    def _new_row(self) -> int:
        self.rows += 1
        return self.rows - 1
