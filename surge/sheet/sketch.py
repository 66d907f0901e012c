"""The line-up as a plain sketch, in SVG: shore on the left, ship on the right, every part with its name.

Drawn from the case alone. Signs are those of piping drawings at large (two triangles a valve, a circle with a
triangle a pump); a hose waves, an arm has joints. One colour, that of the text around it, so that it can be
printed, copied and read on a dark screen. Lengths are not to scale.
"""

from __future__ import annotations

import re
import unicodedata
from contextlib import suppress
from dataclasses import dataclass
from itertools import accumulate
from xml.sax.saxutils import escape, quoteattr

from surge.model.column import ColumnError, column_of
from surge.model.lineup import Element, LineUp, NonReturnValve, Passage, Pipe, Point, Pump, Tank, Valve
from surge.reports.letters import letters
from surge.sheet.layout import Layout, SketchElement, layout_of

WIDTH = 527.0  # [pt] of a sheet of A4 within its margins
LEFT, RIGHT, TOP = 50.0, 72.0, 12.0
NARROWEST, WIDEST = 33.0, 78.0  # a column: for its sign; for the longest name that it makes room for
FONT, SMALLEST, LEADING = 6.6, 6.3, 7.1
LINES = 3  # of a name
# Widths, of the font size: a small letter or figure, a capital, one of full width; bold, more.
NARROW, CAPITAL, WIDE, BOLD = 0.6, 0.72, 1.02, 1.13
ABOVE, BELOW, NAME = 10.0, 3.0, 14.5  # room over a line and under its name; from the line to its name
SIDES = 3.0  # what a name leaves free of its column
TANK = 22.0  # from the line to the bottom of a ship's tank
RELIEF, HANGS = 27.0, 62.0  # of what stands over a point: from the line to its name; width of the name


@dataclass(frozen=True, slots=True, kw_only=True)
class Weak:
    """What the sketch marks as the weakest: ``subject`` is "element" or "place"."""

    subject: str
    name: str


def sketch(lineup: LineUp, *, weak: Weak | None = None, words: str = "") -> str:
    """Return the sketch of a line-up.

    Parameters
    ----------
    lineup : LineUp
    weak : Weak, optional
        Marked with its name in bold and the word "weakest".
    words : str
        The same in words, for those who do not see it.

    Returns
    -------
    str
        An SVG element, every name escaped.
    """
    drawing = _Drawing(lineup, layout_of(lineup), weak)
    return drawing.svg(words)


