"""The sheet as an HTML file and as a PDF.

The HTML opens anywhere, asks for nothing, needs no script, and prints. The PDF is the form for signing.

Decisions
---------
* Text of a case goes into the typesetter as JSON and into the HTML escaped, never as source.
* Rows leave page 1 (:class:`Room`) until it is one page, then it is filled again. No letter becomes smaller:
  text is never below 7.5 pt, names in the sketch never below 6 pt.
* The time stamp is fixed: the same sheet is the same file.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from functools import cache
from importlib.resources import as_file, files
from typing import Any
from xml.sax.saxutils import unescape

import jinja2
import typst
from markupsafe import Markup

from surge.errors import RequestError
from surge.reports.letters import BOXES, fonts, lacking
from surge.units import printable

HIGHEST, LOWEST = 6, 3  # rows before the details, as long as the others are kept
USUAL = 16  # rows and rules above them with which a printed page has room for so many
NOT_KEPT = ("EXCEEDED", "undecided")


def sheet_html(document: dict[str, Any], sketch: str) -> str:
    """Return the sheet as an HTML document.

    Parameters
    ----------
    document : dict
        As :meth:`surge.sheet.data.Sheet.document` gives it; every text of it is escaped.
    sketch : str
        The line-up as SVG, as :func:`surge.sheet.sketch.sketch` gives it: the only markup taken as it is.

    Notes
    -----
    The content security policy lets nothing load and nothing run but the one style sheet inside, by its hash.
    """
    folder = files("surge.sheet") / "templates"
    style = (folder / "sheet.css").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, keep_trailing_newline=True
    )
    template = environment.from_string((folder / "sheet.html").read_text(encoding="utf-8"))
    chains = document["chains"]
    above = [*document["stages"], *document["movements"], *chains, *(r for c in chains for r in c["rules"])]
    crowd = max(0, len(above) - USUAL)
    return template.render(
        d=document,
        highest=_parted(document["highest"], max(2, HIGHEST - crowd)),
        lowest=_parted(document["lowest"], max(1, LOWEST - crowd)),
        sketch=Markup(sketch),
        style=Markup(style),
        style_hash=f"sha256-{digest}",
    )


def _parted(rows: list[dict[str, Any]], most: int) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Rows for the sheet itself, all that are not kept among them, and the others for the details."""
    bad = sum(row["verdict"] in NOT_KEPT for row in rows)
    shown = max(most, bad)
    return rows[:shown], rows[shown:]


STANDARDS: list[typst.PDFStandard] = ["a-2a", "ua-1"]  # for archives, and for readers that speak


STAMP = 0  # [s] fixed, so that the same sheet is the same file to the last byte


ALL = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """How much the pages show; what does not fit on page 1 stands with the details.

    Attributes
    ----------
    sketch : bool
        Whether the sketch stands on page 1.
    objections ... tests : int
        Rows on page 1; ``timed`` are the rules on time of each shutdown chain.
    bounded ... rules : int
        Rows of the details.
    """

    sketch: bool = True
    objections: int = 5
    advice: int = 4
    stages: int = 8
    moves: int = 14
    chains: int = 4
    timed: int = ALL
    highest: int = 4
    lowest: int = 2
    tests: int = 6
    bounded: int = ALL
    more_high: int = ALL
    more_low: int = ALL
    assumed: int = ALL
    rules: int = ALL


# Fewer and fewer rows, until the page is one: first those with most room, then the sketch, then the rest.
# A shutdown chain stays on page 1, with the rule on time that is nearest to its limit.
_FIRST: tuple[dict[str, Any], ...] = (
    {},
    {"advice": 3},
    {"advice": 2},
    {"timed": 3},
    {"timed": 1},
    {"highest": 3, "lowest": 1},
    {"sketch": False},
    {"highest": 2, "moves": 10, "stages": 6},
    {"chains": 2, "advice": 1, "objections": 4},
    {"moves": 7, "chains": 1, "stages": 4, "objections": 3},
    {"highest": 1, "moves": 5, "stages": 3, "objections": 2, "tests": 3},
    {"advice": 0, "moves": 3, "stages": 2, "objections": 1, "tests": 1},
    {"moves": 2, "stages": 1, "tests": 0},
)


# What fills the room that is left, each as often as the page stays one: what is agreed on, then pressures.
_MORE: tuple[dict[str, int], ...] = (
    *({name: 1} for name in ("objections", "moves", "stages", "chains", "tests", "advice")),
    {"highest": 2, "lowest": 1},
    {"highest": 1},
    {"lowest": 1},
)

PAGES = 3  # of details, as long as what is left out can be counted
_SECOND: tuple[dict[str, Any], ...] = (
    {},
    {"more_high": 20, "more_low": 12, "assumed": 20, "rules": 14, "bounded": 6},
    {"more_high": 10, "more_low": 6, "assumed": 10, "rules": 8, "bounded": 3},
    {"more_high": 4, "more_low": 2, "assumed": 6, "rules": 4, "bounded": 1},
)


