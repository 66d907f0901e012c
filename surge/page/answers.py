"""What the page is answered: each question as a function from a request to plain data, through the api alone.

Decisions
---------
* Arrays go as they are drawn: pressures in the reader's unit, four-byte floats in base64. A document is that
  of the command line, in SI.
* A question about an answer, such as its film, is asked with the text of the case. The last check is kept,
  and taken again where the text is the same; else the case is checked first.
"""

from __future__ import annotations

import base64
import math
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from surge.api.answers import CaseAnswer
from surge.api.chart import survey
from surge.api.check import CheckAnswer, check
from surge.api.compare import compare
from surge.api.edit import edited
from surge.api.filling import fill_lines
from surge.api.forces import find_forces
from surge.api.look import look
from surge.api.records import judge_records
from surge.api.refusals import refused, undecided
from surge.api.sheet import make_sheet
from surge.api.solver import solver_is_compiled
from surge.api.summary import summary
from surge.api.takes import takes
from surge.api.windows import find_windows
from surge.case.file import Case, read_case
from surge.effort import PATIENCE, Meter, metered
from surge.errors import CaseError, RequestError, SurgeError
from surge.page.workbook import first_sheet
from surge.reports.words import HEADLINE
from surge.units import from_si

Request = Mapping[str, Any]
Json = dict[str, Any]
Tell = Callable[[str], None]
STARTING = "compiling the solver for this machine, once; ten seconds to half a minute"
POINTS = 1600  # of a curve in time, about
_BAD_INPUT: dict[str, Any] = {"document": None, "exit_code": 2}
LONGEST_NAME = 100  # characters of the name of a table


@dataclass
class Memory:
    """The last check, for what is asked about it."""

    checked: dict[tuple[str, str], CheckAnswer] = field(default_factory=dict)


def answer(request: Request, memory: Memory, tell: Tell) -> Json:
    """Answer one question of the page.

    Parameters
    ----------
    request : mapping
        ``do`` is one of ``_DO``; ``text`` and ``name`` are the case.
    memory : Memory
    tell : callable
        Called with a line on how the work goes on.

    Returns
    -------
    dict
        The answer, or under "refused" why there is none: as ``surge`` prints it, its document, its exit code.
    """
    name = str(request.get("name") or "case.toml")
    meter = Meter(math.inf if request.get("patient") else PATIENCE)
    try:
        do = _DO[str(request.get("do"))]
        if not solver_is_compiled():
            tell(STARTING)
        with metered(meter):
            return do(request, memory, _progress(meter, tell))
    except CaseError as error:
        refusal = refused(error, name)
        return {"refused": {"text": refusal.text, "document": refusal.document, "exit_code": 2}}
    except RequestError as error:
        return {"refused": {"text": str(error), **_BAD_INPUT}}
    except SurgeError as error:
        found = undecided(error, name)
        return {"refused": {"text": found.text, "document": found.document, "exit_code": found.exit_code}}
    except KeyError:
        return {"refused": {"text": "the page asked for what there is not", **_BAD_INPUT}}


def _progress(meter: Meter, tell: Tell) -> Tell:
    """How long it will still take, beside the word for what is done."""

    def told(word: str) -> None:
        left = meter.left()
        if left is None or left < 2.0:
            tell(word)
        else:
            tell(
                f"{word}; about {math.ceil(left)} s left"
                if left < 90
                else f"{word}; about {left / 60:.0f} min left"
            )

    return told


def _case(request: Request) -> Case:
    """The case of a request; with changes, as a slider makes them, that are not in its text yet."""
    text, changes = str(request["text"]), request.get("changes")
    if changes:
        text = edited(text, list(changes))
    return read_case(text, filename=str(request.get("name") or "case.toml"))


def _checked(request: Request, memory: Memory, tell: Tell, *, remedies: bool = False) -> CheckAnswer:
    """The case of a request, checked; the last check where it is the same text."""
    case = _case(request)
    key = case.filename, case.sha256
    kept = memory.checked.get(key)
    if kept is not None and (kept.remedies is not None or not remedies or kept.exit_code == 0):
        return kept
    made = check(case, remedies=remedies, progress=tell)
    memory.checked.clear()
    memory.checked[key] = made
    return made


def _check(request: Request, memory: Memory, tell: Tell) -> Json:
    made = _checked(request, memory, tell, remedies=bool(request.get("remedies")))
    return {
        "document": made.document(),
        "summary": asdict(summary(made)),
        "text": made.text(),
        "details": made.text(details=True),
        "scenarios": [s.name for s in made.lineup.scenarios],
        "signature": made.signature,
        "sha256": made.case.sha256,
        "takes": takes(made, str(request["text"])),
    }


