"""Checks of unsteady friction: its weights, and a laminar line that stops at once."""

from __future__ import annotations

import math
from functools import lru_cache, partial

import numpy as np

from surge.hydraulics import weights
from surge.model.lineup import GRAVITY, Liquid
from surge.proof.checks import COMPUTED, MEMORY, Check, Figure, given
from surge.proof.lines import line_up, pipe, run, step_at, valve
from surge.proof.packing import GROUP
from surge.proof.waves import G

LAMINAR = "exact laminar weight (W. Zielke, J. Basic Eng. 90, 1968, from memory): "
TURBULENT = (
    "weight of turbulent flow along smooth walls (A. E. Vardy and J. M. B. Brown, J. Sound Vib. 259, 2003, "
    "from memory)"
)
# A thin pipe with oil, Re 82; the inputs are those of a well-known laboratory line, from memory.
LENGTH, A, BORE, NU, V0 = 36.09, 1324.36, 0.0254, 3.967e-5, 0.128
REACHES = 40
PLATEAUS = 10
DECAY = (1.0995, -0.7760, 0.7801, -0.5220, 0.5252, -0.3019, 0.3217, -0.1285, 0.1700, -0.0036)


def _laminar(tau: float) -> tuple[float]:
    return (float(weights.laminar_weight(np.array(tau))),)


def _laminar_weights() -> list[Check]:
    # Squares of the zeros of J2, of which the slowest are enough late; the series is enough early.
    zeros = (26.3746, 70.8500, 135.0207, 218.9202, 322.5551)
    late = "W = " + " + ".join(f"exp(-{n}*tau)" for n in zeros)
    early = (
        "W = 0.282095/sqrt(tau) - 1.25 + 1.057855*sqrt(tau) + 0.9375*tau + 0.396696*tau*sqrt(tau) "
        "- 0.351563*tau*tau"
    )
    rows = (
        (1e-5, 87.95956, early, "digits of the series"),
        (1e-3, 7.705023, early, "digits of the series"),
        (0.05, 0.297603, late, "digits of the zeros"),
        (0.2, 0.005119, late, "digits of the zeros"),
    )
    return [
        Check(
            name=f"laminar-weight-{tau:g}",
            group=GROUP,
            title=f"weight of unsteady laminar friction at 4 nu t/D2 = {tau:g}",
            source=LAMINAR + "sum of exp(-n tau), n the squares of the zeros of J2; its series for small tau",
            status=COMPUTED,
            given=given(("tau", tau, "-", "4 nu t/D2")),
            working=(working,),
            figures=(Figure(what="weight", unit="-", expected=w, tolerance=2e-6 * w + 1e-6, step="W"),),
            why=why,
            program="exact weight, to which the march's exponentials are fitted",
            compute=partial(_laminar, tau),
        )
        for tau, w, working, why in rows
    ]


def _turbulent(re: float, tau: float) -> tuple[float, float]:
    decay = weights.shear_decay(re)
    return decay, float(weights.turbulent_weight(np.array(tau), decay))


def _turbulent_weights() -> list[Check]:
    rows = (
        (1e4, 1e-4, 1.900251e-3, 26.76335),
        (1e5, 1e-4, 4.024422e-4, 22.00292),
        (1e6, 1e-5, 1.106614e-4, 81.49852),
    )
    return [
        Check(
            name=f"turbulent-weight-{re:.0e}".replace("+0", ""),
            group=GROUP,
            title=f"weight of unsteady turbulent friction at Re {re:.0e}",
            source=TURBULENT,
            status=MEMORY,
            given=given(("Re", re, "-", "Reynolds number"), ("tau", tau, "-", "4 nu t/D2")),
            working=(
                "k = log10(15.29/Re**0.0567)",
                "C = 12.86/Re**k",
                "W = exp(-tau/C)/(2*sqrt(pi*tau))",
            ),
            figures=(
                Figure(what="C", unit="-", expected=c, tolerance=1e-6 * c, step="C"),
                Figure(what="weight", unit="-", expected=w, tolerance=1e-6 * w, step="W"),
            ),
            why="the digits given",
            program="weight of turbulent flow, to which the march's exponentials are fitted",
            compute=partial(_turbulent, re, tau),
        )
        for re, tau, c, w in rows
    ]


@lru_cache(maxsize=4)
def laminar_stop(reaches: int = REACHES, *, unsteady: bool = True) -> np.ndarray:
    """March a laminar line that is stopped at once.

    Parameters
    ----------
    reaches : int
        Even.
    unsteady : bool
        With unsteady friction, or that of a steady flow.

    Returns
    -------
    ndarray, shape (PLATEAUS,)
        Rise of head at the valve over a V/g, at (k + 1/2) 2L/a after the stop [-].
    """
    liquid = Liquid(name="oil", density=1000.0, sound_speed=1480.0, viscosity=NU, vapour_pressure=0.0)
    area = math.pi / 4 * BORE**2
    lost = 32.0 * NU * LENGTH * V0 / (GRAVITY * BORE**2)
    elements = [
        pipe("line", "tank", "before", LENGTH, A, diameter=BORE, friction_factor=None),
        valve("valve", "before", "out", area * V0 / math.sqrt(50.0)),
    ]
    lineup = line_up(elements, {"tank": 50.0 + lost, "out": 0.0}, liquid=liquid)
    dt = LENGTH / A / reaches
    steps = 2 * PLATEAUS * reaches + 2
    made = run(lineup, dt, steps * dt, ratio={"valve": step_at(dt)}, unsteady=unsteady)
    head = made.head("before")
    # Fronts carry half a reach's friction, seen at every second step: with those beside it it is none.
    at = 1 + (2 * np.arange(PLATEAUS) + 1) * reaches
    middle = 0.5 * head[at] + 0.25 * (head[at - 1] + head[at + 1])
    return np.asarray((middle - head[0]) / (A * V0 / GRAVITY))


def _stop() -> Check:
    return Check(
        name="laminar-unsteady-stop",
        group=GROUP,
        title="laminar line, sudden stop: plateaus of head at the valve with unsteady friction",
        source="plug flow with the exact laminar weight by Laplace transform (derived): rise over a V/g is "
        "sqrt(I0(z)/I2(z)) tanh(G L)/s, G = s/a sqrt(I0(z)/I2(z)), z = D/2 sqrt(s/nu), turned back by an "
        "independent sum of 120 000 terms, which the tests do again",
        status=COMPUTED,
        given=given(
            G,
            ("L", LENGTH, "m", "length"),
            ("d", BORE, "m", "bore"),
            ("a", A, "m/s", "wave speed"),
            ("nu", NU, "m2/s", "kinematic viscosity"),
            ("V0", V0, "m/s", "velocity that is stopped"),
        ),
        working=(
            "Re = V0*d/nu",
            "J = a*V0/g ; rise of the stop itself, m of head",
            "T = 2*L/a ; a plateau follows the other after so many seconds",
        ),
        figures=tuple(
            Figure(what=f"plateau {k + 1} over J", unit="-", expected=h, tolerance=0.015)
            for k, h in enumerate(DECAY)
        ),
        why=f"first order in the step: 0.7 % of J at {REACHES} reaches",
        program="march of a line-up with unsteady friction",
        compute=lambda: tuple(laminar_stop().tolist()),
    )


CHECKS: tuple[Check, ...] = (*_laminar_weights(), *_turbulent_weights(), _stop())
