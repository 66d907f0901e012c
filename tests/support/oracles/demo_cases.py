"""An independent calculation of the demo cases: written from the physics, on scipy and fluids only.

Nothing of the package is imported. The TOML is read with a few lines of its own; the steady flow is one
system of equations for ``scipy.optimize.fsolve`` with the friction factor of the library ``fluids``; wave
speeds, rises and shut-off pressures are the formulas of any textbook on water hammer (Korteweg,
Joukowsky). SI inside: heads [m], flows [m3/s], pressures [Pa gauge].
"""

from __future__ import annotations

import functools
import math
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import fluids
import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq, fsolve

G = 9.80665  # standard gravity, CGPM 1901
ATMOSPHERE = 101325.0  # standard atmosphere, CGPM 1954
STEEL, STAINLESS = 207e9, 200e9  # Young's modulus [Pa], handbook values from memory
POISSON = 0.30
_FACTOR = {
    "m": 1.0,
    "m3": 1.0,
    "mm": 1e-3,
    "m3/h": 1 / 3600,
    "t/h": 1e3 / 3600,
    "s": 1.0,
    "m/s": 1.0,
    "kg/m3": 1.0,
    "bar(g)": 1e5,
    "bar(a)": 1e5,
    "bar": 1e5,
    "mm2/s": 1e-6,
    "mPa s": 1e-3,
    "%": 1e-2,
}


def si(text: str) -> float:
    """Value in SI of a quantity as the demo cases write it."""
    number, unit = text.split(" ", 1)
    return float(number) * _FACTOR[unit]


