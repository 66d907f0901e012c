"""Checks of what acts by itself: relief valves, surge drums, open vessels, non-return valves, trips."""

from __future__ import annotations

import math

import numpy as np

from surge.kernel import columns
from surge.model.attached import OpenVessel, ReliefValve, SurgeDrum
from surge.model.lineup import GRAVITY, LineUp, NonReturnValve, Pump, Turning
from surge.proof.checks import COMPUTED, Check, Figure, given
from surge.proof.lines import KeptMarch, line_up, pipe, run, step_at, valve
from surge.proof.waves import EXACT, GROUP, PROGRAM, G
from surge.units import ATMOSPHERE

BORE = math.sqrt(0.4 / math.pi)  # [m] a bore of 0.1 m2
HEAD = 50.0  # [m] of the tank
RHO_G = 1000.0 * GRAVITY
STEP = 0.01  # [s]
LINE = (
    ("H0", HEAD, "m", "head of the tank; the valve at the far end stops the flow at once"),
    ("A", 0.1, "m2", "bore area"),
    ("a", 1000.0, "m/s", "wave speed of 1000 m of line"),
    ("rho", 1000.0, "kg/m3", "density"),
    ("set", 8e5, "Pa gauge", "set pressure"),
    ("full", 1e6, "Pa gauge", "pressure of full lift; it opens to no pressure"),
    ("Kv", 150.0, "m3/h", "at full lift; no opening time"),
)
FLOW_SOURCE = "Q = x Kv/3600 sqrt(p/1e5 1000/rho) (Kv: IEC 60534-1, from memory), x by the pressure; derived"


def _line(flow: float) -> LineUp:
    """The line with a relief valve before the valve that stops ``flow`` [m3/s]."""
    relief = ReliefValve(name="relief", point="before", set_pressure=8e5, full_pressure=1e6, kv=150.0)
    lineup = line_up(
        [
            pipe("line", "tank", "before", 1000.0, 1000.0, diameter=BORE),
            valve("valve", "before", "out", flow / math.sqrt(HEAD)),
        ],
        {"tank": HEAD, "out": 0.0},
    )
    return lineup.with_(relief_valves=(relief,))


def _stopped(flow: float) -> list[float]:
    """Head at the relief valve [m], flow through it [m3/s] and its lift [-], before the wave is back."""
    made = run(_line(flow), STEP, 1.5, ratio={"valve": step_at(STEP)})
    grid = made.marched.grid
    lift = grid.net.lf[grid.links.index("relief"), columns.L_LIFT]
    return [made.at("before", 1.0), float(made.flow("relief")[100]), float(lift)]


def _full() -> list[float]:
    return _stopped(0.2)[:2]


def _part() -> list[float]:
    # As the working has it, with no digit lost.
    head, full = 90.0, 150.0 / 3600 * math.sqrt(GRAVITY / 100)
    lift = (head - 8e5 / RHO_G) / (2e5 / RHO_G)
    impedance = 1000.0 / (GRAVITY * 0.1)
    return _stopped(lift * full * math.sqrt(head) + (head - HEAD) / impedance)


def _relief() -> list[Check]:
    base = ("B = a/(g*A)", "c = Kv/3600*sqrt(g/100)")
    return [
        Check(
            name="relief-full-lift",
            group=GROUP,
            title="relief valve beside a valve that stops the flow at once: full lift",
            source=FLOW_SOURCE,
            status=COMPUTED,
            given=given(G, *LINE, ("Q0", 0.2, "m3/s", "flow that is stopped")),
            working=(
                *base,
                "E = H0 + B*Q0 ; head that comes if nothing flows out",
                "s = (sqrt((B*c)**2 + 4*E) - B*c)/2 ; of H + B*c*sqrt(H) = E, s = sqrt(H)",
                "H = s**2",
                "Q = c*s",
            ),
            figures=(
                Figure(what="head", unit="m", expected=112.695, tolerance=5.1e-4, step="H"),
                Figure(what="flow out", unit="m3/s", expected=0.138517, tolerance=6e-7, step="Q"),
            ),
            why=EXACT,
            program=PROGRAM,
            compute=_full,
        ),
        Check(
            name="relief-part-lift",
            group=GROUP,
            title="the same, with the flow that lifts it to 90 m of head",
            source=FLOW_SOURCE,
            status=COMPUTED,
            given=given(G, *LINE, ("H", 90.0, "m", "head wanted at the relief valve")),
            working=(
                *base,
                "x = (H - set/(rho*g))/((full - set)/(rho*g))",
                "Q = x*c*sqrt(H)",
                "Q0 = Q + (H - H0)/B ; the flow that is stopped, which the program is given",
                "Hv = H0 + B*(Q0 - Q)",
            ),
            figures=(
                Figure(what="head", unit="m", expected=90.0, tolerance=1e-6, step="Hv"),
                Figure(what="flow out", unit="m3/s", expected=0.0511226, tolerance=6e-8, step="Q"),
                Figure(what="lift", unit="-", expected=0.412992, tolerance=6e-7, step="x"),
            ),
            why=EXACT,
            program=PROGRAM,
            compute=_part,
        ),
    ]


