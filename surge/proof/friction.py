"""Checks of friction, of valves and of steady flow."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from surge.hydraulics import formulas
from surge.hydraulics.steady import Steady, steady_state
from surge.model.lineup import GRAVITY, Liquid, Pump, Scenario
from surge.proof.checks import COMPUTED, Check, Figure, given
from surge.proof.lines import line_up, pipe, valve

GROUP = "friction and steady flow"
LIBRARY = (
    "figures of the open library fluids 1.3.1 (its Colebrook by Clamond's exact method), computed once "
    "and kept; the "
    "working solves Colebrook's equation (C. F. Colebrook, J. Inst. Civ. Eng. 11, 1939) by repetition"
)
LAWS = "classical, any textbook on pipe flow; worked by the lines shown"
G = ("g", GRAVITY, "m/s2", "gravity")
OIL = Liquid(name="oil", density=820.0, sound_speed=1300.0, viscosity=5e-4, vapour_pressure=0.0)


def _rows_of_chart() -> list[Check]:
    rows = (
        (1e4, 0.0, 0.0308829504),
        (1e5, 1e-4, 0.0185138661),
        (1e6, 1e-4, 0.0134414377),
        (1e5, 1e-3, 0.0221745359),
        (5e5, 2e-4, 0.0154334912),
    )
    turns = tuple(f"x{k} = -2*log10(r/3.7 + 2.51*x{k - 1}/Re)" for k in range(1, 15))
    return [
        Check(
            name=f"friction-{re:.0e}-{rough:g}".replace("+0", ""),
            group=GROUP,
            title=f"Darcy factor at Re {re:.0e}, roughness over bore {rough:g}",
            source=LIBRARY,
            status=COMPUTED,
            given=given(("Re", re, "-", "Reynolds number"), ("r", rough, "-", "roughness over bore")),
            working=("x0 = 7 ; a first guess of 1/sqrt(f)", *turns, "f = 1/x14**2"),
            figures=(Figure(what="Darcy factor", unit="-", expected=f, tolerance=6e-11, step="f"),),
            why="the digits kept",
            program="friction factor of the steady flow and of the march's tables",
            compute=partial(_factor, re, rough),
        )
        for re, rough, f in rows
    ]


def _factor(re: float, rough: float) -> tuple[float]:
    return (float(formulas.friction_factor(re, rough)),)


def _regimes() -> list[Check]:
    return [
        Check(
            name=f"friction-laminar-{re:g}",
            group=GROUP,
            title=f"Darcy factor at Re {re:g}: laminar",
            source="Hagen and Poiseuille, 64/Re; " + LAWS,
            status=COMPUTED,
            given=given(("Re", re, "-", "Reynolds number")),
            working=("f = 64/Re",),
            figures=(Figure(what="Darcy factor", unit="-", expected=f, tolerance=1e-12, step="f"),),
            why="rounding",
            program="friction factor",
            compute=partial(_factor, re, 1e-4),
        )
        for re, f in ((1000.0, 0.064), (2000.0, 0.032))
    ]


def _steady(elements: Sequence[object], heads: dict[str, float], liquid: Liquid | None = None) -> Steady:
    more = {} if liquid is None else {"liquid": liquid}
    return steady_state(line_up(elements, heads, **more), Scenario(name="steady"))


def _pipe_loss() -> tuple[float]:
    loss = formulas.head_loss(
        50.0 / 800.0,
        length=100.0,
        diameter=0.25,
        roughness=4.5e-5,
        viscosity=1.25e-6,
        minor_loss=0.0,
        gravity=GRAVITY,
    )
    return (float(loss) * 800.0 * GRAVITY,)


def _laminar_line() -> tuple[float]:
    line = pipe("line", "a", "b", 500.0, 1000.0, diameter=0.25, roughness=1e-5, friction_factor=None)
    return (_steady([line], {"a": 3.0, "b": 0.0}, OIL).flow["line"],)


def _given_factor() -> tuple[float]:
    line = pipe("line", "a", "b", 400.0, 1000.0, diameter=0.2, friction_factor=0.02, minor_loss=7.0)
    return (_steady([line], {"a": 12.0, "b": 0.0}).flow["line"],)


def _two_in_series() -> tuple[float, float]:
    first = pipe("first", "a", "joint", 550.0, 1100.0, diameter=0.75, friction_factor=0.010)
    second = pipe("second", "joint", "b", 450.0, 900.0, diameter=0.60, friction_factor=0.012)
    steady = _steady([first, second], {"a": 67.7, "b": 60.048})
    return steady.flow["first"], steady.head["joint"]


def _side_by_side() -> tuple[float, float]:
    upper = pipe("upper", "a", "b", 300.0, 1000.0, diameter=0.3, friction_factor=0.02)
    lower = pipe("lower", "a", "b", 500.0, 1000.0, diameter=0.2, friction_factor=0.025)
    steady = _steady([upper, lower], {"a": 10.0, "b": 4.0})
    return steady.flow["upper"], steady.flow["lower"]


def _working_point() -> tuple[float, float]:
    pump = Pump(name="pump", start="sump", end="discharge", curve=((0.0, 90.0), (0.3, 72.0)), non_return=True)
    line = pipe("line", "discharge", "b", 1000.0, 1000.0, diameter=0.3, friction_factor=0.02)
    steady = _steady([pump, line], {"sump": 5.0, "b": 20.0})
    return steady.flow["pump"], steady.head["discharge"]


def _valve_flow() -> tuple[float]:
    made = valve("valve", "a", "b", 1.0)
    kv = 400.0
    line = pipe("line", "a", "before", 1.0, 1000.0, diameter=1.0)
    named = type(made)(name="valve", start="before", end="b", kv=kv, characteristic=made.characteristic)
    return (_steady([line, named], {"a": 7.3, "b": 0.0}).flow["valve"] * 3600.0,)


def _flows() -> list[Check]:
    area = "A = pi/4*D**2"
    return [
        Check(
            name="pressure-drop-of-a-pipe",
            group=GROUP,
            title="50 kg/s through 100 m of 250 mm pipe",
            source="fluids 1.3.1, one_phase_dP(m=50, rho=800, mu=1e-3, D=0.25, roughness=4.5e-5, L=100), "
            "computed once "
            "and kept; " + LAWS,
            status=COMPUTED,
            given=given(
                ("m", 50.0, "kg/s", "flow"),
                ("rho", 800.0, "kg/m3", "density"),
                ("mu", 1e-3, "Pa s", "viscosity"),
                ("D", 0.25, "m", "bore"),
                ("k", 4.5e-5, "m", "roughness"),
                ("L", 100.0, "m", "length"),
            ),
            working=(
                area,
                "V = m/rho/A",
                "Re = V*D*rho/mu",
                "x0 = 7",
                *(f"x{i} = -2*log10(k/D/3.7 + 2.51*x{i - 1}/Re)" for i in range(1, 9)),
                "dp = L/D/x8**2*rho*V**2/2",
            ),
            figures=(Figure(what="pressure drop", unit="Pa", expected=4260.797, tolerance=2e-3, step="dp"),),
            why="the digits kept",
            program="head lost along a pipe",
            compute=_pipe_loss,
        ),
        Check(
            name="laminar-line",
            group=GROUP,
            title="thick oil runs down 3 m through 500 m of 250 mm pipe",
            source="Hagen and Poiseuille; " + LAWS,
            status=COMPUTED,
            given=given(
                G,
                ("nu", 5e-4, "m2/s", "viscosity"),
                ("H", 3.0, "m", "head"),
                ("L", 500.0, "m", "length"),
                ("D", 0.25, "m", "bore"),
            ),
            working=("Q = pi*g*D**4*H/(128*nu*L)", "Re = 4*Q/(pi*D*nu) ; below 2000, as it must be"),
            figures=(Figure(what="flow", unit="m3/s", expected=0.0112824, tolerance=6e-8, step="Q"),),
            why="the digits given",
            program="steady flow of a line-up",
            compute=_laminar_line,
        ),
        Check(
            name="factor-and-fittings",
            group=GROUP,
            title="12 m of head through 400 m of 200 mm pipe, factor 0.02, fittings K 7",
            source="Darcy and Weisbach; " + LAWS,
            status=COMPUTED,
            given=given(
                G,
                ("f", 0.02, "-", "Darcy factor"),
                ("L", 400.0, "m", "length"),
                ("D", 0.2, "m", "bore"),
                ("K", 7.0, "-", "fittings"),
                ("H", 12.0, "m", "head"),
            ),
            working=("V = sqrt(2*g*H/(f*L/D + K))", area, "Q = A*V"),
            figures=(Figure(what="flow", unit="m3/s", expected=0.0703019, tolerance=6e-8, step="Q"),),
            why="the digits given",
            program="steady flow of a line-up",
            compute=_given_factor,
        ),
        Check(
            name="two-pipes-in-series-steady",
            group=GROUP,
            title="550 m of 0.75 m and 450 m of 0.60 m pipe between 67.7 and 60.048 m",
            source="inputs in the style of M. H. Chaudhry, Applied Hydraulic Transients (from memory), g "
            "of this program; " + LAWS,
            status=COMPUTED,
            given=given(
                G,
                ("H1", 67.7, "m", "head at the upper tank"),
                ("H2", 60.048, "m", "head at the lower tank"),
                ("f1", 0.010, "-", "factor of the first pipe"),
                ("f2", 0.012, "-", "factor of the second pipe"),
            ),
            working=(
                "k1 = f1*550/0.75/(2*g*(pi/4*0.75**2)**2)",
                "k2 = f2*450/0.60/(2*g*(pi/4*0.60**2)**2)",
                "Q = sqrt((H1 - H2)/(k1 + k2))",
                "H = H1 - k1*Q**2",
            ),
            figures=(
                Figure(what="flow", unit="m3/s", expected=0.999763, tolerance=6e-7, step="Q"),
                Figure(what="head at the joint", unit="m", expected=65.7852, tolerance=6e-5, step="H"),
            ),
            why="the digits given",
            program="steady flow of a line-up",
            compute=_two_in_series,
        ),
        Check(
            name="two-pipes-side-by-side",
            group=GROUP,
            title="two unlike pipes share 6 m of head",
            source="Darcy and Weisbach; " + LAWS,
            status=COMPUTED,
            given=given(G, ("H", 6.0, "m", "head lost in both")),
            working=(
                "Q1 = pi/4*0.3**2*sqrt(2*g*H*0.3/(0.02*300))",
                "Q2 = pi/4*0.2**2*sqrt(2*g*H*0.2/(0.025*500))",
            ),
            figures=(
                Figure(
                    what="flow, 300 m of 0.3 m, factor 0.02",
                    unit="m3/s",
                    expected=0.171462,
                    tolerance=6e-7,
                    step="Q1",
                ),
                Figure(
                    what="flow, 500 m of 0.2 m, factor 0.025",
                    unit="m3/s",
                    expected=0.0431083,
                    tolerance=6e-8,
                    step="Q2",
                ),
            ),
            why="the digits given",
            program="steady flow of a line-up with a loop",
            compute=_side_by_side,
        ),
        Check(
            name="working-point-of-a-pump",
            group=GROUP,
            title="pump H = 90 - 200 Q^2 against 15 m of lift and 1000 m of 300 mm pipe",
            source="pump curve against system curve; " + LAWS,
            status=COMPUTED,
            given=given(G, ("f", 0.02, "-", "factor"), ("L", 1000.0, "m", "length"), ("D", 0.3, "m", "bore")),
            working=(
                area,
                "k = f*L/D/(2*g*A**2)",
                "Q = sqrt((5 + 90 - 20)/(200 + k))",
                "H = 5 + 90 - 200*Q**2",
            ),
            figures=(
                Figure(what="flow", unit="m3/s", expected=0.291889, tolerance=6e-7, step="Q"),
                Figure(what="head behind the pump", unit="m", expected=77.9601, tolerance=6e-5, step="H"),
            ),
            why="the digits given",
            program="steady flow of a line-up",
            compute=_working_point,
        ),
        Check(
            name="flow-of-a-valve",
            group=GROUP,
            title="valve of Kv 400 under 7.3 m of any liquid",
            source="definition of Kv, IEC 60534-1: Q = Kv sqrt(dp/1 bar x 1000/rho), Q in m3/h, with dp = "
            "rho g H",
            status=COMPUTED,
            given=given(G, ("Kv", 400.0, "m3/h", "capacity"), ("H", 7.3, "m", "head lost")),
            working=("Q = Kv*sqrt(1000*g*H/1e5) ; the density falls out",),
            figures=(Figure(what="flow", unit="m3/h", expected=338.4401, tolerance=6e-5, step="Q"),),
            why="the digits given",
            program="steady flow of a line-up",
            compute=_valve_flow,
        ),
    ]


CHECKS = (*_rows_of_chart(), *_regimes(), *_flows())
