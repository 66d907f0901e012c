"""Case texts made at random, of berths of which much is told by names, types and sizes only.

All of it invented. What is left out of a text is what people leave out: the products of a name, the schedule,
the roughness, the Kv, the hose's wave speed.
"""

from __future__ import annotations

import math

import numpy as np

# Cargo, lowest and highest temperature [C], about its density [kg/m3] and lowest viscosity [mPa s]
CARGOES = (
    ("motor gasoline", 5, 30, 745.0),
    ("gas oil", 5, 30, 845.0),
    ("jet fuel / kerosene", 5, 30, 805.0),
    ("light crude", 10, 40, 835.0),
    ("crude oil", 15, 45, 860.0),
    ("heavy fuel oil", 50, 70, 960.0),
    ("naphtha", 5, 25, 705.0),
    ("methanol", 5, 30, 795.0),
    ("benzene", 10, 25, 880.0),
    ("palm oil", 50, 60, 900.0),
)
SHORE_SIZES, SHIP_SIZES = (8, 10, 12, 14, 16), (8, 10, 12)
VALVES = ("gate", "ball", "butterfly", "plug", "ball, reduced bore")
HOSES = ("rubber dock hose, 15 bar", "composite hose, 14 bar", "floating or submarine hose, 15 bar")
PLACEHOLDER = "RATING"


def assumed_text(seed: int, *, known: float = 0.4) -> str:
    """Return the text of a case file with ``RATING`` where the rating of the system goes.

    Parameters
    ----------
    seed : int
    known : float
        Chance that a figure is given [-]; at 1 every figure is.
    """
    return _Text(np.random.default_rng([seed, 4]), known).text()


