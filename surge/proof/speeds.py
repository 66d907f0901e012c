"""Checks of wave speeds: walls, restraints, hoses; handbook figures and worked examples."""

from __future__ import annotations

import math
from functools import partial

from surge.hydraulics import formulas
from surge.proof.checks import COMPUTED, HERE, PART, READ, Check, Figure, given

GROUP = "wave speed"
KORTEWEG = (
    "Korteweg's formula with restraint factors, in the form of handbooks (Wylie & Streeter, Fluid "
    "Transients in "
    "Systems; from memory), worked by the lines shown"
)
SOLVED = (
    "K. Subramanya, 1000 Solved Problems in Fluid Mechanics, example {}, as printed by its companion "
    "notebook "
    "(FOSSEE, Python-Textbook-Companions, chapter14_3)"
)
KINDS = {
    "anchored at one end": "1 - nu/2",
    "anchored throughout": "1 - nu**2",
    "expansion joints": "1",
}
PROGRAM = "wave speed of a pipe as a case file gives it"
WATER = (("K", 2.193e9, "Pa", "bulk modulus of water"), ("rho", 998.2, "kg/m3", "density of water"))
TECHNICAL = {"water-supply-manual"}  # its figures are in kilograms of force


def speed(
    *, bulk: float, density: float, diameter: float, wall: float, modulus: float, c1: float = 1.0
) -> float:
    """Wave speed by the program [m/s], from a bulk modulus as textbooks give it [Pa]."""
    return formulas.wave_speed(
        density=density,
        sound_speed=math.sqrt(bulk / density),
        diameter=diameter,
        wall=wall,
        modulus=modulus,
        c1=c1,
    )


def _alone(**pipe: float) -> tuple[float]:
    return (speed(**pipe),)


def _hose(swell: float) -> tuple[float]:
    return (formulas.hose_wave_speed(density=835.0, sound_speed=1370.0, swell=swell, pressure=10e5),)


def _restrained(kind: str, diameter: float, wall: float) -> tuple[float]:
    c1 = formulas.restraint_factor(kind, poisson=0.3)
    return (speed(bulk=2.193e9, density=998.2, diameter=diameter, wall=wall, modulus=207e9, c1=c1),)


def _steel() -> list[Check]:
    rows = (
        ("16-inch", 0.3874, 0.00953, (1268.16, 1256.34, 1239.20)),
        ("10-inch", 0.2545, 0.00927, (1327.20, 1318.02, 1304.58)),
        ("thick", 0.1000, 0.02000, (1449.93, 1447.73, 1444.45)),
    )
    return [
        Check(
            name=f"steel-{size}-{kind.replace(' ', '-')}",
            group=GROUP,
            title=f"water in steel pipe, bore {1000 * d:g} mm, wall {1000 * e:g} mm, {kind}",
            source=KORTEWEG,
            status=COMPUTED,
            given=given(
                *WATER,
                ("D", d, "m", "bore"),
                ("e", e, "m", "wall"),
                ("E", 207e9, "Pa", "Young's modulus of steel"),
                ("nu", 0.3, "-", "Poisson's ratio"),
            ),
            working=(
                f"c1 = {c1} ; {kind}",
                "c = sqrt(K/rho) ; sound speed of the free liquid",
                "a = c/sqrt(1 + K*c1*D/(E*e))",
            ),
            figures=(Figure(what="wave speed", unit="m/s", expected=a, tolerance=0.01, step="a"),),
            why="the digits given",
            program=PROGRAM,
            compute=partial(_restrained, kind, d, e),
        )
        for size, d, e, speeds in rows
        for (kind, c1), a in zip(KINDS.items(), speeds, strict=True)
    ]


def _printed() -> list[Check]:
    sheet = 'tutorial sheet with answers, "Water hammer tutorials" (document-sharing site, no. 482544630), {}'
    manual = (
        "sheet after the Indian CPHEEO Manual on Water Supply and Treatment: C = 1425/sqrt(1 + k d/(E t))"
    )
    rows = (
        ("solved-14-11a", SOLVED.format("14.11"), 2.22e9, 998.0, math.inf, 1.0, 1.0, 1491.5, 0.1),
        ("solved-14-11b", SOLVED.format("14.11"), 1.50e9, 0.8 * 998, math.inf, 1.0, 1.0, 1370.7, 0.1),
        ("solved-14-11c", SOLVED.format("14.11"), 0.958e9, 0.68 * 998, math.inf, 1.0, 1.0, 1188.0, 0.2),
        ("solved-14-12", SOLVED.format("14.12"), 1.43e9, 0.8 * 998, 207e9, 2.5, 0.020, 980.4, 0.1),
        ("sheet-3", sheet.format("no. 3"), 2060e6, 1000.0, 200e9, 0.6, 0.018, 1238.35, 0.01),
        ("sheet-4", sheet.format("no. 4"), 2.0164e9, 1000.0, math.inf, 0.6, 0.018, 1420.0, 0.1),
        ("water-supply-manual", manual, 2.07e8, 2.07e8 / 1425.0**2, 2.1e10, 0.813, 0.0058, 923.361, 0.001),
    )
    return [
        Check(
            name=f"speed-{name}",
            group=GROUP,
            title=f"{'rigid pipe' if modulus == math.inf else f'bore {d:g} m, wall {1000 * e:g} mm'}, "
            f"printed figure",
            source=source,
            status=READ,
            given=given(
                ("K", bulk, "kg/m2" if name in TECHNICAL else "Pa", "bulk modulus"),
                (
                    ("rho", rho, "kg s2/m4", "density, so that sqrt(K/rho) is the 1425 m/s given there")
                    if name in TECHNICAL
                    else ("rho", rho, "kg/m3", "density")
                ),
                (
                    "E",
                    modulus,
                    "kg/m2" if name in TECHNICAL else "Pa",
                    "Young's modulus of the wall (inf: rigid)",
                ),
                ("D", d, "m", "bore"),
                ("e", e, "m", "wall"),
            ),
            working=("a = sqrt(K/rho)/sqrt(1 + K*D/(E*e))",),
            figures=(Figure(what="wave speed", unit="m/s", expected=a, tolerance=tol, step="a"),),
            why="the digits printed; intermediate figures were rounded there",
            program=PROGRAM,
            compute=partial(_alone, bulk=bulk, density=rho, diameter=d, wall=e, modulus=modulus),
        )
        for name, source, bulk, rho, modulus, d, e, a, tol in rows
    ]


