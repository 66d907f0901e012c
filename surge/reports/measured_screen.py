"""The first screen of a measured stroke: what it does to the case, on at most 30 lines.

Decisions
---------
* Pressures with the same figures in the same scenario share a row, the nearest to its limit first.
"""

from __future__ import annotations

from collections.abc import Sequence

from surge.model.lineup import LineUp
from surge.reports.layout import LINE, Row, table_parts
from surge.reports.measured import HEAD, answer_sentences, notes_of, others_of, row_of
from surge.reports.room import NOTHING, PERMIT, SOUND, Part, bullets, on_a_screen, wrapped
from surge.reports.words import HEADLINE, Display
from surge.rules.findings import WITHIN
from surge.valves.measured import Measured

MORE = "More: --details (every pressure, how the curve was read), --json, --pictures."
# Items that stay of pressures, notes on the curve, and what else is not kept.
FLOORS = ((5, 3, 2), (4, 2, 1), (3, 1, 1), (2, 0, 0), (1, 0, 0))


def measured_screen(found: Measured, lineup: LineUp, display: Display, signature: str) -> list[str]:
    """Return the answer in lines, on one screen.

    Parameters
    ----------
    found : Measured
    lineup : LineUp
        The one that it was run in.
    display : Display
        Units of the output.
    signature : str
        Program, case, curve and their hashes, in a line.
    """
    verdict = f"VERDICT: {HEADLINE[found.verdict]}"
    said = [line for text in answer_sentences(found, display) for line in wrapped(text)]
    top = [*wrapped(lineup.title), "", verdict, *said]
    parts = [
        _pressures(found, display),
        bullets(["The measured curve"], notes_of(found.stroke)),
        bullets(["Also not kept, or not decided"], others_of(found)),
    ]
    ends = [
        ["", *(line for text in told for line in wrapped(text)), *wrapped(MORE), signature, verdict]
        for told in ((PERMIT, SOUND), (PERMIT,))
    ]
    return on_a_screen(top, parts, ends, floors=FLOORS)


def _pressures(found: Measured, display: Display) -> Part:
    """A row for each pressure, or several alike, as of the whole table without its errors."""
    groups: dict[Row, list[str]] = {}
    open_: dict[Row, bool] = {}
    for one in found.pressures:
        name, *figures = row_of(one, found, display)
        key = (*figures[:5], *figures[6:])
        groups.setdefault(key, []).append(name)
        open_[key] = one.verdict != WITHIN
    if not groups:
        return NOTHING
    title = (*HEAD[:6], *HEAD[7:])
    before, rows = table_parts(title, [(_alike(n), *key) for key, n in groups.items()], left=3, widest=LINE)

    def rest(left: int) -> str:
        gone = list(groups)[len(groups) - left :]
        bad = sum(len(groups[key]) for key in gone if open_[key])
        told = f", {bad} of them not kept or not decided" if bad else ", all kept"
        return f"... and {sum(len(groups[key]) for key in gone)} more{told} (--details)"

    unit = f"Pressures in {display.units.pressure}(g), the nearest to its limit first"
    return Part(["", *wrapped(unit), *before], rows, rest)


def _alike(names: Sequence[str]) -> str:
    return names[0] + (f" and {len(names) - 1} alike" if len(names) > 1 else "")