class _Text:
    def __init__(self, rng: np.random.Generator, known: float) -> None:
        self.rng, self.known = rng, known
        self.size = int(rng.choice(SHORE_SIZES))
        self.ship = min(int(rng.choice(SHIP_SIZES)), self.size)
        self.velocity = float(rng.uniform(1.5, 4.5))
        bore = 0.0254 * self.ship
        self.rate = round(3600.0 * self.velocity * math.pi / 4 * bore**2 / 10) * 10
        self.tanks = 1 + int(rng.random() < 0.5)

    def gives(self) -> bool:
        return bool(self.rng.random() < self.known)

    def pick(self, *values: float) -> float:
        return float(self.rng.choice(values))

    def liquid(self) -> str:
        names = len(CARGOES)
        cargo, low, high, density = CARGOES[int(self.rng.integers(names))]
        lines = [f'cargo = "{cargo}"', f'temperature = "{int(self.rng.integers(low, high + 1))} degC"']
        self.density = density
        if self.gives():
            lines.append(f'density = "{density} kg/m3"')
        if self.gives():
            lines.append(f'sound_speed = "{int(self.rng.integers(1150, 1400))} m/s"')
        if self.gives():
            lines.append(f'viscosity = "{self.pick(0.6, 3.0, 30.0):g} mPa s"')
        if self.gives():
            lines.append('vapour_pressure = "0.2 bar(a)"')
        return "[liquid]\n" + "\n".join(lines) + "\n"

    def pipe(self, name: str, start: str, end: str, length: float, size: int, schedule: str) -> str:
        lines = [f'name = "{name}"', f'from = "{start}"', f'to = "{end}"', f'length = "{length:g} m"']
        lines.append(f'size = "{size} inch"')
        if self.gives():
            lines.append(f'schedule = "{schedule}"')
        if self.gives():
            lines += ['material = "steel"', 'restraint = "anchored throughout"']
        if self.gives():
            lines.append(f'roughness = "{self.pick(0.045, 0.1, 0.2):g} mm"')
        elif self.rng.random() < 0.3:
            lines.append('condition = "slightly rusted steel"')
        if self.rng.random() < 0.6:
            lines.append('fittings = { "long-radius elbow" = 6 }')
        return "[[pipe]]\n" + "\n".join(lines) + "\n"

    def valve(self, name: str, start: str, end: str, size: int, *, kind: str = "") -> str:
        chosen = kind or str(self.rng.choice(VALVES))
        lines = [f'name = "{name}"', f'from = "{start}"', f'to = "{end}"', f'type = "{chosen}"']
        kv = 9.0 * (25.4 * size) ** 2 / 100.0
        lines.append(f'kv = "{kv:.0f} m3/h"' if self.gives() else f'size = "{size} inch"')
        return "[[valve]]\n" + "\n".join(lines) + "\n"

    def hose(self) -> str:
        lines = ['name = "cargo hose"', 'from = "jetty"', 'to = "manifold"']
        lines += [f'length = "{self.pick(10, 15, 25, 60):g} m"', f'inside_diameter = "{self.ship} inch"']
        lines += [f'type = "{self.rng.choice(HOSES)}"', 'lowest_pressure = "-0.9 bar(g)"']
        lines.append("tested = 2026-02-01")
        if self.gives():
            lines.append(f'wave_speed = "{self.pick(300, 450, 650):g} m/s"')
        if self.gives():
            lines.append('roughness = "0.1 mm"')
        return "[[hose]]\n" + "\n".join(lines) + "\n"

    def points(self) -> str:
        heights = {"tank outlet": 2, "pump discharge": 2, "shore line inlet": 2, "jetty": 5, "manifold": 5}
        heights |= {"deck line inlet": 5, "deck line end": 3}
        for i in range(self.tanks):
            heights |= {f"drop top {i + 1}": 3, f"drop foot {i + 1}": -6}
        rows = "\n".join(f'"{n}" = {{ elevation = "{z} m" }}' for n, z in heights.items())
        return f"[points]\n{rows}\n"

    def fixed(self) -> str:
        """Tanks and pump."""
        out = '[[tank]]\nname = "shore tank"\nat = "tank outlet"\nside = "shore"\nlevel = "11 m"\n'
        for i in range(self.tanks):
            out += f'[[tank]]\nname = "tank {i + 1}"\nat = "drop foot {i + 1}"\nside = "ship"\n'
            out += f'level = "{self.pick(2, 5, 8):g} m"\n'
        head = float(self.rng.uniform(70, 120))
        rows = [(x * self.rate, head * (1.1 - 0.35 * x**2)) for x in (0.0, 0.5, 1.0, 1.6)]
        curve = ", ".join(f'["{q:.0f} m3/h", "{h:.1f} m"]' for q, h in rows)
        return (
            f'{out}[[pump]]\nname = "pump"\nfrom = "tank outlet"\nto = "pump discharge"\n'
            f"curve = [{curve}]\nnon_return_valve = true\n"
        )

    def scenarios(self) -> str:
        stroke = float(self.rng.uniform(6, 45))
        out = f'[[scenario]]\nname = "manifold shut"\nstage = "bulk"\n{_event("manifold valve", stroke)}'
        if self.tanks == 2:
            out += '[[scenario]]\nname = "change of tanks"\nstage = "bulk"\n'
            out += _event("drop valve 1", float(self.rng.uniform(8, 40)))
            if self.rng.random() < 0.4:
                out += _event("drop valve 2", float(self.rng.uniform(8, 40)))
        return out

    def text(self) -> str:
        parts = [
            'schema = 1\ntitle = "a berth by names and sizes"\n',
            self.liquid(),
            "[berth]\ntransfer = 2026-06-15\n",
            f'[limits]\nsystem_rating = "{PLACEHOLDER}"\n',
            f'[rate]\nagreed = "{self.rate} m3/h"\nmeans = "throttle"\nat = "shore valve"\n'
            'through = "shore line"\n',
            self.points(),
            self.fixed(),
            self.valve("shore valve", "pump discharge", "shore line inlet", self.size, kind="globe"),
            self.pipe(
                "shore line", "shore line inlet", "jetty", round(self.rng.uniform(200, 2500)), self.size, "40"
            ),
            self.hose(),
            self.valve("manifold valve", "manifold", "deck line inlet", self.ship),
            self.pipe("deck line", "deck line inlet", "deck line end", 80, self.ship, "20"),
        ]
        for i in range(self.tanks):
            top = f"drop top {i + 1}"
            parts.append(self.valve(f"drop valve {i + 1}", "deck line end", top, self.ship))
            parts.append(self.pipe(f"drop line {i + 1}", top, f"drop foot {i + 1}", 15, self.ship, "20"))
        return "\n".join([*parts, self.scenarios()])


def _event(valve: str, stroke: float) -> str:
    return f'[[scenario.event]]\nat = "2 s"\nclose = "{valve}"\nstroke = "{stroke:.1f} s"\n'