def _packed(values: Any) -> str:
    """Numbers as four-byte floats in base64."""
    return _in_base64(np.ascontiguousarray(values, dtype="<f4").tobytes())


def _in_base64(content: bytes) -> str:
    return base64.b64encode(content).decode("ascii")


def _shown(answer: CaseAnswer, values: Any) -> Any:
    """Pressures [Pa gauge] in the reader's unit."""
    return np.asarray(values, dtype=float) / _pascal(answer.units.pressure)


def _pascal(unit: str) -> float:
    return 1.0 / from_si(1.0, unit=unit)


def _one(answer: CaseAnswer, value: float | None) -> float | None:
    return None if value is None else from_si(value, unit=answer.units.pressure)


def _histories(request: Request, memory: Memory, tell: Tell) -> Json:
    made = _checked(request, memory, tell)
    picture = made.figures(request.get("scenario"), tuple(request.get("places") or ()))
    subject = picture.subject
    keep = _kept(picture.time, [trace.pressure for trace in picture.traces])
    units = made.units
    return {
        "scenario": subject.run.name,
        "verdict": subject.verdict,
        "words": made.picture_text(subject.run.name),
        "unit": f"{units.pressure}(g)",
        "flow_unit": units.flow,
        "boils": subject.valid_until,
        "cavities": picture.cavities,
        "time": _packed(picture.time[keep]),
        "traces": [
            {
                "name": trace.name,
                "pressure": _packed(_shown(made, trace.pressure[keep])),
                "upper": _one(made, trace.upper.value if trace.upper else None),
                "upper_of": trace.upper_of,
                "lower": _one(made, trace.lower.value),
                "lower_source": trace.lower.source,
            }
            for trace in picture.traces
        ],
        "flows": [
            {
                "name": name,
                "flow": _packed(
                    [
                        from_si(float(q), unit=units.flow, density=made.lineup.liquid.density)
                        for q in flow[keep]
                    ]
                ),
            }
            for name, flow in picture.flows.items()
        ],
    }


def _kept(time: Any, curves: list[Any]) -> Any:
    """Positions of instants to draw: of each stretch the first, and where any curve is highest and lowest."""
    if time.size <= POINTS:
        return np.arange(time.size)
    stretch = math.ceil(time.size / (POINTS / (1 + 2 * len(curves))))
    found = {0, time.size - 1}
    for begin in range(0, time.size, stretch):
        found.add(begin)
        for curve in curves:
            part = curve[begin : begin + stretch]
            found |= {begin + int(np.argmax(part)), begin + int(np.argmin(part))}
    return np.array(sorted(found))


def _film(request: Request, memory: Memory, tell: Tell) -> Json:
    made = _checked(request, memory, tell)
    film = made.animate(scenario=request.get("scenario"), to=request.get("to")).frames
    limits = [
        [
            {"left": s.left, "right": s.right, "name": s.name, "value": _one(made, s.limit.value)}
            for s in side
            if s.limit is not None
        ]
        for side in (film.upper, film.lower)
    ]
    return {
        "scenario": film.subject.run.name,
        "verdict": film.subject.verdict,
        "unit": f"{made.units.pressure}(g)",
        "pace": film.pace,
        "boils": film.until,
        "vapour": _one(made, film.subject.lineup.vapour_gauge),
        "frames": int(film.time.size),
        "columns": int(film.x.size),
        "time": _packed(film.time),
        "x": _packed(film.x),
        "part": [int(p) for p in film.part],
        "pressure": _packed(_shown(made, film.pressure)),
        "highest": _packed(_shown(made, film.highest)),
        "lowest": _packed(_shown(made, film.lowest)),
        "steady": _packed(_shown(made, film.steady)),
        "upper": limits[0],
        "lower": limits[1],
        "parts": [
            {
                "name": p.name,
                "kind": p.kind,
                "left": p.left,
                "right": p.right,
                "length": p.length,
                "begin": p.begin,
            }
            for p in film.way.parts
        ],
        "ends": ["ship", "shore"] if made.lineup.discharges else ["shore", "ship"],
        "left_out": list(film.way.left_out),
        "moves": {
            name: {"at": [round(float(v), 4) for v in values], "on_way": on}
            for on, moves in ((True, film.strokes), (False, film.others))
            for name, values in moves.items()
        },
        "playing": film.playing,
    }


def _look(request: Request, memory: Memory, tell: Tell) -> Json:  # noqa: ARG001 (one signature for all)
    case = _case(request)
    seen = look(case, scenario=request.get("scenario"), place=request.get("place"))
    keep = _kept(seen.time, [seen.pressure])
    pascal = _pascal(case.show.pressure)
    return {
        "words": seen.words,
        "scenario": seen.scenario,
        "place": seen.place,
        "unit": f"{case.show.pressure}(g)",
        "time": _packed(seen.time[keep]),
        "pressure": _packed(seen.pressure[keep] / pascal),
        "peaks": [
            {"name": n, "pressure": p / pascal, "limit": None if limit is None else limit / pascal}
            for n, p, limit in seen.peaks
        ],
        "boils": seen.boils,
    }