SHORT = (
    ("H0", HEAD, "m", "head of the tank; the valve at the far end stops the flow at once"),
    ("L", 10.0, "m", "length of the line, in which a wave is quick (1000 m/s)"),
    ("A", 0.1, "m2", "bore area"),
)
AIR = ATMOSPHERE / RHO_G  # [m]


def _swing(flow: float, duration: float, **hung: object) -> KeptMarch:
    """10 m of line to a valve that stops ``flow`` [m3/s] at once; something hangs before it."""
    lineup = line_up(
        [
            pipe("line", "tank", "before", 10.0, 1000.0, diameter=BORE),
            valve("valve", "before", "out", flow / math.sqrt(HEAD)),
        ],
        {"tank": HEAD, "out": 0.0},
    )
    stop = {"valve": step_at(0.001)}
    return run(lineup.with_(**hung), 0.001, duration, ratio=stop)


def _vessel() -> list[float]:
    vessel = OpenVessel(name="vessel", point="before", area=2.0, rim=1000.0)
    made = _swing(0.1, 10.0, open_vessels=(vessel,))
    head = made.head("before")
    first = int(np.argmax(head))
    return [float(head[first]) - HEAD, 4.0 * float(made.time[first])]


def _drum() -> list[float]:
    # As the working has it, with no digit lost.
    work = (HEAD + AIR) * (2.0 * 0.5 - (1.0 - 1.0 / 2.25))
    drum = SurgeDrum(name="drum", point="before", volume=2.0, gas_volume=1.0, exponent=1.5)
    made = _swing(math.sqrt(2.0 * GRAVITY * 0.1 * work / 10.0), 2.0, surge_drums=(drum,))
    grid = made.marched.grid
    return [float(grid.net.lf[grid.links.index("drum"), columns.D_SMALLEST])]


def _cushions() -> list[Check]:
    source = "energy of the moving column against that of the cushion: mass oscillation, classical; derived"
    why = "the line yields a little: it takes 5e-6 of the surface, or 1/400 of the gas at its smallest"
    return [
        Check(
            name="open-vessel-swing",
            group=GROUP,
            title="open vessel before a valve that stops the flow at once: mass oscillation",
            source=source,
            status=COMPUTED,
            given=given(G, *SHORT, ("F", 2.0, "m2", "surface"), ("Q0", 0.1, "m3/s", "flow that is stopped")),
            working=(
                "rise = Q0*sqrt(L/(g*A*F)) ; L/(2*g*A)*Q0**2 = F*rise**2/2",
                "T = 2*pi*sqrt(L*F/(g*A))",
            ),
            figures=(
                Figure(what="rise of its level", unit="m", expected=0.2258, tolerance=3e-4, step="rise"),
                Figure(what="period", unit="s", expected=28.37, tolerance=0.03, step="T"),
            ),
            why=why,
            program=PROGRAM,
            compute=_vessel,
        ),
        Check(
            name="drum-compressed",
            group=GROUP,
            title="surge drum, n = 1.5, the flow that presses its gas to 1/2.25",
            source=source,
            status=COMPUTED,
            given=given(
                G,
                *SHORT,
                ("rho", 1000.0, "kg/m3", "density"),
                ("pa", ATMOSPHERE, "Pa", "pressure of the air"),
                ("V0", 1.0, "m3", "gas at first"),
                ("r", 2.25, "-", "V0 over the smallest gas volume"),
            ),
            working=(
                "Ha = H0 + pa/(rho*g) ; absolute",
                "W = Ha*V0*((sqrt(r) - 1)/0.5 - (1 - 1/r)) ; work on the gas less that of the tank",
                "Q0 = sqrt(2*g*A*W/L) ; the flow that is stopped, which the program is given",
                "V = V0/r",
            ),
            figures=(
                Figure(what="smallest gas volume", unit="m3", expected=0.4444, tolerance=1.5e-3, step="V"),
            ),
            why=why,
            program=PROGRAM,
            compute=_drum,
        ),
    ]