class Oracle:
    """One case file and what follows from it by hand."""

    def __init__(self, path: Path) -> None:
        self.data: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
        liquid = self.data["liquid"]
        self.rho, self.c = si(liquid["density"]), si(liquid["sound_speed"])
        nu = si(liquid["viscosity"])
        self.nu = nu / self.rho if liquid["viscosity"].endswith("Pa s") else nu
        self.vapour = si(liquid["vapour_pressure"]) - ATMOSPHERE
        self.lines = [e for kind in ("pipe", "hose", "arm") for e in self.data.get(kind, [])]
        self.valves = self.data.get("valve", [])
        self.passages = self.data.get("passage", [])
        self.pumps = self.data.get("pump", [])
        self.non_return = self.data.get("non_return_valve", [])
        self.tanks = self.data.get("tank", [])

    def scenario(self, name: str) -> dict[str, Any]:
        """The table of a scenario."""
        return next(s for s in self.data["scenario"] if s["name"] == name)

    def elevation(self, point: str) -> float:
        """Elevation of a point [m]."""
        table = self.data["points"][point]
        if "elevation" in table:
            return si(table["elevation"])
        return self.elevation(table["same_elevation_as"])

    def line(self, name: str) -> dict[str, Any]:
        """The table of a pipe, hose or arm."""
        return next(e for e in self.lines if e["name"] == name)

    # Waves

    def wave_speed(self, name: str) -> float:
        """Korteweg's speed in a wall of given thickness, or that of a hose from its swell [m/s]."""
        line = self.line(name)
        if "wave_speed" in line:
            return si(line["wave_speed"])
        if "swell" in line:
            storage = 1 / (self.rho * self.c**2) + si(line["swell"]) / si(line["swell_at"])
            return 1 / math.sqrt(self.rho * storage)
        modulus = {"steel": STEEL, "stainless steel 316L": STAINLESS}[line["material"]]
        c1 = {"anchored throughout": 1 - POISSON**2, "expansion joints": 1.0}[line["restraint"]]
        slack = self.rho * self.c**2 * si(line["inside_diameter"]) / (modulus * si(line["wall"]))
        return self.c / math.sqrt(1 + c1 * slack)

    def area(self, name: str) -> float:
        """Bore area [m2]."""
        return math.pi / 4 * si(self.line(name)["inside_diameter"]) ** 2

    def travel_time(self, name: str) -> float:
        """Length over wave speed [s]."""
        return si(self.line(name)["length"]) / self.wave_speed(name)

    def instant_stop(self, name: str, flow: float) -> float:
        """Joukowsky's rise rho a v [Pa]."""
        return self.rho * self.wave_speed(name) * abs(flow) / self.area(name)

    def admittance(self, name: str) -> float:
        """Area over wave speed: what a junction divides a wave by."""
        return self.area(name) / self.wave_speed(name)

    # Heads

    def pressure(self, head: float, point: str) -> float:
        """Gauge pressure at a point where the head is ``head``."""
        return self.rho * G * (head - self.elevation(point))

    def tank_head(self, tank: dict[str, Any], levels: dict[str, str]) -> float:
        """Level, or the pipe's end if that is higher in a tank that receives, and the blanket on it."""
        level = si(levels.get(tank["name"], tank["level"]))
        if tank["side"] != self.gives:
            level = max(level, self.elevation(tank["at"]))
        return level + si(tank.get("blanket", "0 bar(g)")) / (self.rho * G)

    @property
    def gives(self) -> str:
        """The side that the cargo comes from."""
        return "ship" if self.data.get("berth", {}).get("operation") == "discharge" else "shore"

    def shut_off_head(self, *, before_pump: bool = False) -> float:
        """Surface of the tank that gives, and behind the pump its head at no flow, full speed, too [m]."""
        source = next(t for t in self.tanks if t["side"] == self.gives)
        return self.tank_head(source, {}) + (0.0 if before_pump else si(self.pumps[0]["curve"][0][1]))

    def _loss(self, line: dict[str, Any], q: float) -> float:
        d = si(line["inside_diameter"])
        v = q / (math.pi / 4 * d**2)
        re = abs(v) * d / self.nu
        if re < 1.0:
            return 0.0
        f = fluids.friction_factor(Re=re, eD=si(line["roughness"]) / d)
        return (f * si(line["length"]) / d + line.get("minor_loss", 0.0)) * v * abs(v) / (2 * G)

    def _kv_loss(self, kv: float, q: float) -> float:
        # dp [bar] = rho/1000 (Q/Kv)^2 with Q and Kv in m3/h: the definition of Kv.
        return 1e5 * (self.rho / 1000) * (q * 3600 / kv) * abs(q * 3600 / kv) / (self.rho * G)

    @functools.cached_property
    def _pump_curve(self) -> Callable[[float], Any]:
        flow, head = np.array([(si(a), si(b)) for a, b in self.pumps[0]["curve"]]).T
        return np.poly1d(np.polyfit(flow, head, 2)) if flow.size == 3 else PchipInterpolator(flow, head)

    def pump_head(self, q: float) -> float:
        """Head of the pump at full speed: parabola through three points, else monotone cubic [m]."""
        return float(self._pump_curve(q))

    def steady(self, scenario: str) -> tuple[dict[str, float], dict[str, float]]:
        """Heads of all points [m] and flows of all elements [m3/s] while loading at the rate.

        Unknown are all heads and flows; the element that sets the rate has the rate as its law.
        """
        story = self.scenario(scenario)
        rate = si(story.get("rate", self.data["rate"]["agreed"]))
        if self.data["rate"]["agreed"].endswith("t/h"):
            rate /= self.rho
        levels = story.get("levels", {})
        shut = {name for name, x in story.get("openings", {}).items() if x == 0.0}
        points = list(self.data["points"])
        elements = [*self.lines, *self.valves, *self.passages, *self.pumps, *self.non_return]
        held = {t["at"]: self.tank_head(t, levels) for t in self.tanks}
        means = self.data["rate"]["at"]
        supplies = [s["at"] for s in self.data.get("supply", [])]
        n = len(points)

        def law(element: dict[str, Any], q: float, drop: float) -> float:
            name = element["name"]
            if name == means:
                return (q - rate) * 100.0
            if name in shut:
                return q * 100.0
            if element in self.lines:
                return drop - self._loss(element, q) - (q if element["name"] in dead else 0.0)
            if element in self.pumps:
                return drop + self.pump_head(q)
            return drop - self._kv_loss(float(element["kv"].split()[0]), q)

        dead = {
            e["name"]
            for e in self.lines
            if any(self.data["points"][e[key]].get("closed") for key in ("from", "to"))
        }

        def misfit(x: np.ndarray) -> np.ndarray:
            head = dict(zip(points, x[:n], strict=True))
            left = []
            for k, element in enumerate(elements):
                left.append(law(element, x[n + k], head[element["from"]] - head[element["to"]]))
            for point in points:
                if point in held:
                    left.append(head[point] - held[point])
                elif point in supplies:
                    out = sum(
                        x[n + k] * ((e["from"] == point) - (e["to"] == point)) for k, e in enumerate(elements)
                    )
                    left.append((out - rate) * 100.0)
                else:
                    total = sum(
                        x[n + k] * ((e["to"] == point) - (e["from"] == point)) for k, e in enumerate(elements)
                    )
                    left.append(total * 100.0)
            return np.array(left)

        start = np.concatenate((np.full(n, 10.0), np.full(len(elements), rate / 2)))
        x, info, status, words = fsolve(misfit, start, full_output=True, xtol=1e-13, maxfev=200000)
        worst = float(np.max(np.abs(info["fvec"])))
        assert worst < 1e-7, (status, words, worst)
        return dict(zip(points, x[:n], strict=True)), dict(
            zip([e["name"] for e in elements], x[n:], strict=True)
        )

    # A second march, for line-ups without branches

    def chain(self) -> list[dict[str, Any]]:
        """Elements from the shore tank (or supply) to the ship's tank, one behind the other."""
        elements = [*self.lines, *self.valves, *self.passages, *self.pumps]
        sources = [t["at"] for t in self.tanks if t["side"] == "shore"]
        point = (sources + [s["at"] for s in self.data.get("supply", [])])[0]
        found: list[dict[str, Any]] = []
        while True:
            following = [e for e in elements if e["from"] == point]
            if not following:
                return found
            (element,) = following
            found.append(element)
            point = element["to"]

    def march(
        self,
        scenario: str,
        *,
        shut: dict[str, tuple[float, float]],
        stop: tuple[float, float] | None = None,
        dt: float,
        duration: float,
    ) -> Chain:
        """March a chain; ``shut`` is valve -> (begin, stroke) of a linear closure, ``stop`` the pump's."""
        return Chain(self, scenario, shut=shut, stop=stop, dt=dt, duration=duration)