def _windows(request: Request, memory: Memory, tell: Tell) -> Json:  # noqa: ARG001 (one signature for all)
    found = find_windows(_case(request), orders=bool(request.get("orders")), progress=tell)
    return {
        "document": found.document(),
        "joint": list(found.joint_words()),
        "text": found.text(),
        "details": found.text(details=True),
    }


def _compare(request: Request, memory: Memory, tell: Tell) -> Json:
    """The case as it stands on the page, beside what was saved before."""
    after = _checked(request, memory, tell)
    before = read_case(str(request["before"]), filename=f"{after.case.filename}, as it was saved")
    made = compare(before, after, progress=tell)
    shown = [HEADLINE[one.verdict] for one in (made.before, made.after)]
    return {
        "verdicts": [words[0] + words[1:].lower() for words in shown],
        "differences": list(made.differences()),
        "picture": _in_base64(made.draw(kind="png").content),
        "text": made.text(),
    }


def _forces(request: Request, memory: Memory, tell: Tell) -> Json:
    made = find_forces(_checked(request, memory, tell), progress=tell)
    files = made.files(["png", "csv"])
    return {
        "text": made.text(),
        "details": made.text(details=True),
        "picture": _in_base64(files["png"]),
        "histories": _in_base64(files["csv"]),
    }


def _fillings(request: Request, memory: Memory, tell: Tell) -> Json:  # noqa: ARG001 (one signature for all)
    """Every filling in words; picture, film and histories of the worst."""
    made = fill_lines(_case(request), progress=tell)
    files = made.files(["png", "gif", "csv"])
    return {"text": made.text(), **{kind: _in_base64(content) for kind, content in files.items()}}


def _chart(request: Request, memory: Memory, tell: Tell) -> Json:  # noqa: ARG001 (one signature for all)
    points = request.get("points")
    chart = survey(
        _case(request),
        valve=request.get("valve"),
        scenario=request.get("scenario"),
        points=points if isinstance(points, int) else 13,
        progress=tell,
    )
    density = chart.case.lineup.liquid.density
    return {
        "document": chart.document(),
        "text": chart.text(),
        "flow_unit": chart.units.flow,
        "rates": [from_si(float(r), unit=chart.units.flow, density=density) for r in chart.rates],
    }


def _sheet(request: Request, memory: Memory, tell: Tell) -> Json:  # noqa: ARG001 (one signature for all)
    sheet = make_sheet(_case(request), window=bool(request.get("window", True)), progress=tell)
    kind = "html" if request.get("kind") == "html" else "pdf"
    content = sheet.file("html") if kind == "html" else sheet.file("pdf")
    return {
        "text": sheet.text(),
        "exit_code": sheet.exit_code,
        "kind": kind,
        "content": _in_base64(content),
    }


def _records(request: Request, memory: Memory, tell: Tell) -> Json:  # noqa: ARG001 (one signature for all)
    """Judge a table that was dropped on the page; it is kept in a folder of its own while it is read."""
    content = base64.b64decode(str(request["content"]))
    given = Path(str(request.get("file") or "records.csv")).name
    if given.lower().endswith(".xlsx"):
        content, given = first_sheet(content), f"{given[:-5]}.csv"
    case = _case(request) if request.get("text") and request.get("windows") else None
    name = given if given.isprintable() and 0 < len(given) <= LONGEST_NAME else "records.csv"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        try:
            judged = judge_records(
                path,
                case=case,
                columns={str(k): str(v) for k, v in dict(request.get("columns") or {}).items()},
                dates=request.get("dates"),
                decimal=request.get("decimal"),
                timed=request.get("timed"),
                progress=tell,
            )
        except CaseError as error:
            return {"refused": {"text": refused(error, name).text.replace(str(path), name), **_BAD_INPUT}}
    return {
        "text": judged.text().replace(str(path), name),
        "details": judged.text(details=True).replace(str(path), name),
        "notes": list(judged.records.notes),
        "columns": [{"title": title, "meaning": meaning} for title, meaning in judged.records.titles],
        "exit_code": judged.exit_code,
        "pictures": [_in_base64(p.content) for p in judged.draw(kind="png")][:6],
    }


_DO: dict[str, Callable[[Request, Memory, Tell], Json]] = {
    "check": _check,
    "histories": _histories,
    "film": _film,
    "look": _look,
    "windows": _windows,
    "chart": _chart,
    "compare": _compare,
    "forces": _forces,
    "fillings": _fillings,
    "sheet": _sheet,
    "records": _records,
}
