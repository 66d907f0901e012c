"""Checks of what is no wave: times of a shutdown, filling of the ullage, shut-off pressure, boiling."""

from __future__ import annotations

import math
from functools import lru_cache, partial

from surge.model.lineup import GRAVITY, LineUp, Scenario, ValveMove
from surge.proof.checks import COMPUTED, PART, READ, Check, Figure, given
from surge.proof.lines import THIN, line_up, pipe, valve
from surge.rules.ground import Ruling
from surge.units import ATMOSPHERE

GROUP = "rules, shut-off pressure, boiling"

CASE = """
schema = 1
title = "Check of the rules on time"
[liquid]
name = "product"
density = "750 kg/m3"
viscosity = "0.8 mm2/s"
vapour_pressure = "0.35 bar(a)"
sound_speed = "1150 m/s"
[limits]
system_rating = "20 bar(g)"
[rate]
agreed = "360 m3/h"
means = "pump speed"
at = "pump"
[points."shore tank outlet"]
elevation = "2 m"
[points."pump discharge"]
elevation = "2 m"
[points.jetty]
elevation = "5 m"
[points.berth]
elevation = "5 m"
[points.manifold]
elevation = "8 m"
[points."tank bottom"]
elevation = "0 m"
[[tank]]
name = "shore"
at = "shore tank outlet"
side = "shore"
level = "10 m"
[[tank]]
name = "ship"
at = "tank bottom"
side = "ship"
level = "6 m"
ullage = "ULLAGE"
[[pump]]
name = "pump"
from = "shore tank outlet"
to = "pump discharge"
curve = [["0 m3/h", "60 m"], ["500 m3/h", "45 m"]]
non_return_valve = true
[[valve]]
name = "control valve"
from = "pump discharge"
to = "jetty"
characteristic = "linear"
kv = "900 m3/h"
[[pipe]]
name = "shore line"
from = "jetty"
to = "berth"
length = "400 m"
inside_diameter = "250 mm"
roughness = "0.05 mm"
wave_speed = "1000 m/s"
[[valve]]
name = "manifold valve"
from = "berth"
to = "manifold"
characteristic = "linear"
kv = "2000 m3/h"
[[pipe]]
name = "drop line"
from = "manifold"
to = "tank bottom"
length = "60 m"
inside_diameter = "250 mm"
roughness = "0.05 mm"
wave_speed = "1000 m/s"
[[scenario]]
name = "shutdown"
[scenario.shutdown]
at = "5 s"
detection = "2 s"
signal = "1 s"
given_by = "ship"
linked = true
[[scenario.shutdown.step]]
side = "shore"
close = "control valve"
stroke = "14 s"
[[scenario.shutdown.step]]
side = "ship"
close = "manifold valve"
after = "control valve"
stroke = "STROKE"
"""


@lru_cache(maxsize=4)
def _rulings(stroke: str, ullage: str) -> tuple[Ruling, ...]:
    from surge.case.file import read_case
    from surge.rules.reading import built_in
    from surge.rules.rulings import rule_on
    from surge.rules.static import static_findings
    from surge.transient.run import simulate

    lineup = read_case(CASE.replace("STROKE", stroke).replace("ULLAGE", ullage), filename="check").lineup
    runs = [simulate(lineup, s, quick=True) for s in lineup.scenarios]
    return rule_on(lineup, book=built_in(), runs=runs, findings=static_findings(lineup))


def _ruling(rule: str, stroke: str, ullage: str = "3 m3") -> Ruling:
    return next(r for r in _rulings(stroke, ullage) if r.rule.id == rule)


def _shutdown(stroke: str) -> tuple[float, float, float]:
    ruling = _ruling("total-shutdown-time", stroke)
    assert ruling.value is not None
    assert ruling.limit is not None
    return ruling.value, ruling.limit, float(ruling.outcome == "kept")


def _overfill(ullage: str) -> tuple[float, float, float]:
    ruling = _ruling("overfill-time", "15 s", ullage)
    assert ruling.value is not None
    assert ruling.limit is not None
    return ruling.value, ruling.limit, float(ruling.outcome == "kept")


