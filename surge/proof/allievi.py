"""Checks against Allievi's chain: linear closure of a frictionless line, exact for slow closures."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surge.model.lineup import GRAVITY
from surge.proof.checks import COMPUTED, Check, Figure, given
from surge.proof.lines import reservoir_line, run

SOURCE = (
    "L. Allievi's interlocking equations (Teoria del colpo d'ariete, 1913, from memory), computed by the "
    "lines shown: "
    "z_i^2 + z_(i-1)^2 - 2 = 2 rho (eta_(i-1) z_(i-1) - eta_i z_i), h = z^2 = H/H0, eta = 1 - i/theta, i "
    "in phases of "
    "2L/a; published charts plot this chain at whole phases"
)
A, LENGTH, HEAD, REACHES = 1000.0, 1000.0, 100.0, 40
PHASE = 2 * REACHES  # steps of a phase


@dataclass(frozen=True, kw_only=True)
class AllieviRow:
    """One closure and the heads that it makes at the valve, as shares of the head of the tank [-].

    Attributes
    ----------
    rho : float
        Pipe number a*V0/(2*g*H0) [-].
    theta : float
        Time of the closure over a phase of 2L/a [-].
    phases : tuple of float
        Heads after the first whole phases [-].
    at_phases, ever : float
        Greatest head at whole phases, and at any time [-].
    """

    rho: float
    theta: float
    phases: tuple[float, ...]
    at_phases: float
    ever: float


ROWS = (
    AllieviRow(rho=0.25, theta=2, phases=(1.2235, 1.0531, 0.9469), at_phases=1.22347, ever=1.22347),
    AllieviRow(rho=0.5, theta=2, phases=(1.4069, 1.1861, 0.8139), at_phases=1.40693, ever=1.40693),
    AllieviRow(rho=0.5, theta=4, phases=(1.1839, 1.1062, 1.1514, 1.1169), at_phases=1.18393, ever=1.18393),
    AllieviRow(rho=1, theta=2, phases=(1.6972, 1.6056, 0.3944), at_phases=1.69722, ever=1.75188),
    AllieviRow(rho=1, theta=4, phases=(1.2938, 1.2807, 1.2843, 1.2823), at_phases=1.29381, ever=1.30301),
    AllieviRow(rho=1, theta=8, phases=(1.1353, 1.1328, 1.1331, 1.1330), at_phases=1.13534, ever=1.13723),
    AllieviRow(rho=2, theta=2, phases=(2.1010, 2.7980, -0.7980), at_phases=2.79796, ever=2.79904),
    AllieviRow(rho=2, theta=4, phases=(1.4223, 1.6144, 1.6444, 1.6379), at_phases=1.64444, ever=1.64536),
    AllieviRow(rho=2, theta=10, phases=(1.1461, 1.2010, 1.2170, 1.2205), at_phases=1.22100, ever=1.22100),
    AllieviRow(rho=4, theta=4, phases=(1.5442, 2.1064, 2.5225, 2.6540), at_phases=2.65398, ever=2.65564),
    AllieviRow(rho=4, theta=10, phases=(1.1797, 1.3114, 1.3975, 1.4476), at_phases=1.48793, ever=1.48794),
    AllieviRow(rho=8, theta=10, phases=(1.2034, 1.4075, 1.6021, 1.7770), at_phases=2.18214, ever=2.18283),
    AllieviRow(rho=1, theta=1, phases=(3.0, -1.0, 3.0), at_phases=3.0, ever=3.0),
)


def chain(rho: float, theta: float, phases: int, first: float) -> list[float]:
    """Return heads at the valve by the chain alone, at an instant and at every whole phase after it.

    Parameters
    ----------
    rho, theta : float
        Pipe number, and time of the closure over a phase [-].
    phases : int
        Number of heads.
    first : float
        The first instant over a phase [-], above 0 and up to 1.

    Returns
    -------
    list of float
        Heads over that of the tank [-].
    """

    def eta(i: float) -> float:
        return max(0.0, 1 - i / theta)

    h, q, found = 1.0, 1.0, []  # before the first of them nothing has come back
    for k in range(phases):
        right = 2 - h + 2 * rho * q
        b = rho * eta(first + k)
        z = -b + math.sqrt(b * b + right) if b > 0 else math.nan
        h, q = (z * z, eta(first + k) * z) if b > 0 else (right, 0.0)
        found.append(h)
    return found


def _working(row: AllieviRow, first: float, letter: str) -> list[str]:
    """The chain from ``first`` on as lines; heads are ``letter`` and their number."""
    lines, h, q = [], "1", "1"
    for k in range(int(row.theta) + 2):
        i, n = first + k, f"{k + 1}"
        right = f"2 - {h} + 2*rho*{q}"
        if i < row.theta:
            share = f"(1 - {i:.10g}/theta)"
            lines.append(
                f"z{letter}{n} = sqrt((rho*{share})**2 + {right}) - rho*{share} ; after {i:.6g} phases"
            )
            lines.append(f"{letter}{n} = z{letter}{n}**2")
            q = f"{share}*z{letter}{n}"
        else:
            lines.append(f"{letter}{n} = {right} ; after {i:.6g} phases, shut")
            q = "0"
        h = f"{letter}{n}"
    return lines


def greatest(row: AllieviRow) -> int:
    """The step of a phase (1 to 80) whose chain reaches the greatest head."""
    tops = [max(chain(row.rho, row.theta, int(row.theta) + 2, k / PHASE)) for k in range(1, PHASE + 1)]
    return int(np.argmax(np.round(tops, 9))) + 1


def _check(row: AllieviRow) -> Check:
    best = greatest(row)
    whole, other = _working(row, 1.0, "h"), _working(row, best / PHASE, "m")
    count = int(row.theta) + 2
    return Check(
        name=f"allievi-{row.rho:g}-{row.theta:g}",
        group="Allievi's chain",
        title=f"linear closure, pipe number {row.rho:g}, stroke of {row.theta:g} periods, into a head of 0",
        source=SOURCE,
        status=COMPUTED,
        given=given(
            ("rho", row.rho, "-", "pipe number aV0/(2gH0)"),
            ("theta", row.theta, "-", "stroke over 2L/a"),
        ),
        working=(
            *whole,
            f"top = max({', '.join(f'h{k + 1}' for k in range(count))}) ; at whole phases",
            *other,
            f"ever = max({', '.join(f'm{k + 1}' for k in range(count))}) ; of 80 chains the one that goes "
            f"highest",
        ),
        figures=(
            *(
                Figure(
                    what=f"head after phase {k + 1} over H0",
                    unit="-",
                    expected=h,
                    tolerance=5.1e-5,
                    step=f"h{k + 1}",
                )
                for k, h in enumerate(row.phases)
            ),
            Figure(
                what="greatest at whole phases",
                unit="-",
                expected=row.at_phases,
                tolerance=5.1e-6,
                step="top",
            ),
            Figure(what="greatest ever", unit="-", expected=row.ever, tolerance=1.1e-5, step="ever"),
        ),
        why="exact without friction: the digits given",
        program="march of a line-up",
        compute=lambda: _march(row),
    )


def heads(row: AllieviRow) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Return heads at the valve over that of the tank [-], by the march; one for each step and one before."""
    velocity = row.rho * 2 * GRAVITY * HEAD / A
    dt = LENGTH / A / REACHES
    made = run(
        reservoir_line(head=HEAD, length=LENGTH, wave_speed=A, velocity=velocity),
        dt,
        (int(row.theta) + 4) * 2 * LENGTH / A,
        ratio={"valve": ((0.0, 1.0), (row.theta * 2 * LENGTH / A, 0.0))},
    )
    return made.head("before") / HEAD


def _march(row: AllieviRow) -> tuple[float, ...]:
    h = heads(row)
    at = h[PHASE::PHASE]
    return (*at[: len(row.phases)], float(at.max()), float(h.max()))


CHECKS = tuple(_check(row) for row in ROWS)
