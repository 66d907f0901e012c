"""What ``surge list`` shows: each row as printed, and as it stands in JSON.

A table of reference data is imported where it is listed: nobody who asks for hoses waits for the liquids.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from surge.reports import tables_json as j
from surge.rules.book import LOCAL_CODES, Rule, RuleBook
from surge.units import ZERO_CELSIUS

if TYPE_CHECKING:
    from surge.reference.hoses import HoseType
    from surge.reference.liquids import Cargo, CargoProperty
    from surge.reference.valves import AssumedKv


@dataclass(frozen=True, kw_only=True)
class TableRow:
    """One thing with its figures.

    Attributes
    ----------
    cells : tuple of str
        As printed, in the order of the section's head.
    record : ListedRow
        As it stands in JSON, in SI.
    words : str
        What a search looks at, beside the cells.
    more : str
        What the table has no room for.
    """

    cells: tuple[str, ...]
    record: j.ListedRow
    words: str = ""
    more: str = ""

    @property
    def source(self) -> str:
        """Where the figures come from."""
        return self.record.source

    @property
    def status(self) -> str:
        """How far the source was seen."""
        return self.record.status

    @property
    def validity(self) -> str:
        """Range in which the figures hold."""
        return self.record.validity


@dataclass(frozen=True, kw_only=True)
class Section:
    """A table of one kind of thing.

    Attributes
    ----------
    listed : type
        What the table is in JSON: a member of :data:`surge.reports.tables_json.Listed`.
    title : str
    head : tuple of str
        Titles of the columns.
    rows : tuple of TableRow
    left : int
        So many columns from the left are words, the others figures.
    """

    listed: Callable[..., j.Listed]
    title: str
    head: tuple[str, ...]
    rows: tuple[TableRow, ...]
    left: int

    def as_listed(self) -> j.Listed:
        """Return the table as it stands in JSON."""
        return self.listed(title=self.title, rows=tuple(row.record for row in self.rows))


def section_of(
    listed: Callable[..., j.Listed],
    title: str,
    head: Sequence[str],
    rows: Iterable[TableRow],
    *,
    left: int = 1,
) -> Section:
    """Return a table; see :class:`Section`."""
    return Section(listed=listed, title=title, head=tuple(head), rows=tuple(rows), left=left)


def _digits(value: float) -> str:
    """Return three figures of a value, never as a power of ten."""
    if value >= 100.0:
        return f"{value:.0f}"
    return f"{value:.3g}" if value >= 0.001 else "under 0.001"


def liquid_sections(temperature: float) -> list[Section]:
    """Return the cargoes at a temperature [K], or at the nearest in their range."""
    from surge.reference.liquids import cargoes

    head = (
        "cargo",
        "at C",
        "density kg/m3",
        "sound speed m/s",
        "viscosity mPa s",
        "vapour kPa(a)",
        "trust in c",
    )
    title = "Liquids (cargo, temperature): what is sold under the name; the check judges over all of it"
    rows = (_liquid(cargo, temperature) for cargo in cargoes().values())
    return [section_of(j.Liquids, title, head, rows)]


def _liquid(cargo: Cargo, temperature: float) -> TableRow:
    from surge.reference.liquids import at

    lowest, highest = cargo.temperatures[0], cargo.temperatures[-1]
    kelvin = min(max(temperature, lowest), highest)
    state = at(cargo, kelvin)
    return TableRow(
        cells=(
            cargo.name,
            f"{kelvin - ZERO_CELSIUS:.0f}",
            _ends(state.density),
            _ends(state.sound_speed),
            _ends(state.viscosity, factor=1e3),
            _ends(state.vapour_pressure, factor=1e-3),
            state.sound_speed.confidence,
        ),
        record=j.ListedLiquid(
            name=cargo.name,
            aliases=cargo.aliases,
            family=cargo.family,
            kind=cargo.kind,
            temperature_k=kelvin,
            temperature_range_k=(lowest, highest),
            density_kg_per_m3=_figure(state.density),
            sound_speed_m_per_s=_figure(state.sound_speed),
            viscosity_pa_s=_figure(state.viscosity),
            vapour_pressure_pa_abs=_figure(state.vapour_pressure),
            static_accumulator=cargo.static_accumulator,
            static_accumulator_source=cargo.static_source,
            note=cargo.note,
            source=cargo.source,
            status=cargo.status,
            validity=cargo.validity,
        ),
        words=cargo.words,
    )


def _ends(band: CargoProperty, *, factor: float = 1.0) -> str:
    """Return both ends of a property times ``factor``, or one where they are printed alike."""
    low, high = (_digits(x * factor) for x in (band.low, band.high))
    return low if low == high else f"{low} to {high}"


def _figure(band: CargoProperty) -> j.LiquidFigure:
    return j.LiquidFigure(
        low=band.low,
        typical=band.typical,
        high=band.high,
        unfavourable=band.unfavourable,
        doubt=band.doubt,
        confidence=band.confidence,
        status=band.status,
        source=band.source,
    )


def hose_sections() -> list[Section]:
    """Return the types of hoses, and how often hoses are tested."""
    from surge.reference.hoses import HOSE_TEST_INTERVAL, HOSES

    interval = HOSE_TEST_INTERVAL
    test = TableRow(
        cells=("pressure test of a hose", f"every {interval.months} months"),
        record=j.HoseTestRow(
            name="pressure test of a hose",
            months=interval.months,
            source=interval.source,
            status=interval.status,
            validity=interval.validity,
        ),
    )
    head = ("type", "rating bar(g)", "test", "burst", "includes surge", "wave speed m/s")
    title = "Hoses (type); the certificate of the hose itself governs"
    return [
        section_of(j.Hoses, title, head, (_hose(h) for h in HOSES.values())),
        section_of(j.HoseTests, "Tests", ("what", "interval"), [test]),
    ]


def _hose(h: HoseType) -> TableRow:
    soft, stiff = h.wave_speed
    known = {True: "yes", False: "no", None: "not known"}
    return TableRow(
        cells=(
            h.name,
            _bar(h.rating),
            _bar(h.test_pressure),
            _bar(h.burst),
            known[h.includes_surge],
            f"{soft:.0f} to {'that of the liquid' if stiff is None else f'{stiff:.0f}'}",
        ),
        record=j.HoseRow(
            name=h.name,
            rating_pa_gauge=h.rating,
            test_factor=h.test_factor,
            burst_factor=h.burst_factor,
            rating_includes_surge=h.includes_surge,
            wave_speed_m_per_s=h.wave_speed,
            wave_speed_source=h.wave_speed_source,
            temperature_k=h.temperatures,
            source=h.source + (f"; {h.note}" if h.note else ""),
            status=h.status,
            validity=h.validity,
        ),
    )


def _bar(value: float | None) -> str:
    """Return a pressure [Pa] in bar; a dash where there is none."""
    return "-" if value is None else f"{value / 1e5:g}"


def valve_sections() -> list[Section]:
    """Return the characteristics of valves, and the Kv assumed by type and size."""
    from surge.reference.valve_curves import VALVE_CURVES
    from surge.reference.valves import search as sizes

    curves = (
        TableRow(
            cells=(c.name, ", ".join(f"{x:.2g}: {y:.3g}" for x, y in c.table)),
            record=j.CharacteristicRow(
                name=c.name,
                opening_and_share_of_kv=c.table,
                source=c.source,
                status=c.status,
                validity="opening 0 shut to 1 open; straight between the points",
            ),
        )
        for c in VALVE_CURVES.values()
    )
    title = "Characteristics (characteristic): opening and share of Kv"
    curve_head = ("characteristic", "opening: share of Kv")
    kv_head = ("type", "size", "low Kv", "usual", "high", "characteristic")
    return [
        section_of(j.Characteristics, title, curve_head, curves, left=2),
        section_of(
            j.Kvs,
            "Kv by type and size (type, size), ASSUMED; the high one is taken",
            kv_head,
            (_kv(v) for v in sizes("")),
        ),
    ]


def _kv(v: AssumedKv) -> TableRow:
    return TableRow(
        cells=(v.name, v.size, f"{v.low:.0f}", f"{v.usual:.0f}", f"{v.high:.0f}", v.characteristic),
        record=j.KvRow(
            type=v.name,
            size=v.size,
            dn=v.dn,
            kv_low_m3_per_h=v.low,
            kv_usual_m3_per_h=v.usual,
            kv_high_m3_per_h=v.high,
            characteristic=v.characteristic,
            source=v.source,
            status=v.status,
            validity=v.validity,
        ),
        words=v.words,
    )


def rule_sections(book: RuleBook) -> list[Section]:
    """Return the rules of a book."""
    head = ("rule", "what", "figure", "requirement", "applies")
    return [section_of(j.Rules, LOCAL_CODES, head, (_rule(r) for r in book.rules), left=5)]


def _rule(r: Rule) -> TableRow:
    return TableRow(
        cells=(r.id, r.name, f"{r.compare} {r.figure_text}", r.requirement, r.applies),
        record=j.RuleRow(
            id=r.id,
            name=r.name,
            text=r.text,
            authority=r.authority,
            edition=r.edition,
            clause=r.clause,
            measure=r.measure,
            figure=r.figure_text,
            compare=r.compare,
            counts=r.counts,
            requirement=r.requirement,
            applies=r.applies,
            conditions=r.conditions,
            note=r.note,
            replaces=r.replaces,
            reason=r.reason,
            source=r.source,
            status=r.status,
            validity=r.applies,
        ),
        words=f"{r.text} {r.measure} {r.note}",
        more=_told(r),
    )


def _told(rule: Rule) -> str:
    """Return what a rule says: its text, the terms it counts, its conditions, its note, why it is off."""
    counts = f" Counts: {', '.join(rule.counts)}." if rule.counts else ""
    conditions = f" Conditions: {'; '.join(rule.conditions)}." if rule.conditions else ""
    off = f" Switched off: {rule.reason}." if rule.reason else ""
    note = f" {rule.note}" if rule.note else ""
    return f"{rule.text}{counts}{conditions}{note}{off}"