def sheet_pdf(document: dict[str, Any], sketch: str) -> bytes:
    """Return the sheet as PDF/A-2a that also keeps PDF/UA-1: one page to sign, and its details.

    Parameters
    ----------
    document : dict
        As :meth:`surge.sheet.data.Sheet.document` gives it.
    sketch : str
        The line-up as SVG.

    Raises
    ------
    RequestError
        The typesetter refuses the sheet.

    Notes
    -----
    What the fonts lack stands as boxes that name the script, in the sketch too.

    Rows leave page 1 until everything fits; where it holds no fewer, it goes on to a second page. The footer
    counts pages.
    """
    with as_file(files("surge.sheet") / "templates" / "sheet.typ") as template:
        compiler = typst.Compiler(str(template), font_paths=[str(fonts())], ignore_system_fonts=True)
        try:
            room = _fitting(compiler, document, sketch)
            made = compiler.compile(
                sys_inputs=_inputs(document, sketch, room),
                format="pdf",
                pdf_standards=STANDARDS,
                timestamp=STAMP,
            )
        except (typst.TypstError, RuntimeError) as error:
            words = printable(" ".join(str(error).split())[:300])
            remedy = "write it as HTML, which asks nothing of the typesetter"
            raise RequestError(f"the sheet cannot be set as PDF: {words}; {remedy}") from error
    assert isinstance(made, bytes)
    return made


def _fitting(compiler: typst.Compiler, document: dict[str, Any], sketch: str) -> Room:
    """The most generous room with which the sheet takes one page, and the details no more than theirs."""

    @cache
    def ends(room: Room) -> tuple[int, int]:
        return _ends(compiler, document, sketch, room)

    rooms = list(_tighter(Room(), _FIRST))
    room = rooms[_least(len(rooms) - 1, lambda i: ends(rooms[i])[0] == 1)]
    room = _filled(room, _lengths(document), lambda r: ends(r)[0] == 1)
    rooms = list(_tighter(room, _SECOND))
    first = ends(room)[0]
    return rooms[_least(len(rooms) - 1, lambda i: ends(rooms[i])[1] <= first + PAGES)]


def _least(last: int, fits: Callable[[int], bool]) -> int:
    """The first of 0 to ``last`` that fits, where all after one that fits do too; the last if none does."""
    low, high = 0, last
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if fits(middle) else (middle + 1, high)
    return low


def _tighter(room: Room, steps: tuple[dict[str, Any], ...]) -> Iterator[Room]:
    """The room after every step, each on top of those before."""
    for step in steps:
        room = replace(room, **step)
        yield room


def _filled(room: Room, lengths: dict[str, int], fits: Callable[[Room], bool]) -> Room:
    """Add as many rows as leave the page one."""
    for step in _MORE:
        most = max(-((getattr(room, name) - lengths[name]) // rows) for name, rows in step.items())
        rooms = [_with_more(room, step, lengths, times) for times in range(max(most, 0), 0, -1)]
        if rooms:
            rooms.append(room)
            room = rooms[_least(len(rooms) - 1, lambda i, those=rooms: fits(those[i]))]  # type: ignore[misc]
    return room


def _with_more(room: Room, step: dict[str, int], lengths: dict[str, int], times: int) -> Room:
    """The room with more rows, as far as there are any to show; what shows all already stays."""
    more = {name: getattr(room, name) + rows * times for name, rows in step.items()}
    return replace(
        room, **{name: max(getattr(room, name), min(rows, lengths[name])) for name, rows in more.items()}
    )


def _lengths(document: dict[str, Any]) -> dict[str, int]:
    """How many rows there are of what page 1 shows."""
    whole = ("objections", "advice", "stages", "chains", "highest", "lowest")
    rows = {name: len(document[name]) for name in whole}
    return rows | {"moves": len(document["movements"]), "tests": len(document["tests"]["rows"])}


def _ends(compiler: typst.Compiler, document: dict[str, Any], sketch: str, room: Room) -> tuple[int, int]:
    """Pages on which the sheet and its details end."""
    compiler.compile(sys_inputs=_inputs(document, sketch, room), format="png", ppi=8, timestamp=STAMP)
    first, last = json.loads(compiler.query("<ends-on-page>", field="value"))
    return first, last


def _inputs(document: dict[str, Any], sketch: str, room: Room) -> dict[str, str]:
    """What the template reads; its names are written with hyphens."""
    rows = {name.replace("_", "-"): value for name, value in asdict(room).items()}
    drawn, names = _names_apart(sketch)
    return {
        "data": json.dumps(document),
        "boxes": BOXES if lacking(_texts(document)) else "",
        "room": json.dumps(rows),
        "sketch": drawn,
        "names": json.dumps(names),
    }


def _texts(item: Any) -> Iterator[str]:
    """Every text of a document."""
    if isinstance(item, str):
        yield item
    elif isinstance(item, dict | list):
        for child in item.values() if isinstance(item, dict) else item:
            yield from _texts(child)


_TEXT = re.compile(
    r'<text x="([-0-9.]+)" y="([-0-9.]+)" text-anchor="([a-z]+)" font-size="([0-9.]+)"'
    r'( font-weight="bold")?[^>]*>([^<]*)</text>'
)
_BOX = re.compile(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)"')


def _names_apart(sketch: str) -> tuple[str, dict[str, Any]]:
    """The sketch without its words, and the words with their places, for the typesetter to set as its text.

    Inside a picture it finds no sign for what the first font lacks, and ends with an error.
    """
    names = [
        {
            "x": float(x),
            "y": float(y),
            "anchor": anchor,
            "size": float(size),
            "bold": bool(bold),
            "words": unescape(t),
        }
        for x, y, anchor, size, bold, t in _TEXT.findall(sketch)
    ]
    box = _BOX.search(sketch)
    assert box is not None
    return _TEXT.sub("", sketch), {"width": float(box[1]), "height": float(box[2]), "names": names}
