"""What ``surge list pipes`` shows: sizes, walls, restraints, roughness, flanges, fittings."""

from __future__ import annotations

from surge.reports import tables_json as j
from surge.reports.table_rows import Section, TableRow, section_of
from surge.units import ZERO_CELSIUS


def pipe_sections() -> list[Section]:
    """Return what is known of pipes: sizes, walls, restraints, roughness, flanges, fittings."""
    return [_sizes(), _materials(), _restraints(), _conditions(), _flanges(), _fittings()]


def _sizes() -> Section:
    from surge.reference.pipes import PIPE_SIZES

    rows = (
        TableRow(
            cells=(
                p.size,
                f"DN {p.dn}",
                p.schedule,
                f"{p.outside * 1e3:.1f}",
                f"{p.wall * 1e3:.2f}",
                f"{p.inside * 1e3:.1f}",
            ),
            record=j.SizeRow(
                size=p.size,
                dn=p.dn,
                schedule=p.schedule,
                outside_diameter_m=p.outside,
                wall_m=p.wall,
                inside_diameter_m=p.inside,
                source=p.source,
                status=p.status,
                validity=p.validity,
            ),
            words=p.words,
        )
        for p in PIPE_SIZES
    )
    head = ("size", "metric", "schedule", "outside mm", "wall mm", "bore mm")
    return section_of(j.Sizes, "Pipe sizes (write size and schedule)", head, rows)


def _materials() -> Section:
    from surge.reference.materials import MATERIALS

    rows = (
        TableRow(
            cells=(m.name, f"{m.modulus / 1e9:g}", f"{m.poisson:g}", "yes" if m.brittle else "no"),
            record=j.MaterialRow(
                name=m.name,
                modulus_pa=m.modulus,
                poisson_ratio=m.poisson,
                brittle=m.brittle,
                source=m.source,
                status="from memory",
                validity=m.note,
            ),
        )
        for m in MATERIALS.values()
    )
    head = ("material", "modulus GPa", "Poisson", "brittle")
    return section_of(j.Materials, "Walls (material)", head, rows)


def _restraints() -> Section:
    from surge.reference.materials import RESTRAINTS

    rows = (
        TableRow(
            cells=(name, words),
            record=j.RestraintRow(
                name=name,
                meaning=words,
                source="Wylie and Streeter, Fluid Transients in Systems",
                status="from memory",
                validity="thin walls",
            ),
        )
        for name, words in RESTRAINTS.items()
    )
    return section_of(j.Restraints, "Restraints (restraint)", ("restraint", "meaning"), rows, left=2)


def _conditions() -> Section:
    from surge.reference.pipes import ROUGHNESS

    rows = (
        TableRow(
            cells=(r.name, f"{r.low * 1e3:g}", f"{r.high * 1e3:g}"),
            record=j.ConditionRow(
                name=r.name,
                low_m=r.low,
                high_m=r.high,
                source=r.source,
                status=r.status,
                validity=r.validity + (f"; {r.note}" if r.note else ""),
            ),
        )
        for r in ROUGHNESS.values()
    )
    head = ("condition", "low mm", "high mm")
    return section_of(j.Conditions, "Roughness (condition); the low end is taken", head, rows)


def _flanges() -> Section:
    from surge.reference.flanges import CLASS_150

    rows = (
        TableRow(
            cells=(
                f.name,
                f.material,
                ", ".join(f"{t - ZERO_CELSIUS:.0f} C {p / 1e5:g}" for t, p in f.table),
            ),
            record=j.FlangeRow(
                name=f.name,
                material=f.material,
                rating=tuple(j.RatingPoint(temperature_k=t, rating_pa_gauge=p) for t, p in f.table),
                source=f.source,
                status=f.status,
                validity=f.validity + (f"; {f.note}" if f.note else ""),
            ),
        )
        for f in CLASS_150.values()
    )
    head = ("flange", "material", "rating against temperature")
    return section_of(j.Flanges, "Ratings of class 150 flanges (flange), bar(g)", head, rows, left=3)


def _fittings() -> Section:
    from surge.reference.fittings import FITTINGS

    rows = (
        TableRow(
            cells=(f.name, f"{f.typical:g}"),
            record=j.FittingRow(
                name=f.name,
                typical_loss_factor=f.typical,
                source=f.source,
                status=f.status,
                validity=f.validity,
            ),
        )
        for f in FITTINGS.values()
    )
    title = "Loss factors (fittings); computed for each bore"
    return section_of(j.Fittings, title, ("fitting", "typical K"), rows)