# Loss factors K of a butterfly disc and a plug cock against degrees off fully open, as handbooks print them
# (the table ascribed to Perry from memory); 5 degrees counts as open, straight down to shut at 90.
_DISC = {"butterfly": (0.24, 0.52, 1.54, 10.8, 118.0), "ball": (0.05, 0.29, 1.56, 17.3, 206.0)}
_DEGREES = (5.0, 10.0, 20.0, 40.0, 60.0)


def kv_ratio(kind: str, opening: float) -> float:
    """Share of the fully open Kv at an opening."""
    open_at = [0.0, *(1 - a / 90 for a in reversed(_DEGREES)), 1.0]
    ratio = [0.0, *(math.sqrt(_DISC[kind][0] / k) for k in reversed(_DISC[kind])), 1.0]
    return float(np.interp(opening, open_at, ratio))


class Chain:
    """Method of characteristics in heads and flows, pipe behind pipe, in plain numpy.

    Every pipe has round(travel time / dt) reaches; what that leaves is put into the time, so a wave comes
    late or early by half a step at most. Friction of a reach is taken at its upwind node (first order).
    ``highest`` and ``lowest`` [Pa gauge] by point, with the time of the former in ``when``. Of a relief valve
    the highest lift is in ``most`` [-], what it has passed in ``spilled`` [m3]; of a drum the least gas in
    ``least`` [m3].
    """

    def __init__(
        self,
        oracle: Oracle,
        scenario: str,
        *,
        shut: dict[str, tuple[float, float]],
        stop: tuple[float, float] | None,
        dt: float,
        duration: float,
    ) -> None:
        self.o, self.shut, self.stop = oracle, shut, stop
        self.head, flows = oracle.steady(scenario)
        self.q0 = next(iter(flows.values()))
        parts = oracle.chain()
        self.pipes = [e for e in parts if e in oracle.lines]
        self.links: list[list[dict[str, Any]]] = [[]]
        for element in parts:
            if element in oracle.lines:
                self.links.append([])
            else:
                self.links[-1].append(element)
        self.ends = self.head[parts[0]["from"]], self.head[parts[-1]["to"]]
        self.hung = {t["at"]: t for kind in ("relief_valve", "surge_drum") for t in oracle.data.get(kind, [])}
        self.lift = self.most = self.out = self.spilled = self.gas = 0.0
        self.k = {e["name"]: self._k(e) for group in self.links for e in group if e not in oracle.pumps}
        self.speed0 = 1.0
        if oracle.data["rate"]["means"] == "pump speed":
            lift = self.head[oracle.pumps[0]["to"]] - self.head[oracle.pumps[0]["from"]]
            self.speed0 = self._speed_for(lift)
        self._march(dt, duration)

    def _k(self, element: dict[str, Any]) -> float:
        """Loss coefficient as it stands while loading, dH = k Q|Q|, the throttle's own included."""
        return (self.head[element["from"]] - self.head[element["to"]]) / self.q0**2

    def _speed_for(self, lift: float) -> float:
        low, high = 0.1, 1.0
        for _ in range(100):
            middle = (low + high) / 2
            made = middle**2 * self.o.pump_head(self.q0 / middle)
            low, high = (middle, high) if made < lift else (low, middle)
        return high

    def _orifices(self, group: list[dict[str, Any]], time: float) -> float:
        """Sum of the loss coefficients of the valves at a joint, as far open as they are at ``time``."""
        total = 0.0
        for element in group:
            if element in self.o.pumps:
                continue
            k = self.k[element["name"]]
            if element["name"] in self.shut:
                begin, stroke = self.shut[element["name"]]
                opening = min(max(1 - (time - begin) / stroke, 0.0), 1.0)
                k /= max(kv_ratio(element["characteristic"], opening), 1e-9) ** 2
            total += k
        return total

    def _pump(self, q: float, time: float) -> float:
        speed = self.speed0
        if self.stop:
            speed *= min(max(1 - (time - self.stop[0]) / self.stop[1], 1e-6), 1.0)
        return speed**2 * self.o.pump_head(q / speed) if q / speed < self.q_end else self._runout(q, speed)

    def _runout(self, q: float, speed: float) -> float:
        # Beyond the drawn curve: down as the square of the flow from its last point, value and slope kept.
        end = self.q_end
        slope = (self.o.pump_head(end) - self.o.pump_head(end * (1 - 1e-6))) / (end * 1e-6)
        tail = -slope / (2 * end)
        return speed**2 * (self.o.pump_head(end) + tail * end**2) - tail * q * abs(q)

    def _flow(self, group: list[dict[str, Any]], drive: float, b: float, time: float) -> float:
        """Flow q with b*q + losses(q) - pump(q) = drive."""
        k = self._orifices(group, time)
        if not any(e in self.o.pumps for e in group):
            if k == 0.0:
                return drive / b
            size = 2 * abs(drive) / (b + math.sqrt(b * b + 4 * k * abs(drive)))
            return math.copysign(size, drive)

        def miss(q: float) -> float:
            return b * q + k * q * abs(q) - self._pump(q, time) - drive

        # The pumps of these cases have non-return valves: nothing flows back.
        return 0.0 if miss(0.0) >= 0.0 else float(brentq(miss, 0.0, 2.0, xtol=1e-12))

    def _branch(self, point: str, q_into: Callable[[float], float], dt: float) -> float:
        """Head at a point where a relief valve or a drum hangs; ``q_into`` tells what comes at a head.

        A relief valve: its lift goes to where the pressure asks for it, as far as a step lets it. A drum: gas
        at p V**n, the volume by the trapezoidal rule, and the loss of its neck.
        """
        o, thing = self.o, self.hung[point]
        if "set_pressure" in thing:
            first, full, back = (
                si(thing[k]) for k in ("set_pressure", "full_lift_pressure", "back_pressure")
            )
            rate = dt / si(thing["opening_time"])

            def lift(head: float) -> float:
                target = (o.pressure(head, point) - first) / (full - first)
                return min(max(target, self.lift - rate, 0.0), self.lift + rate, 1.0)

            def out(head: float) -> float:
                over = max(o.pressure(head, point) - back, 0.0)
                return lift(head) * float(thing["kv"].split()[0]) / 3600 * math.sqrt(over / 1e5 * 1e3 / o.rho)

            head = float(brentq(lambda h: q_into(h) - out(h), -20.0, 1e4, xtol=1e-10))
            self.spilled += 0.5 * dt * (out(head) + self.out)
            self.lift, self.out = lift(head), out(head)
            self.most = max(self.most, self.lift)
            return head
        n = float(thing["gas_exponent"])
        if not self.gas:
            self.gas = si(thing["gas_volume"])
            self.law = (o.pressure(self.head[point], point) + ATMOSPHERE) * self.gas**n
            self.least = self.gas
        bore = math.pi / 4 * si(thing["neck_diameter"]) ** 2
        neck = thing["neck_loss_factor"] * o.rho / (2 * bore**2)

        def miss(q: float) -> float:
            gas = self.gas - 0.5 * dt * (q + self.out)
            pressure = self.law / gas**n - ATMOSPHERE + neck * q * abs(q)
            return q_into(o.elevation(point) + pressure / (o.rho * G)) - q

        q = float(brentq(miss, -1.0, 1.0, xtol=1e-13))
        self.gas -= 0.5 * dt * (q + self.out)
        self.out, self.least = q, min(self.least, self.gas)
        pressure = self.law / self.gas**n - ATMOSPHERE + neck * q * abs(q)
        return o.elevation(point) + pressure / (o.rho * G)

    def _march(self, dt: float, duration: float) -> None:
        o = self.o
        self.q_end = si(o.pumps[0]["curve"][-1][0]) if o.pumps else 0.0
        count = [max(1, round(o.travel_time(p["name"]) / dt)) for p in self.pipes]
        b = [o.wave_speed(p["name"]) / (G * o.area(p["name"])) for p in self.pipes]
        sizes = np.linspace(0.0, 4 * self.q0, 401)
        table = [np.array([o._loss(p, q) / n for q in sizes]) for p, n in zip(self.pipes, count, strict=True)]
        h = [
            np.linspace(self.head[p["from"]], self.head[p["to"]], n + 1)
            for p, n in zip(self.pipes, count, strict=True)
        ]
        q = [np.full(n + 1, self.q0) for n in count]
        points = [p[key] for p in self.pipes for key in ("from", "to")]
        self.highest = dict.fromkeys(points, -math.inf)
        self.lowest = dict.fromkeys(points, math.inf)
        self.when: dict[str, float] = {}
        for step in range(1, round(duration / dt) + 1):
            time = step * dt
            forward, backward = [], []
            for i in range(len(self.pipes)):
                lost = np.sign(q[i]) * np.interp(np.abs(q[i]), sizes, table[i])
                forward.append(h[i] + b[i] * q[i] - lost)
                backward.append(h[i] - b[i] * q[i] + lost)
            for i in range(len(self.pipes)):
                cp, cm = forward[i][:-1], backward[i][1:]
                h[i][1:-1] = 0.5 * (cp[:-1] + cm[1:])
                q[i][1:-1] = (cp[:-1] - cm[1:]) / (2 * b[i])
            for j, group in enumerate(self.links):
                left, z1 = (forward[j - 1][-2], b[j - 1]) if j > 0 else (self.ends[0], 0.0)
                last = j == len(self.pipes)
                right, z2 = (self.ends[1], 0.0) if last else (backward[j][1], b[j])
                if j > 0 and self.pipes[j - 1]["to"] in self.hung:

                    def passed(head: float, group=group, right=right, z2=z2, time=time) -> float:
                        return self._flow(group, head - right, z2, time)

                    point = self.pipes[j - 1]["to"]
                    head = self._branch(point, lambda h: (left - h) / z1 - passed(h), dt)  # noqa: B023
                    q[j - 1][-1], h[j - 1][-1] = (left - head) / z1, head
                    q[j][0] = passed(head)
                    h[j][0] = right + z2 * q[j][0]
                    continue
                flow = self._flow(group, left - right, z1 + z2, time)
                if j > 0:
                    q[j - 1][-1], h[j - 1][-1] = flow, left - z1 * flow
                if not last:
                    q[j][0], h[j][0] = flow, right + z2 * flow
            for i, pipe in enumerate(self.pipes):
                for point, head in ((pipe["from"], h[i][0]), (pipe["to"], h[i][-1])):
                    pressure = o.pressure(float(head), point)
                    if pressure > self.highest[point]:
                        self.highest[point], self.when[point] = pressure, time
                    self.lowest[point] = min(self.lowest[point], pressure)