def _tables() -> list[Check]:
    iron = [
        Check(
            name=f"ductile-iron-{inch}",
            group=GROUP,
            title=f"ductile iron pipe class 50, {inch} inch, water",
            source="Buried Pipe Design (textbook), table 4.1, wave speeds in ft/s; the table gives speeds "
            "only",
            status=PART,
            given=given(
                ("OD", outside, "inch", "outside diameter, from memory"),
                ("t", wall, "inch", "wall, from memory"),
                ("K", 319000.0, "psi", "bulk modulus of water, from memory"),
                ("E", 24e6, "psi", "Young's modulus, from memory"),
                ("rho", 1.94, "slug/ft3", "density of water, from memory"),
            ),
            working=("D = OD - 2*t", "a = sqrt(144*K/rho)/sqrt(1 + K*D/(E*t))"),
            figures=(Figure(what="wave speed", unit="ft/s", expected=ft, tolerance=0.001 * ft, step="a"),),
            why="0.1 %: dimensions from memory",
            program=PROGRAM,
            compute=partial(
                _alone,
                bulk=319000.0 * 144,
                density=1.94,
                diameter=outside - 2 * wall,
                wall=wall,
                modulus=24e6 * 144,
            ),
        )
        for inch, outside, wall, ft in (
            (6, 6.90, 0.25, 4206.0),
            (8, 9.05, 0.27, 4085.0),
            (10, 11.10, 0.29, 3996.0),
            (12, 13.20, 0.31, 3919.0),
        )
    ]
    copper = [
        Check(
            name=f"copper-{1000 * e:.2f}-mm",
            group=GROUP,
            title=f"copper laboratory pipe, bore {1000 * d:g} mm, wall {1000 * e:g} mm, anchored, "
            f"thick-wall factor",
            source="pipe classes of the Adelaide laboratory, table 2 of an article in an IWA journal "
            "(view-large "
            "1085747), whole m/s",
            status=PART,
            given=given(
                ("K", 2.149e9, "Pa", "bulk modulus of water at 15 C, from memory"),
                ("rho", 999.1, "kg/m3", "density, from memory"),
                ("E", 124.1e9, "Pa", "Young's modulus of copper, from memory"),
                ("c1", 1.006, "-", "restraint factor, from memory"),
                ("D", d, "m", "bore"),
                ("e", e, "m", "wall"),
            ),
            working=("a = sqrt(K/rho)/sqrt(1 + K*c1*D/(E*e))",),
            figures=(Figure(what="wave speed", unit="m/s", expected=a, tolerance=0.5, step="a"),),
            why="the digits printed",
            program=PROGRAM,
            compute=partial(
                _alone, bulk=2.149e9, density=999.1, diameter=d, wall=e, modulus=124.1e9, c1=1.006
            ),
        )
        for d, e, a in ((0.02214, 0.00163, 1319.0), (0.02296, 0.00122, 1273.0), (0.02358, 0.00091, 1217.0))
    ]
    return [*iron, *copper]


def _hoses() -> list[Check]:
    return [
        Check(
            name=f"hose-swell-{1000 * swell:g}-permille",
            group=GROUP,
            title=f"hose that swells by {100 * swell:g} % in volume at 10 bar, diesel",
            source="storage of liquid and wall add up, as in the derivation of Korteweg's formula; worked "
            "by the lines "
            "shown",
            status=HERE,
            given=given(
                ("rho", 835.0, "kg/m3", "density of diesel, from memory"),
                ("c", 1370.0, "m/s", "its sound speed, from memory"),
                ("S", swell, "-", "swell, growth of the inside volume"),
                ("p", 10e5, "Pa", "pressure of the test"),
            ),
            working=("a = 1/sqrt(rho*(1/(rho*c**2) + S/p))",),
            figures=(Figure(what="wave speed", unit="m/s", expected=a, tolerance=0.6, step="a"),),
            why="whole m/s",
            program="wave speed of a hose from its test certificate",
            compute=partial(_hose, swell),
        )
        for swell, a in ((0.002, 674.0), (0.005, 461.0), (0.01, 336.0), (0.02, 241.0))
    ]


CHECKS = (*_steel(), *_printed(), *_tables(), *_hoses())