def gas_pipes(lineup: LineUp) -> set[str]:
    """Return the names of pipes that hold gas at first in some filling: three bubbles over their line."""
    found: set[str] = set()
    for filling in lineup.fillings:
        with suppress(ColumnError):  # told where the filling is
            found |= {one.pipe.name for one in column_of(lineup, filling).gas_pipes}
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A name broken into lines, and the size of its letters [pt]."""

    lines: tuple[str, ...]
    size: float


def label(name: str, width: float) -> Label:
    """Break a name into at most ``LINES`` lines of a width [pt].

    Letters become smaller, down to ``SMALLEST``, before a word is broken; what is then too long ends in dots.
    """
    words = [part for word in name.split() for part in _at_hyphens(word)]
    longest = max((_wide(word.strip()) for word in words), default=0.0)
    size = max(SMALLEST, min(FONT, FONT * width / longest if longest else FONT))
    room = width * FONT / size + 1e-6
    lines: list[str] = []
    for word in words:
        if lines and _wide(f"{lines[-1]}{word}".rstrip()) <= room:
            lines[-1] += word
        else:
            lines += _pieces(word, room)
    lines = [line.strip() for line in lines]
    if len(lines) > LINES:
        last = lines[LINES - 1]
        while last and (_wide(f"{last}...") > room or _hangs_on(lines[LINES - 1][len(last) :][:1])):
            last = last[:-1]
        lines = [*lines[: LINES - 1], f"{last}..."]
    return Label(lines=tuple(lines), size=size)


def _at_hyphens(word: str) -> list[str]:
    """The parts of a word that may stand on lines of their own; the last one with the space behind it."""
    parts = re.findall(r"[^-]+-?|-", word)
    return [*parts[:-1], f"{parts[-1]} "]


def _pieces(word: str, room: float) -> list[str]:
    """A word in pieces that fit."""
    pieces: list[str] = []
    while _wide(word.rstrip()) > room and len(word) > 1:
        cuts = [i for i in range(len(word) - 1, 0, -1) if not _hangs_on(word[i])]
        cut = next((i for i in cuts if _wide(word[:i]) <= room), cuts[-1] if cuts else len(word))
        pieces.append(word[:cut])
        word = word[cut:]
    return [*pieces, word]


def _in_two(name: str) -> float:
    """Width that a name takes in two lines [pt]."""
    words = [part for word in name.split() for part in _at_hyphens(word)]
    ways = (("".join(words[:i]), "".join(words[i:])) for i in range(1, len(words) + 1))
    return min((max(_wide(a.strip()), _wide(b.strip())) for a, b in ways), default=0.0)


def _wide(text: str) -> float:
    """Width of a text, about [pt]."""
    return FONT * sum(_width(c) for c in text)


def _hangs_on(c: str) -> bool:
    """Whether a character belongs to the one before it, as an accent does."""
    return unicodedata.category(c or " ") in ("Mn", "Mc", "Me", "Cf", "Sk")


def _width(c: str) -> float:
    """Width of a character, of the font size; an m or a W is as wide as letters come."""
    if c in "mMwW@%" or ord(c) not in letters():  # a box for what the fonts lack is as wide
        return WIDE
    if unicodedata.category(c) in ("Mn", "Me", "Cf"):
        return 0.0
    return CAPITAL if c.isupper() else NARROW


class _Drawing:
    """Collects the parts of the SVG."""

    def __init__(self, lineup: LineUp, layout: Layout, weak: Weak | None) -> None:
        self.lineup, self.layout, self.weak = lineup, layout, weak
        self.gas = gas_pipes(lineup)
        needs = self._needs()
        spare = max(WIDTH - LEFT - RIGHT - sum(needs), 0.0) / len(needs)
        self.x = [LEFT, *(LEFT + x for x in accumulate(need + spare for need in needs))]
        self.width = self.x[-1] + RIGHT
        self.parts: list[str] = []
        self.line: list[float] = []  # height of the line of every row
        y = TOP
        for above, below in self._room():
            self.line.append(y + above)
            y += above + below
        self.height = y

    def svg(self, words: str) -> str:
        """Draw everything and return the SVG."""
        self._sides()
        for drawn in self.layout.elements:
            self._element(drawn)
        self._risers()
        for point in self.lineup.points:
            self._point(point)
        for tank in self.lineup.tanks:
            self._tank(tank)
        for relief in self.lineup.relief_valves:
            self._relief(*self._at(relief.point), relief.name)
        for drum in self.lineup.surge_drums:
            self._drum(*self._at(drum.point), drum.name)
        for vessel in self.lineup.open_vessels:
            self._vessel(*self._at(vessel.point), vessel.name)
        for supply in self.lineup.supplies:
            x, y = self._at(supply.point)
            self._path(f"M{x - 28:.1f} {y - 6:.1f}h16l12 6l-12 6h-16z", 0.9)
            self._name(supply.name, x - 24, y + NAME, 46.0)
        title = f"<title>{escape(words)}</title>" if words else ""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width:.1f} {self.height:.1f}" '
            f'role="img" aria-label={quoteattr(words or "Line-up sketch")} fill="none" stroke="currentColor" '
            f'stroke-linecap="round" stroke-linejoin="round">{title}{"".join(self.parts)}</svg>'
        )

    # Where

    def _needs(self) -> list[float]:
        """Width of every column: its names in two lines."""
        needs = [NARROWEST] * max(self.layout.columns, 1)
        for drawn in self.layout.elements:
            ends = sorted(self.layout.column[p] for p in (drawn.element.start, drawn.element.end))
            if ends[1] - ends[0] == 1:
                bold = BOLD if self._weakest("element", drawn.element.name) else 1.0
                wide = _in_two(drawn.element.name) * bold + SIDES
                needs[ends[0]] = max(needs[ends[0]], min(wide, WIDEST))
        return needs

    def _room(self) -> list[tuple[float, float]]:
        """Room that every row takes above and below its line."""
        above = [ABOVE] * self.layout.rows
        below = [NAME + BELOW] * self.layout.rows

        def name_in(row: int, name: str, width: float, *, bold: bool = False) -> None:
            lines = len(label(name, width / BOLD if bold else width).lines)
            below[row] = max(below[row], NAME + LEADING * (lines - 1) + BELOW)

        for drawn in self.layout.elements:
            bold = self._weakest("element", drawn.element.name)
            name_in(drawn.row, drawn.element.name, self._long(drawn.element) - SIDES, bold=bold)
            above[drawn.row] = max(above[drawn.row], 18.0 if bold else ABOVE)
        for tank in self.lineup.tanks:
            row = self.layout.row[tank.point]
            if tank.side == "shore":
                above[row] = max(above[row], 19.0)
                name_in(row, tank.name, 46.0)
            else:
                below[row] = max(below[row], TANK + BELOW)
        for supply in self.lineup.supplies:
            name_in(self.layout.row[supply.point], supply.name, 46.0)
        for thing in self.lineup.attached:
            lines = len(label(thing.name, HANGS).lines)
            row = self.layout.row[thing.point]
            above[row] = max(above[row], RELIEF + LEADING * lines)
        if self.weak is not None and self.weak.subject == "place":
            above[self.layout.row[self.weak.name]] = 20.0
        return list(zip(above, below, strict=True))

    def _long(self, element: Element) -> float:
        """How far the points of an element lie apart."""
        return abs(self._x(element.end) - self._x(element.start)) or 0.8 * NARROWEST

    def _x(self, point: str) -> float:
        return self.x[self.layout.column[point]]

    def _y(self, row: int) -> float:
        return self.line[row]

    def _at(self, point: str) -> tuple[float, float]:
        return self._x(point), self._y(self.layout.row[point])

    # Strokes and names

    def _path(self, d: str, width: float, more: str = "") -> None:
        self.parts.append(f'<path d="{d}" stroke-width="{width:g}"{more}/>')

    def _dot(self, x: float, y: float, radius: float, width: float = 0.9, fill: str = "none") -> None:
        self.parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" stroke-width="{width:g}" fill="{fill}"/>'
        )

    def _text(
        self, text: str, x: float, y: float, *, anchor: str = "middle", bold: bool = False, size: float = FONT
    ) -> None:
        weight = ' font-weight="bold"' if bold else ""
        self.parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size:.3g}"{weight} '
            f'font-family="DejaVu Sans, sans-serif" fill="currentColor" stroke="none">{escape(text)}</text>'
        )

    def _name(
        self, name: str, x: float, y: float, width: float, *, bold: bool = False, anchor: str = "middle"
    ) -> None:
        """A name below what it belongs to."""
        made = label(name, width / BOLD if bold else width)
        for i, line in enumerate(made.lines):
            self._text(line, x, y + LEADING * i, anchor=anchor, bold=bold, size=made.size)

    def _weakest(self, subject: str, name: str) -> bool:
        return self.weak is not None and (self.weak.subject, self.weak.name) == (subject, name)

    # Parts

    def _sides(self) -> None:
        """Shore and ship, parted at the hoses and arms, if these lie together."""
        across = [p for p in self.lineup.pipes if p.kind in ("hose", "arm")]
        middles = [(self._x(p.start) + self._x(p.end)) / 2 for p in across]
        if not middles or max(middles) - min(middles) > NARROWEST / 2:
            return
        x = sum(middles) / len(middles)
        own = [self._y(drawn.row) for drawn in self.layout.elements if drawn.element in across]
        weak = any(self._weakest("element", p.name) for p in across)
        gap = (min(own) - (18.0 if weak else ABOVE), max(own) + NAME + LEADING * LINES)
        dashed = ' stroke-dasharray="1.5 2.5"'
        self._path(f"M{x:.1f} 2V{gap[0]:.1f}", 0.5, dashed)
        if gap[1] < self.height:
            self._path(f"M{x:.1f} {gap[1]:.1f}V{self.height - 2:.1f}", 0.5, dashed)
        self._text("SHORE", x - 6, 8, anchor="end")
        self._text("SHIP", x + 6, 8, anchor="start")

    def _element(self, drawn: SketchElement) -> None:
        """An element: its line with its sign in the middle, and its name."""
        e = drawn.element
        y = self._y(drawn.row)
        x0, x1 = self._x(e.start), self._x(e.end)
        if x0 == x1:  # a way back within a column
            x1 = x0 + self._long(e)
            self._path(f"M{x1:.1f} {y:.1f}V{self._at(e.end)[1]:.1f}H{x0:.1f}", 0.9)
        middle = (x0 + x1) / 2
        forward = 1 if x1 >= x0 else -1
        heavy = self._weakest("element", e.name)
        half = self._sign(e, middle, y, forward, abs(x1 - x0), 1.6 if heavy else 0.9)
        line = 2.6 if heavy and isinstance(e, Pipe) else 1.6 if isinstance(e, Pipe) else 0.9
        a, b = min(x0, x1), max(x0, x1)
        self._path(f"M{a:.1f} {y:.1f}H{middle - half:.1f}M{middle + half:.1f} {y:.1f}H{b:.1f}", line)
        self._name(e.name, middle, y + NAME, abs(x1 - x0) - SIDES, bold=heavy)
        if e.name in self.gas:
            for aside in (-8.0, 0.0, 8.0):
                self._dot(middle + aside, y - 4.0, 1.7, 0.6)
        if heavy:
            # Away from what hangs on one of its ends.
            hangs = {thing.point for thing in self.lineup.attached}
            aside = 5.0 * ((e.start in hangs) - (e.end in hangs)) * forward
            self._text("WEAKEST", middle + aside, y - 10.5, bold=True, size=SMALLEST)

    def _sign(self, e: Element, x: float, y: float, forward: int, long: float, width: float) -> float:
        """Draw the sign of an element; return half the length that it takes of the line."""
        if isinstance(e, Valve):
            self._path(
                f"M{x - 7:.1f} {y - 4.5:.1f}V{y + 4.5:.1f}L{x + 7:.1f} {y - 4.5:.1f}V{y + 4.5:.1f}z", width
            )
            return 7.0
        if isinstance(e, Pump):
            self._dot(x, y, 7, width)
            f = forward
            self._path(
                f"M{x - 3 * f:.1f} {y - 6.2:.1f}L{x + 7 * f:.1f} {y:.1f}L{x - 3 * f:.1f} {y + 6.2:.1f}", width
            )
            return 7.0
        if isinstance(e, NonReturnValve):
            f = forward
            self._path(f"M{x - 5 * f:.1f} {y - 4.5:.1f}V{y + 4.5:.1f}L{x + 5 * f:.1f} {y:.1f}z", width)
            self._path(f"M{x + 5 * f:.1f} {y - 4.5:.1f}V{y + 4.5:.1f}", width)
            return 5.0
        if isinstance(e, Passage):
            if e.kind == "cargo pump":
                self._dot(x, y, 7, width)
                self._path(f"M{x - 4.9:.1f} {y - 4.9:.1f}L{x + 4.9:.1f} {y + 4.9:.1f}", width)
                return 7.0
            self._path(f"M{x - 1.5:.1f} {y - 5:.1f}V{y + 5:.1f}M{x + 1.5:.1f} {y - 5:.1f}V{y + 5:.1f}", width)
            return 1.5
        if e.kind == "hose":
            part = min(long * 0.6, 32.0) / 4
            wave = f"M{x - 2 * part:.1f} {y:.1f}" + "".join(
                f"q{part / 2:.2f} {s * 5:.1f} {part:.2f} 0" for s in (-1, 1, -1, 1)
            )
            self._path(wave, width + 0.7)
            return 2 * part
        if e.kind == "arm":
            part = min(long * 0.6, 30.0) / 2
            self._path(
                f"M{x - part:.1f} {y:.1f}L{x - 0.2 * part:.1f} {y - 8:.1f}L{x + part:.1f} {y:.1f}",
                width + 0.7,
            )
            for px, py in ((x - part, y), (x - 0.2 * part, y - 8), (x + part, y)):
                self._dot(px, py, 1.4, 0.6, "currentColor")
            return part
        return 0.0

    def _relief(self, x: float, y: float, name: str) -> None:
        """A relief valve over its point: an angle valve with its spring, and the way out."""
        self._path(f"M{x:.1f} {y:.1f}V{y - 8:.1f}", 0.9)
        self._path(f"M{x - 3.5:.1f} {y - 8:.1f}h7L{x:.1f} {y - 14:.1f}zL{x + 6.5:.1f} {y - 17.5:.1f}v7z", 0.9)
        self._path(f"M{x:.1f} {y - 14:.1f}l-2.5 -1.5l5 -2l-5 -2l2.5 -1.5", 0.7)
        self._path(f"M{x + 6.5:.1f} {y - 14:.1f}h6m-2 -1.6l2 1.6l-2 1.6", 0.7)
        self._above(name, x, y)

    def _drum(self, x: float, y: float, name: str) -> None:
        """A surge drum over its point: a closed vessel with the surface of its liquid."""
        self._path(f"M{x:.1f} {y:.1f}V{y - 6:.1f}", 0.9)
        self._path(f"M{x - 5:.1f} {y - 9:.1f}v-9q0 -3 5 -3t5 3v9q0 3 -5 3t-5 -3z", 0.9)
        self._level(x - 5, x + 5, y - 13)
        self._above(name, x, y)

    def _vessel(self, x: float, y: float, name: str) -> None:
        """A vessel open to the air over its point."""
        self._path(f"M{x:.1f} {y:.1f}V{y - 6:.1f}", 0.9)
        self._path(f"M{x - 6:.1f} {y - 22:.1f}V{y - 6:.1f}h12V{y - 22:.1f}", 0.9)
        self._level(x - 6, x + 6, y - 14)
        self._above(name, x, y)

    def _above(self, name: str, x: float, y: float) -> None:
        """A name over what stands on a point."""
        made = label(name, HANGS)
        for i, line in enumerate(made.lines):
            self._text(line, x, y - RELIEF + 3.0 - LEADING * (len(made.lines) - 1 - i), size=made.size)

    def _risers(self) -> None:
        """Lines up and down from each point to the rows of what is joined to it."""
        rows: dict[str, list[int]] = {p.name: [self.layout.row[p.name]] for p in self.lineup.points}
        joined = dict.fromkeys(rows, 0)
        for drawn in self.layout.elements:
            for point in (drawn.element.start, drawn.element.end):
                rows[point].append(drawn.row)
                joined[point] += 1
        for point, own in rows.items():
            x = self._x(point)
            if min(own) < max(own):
                self._path(f"M{x:.1f} {self._y(min(own)):.1f}V{self._y(max(own)):.1f}", 1.6)
            if joined[point] > 2:
                self._dot(x, self._y(self.layout.row[point]), 1.7, 0.5, "currentColor")

    def _point(self, point: Point) -> None:
        """A blank end, and the place that is the weakest."""
        x, y = self._at(point.name)
        if point.closed:
            self._path(f"M{x:.1f} {y - 5:.1f}V{y + 5:.1f}", 2.2)
        if self._weakest("place", point.name):
            self._dot(x, y, 4.5, 1.4)
            self._text(f"WEAKEST: {point.name}", x, y - 10, bold=True)

    def _tank(self, tank: Tank) -> None:
        """A tank, with the surface of its liquid: ashore before its outlet, on board below the drop line."""
        x, y = self._at(tank.point)
        if tank.side == "shore":
            self._path(f"M{x:.1f} {y:.1f}H{x - 6:.1f}", 1.6)
            self._path(f"M{x - 32:.1f} {y - 17:.1f}V{y + 4:.1f}H{x - 6:.1f}V{y - 17:.1f}", 0.9)
            self._level(x - 32, x - 6, y - 11)
            self._name(tank.name, x - 24, y + NAME, 46.0)
            return
        self._path(f"M{x:.1f} {y:.1f}h11v10", 1.6)
        self._path(f"M{x + 2:.1f} {y + 4:.1f}v{TANK - 4:g}h19v-{TANK - 4:g}", 0.9)
        self._level(x + 2, x + 21, y + 15)
        made = label(tank.name, RIGHT - 26)
        for i, line in enumerate(made.lines):
            self._text(line, x + 24.5, y + 7 + LEADING * i, anchor="start", size=made.size)

    def _level(self, x0: float, x1: float, y: float) -> None:
        self._path(f"M{x0:.1f} {y:.1f}H{x1:.1f}M{x0 + 3:.1f} {y + 2.2:.1f}h5", 0.5)
