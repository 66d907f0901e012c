"""Checks of forces along straight legs."""

from __future__ import annotations

import math

from surge.model.lineup import LineUp, Scenario, ValveMove
from surge.proof.checks import COMPUTED, Check, Figure, given
from surge.proof.lines import line_up, pipe, valve
from surge.proof.waves import EXACT, GROUP, G
from surge.transient.forces import Leg, forces_along

BORE = math.sqrt(0.4 / math.pi)  # [m] a bore of 0.1 m2
STOP = ((0.0, 1.0), (0.0, 0.0))


def _stopped() -> list[float]:
    """Force on a leg of 60 m in a line whose far end is shut at once [N], and how long it lasts [s]."""
    head = 50.0
    lineup: LineUp = line_up(
        [
            pipe("line", "tank", "before", 600.0, 1000.0, diameter=BORE),
            valve("valve", "before", "out", 0.2 / math.sqrt(head)),
        ],
        {"tank": head, "out": 0.0},
    )
    scenario = Scenario(name="stop", moves=(ValveMove(valve="valve", start=0.5, law=STOP),))
    leg = Leg(pipe="line", begin=240.0, end=300.0)
    made = forces_along(lineup, scenario, [leg], dt=0.002, until=1.0)
    (one,) = made.legs
    return [one.highest, float((one.force > one.highest / 2).sum() * made.dt)]


CHECKS: tuple[Check, ...] = (
    Check(
        name="force-on-a-leg",
        group=GROUP,
        title="front of a sudden stop that passes a straight leg",
        source="momentum: what the liquid in the leg loses while the front is in it; derived",
        status=COMPUTED,
        given=given(
            G,
            ("rho", 1000.0, "kg/m3", "density"),
            ("a", 1000.0, "m/s", "wave speed"),
            ("Q", 0.2, "m3/s", "flow that is stopped"),
            ("l", 60.0, "m", "length of the leg"),
        ),
        working=("F = rho*a*Q ; the bore cancels", "t = l/a"),
        figures=(
            Figure(what="force", unit="N", expected=200000.0, tolerance=0.02, step="F"),
            Figure(what="lasts", unit="s", expected=0.06, tolerance=0.0041, step="t"),
        ),
        why=f"{EXACT}; the front is up to two steps of 0.002 s wide",
        program="surge.transient.forces.forces_along",
        compute=_stopped,
    ),
)
