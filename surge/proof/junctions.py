"""Checks of waves at junctions and dead ends, without friction."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from surge.model.lineup import LineUp
from surge.proof.checks import COMPUTED, Check, Figure
from surge.proof.lines import line_up, pipe, run, step_at, valve
from surge.proof.waves import CLASSICAL, EXACT, GROUP, PROGRAM

Bore = tuple[float, float]  # diameter [m], wave speed [m/s]
JUNCTIONS: tuple[tuple[str, str, Bore, tuple[Bore, ...], float], ...] = (
    ("narrower", "500 to 250 mm", (0.5, 1000.0), ((0.25, 1000.0),), 1.6),
    ("wider", "250 to 500 mm", (0.25, 1000.0), ((0.5, 1000.0),), 0.4),
    ("tee", "equal tee", (0.3, 1000.0), ((0.3, 1000.0),) * 2, 0.666667),
    ("cross", "equal cross", (0.3, 1000.0), ((0.3, 1000.0),) * 3, 0.5),
    ("steel-to-hose", "steel to hose, same bore", (0.25, 1200.0), ((0.25, 400.0),), 0.5),
    ("hose-to-steel", "hose to steel, same bore", (0.25, 400.0), ((0.25, 1200.0),), 1.5),
    ("16-to-12-inch", "387.4 to 303.2 mm", (0.3874, 1180.0), ((0.3032, 1210.0),), 1.25207),
    ("main-to-two-branches", "400 mm to two of 250 mm", (0.4, 1000.0), ((0.25, 1000.0),) * 2, 1.12281),
)


def _junctions() -> list[Check]:
    made = []
    for name, words, (d, a), others, passes in JUNCTIONS:
        y = " + ".join(f"{di:g}**2/{ai:g}" for di, ai in ((d, a), *others))
        made.append(
            Check(
                name=f"junction-{name}",
                group=GROUP,
                title=f"wave at a junction: {words}",
                source="s = 2 (A1/a1)/sum(Ai/ai) passes, s - 1 comes back; " + CLASSICAL,
                status=COMPUTED,
                working=(
                    f"s = 2*({d:g}**2/{a:g})/({y}) ; pi/4 falls out",
                    "r = s - 1",
                    "e = 2*s ; at a closed end behind it",
                ),
                figures=(
                    Figure(what="part that passes", unit="-", expected=passes, tolerance=5.1e-6, step="s"),
                    Figure(
                        what="part thrown back", unit="-", expected=passes - 1, tolerance=5.1e-6, step="r"
                    ),
                    *(
                        (
                            Figure(
                                what="at a closed end beyond",
                                unit="-",
                                expected=2 * passes,
                                tolerance=1.02e-5,
                                step="e",
                            ),
                        )
                        if len(others) > 1
                        else ()
                    ),
                ),
                why=EXACT,
                program=PROGRAM,
                compute=partial(_junction, (d, a), others),
            )
        )
    return made


def _junction(first: Bore, others: Sequence[Bore]) -> tuple[float, ...]:
    (d, a), reaches, dt = first, 10, 0.05
    elements = [pipe("first", "joint", "before", a * dt * reaches, a, diameter=d)]
    for i, (di, ai) in enumerate(others):
        far = "tank" if i == 0 else f"end {i}"
        elements.append(pipe(f"leg {i}", far, "joint", ai * dt * reaches, ai, diameter=di))
    lineup = line_up([*elements, valve("valve", "before", "out", 0.05)], {"tank": 40.0, "out": 0.0})
    made = run(lineup, dt, 1.2, ratio={"valve": step_at(dt)})
    j = made.at("before", 2 * dt) - made.at("before", 0.0)
    arrive, back = dt * (1 + reaches), dt * (1 + 2 * reaches)
    passes = (made.at("joint", arrive) - made.at("joint", arrive - dt)) / j
    # What comes back meets a shut valve, where it doubles.
    thrown = (made.at("before", back) - made.at("before", back - dt)) / (2 * j)
    beyond = ((made.at("end 1", back) - made.at("end 1", 0.0)) / j,) if len(others) > 1 else ()
    return passes, thrown, *beyond


# Dead ends


def _tee(a: float, dead: float, closing: float) -> LineUp:
    elements = [
        pipe("inlet", "tank", "tee", 6 * a, a),  # long enough that its tank does not answer
        pipe("dead leg", "tee", "blank", dead, a),
        pipe("valve leg", "tee", "before", closing, a),
        valve("valve", "before", "out", 0.05),
    ]
    return line_up(elements, {"tank": 40.0, "out": 0.0})


def _dead_ends() -> list[Check]:
    tee = (
        "s = 2/3 ; equal legs",
        "r = s - 1",
        "d = 2*s ; closed end doubles",
        "t = s + s*s ; the leg's wave passes the tee by s",
        "v = 1 + 2*r + 2*s*s ; at the shut valve each wave doubles",
    )
    return [
        Check(
            name="dead-leg",
            group=GROUP,
            title="equal tee, valve leg 500 m shut at once, dead leg 200 m, a 1000 m/s",
            source="wave by wave by hand with s = 2/3 at the tee; " + CLASSICAL,
            status=COMPUTED,
            working=tee,
            figures=(
                Figure(what="tee on arrival over J", unit="-", expected=0.666667, tolerance=5.1e-7, step="s"),
                Figure(what="dead end over J", unit="-", expected=1.333333, tolerance=5.1e-7, step="d"),
                Figure(
                    what="tee when the leg's wave is back, over J",
                    unit="-",
                    expected=1.111111,
                    tolerance=5.1e-7,
                    step="t",
                ),
                Figure(
                    what="highest at the valve in 2 s, over J: above the instant-stop rise",
                    unit="-",
                    expected=1.222222,
                    tolerance=5.1e-7,
                    step="v",
                ),
            ),
            why=EXACT,
            program=PROGRAM,
            compute=_dead_leg,
        ),
        Check(
            name="short-dead-leg",
            group=GROUP,
            title="equal tee, valve leg 600 m, dead leg 120 m, a 1200 m/s, within 3 s",
            source="an independent network calculation by characteristics, made once, six digits kept",
            status=COMPUTED,
            figures=(
                Figure(what="highest at the valve over J", unit="-", expected=1.22497, tolerance=5.1e-6),
                Figure(what="highest at the dead end over J", unit="-", expected=1.33333, tolerance=5.1e-6),
            ),
            why=EXACT,
            program=PROGRAM,
            compute=_short_dead_leg,
        ),
    ]


def _dead_leg() -> tuple[float, ...]:
    made = run(_tee(1000.0, 200.0, 500.0), 0.1, 2.1, ratio={"valve": step_at(0.1)})
    base = float(made.head("before")[0])
    j = made.at("before", 0.1) - base
    seen = (made.at("tee", 0.6), made.at("blank", 0.8), made.at("tee", 1.0), float(made.head("before").max()))
    return tuple((h - base) / j for h in seen)


def _short_dead_leg() -> tuple[float, ...]:
    made = run(_tee(1200.0, 120.0, 600.0), 0.1, 3.1, ratio={"valve": step_at(0.1)})
    base = float(made.head("before")[0])
    j = made.at("before", 0.1) - base
    return tuple((float(made.head(p).max()) - base) / j for p in ("before", "blank"))


CHECKS = (*_junctions(), *_dead_ends())
