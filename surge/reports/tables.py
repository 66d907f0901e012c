"""The program's tables as text and as JSON."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from surge.reference.rows import matching
from surge.reports.text import table
from surge.reports.words import LINE, paragraph
from surge.rules.book import LOCAL_CODES, Rule, RuleBook
from surge.units import ZERO_CELSIUS

SCHEMA_VERSION = 1
WIDEST = LINE + 20  # columns: these tables have many


def list_lines(sections: Iterable[Section]) -> list[str]:
    """Tables, each with the sources of its rows below; a number tells which row has which."""
    out: list[str] = []
    for section in sections:
        sources = list(dict.fromkeys((r.source, r.status, r.validity, r.more) for r in section.rows))
        rows = []
        for row in section.rows:
            number = sources.index((row.source, row.status, row.validity, row.more)) + 1
            rows.append((*row.cells, f"[{number}]"))
        out += [*([""] if out else []), paragraph(section.title), ""]
        out += table((*section.head, "source"), rows, left=section.left, widest=WIDEST)
        for k, (source, status, validity, more) in enumerate(sources, start=1):
            words = source if status in source else f"{source} ({status})"
            text = f"{more} [{words}]" if more else f"{words}; holds for: {validity}"
            out.append(paragraph(text, indent="      ", first=f"  [{k}] "))
    return out


def list_document(
    sections: Iterable[Section], *, kind: str, words: Sequence[str], version: str
) -> dict[str, Any]:
    """Return the tables as plain lists and dicts.

    Parameters
    ----------
    sections : iterable of Section
    kind : str
        "liquids", "pipes", "hoses", "valves" or "rules".
    words : sequence of str
        What was searched for.
    version : str
        Of the program.
    """
    return {
        "schema_version": SCHEMA_VERSION,
        "program": {"name": "surge", "version": version},
        "kind": kind,
        "words": list(words),
        "sections": [
            {
                "name": section.name,
                "title": section.title,
                "rows": [
                    r.record | {"source": r.source, "status": r.status, "validity": r.validity}
                    for r in section.rows
                ],
            }
            for section in sections
        ],
    }


Record = dict[str, Any]


KINDS = ("liquids", "pipes", "hoses", "valves", "rules")


@dataclass(frozen=True, kw_only=True)
class TableRow:
    """One thing with its figures.

    Attributes
    ----------
    cells : tuple of str
        For the table, in the order of the section's head.
    record : dict
        For JSON: keys carry unit and reference.
    words : str
        What a search looks at, beside the cells.
    source, status, validity : str
    more : str
        What the table has no room for.
    """

    cells: tuple[str, ...]
    record: Record
    source: str
    status: str
    validity: str
    words: str = ""
    more: str = ""


@dataclass(frozen=True, kw_only=True)
class Section:
    """A table of one kind of thing; its first ``left`` columns are words, the others figures."""

    name: str
    title: str
    head: tuple[str, ...]
    rows: tuple[TableRow, ...]
    left: int


def _section(
    name: str, title: str, head: Sequence[str], rows: Iterable[TableRow], *, left: int = 1
) -> Section:
    return Section(name=name, title=title, head=tuple(head), rows=tuple(rows), left=left)


def _digits(value: float) -> str:
    """Three figures, never as a power of ten."""
    if value >= 100.0:
        return f"{value:.0f}"
    return f"{value:.3g}" if value >= 0.001 else "under 0.001"


def _liquids(temperature: float) -> list[Section]:
    from surge.reference.liquids import at, cargoes

    scale = {"density": 1.0, "sound_speed": 1.0, "viscosity": 1e3, "vapour_pressure": 1e-3}
    units = {
        "density": "kg_per_m3",
        "sound_speed": "m_per_s",
        "viscosity": "pa_s",
        "vapour_pressure": "pa_abs",
    }
    rows = []
    for cargo in cargoes().values():
        kelvin = min(max(temperature, cargo.temperatures[0]), cargo.temperatures[-1])
        state = at(cargo, kelvin)
        cells, record = [], {}
        for name, factor in scale.items():
            band = getattr(state, name)
            low, high = (_digits(x * factor) for x in (band.low, band.high))
            cells.append(low if low == high else f"{low} to {high}")
            record[f"{name}_{units[name]}"] = {
                "low": band.low,
                "typical": band.typical,
                "high": band.high,
                "unfavourable": band.unfavourable,
                "doubt": band.doubt,
                "confidence": band.confidence,
                "status": band.status,
                "source": band.source,
            }
        rows.append(
            TableRow(
                cells=(cargo.name, f"{kelvin - ZERO_CELSIUS:.0f}", *cells, state.sound_speed.confidence),
                record={
                    "name": cargo.name,
                    "aliases": list(cargo.aliases),
                    "family": cargo.family,
                    "kind": cargo.kind,
                    "temperature_k": kelvin,
                    "temperature_range_k": [cargo.temperatures[0], cargo.temperatures[-1]],
                    **record,
                    "static_accumulator": cargo.static_accumulator,
                    "static_accumulator_source": cargo.static_source,
                    "note": cargo.note,
                },
                source=cargo.source,
                status=cargo.status,
                validity=cargo.validity,
                words=cargo.words,
            )
        )
    head = (
        "cargo",
        "at C",
        "density kg/m3",
        "sound speed m/s",
        "viscosity mPa s",
        "vapour kPa(a)",
        "trust in c",
    )
    title = "Liquids (cargo, temperature): what is sold under the name; the check takes the unfavourable end"
    return [_section("liquids", title, head, rows)]


def _pipes() -> list[Section]:
    from surge.reference.fittings import FITTINGS
    from surge.reference.flanges import CLASS_150
    from surge.reference.materials import MATERIALS, RESTRAINTS
    from surge.reference.pipes import PIPE_SIZES, ROUGHNESS

    sizes = (
        TableRow(
            cells=(
                p.size,
                f"DN {p.dn}",
                p.schedule,
                f"{p.outside * 1e3:.1f}",
                f"{p.wall * 1e3:.2f}",
                f"{p.inside * 1e3:.1f}",
            ),
            record={
                "size": p.size,
                "dn": p.dn,
                "schedule": p.schedule,
                "outside_diameter_m": p.outside,
                "wall_m": p.wall,
                "inside_diameter_m": p.inside,
            },
            source=p.source,
            status=p.status,
            validity=p.validity,
            words=p.words,
        )
        for p in PIPE_SIZES
    )
    walls = (
        TableRow(
            cells=(m.name, f"{m.modulus / 1e9:g}", f"{m.poisson:g}", "yes" if m.brittle else "no"),
            record={
                "name": m.name,
                "modulus_pa": m.modulus,
                "poisson_ratio": m.poisson,
                "brittle": m.brittle,
            },
            source=m.source,
            status="from memory",
            validity=m.note,
        )
        for m in MATERIALS.values()
    )
    ways = (
        TableRow(
            cells=(name, words),
            record={"name": name, "meaning": words},
            source="Wylie and Streeter, Fluid Transients in Systems",
            status="from memory",
            validity="thin walls",
        )
        for name, words in RESTRAINTS.items()
    )
    rough = (
        TableRow(
            cells=(r.name, f"{r.low * 1e3:g}", f"{r.high * 1e3:g}"),
            record={"name": r.name, "low_m": r.low, "high_m": r.high},
            source=r.source,
            status=r.status,
            validity=r.validity + (f"; {r.note}" if r.note else ""),
        )
        for r in ROUGHNESS.values()
    )
    flanges = (
        TableRow(
            cells=(
                f.name,
                f.material,
                ", ".join(f"{t - ZERO_CELSIUS:.0f} C {p / 1e5:g}" for t, p in f.table),
            ),
            record={
                "name": f.name,
                "material": f.material,
                "rating": [{"temperature_k": t, "rating_pa_gauge": p} for t, p in f.table],
            },
            source=f.source,
            status=f.status,
            validity=f.validity + (f"; {f.note}" if f.note else ""),
        )
        for f in CLASS_150.values()
    )
    fittings = (
        TableRow(
            cells=(f.name, f"{f.typical:g}"),
            record={"name": f.name, "typical_loss_factor": f.typical},
            source=f.source,
            status=f.status,
            validity=f.validity,
        )
        for f in FITTINGS.values()
    )
    return [
        _section(
            "sizes",
            "Pipe sizes (write size and schedule)",
            ("size", "metric", "schedule", "outside mm", "wall mm", "bore mm"),
            sizes,
        ),
        _section("materials", "Walls (material)", ("material", "modulus GPa", "Poisson", "brittle"), walls),
        _section("restraints", "Restraints (restraint)", ("restraint", "meaning"), ways, left=2),
        _section(
            "conditions",
            "Roughness (condition); the low end is taken",
            ("condition", "low mm", "high mm"),
            rough,
        ),
        _section(
            "flanges",
            "Ratings of class 150 flanges (flange), bar(g)",
            ("flange", "material", "rating against temperature"),
            flanges,
            left=3,
        ),
        _section(
            "fittings", "Loss factors (fittings); computed for each bore", ("fitting", "typical K"), fittings
        ),
    ]


def _bar(value: float | None) -> str:
    return "-" if value is None else f"{value / 1e5:g}"


def _hoses() -> list[Section]:
    from surge.reference.hoses import HOSE_TEST_INTERVAL, HOSES

    def speed(soft: float, stiff: float | None) -> str:
        return f"{soft:.0f} to {'that of the liquid' if stiff is None else f'{stiff:.0f}'}"

    known = {True: "yes", False: "no", None: "not known"}
    rows = [
        TableRow(
            cells=(
                h.name,
                _bar(h.rating),
                _bar(h.test_pressure),
                _bar(h.burst),
                known[h.includes_surge],
                speed(*h.wave_speed),
            ),
            record={
                "name": h.name,
                "rating_pa_gauge": h.rating,
                "test_factor": h.test_factor,
                "burst_factor": h.burst_factor,
                "rating_includes_surge": h.includes_surge,
                "wave_speed_m_per_s": list(h.wave_speed),
                "wave_speed_source": h.wave_speed_source,
                "temperature_k": None if h.temperatures is None else list(h.temperatures),
            },
            source=h.source + (f"; {h.note}" if h.note else ""),
            status=h.status,
            validity=h.validity,
        )
        for h in HOSES.values()
    ]
    interval = HOSE_TEST_INTERVAL
    test = TableRow(
        cells=("pressure test of a hose", f"every {interval.months} months"),
        record={"name": "pressure test of a hose", "months": interval.months},
        source=interval.source,
        status=interval.status,
        validity=interval.validity,
    )
    head = ("type", "rating bar(g)", "test", "burst", "includes surge", "wave speed m/s")
    return [
        _section("hoses", "Hoses (type); the certificate of the hose itself governs", head, rows),
        _section("hose-tests", "Tests", ("what", "interval"), [test]),
    ]


def _valves() -> list[Section]:
    from surge.reference.valve_curves import VALVE_CURVES
    from surge.reference.valves import search as sizes

    curves = (
        TableRow(
            cells=(c.name, ", ".join(f"{x:.2g}: {y:.3g}" for x, y in c.table)),
            record={"name": c.name, "opening_and_share_of_kv": [list(p) for p in c.table]},
            source=c.source,
            status=c.status,
            validity="opening 0 shut to 1 open; straight between the points",
        )
        for c in VALVE_CURVES.values()
    )
    kvs = (
        TableRow(
            cells=(v.name, v.size, f"{v.low:.0f}", f"{v.usual:.0f}", f"{v.high:.0f}", v.characteristic),
            record={
                "type": v.name,
                "size": v.size,
                "dn": v.dn,
                "kv_low_m3_per_h": v.low,
                "kv_usual_m3_per_h": v.usual,
                "kv_high_m3_per_h": v.high,
                "characteristic": v.characteristic,
            },
            source=v.source,
            status=v.status,
            validity=v.validity,
            words=v.words,
        )
        for v in sizes("")
    )
    return [
        _section(
            "characteristics",
            "Characteristics (characteristic): opening and share of Kv",
            ("characteristic", "opening: share of Kv"),
            curves,
            left=2,
        ),
        _section(
            "kv",
            "Kv by type and size (type, size), ASSUMED; the high one is taken",
            ("type", "size", "low Kv", "usual", "high", "characteristic"),
            kvs,
        ),
    ]


def _told(rule: Rule) -> str:
    """What a rule says: its text, the terms it counts, its conditions, its note."""
    counts = f" Counts: {', '.join(rule.counts)}." if rule.counts else ""
    conditions = f" Conditions: {'; '.join(rule.conditions)}." if rule.conditions else ""
    off = f" Switched off: {rule.reason}." if rule.reason else ""
    note = f" {rule.note}" if rule.note else ""
    return f"{rule.text}{counts}{conditions}{note}{off}"


def _rules(book: RuleBook) -> list[Section]:
    rows = (
        TableRow(
            cells=(r.id, r.name, f"{r.compare} {r.figure_text}", r.requirement, r.applies),
            record={
                "id": r.id,
                "name": r.name,
                "text": r.text,
                "authority": r.authority,
                "edition": r.edition,
                "clause": r.clause,
                "measure": r.measure,
                "figure": r.figure_text,
                "compare": r.compare,
                "counts": list(r.counts),
                "requirement": r.requirement,
                "applies": r.applies,
                "conditions": list(r.conditions),
                "note": r.note,
                "replaces": r.replaces,
                "reason": r.reason,
            },
            source=r.source,
            status=r.status,
            validity=r.applies,
            words=f"{r.text} {r.measure} {r.note}",
            more=_told(r),
        )
        for r in book.rules
    )
    return [
        _section("rules", LOCAL_CODES, ("rule", "what", "figure", "requirement", "applies"), rows, left=5)
    ]


def sections_of(kind: str, *, book: RuleBook, temperature: float) -> list[Section]:
    """Return everything of one kind.

    Parameters
    ----------
    kind : str
        One of :data:`KINDS`.
    book : RuleBook
        The rules to list.
    temperature : float
        At which liquids are shown [K]; nearest to it in their range.
    """
    make: Mapping[str, Callable[[], list[Section]]] = {
        "liquids": lambda: _liquids(temperature),
        "pipes": _pipes,
        "hoses": _hoses,
        "valves": _valves,
        "rules": lambda: _rules(book),
    }
    return make[kind]()


def searched(sections: Iterable[Section], text: str) -> list[Section]:
    """Return the rows in which every word of ``text`` stands somewhere; sections without one are left out."""
    if not text.strip():
        return list(sections)
    found = []
    for section in sections:
        named = {
            id(row): replace(row, words=" ".join((*row.cells, row.words, row.source, row.validity)))
            for row in section.rows
        }
        kept = {id(seen) for seen in matching(named.values(), text)}
        rows = tuple(row for row in section.rows if id(named[id(row)]) in kept)
        if rows:
            found.append(replace(section, rows=rows))
    return found