def _slammed() -> list[float]:
    """Flow that turned at the tank, and head behind the non-return valve once that has stopped it."""
    lineup = line_up(
        [
            NonReturnValve(name="check", start="tank", end="begin", delay=0.5),
            pipe("line", "begin", "end", 1000.0, 1000.0, diameter=BORE),
            valve("valve", "end", "out", 0.05 / math.sqrt(HEAD)),
        ],
        {"tank": HEAD, "out": 0.0},
    )
    made = run(lineup, STEP, 2.4, ratio={"valve": step_at(STEP)})
    return [float(made.flow("check")[140]), made.at("begin", 1.7) - HEAD]


def _slam() -> list[Check]:
    return [
        Check(
            name="non-return-slam",
            group=GROUP,
            title="non-return valve at the tank that shuts 0.5 s after the flow has turned",
            source="far end shut at once: all flow turns at the tank; slam = B x reverse flow; derived",
            status=COMPUTED,
            given=given(G, LINE[0], LINE[1], LINE[2], ("Q0", 0.05, "m3/s", "flow that is stopped")),
            working=("B = a/(g*A)", "back = -Q0 ; a tank sends the wave back upside down", "slam = B*Q0"),
            figures=(
                Figure(what="flow, turned", unit="m3/s", expected=-0.05, tolerance=1e-7, step="back"),
                Figure(what="slam", unit="m", expected=50.986, tolerance=5.1e-4, step="slam"),
            ),
            why=EXACT,
            program=PROGRAM,
            compute=_slammed,
        ),
    ]


def _tripped() -> list[float]:
    """Speed of the pump 4 s after its trip."""
    turning = Turning(inertia=20.0, rpm=1500.0, efficiency=0.8, best_flow=0.1)
    curve = ((0.0, 80.0), (0.2, 60.0))
    lineup = line_up(
        [
            Pump(name="pump", start="sump", end="begin", curve=curve, non_return=True, turning=turning),
            pipe("line", "begin", "end", 500.0, 1000.0, diameter=BORE),
            valve("valve", "end", "out", 0.05),
        ],
        {"sump": 0.0, "out": 10.0},
    )
    # What stands there after a step is the speed of the next one.
    made = run(lineup, STEP, 5.0 - STEP, trips={"pump": 1.0}, shut=("valve",))
    grid = made.marched.grid
    return [float(grid.net.lf[grid.links.index("pump"), columns.L_SPEED])]


def _trip() -> list[Check]:
    return [
        Check(
            name="trip-without-flow",
            group=GROUP,
            title="pump that trips against a shut valve",
            source="at no flow T = rho g H best flow/(best 2 w0), H = n^2 h0; I w0 dn/dt = -T; derived",
            status=COMPUTED,
            given=given(
                G,
                ("rho", 1000.0, "kg/m3", "density"),
                ("h0", 80.0, "m", "head at no flow"),
                ("I", 20.0, "kg m2", "inertia"),
                ("rpm", 1500.0, "1/min", "full speed"),
                ("best", 0.8, "-", "best efficiency"),
                ("Qb", 0.1, "m3/s", "best flow"),
                ("t", 4.0, "s", "after the trip"),
            ),
            working=(
                "w0 = 2*pi*rpm/60",
                "K = rho*g*Qb/(best*I*w0**2)",
                "n = 1/(1 + K*h0*t/2) ; of dn/dt = -K*h0*n**2/2",
            ),
            figures=(Figure(what="speed", unit="-", expected=0.7156, tolerance=1e-4, step="n"),),
            why="steps of 0.01 s: second order, 1e-5; the digits given",
            program=PROGRAM,
            compute=_tripped,
        ),
    ]


CHECKS: tuple[Check, ...] = (*_relief(), *_cushions(), *_slam(), *_trip())