def _times() -> list[Check]:
    thirty = (
        "IGC Code (1983 as amended), 5.6.4: 30 s from the order to the last valve shut (total-shutdown-time)"
    )
    fill = (
        "IBC Code, 15.19.8: 3600 U/LR s, U in m3, LR in m3/h (overfill-time; form of the formula from memory)"
    )
    terms = given(
        ("signal", 1.0, "s", "signal"),
        ("first", 14.0, "s", "stroke of the control valve, which the manifold valve waits for"),
    )
    return [
        *[
            Check(
                name=f"thirty-seconds-{stroke:g}",
                group=GROUP,
                title=f"shutdown: 1 s of signal, 14 s of the shore valve, then {stroke:g} s of the "
                f"manifold valve",
                source=thirty,
                status=READ,
                given=(*terms, *given(("stroke", stroke, "s", "stroke of the manifold valve"))),
                working=("t = signal + first + stroke ; detection is before the order and not counted",),
                figures=(
                    Figure(what="total shutdown time", unit="s", expected=t, tolerance=1e-9, step="t"),
                    Figure(what="limit", unit="s", expected=30.0, tolerance=0.0),
                    Figure(what="kept (1) or not (0)", unit="-", expected=kept, tolerance=0.0),
                ),
                why="arithmetic",
                program="rules of a case",
                compute=partial(_shutdown, f"{stroke:g} s"),
            )
            for stroke, t, kept in ((15.0, 30.0, 1.0), (15.001, 30.001, 0.0))
        ],
        *[
            Check(
                name=f"ullage-{volume:g}-m3",
                group=GROUP,
                title=f"shutdown at 360 m3/h into an ullage of {volume:g} m3; the shore valve stops the flow",
                source=fill,
                status=PART,
                given=given(
                    ("U", volume, "m3", "ullage"),
                    ("LR", 360.0, "m3/h", "loading rate"),
                    ("detection", 2.0, "s", "detection"),
                    ("signal", 1.0, "s", "signal"),
                    ("first", 14.0, "s", "stroke of the shore valve"),
                ),
                working=("t = detection + signal + first", "fill = 3600*U/LR"),
                figures=(
                    Figure(
                        what="time until the flow has stopped",
                        unit="s",
                        expected=17.0,
                        tolerance=1e-9,
                        step="t",
                    ),
                    Figure(
                        what="time that the ullage gives",
                        unit="s",
                        expected=fill_time,
                        tolerance=1e-6,
                        step="fill",
                    ),
                    Figure(what="kept (1) or not (0)", unit="-", expected=kept, tolerance=0.0),
                ),
                why="arithmetic",
                program="rules of a case",
                compute=partial(_overfill, f"{volume:g} m3"),
            )
            for volume, fill_time, kept in ((4.0, 40.0, 1.0), (1.5, 15.0, 0.0))
        ],
    ]


# Shut-off pressure


def _shut_off() -> tuple[float]:
    from surge.case.file import read_case
    from surge.rules.static import static_findings

    lineup = read_case(CASE.replace("STROKE", "15 s").replace("ULLAGE", "4 m3"), filename="check").lineup
    value = next(f.value for f in static_findings(lineup) if f.name == "shore line")
    return (math.nan if value is None else value / 1e5,)


# Boiling


def _line(velocity: float, length: float, *, vapour: float, upstream: bool = False) -> LineUp:
    head, a = 40.0, 1000.0
    c = math.pi / 4 * 0.25 * velocity / math.sqrt(head)
    parts = [
        pipe("line", "a", "b", length, a),
        valve("valve", "tank" if upstream else "b", "a" if upstream else "out", c),
    ]
    heads = {"tank": head, "b": 0.0} if upstream else {"a": head, "out": 0.0}
    move = ValveMove(valve="valve", start=1.0, law=((0.0, 1.0), (0.0, 0.0)))
    liquid = type(THIN)(
        name="test", density=1000.0, sound_speed=1480.0, viscosity=0.0, vapour_pressure=vapour
    )
    return line_up(parts, heads, liquid=liquid, scenarios=(Scenario(name="stop", moves=(move,)),))


