"""The first screen of ``surge window``: what to set each valve to, and what sets it, on at most 30 lines.

Decisions
---------
* The sentence below the verdict is of the valve for which there is most to do: one without a window, then one
  that cannot be decided, then one whose stroke in the case lies outside, then the nearest to its shortest.
* Each valve has a row for each scenario: first of every valve the narrowest, then the others. Valves with one
  stroke stand in one row.
* What was held while a window was found is always there, or counted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from surge.model.lineup import LineUp
from surge.reports.fillings import broken_fillings, filling_sentences
from surge.reports.layout import LINE, Row, table_parts
from surge.reports.orders import brief
from surge.reports.room import NOTHING, PERMIT, SOUND, Part, bullets, listed, listing, on_a_screen, wrapped
from surge.reports.window import (
    RATES,
    VERDICT,
    Parts,
    boiling_bounds,
    heads,
    joint_sentences,
    rate_sentences,
    to_do,
    without_words,
)
from surge.reports.words import RANK, Display, against, what_happens
from surge.rules.fillings import searched_beside
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.search.extras import Extras
from surge.search.strokes import StrokeLimits
from surge.search.window import Windows, bounds_over
from surge.transient.sensitivities import searched_with

MORE = "More: --details (each window with its proof, twins apart, sources), --json."
# Items that stay of windows, rates, sets, what was asked besides, notes and what to do.
FLOORS = (
    (4, 2, 2, 3, 2, 3),
    (3, 1, 1, 2, 1, 2),
    (3, 0, 1, 1, 0, 1),
    (2, 0, 1, 0, 0, 1),
    (2, 0, 0, 0, 0, 1),
    (1, 0, 0, 0, 0, 1),
    (1, 0, 0, 0, 0, 0),
)


@dataclass(frozen=True, kw_only=True)
class Head:
    """Valves that share a stroke, and what each scenario allows them.

    Attributes
    ----------
    valves : tuple of str
    parts : tuple of StrokeLimits
        One for each scenario.
    """

    valves: tuple[str, ...]
    parts: Parts

    @property
    def opens(self) -> bool:
        """Whether they open."""
        return self.parts[0].opens

    @property
    def named(self) -> str:
        """The valves in words."""
        every = "both" if len(self.valves) == 2 else "all"
        return listing(self.valves) + (f", {every} with one stroke," if len(self.valves) > 1 else "")

    @property
    def fastest(self) -> StrokeLimits:
        """The scenario that asks for the longest stroke, or has none that is safe."""
        return max(self.parts, key=_asked_for)

    @property
    def slowest(self) -> StrokeLimits:
        """The scenario that allows the least time."""
        return min(self.parts, key=lambda p: math.inf if p.longest is None else p.longest)

    @property
    def bounds(self) -> tuple[float | None, float | None]:
        """Shortest and longest stroke over all scenarios [s], as in StrokeLimits."""
        return bounds_over(self.parts)

    @property
    def verdict(self) -> str:
        """Kept: there is a window."""
        shortest, longest = self.bounds
        if shortest is not None and longest is not None and shortest > longest:
            return EXCEEDED
        return min((p.verdict for p in self.parts), key=lambda v: RANK[v])

    @property
    def outside(self) -> StrokeLimits | None:
        """A scenario in which the stroke of the case lies outside what that scenario allows."""
        return next((p for p in self.parts if p.open and (too_fast(p) or too_slow(p))), None)

    @property
    def order(self) -> tuple[int, bool, float]:
        """For sorting: that with most to do first."""
        nearest = min((p.stroke / p.shortest for p in self.parts if p.shortest), default=0.0)
        return RANK[self.verdict], self.outside is None, nearest


def too_fast(part: StrokeLimits) -> bool:
    """Whether the stroke of the case is shorter than its scenario allows."""
    return part.shortest is not None and part.stroke < part.shortest


def too_slow(part: StrokeLimits) -> bool:
    """Whether the stroke of the case is longer than its scenario allows."""
    return part.longest is not None and part.stroke > part.longest


def all_heads(windows: Windows) -> list[Head]:
    """Valves that close and valves that open, those with most to do first."""
    every = (*heads(windows.by_valve), *heads(windows.to_open))
    return sorted((Head(valves=valves, parts=parts) for valves, parts in every), key=lambda h: h.order)


def allowed(shortest: float | None, longest: float | None, *, tried: float = 0.0) -> str:
    """Stroke times that are safe, in a few words; ``tried`` is the shortest looked at [s]."""
    if shortest is None:
        return "none shown to be safe"
    if longest is not None and shortest > longest:
        return f"none: {shortest:.1f} s or more, and {longest:.1f} s or less" if longest else "none in time"
    if longest is not None:
        return f"up to {longest:.1f} s" if shortest <= tried else f"{shortest:.1f} s to {longest:.1f} s"
    return f"any from {tried:g} s on" if shortest <= tried else f"{shortest:.1f} s or more"


class WindowScreen:
    """Puts windows on one screen.

    Parameters
    ----------
    windows : Windows
    lineup : LineUp
    display : Display
        Units of the output.
    extras : Extras
        What was asked beside the windows.
    signature : str
        Program, case and hash, in a line.
    """

    def __init__(
        self, windows: Windows, lineup: LineUp, display: Display, *, extras: Extras, signature: str
    ) -> None:
        self.windows, self.lineup, self.display = windows, lineup, display
        self.extras, self.signature = extras, signature
        self.heads = all_heads(windows)

    def lines(self) -> list[str]:
        """All lines."""
        verdict = f"VERDICT: {VERDICT[self.windows.verdict]}"
        top = [*wrapped(self.lineup.title), "", verdict, *wrapped(self.answer())]
        parts = [self.rows(), *self.rates_and_sets(), self.asked(), self.notes(), self.steps()]
        ends = [
            ["", *(line for text in said for line in wrapped(text)), *wrapped(MORE), self.signature, verdict]
            for said in ((PERMIT, SOUND), (PERMIT,))
        ]
        return on_a_screen(top, parts, ends, floors=FLOORS)

    def answer(self) -> str:
        """What to do about the valve for which there is most to do, and what sets its stroke."""
        if not self.heads:
            return "No valve was searched."
        first = self.heads[0]
        if first.verdict == WITHIN and self.windows.verdict != WITHIN:
            return "Each valve has a window, but not all together: see below what the set needs."
        words = {EXCEEDED: self._closed, UNDECIDED: self._undecided, WITHIN: self._open}[first.verdict](first)
        together = self.windows.together
        if together is not None and together.elsewhere is not None:
            where = together.elsewhere
            words += f' The case is not kept all the same: "{where.name}" in "{where.scenario}".'
        return words

    def _open(self, head: Head) -> str:
        """A valve that has a window."""
        shortest, longest = head.bounds
        part = head.fastest
        verb = "Open" if head.opens else "Close"
        words = allowed(shortest, longest, tried=part.from_).replace("any ", "any time ")
        return f"{verb} {head.named} in {words}{self._in_case(head)}.{self._sets(part)}"

    def _in_case(self, head: Head) -> str:
        """How the strokes of the case lie to a window."""
        part = head.outside
        if part is None:
            told = " and ".join(f"{s:.1f} s" for s in sorted({p.stroke for p in head.parts}))
            return f"; the case has {told}"
        where = f' in "{part.scenario}"' if len(head.parts) > 1 else ""
        how = "too fast" if too_fast(part) else "too slow"
        return f"; the case has {part.stroke:.1f} s{where}, which is {how}"

    def _sets(self, part: StrokeLimits) -> str:
        """What sets the shortest stroke."""
        where = f'in "{part.scenario}"'
        if part.fast_rule is not None:
            return f' The rule "{part.fast_rule.name}" sets the shortest, {where}.'
        found = part.governs
        if found is None or found.value is None or part.shortest is None:
            return ""
        happens, held = what_happens(found, part.run, self.display), against(found, part.run, self.display)
        nearest = "is nearest to its limit" if part.shortest <= part.from_ else "sets the shortest"
        return f' "{found.name}" {nearest}, {where}: at {part.shortest:.1f} s {happens}; {held}.'

    def _closed(self, head: Head) -> str:
        """A valve without a window, and the surest thing that gives it one."""
        shortest, longest = head.bounds
        fast, slow, who = head.fastest, head.slowest, head.named.rstrip(",")
        if shortest is None or longest is None:
            place = f' "{fast.governs.name}" is in the way.' if fast.governs else ""
            words = f'{who}: no stroke is safe in "{fast.scenario}", {fast.reason}.{place}'
        else:
            place = f'"{fast.governs.name}"' if fast.governs else "surge"
            rule = f'the rule "{slow.slow_rule.name}"' if slow.slow_rule else "time"
            words = (
                f'{who}: no window. In "{fast.scenario}" {place} asks for {shortest:.1f} s or more; '
                f'in "{slow.scenario}" {rule} allows {longest:.1f} s at most.'
            )
        opening = self.windows.opens_at.get(head.valves[0])
        if opening is not None and opening.share is None:
            words += " No lower rate opens it."
        return words

    def _undecided(self, head: Head) -> str:
        """A valve of which a window cannot be told."""
        part = next(p for p in head.parts if p.verdict == UNDECIDED)
        return f'{head.named.rstrip(",")} in "{part.scenario}": {part.reason or "cannot be decided"}.'

    def rows(self) -> Part:
        """A row for each valve, or valves with one stroke, in each scenario."""
        ranked = [(h, sorted(h.parts, key=_narrowest)) for h in self.heads]
        each = [(h, parts[0]) for h, parts in ranked] + [(h, p) for h, parts in ranked for p in parts[1:]]
        if len(each) < 2:
            return NOTHING
        title = ("valve", "scenario", "safe strokes", "case", "set by")
        before, rows = table_parts(title, [self._row(h, p) for h, p in each], left=3, widest=LINE)

        def rest(left: int) -> str:
            empty = sum(not p.open for _, p in each[len(each) - left :])
            told = f", {empty} of them without a window" if empty else ", each with a window"
            return f"... and {left} more{told} (--details)"

        return Part(["", *before], rows, rest)

    def _row(self, head: Head, part: StrokeLimits) -> Row:
        verb = ", opening" if head.opens else ""
        by = [part.fast_rule.name if part.fast_rule else part.governs.name if part.governs else ""]
        if part.shortest is not None and part.shortest <= part.from_:
            by = []  # no shorter one was tried, or another stage asks for it: nothing sets it here
        by += [part.slow_rule.name] if part.slow_rule else []
        return (
            head.valves[0] + (f" and {len(head.valves) - 1} more" if len(head.valves) > 1 else "") + verb,
            part.scenario,
            allowed(part.shortest, part.longest, tried=part.from_),
            f"{part.stroke:.1f} s",
            "; ".join(filter(None, by)) or "-",
        )

    def rates_and_sets(self) -> tuple[Part, Part]:
        """Greatest safe rates, and what came of all valves together."""
        rates = rate_sentences(self.windows.rates, self.lineup, self.display, short=True)
        sets = joint_sentences(self.windows) if len(self.windows.by_valve) > 1 else []
        return (
            bullets(["", f"{RATES}:"], rates),
            bullets([""], sets),
        )

    def asked(self) -> Part:
        """What was asked beside the windows."""
        return bullets([""], brief(self.extras, self.display))

    def notes(self) -> Part:
        """What was held while windows were found; what was not searched."""
        items = [listed("Held meanwhile: ", self._held(), lines=2)] if self._held() else []
        if self.windows.idle:
            idle = [f'"{v}"' for v in self.windows.idle]
            items.append(listed("Not searched, since it moves in no scenario: ", idle, lines=1))
        if asked := searched_with(self.lineup):
            items.append(wrapped(asked, indent="  ", first="- "))
        broken = filling_sentences(broken_fillings(self.windows.fillings), self.display)
        for said in (*broken, searched_beside(self.lineup)):
            items += [wrapped(said, indent="  ", first="- ")] if said else []
        if gained := without_words(self.windows, self.lineup):
            items.append(wrapped(gained, indent="  ", first="- "))
        if boils := boiling_bounds(self.windows):
            items.append(wrapped(boils, indent="  ", first="- "))
        return Part([""], items, lambda left: f"- {left} more on this: --details.")

    def _held(self) -> list[str]:
        """Valves that kept a stroke, and which."""
        held = (pair for h in self.heads for p in h.parts for pair in p.held.items())
        return list(dict.fromkeys(f'"{valve}" at {stroke:g} s' for valve, stroke in held))

    def steps(self) -> Part:
        """What to do."""
        return bullets(["", "What to do"], to_do(self.windows, self.display))


def _asked_for(part: StrokeLimits) -> tuple[float, bool]:
    """For sorting: a scenario in which no stroke is safe after one that cannot be decided."""
    return math.inf if part.shortest is None else part.shortest, part.verdict == EXCEEDED


def _narrowest(part: StrokeLimits) -> float:
    return -math.inf if part.shortest is None else -part.shortest