def _boils(velocity: float, length: float, vapour: float, upstream: bool) -> tuple[float]:
    from surge.transient.run import simulate

    lineup = _line(velocity, length, vapour=vapour, upstream=upstream)
    found = simulate(lineup, lineup.scenarios[0])
    return (found.vapour.time if found.vapour else math.inf,)


def _lowest(velocity: float) -> tuple[float, float]:
    from surge.transient.run import simulate

    lineup = _line(velocity, 600.0, vapour=2000.0)
    found = simulate(lineup, lineup.scenarios[0])
    lowest = next(p.lowest.pressure for p in found.places if p.name == "b")
    return lowest / 1e5, float(found.vapour is not None)


def _vapour() -> list[Check]:
    inputs = given(
        ("rho", 1000.0, "kg/m3", "density"),
        ("g", GRAVITY, "m/s2", "gravity"),
        ("a", 1000.0, "m/s", "wave speed"),
        ("H", 40.0, "m", "head of the tank"),
        ("L", 600.0, "m", "length"),
        ("pv", 2000.0, "Pa", "vapour pressure, absolute"),
        ("pa", ATMOSPHERE, "Pa", "air"),
    )
    source = (
        "classical: the wave comes back from the tank as a fall of J; the liquid boils at pv - pa (gauge)"
    )
    return [
        Check(
            name="boils-when-the-wave-is-back",
            group=GROUP,
            title="1 m/s stopped at once at 1 s: the valve's end boils when the wave has come back",
            source=source,
            status=COMPUTED,
            given=inputs,
            working=("low = rho*(g*H - a*1.0) ; below pv - pa: it boils", "limit = pv - pa", "t = 1 + 2*L/a"),
            figures=(Figure(what="first boiling", unit="s", expected=2.2, tolerance=0.0061, step="t"),),
            why="a step of the march, L/a/100 = 6 ms at most",
            program="check of a scenario",
            compute=partial(_boils, 1.0, 600.0, 2000.0, upstream=False),
        ),
        Check(
            name="boils-behind-a-valve-at-once",
            group=GROUP,
            title="2 m/s stopped at once at 1 s by a valve at the upstream end: boils behind it then and "
            "there",
            source=source,
            status=COMPUTED,
            given=inputs,
            working=("low = rho*(0 - a*2.0) ; below pv - pa: it boils", "t = 1 + 0*L"),
            figures=(Figure(what="first boiling", unit="s", expected=1.0, tolerance=0.0061, step="t"),),
            why="a step of the march",
            program="check of a scenario",
            compute=partial(_boils, 2.0, 600.0, 2000.0, upstream=True),
        ),
        Check(
            name="does-not-boil",
            group=GROUP,
            title="0.48 m/s stopped at once: the lowest pressure stays above boiling",
            source=source,
            status=COMPUTED,
            given=inputs,
            working=("low = rho*(g*H - a*0.48)/1e5", "limit = (pv - pa)/1e5 ; low is above it"),
            figures=(
                Figure(
                    what="lowest pressure at the valve",
                    unit="bar(g)",
                    expected=-0.87734,
                    tolerance=1e-4,
                    step="low",
                ),
                Figure(what="boils (1) or not (0)", unit="-", expected=0.0, tolerance=0.0),
            ),
            why="exact without friction; the digits given",
            program="check of a scenario",
            compute=partial(_lowest, 0.48),
        ),
        Check(
            name="shut-off-pressure",
            group=GROUP,
            title="shore tank at 10 m, pump of 60 m at no flow, lowest end of the line at 5 m, 750 kg/m3",
            source="hydrostatics, classical",
            status=COMPUTED,
            given=given(("rho", 750.0, "kg/m3", "density"), ("g", GRAVITY, "m/s2", "gravity")),
            working=("p = rho*g*(10 + 60 - 5)/1e5",),
            figures=(
                Figure(what="shut-off pressure", unit="bar(g)", expected=4.78074, tolerance=6e-6, step="p"),
            ),
            why="the digits given",
            program="shut-off pressure of a case",
            compute=_shut_off,
        ),
    ]


CHECKS = (*_times(), *_vapour())
