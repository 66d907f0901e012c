"""A film of a line that fills: the pressure along the line, the front, and the gas before it."""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from surge.arrays import Array
from surge.plots.frame import FAINT, HIGH, INK, LOW, bar, metres, new_figure, our_settings, quoted
from surge.reports.fillings import what_is_filled
from surge.reports.words import CAUTIONS, HEADLINE, Display
from surge.rules.fillings import FilledCase
from surge.rules.limits import surge_limit
from surge.transient.filling_result import FillingResult
from surge.units import printable

SIZE = (9.6, 5.4)  # [inch]
BEFORE_SHOTS, AFTER_SHOTS = 70, 60  # frames until the front arrives, and after that
EACH, HOLD = 90, 1500  # [ms] of a frame, and of the last one
COLOURS = 64
BEHIND = 1.0  # the line behind the gas is shown up to so many of its lengths


def filling_film(one: FilledCase, title: str, display: Display, signature: str) -> bytes:
    """Film a filling with an elastic line behind the front, as a GIF.

    Parameters
    ----------
    one : FilledCase
        One that was followed.
    title : str
        Of the case.
    display : Display
    signature : str

    Returns
    -------
    bytes
        The whole file.
    """
    from PIL import Image

    run = one.usual
    assert run is not None
    with our_settings():
        frames = [
            Image.fromarray(picture) for picture in _Film(one, run, title, display, signature).pictures()
        ]
    palette = frames[-1].quantize(COLOURS, dither=Image.Dither.NONE)
    small = [f.quantize(palette=palette, dither=Image.Dither.NONE) for f in frames]
    out = io.BytesIO()
    small[0].save(
        out,
        format="GIF",
        save_all=True,
        append_images=small[1:],
        duration=[EACH] * (len(small) - 1) + [HOLD],
        loop=0,
        disposal=1,
        comment=signature.encode("ascii", "replace")[:250],
    )
    return out.getvalue()


class _Film:
    def __init__(
        self, one: FilledCase, run: FillingResult, title: str, display: Display, signature: str
    ) -> None:
        self.one, self.run, self.display = one, run, display
        line = run.line.line
        self.begins = np.concatenate([[0.0], np.cumsum(line.length)])
        self.zero = float(self.begins[run.line.column.gas_from])
        self.whole = float(self.begins[-1])
        gas = self.whole - self.zero
        self.left = max(self.zero - BEHIND * gas, 0.0)
        nodes = [
            np.linspace(self.begins[k], self.begins[k + 1], int(n))
            for k, n in enumerate(np.diff([*run.elastic.first_node, run.elastic.shots.shape[1]]))
        ]
        self.x = np.concatenate(nodes)
        self.shown = self._chosen()
        self.figure: Any = new_figure(SIZE)
        self.figure.set_dpi(100)
        self._words(title, signature)
        self.axes: Any = self.figure.add_axes((0.09, 0.20, 0.88, 0.55))
        self._still()

    def _chosen(self) -> list[int]:
        """Shots that are shown: some until the front arrives, then the next ones after one another."""
        times, first = self.run.elastic.shot_times, self.run.elastic.arrival
        moving = self.run.elastic.time[np.abs(self.run.elastic.flow) > 1e-9]
        begin = float(moving[0]) if moving.size else 0.0
        end = float(times[-1]) if first is None else first
        if first is None and self.run.peak_gas_elastic.time:
            end = min(end, 1.3 * self.run.peak_gas_elastic.time)
        before = np.flatnonzero((times >= begin) & (times <= end))
        after = np.flatnonzero(times > end) if first is not None else np.zeros(0, dtype=int)
        picks = [_some(before, BEFORE_SHOTS), after[:AFTER_SHOTS]]
        return [int(i) for i in np.concatenate(picks)]

    def _words(self, title: str, signature: str) -> None:
        text = self.figure.text
        text(0.09, 0.95, printable(title), fontsize=12, weight="bold", va="center")
        text(
            0.09,
            0.90,
            printable(f'Filling "{self.one.name}": {HEADLINE[self.one.verdict]}'),
            fontsize=10,
            va="center",
        )
        text(
            0.09, 0.855, printable(what_is_filled(self.one.filling, self.display)), fontsize=8.5, va="center"
        )
        text(
            0.09,
            0.10,
            "Black: the pressure now; thin: the highest of the pictures shown so far.",
            fontsize=8,
            va="center",
        )
        text(0.09, 0.065, CAUTIONS[0], fontsize=6.8, va="center")
        text(0.09, 0.03, printable(signature), fontsize=6.8, va="center")

    def _still(self) -> None:
        axes, display = self.axes, self.display
        pressure = self._pressures()
        top = float(np.nanmax(pressure[self.shown], initial=0.1))
        low = min(float(np.nanmin(pressure[self.shown], initial=0.0)), 0.0)
        rated = surge_limit(self.run.line.column.pipes[-1].pipe)
        limit = float(bar(display, rated.value)) if rated is not None else None
        if limit is not None and limit < 3.0 * top:
            top = max(top, limit)
            axes.plot(metres(display, np.array([self.zero, self.whole]) - self.zero), [limit] * 2, color=HIGH,
                      linestyle=(0, (4, 2)), linewidth=1.2)  # fmt: skip
            words = f"limit of {quoted(self.run.line.column.pipes[-1].pipe.name)} "
            axes.text(1.0, limit, words, transform=axes.get_yaxis_transform(), ha="right", va="bottom",
                      color=HIGH, fontsize=8.5)  # fmt: skip
        axes.set_xlim(*metres(display, np.array([self.left, self.whole]) - self.zero))
        axes.set_ylim(low - 0.05 * (top - low), top + 0.15 * (top - low))
        axes.set_xlabel(f"along the line from {quoted(self.one.filling.start)}, {display.units.length}")
        axes.set_ylabel(f"pressure, {display.units.pressure}(g)")
        axes.spines[["top", "right"]].set_visible(False)
        axes.axvline(0.0, color=FAINT, linewidth=0.8)
        axes.axhline(0.0, color=FAINT, linewidth=0.8)

    def _pressures(self) -> Array:
        return bar(self.display, self.run.line.rho_g * self.run.elastic.shots)

    def pictures(self) -> Any:
        """Yield every frame as an array of shape (height, width, 3)."""
        axes, x = self.axes, metres(self.display, self.x - self.zero)
        pressure = self._pressures()
        canvas: Any = self.figure.canvas
        canvas.draw()
        still = canvas.copy_from_bbox(self.figure.bbox)
        moving = {
            "curve": axes.plot([], [], color=INK, linewidth=1.8)[0],
            "highest": axes.plot([], [], color=HIGH, linewidth=1.0)[0],
            "front": axes.plot([], [], color=LOW, linewidth=2.4)[0],
            "gas": axes.plot([], [], color=LOW, linestyle=(0, (2, 2)), linewidth=1.6)[0],
            "clock": self.figure.text(0.97, 0.95, "", fontsize=14, weight="bold", ha="right", va="center"),
            "said": self.figure.text(0.97, 0.795, "", fontsize=9, ha="right", va="center", color=LOW),
        }
        most = np.full(self.x.size, -np.inf)
        low = axes.get_ylim()[0]
        for k in self.shown:
            most = np.fmax(most, pressure[k])
            canvas.restore_region(still)
            liquid, now = self._liquid(k, x, pressure[k])
            fill = axes.fill_between(liquid, low, now, color="#cfdde6", linewidth=0)
            axes.draw_artist(fill)
            fill.remove()
            moving["curve"].set_data(liquid, now)
            moving["highest"].set_data(x, np.where(np.isfinite(most), most, np.nan))
            self._set(moving, k, float(x[-1]))
            renderer = canvas.get_renderer()
            for artist in moving.values():
                artist.draw(renderer)
            yield np.asarray(canvas.buffer_rgba())[:, :, :3].copy()

    def _front(self, k: int) -> tuple[float, float] | None:
        """Where the front of a shot is, and the pressure of the gas there, as shown; None once it arrived."""
        elastic, time = self.run.elastic, self.run.elastic.shot_times[k]
        if elastic.arrival is not None and time >= elastic.arrival:
            return None
        at = float(np.interp(time, elastic.time, self.begins[elastic.pipe] + elastic.length))
        gas = float(np.interp(time, elastic.time, elastic.gas))
        shown = bar(self.display, gas - self.run.line.atmosphere)
        return float(metres(self.display, at - self.zero)), float(shown)

    def _liquid(self, k: int, x: Array, pressure: Array) -> tuple[Array, Array]:
        """Places and pressures of the liquid in a shot: at nodes, and at the front, which is between two."""
        front = self._front(k)
        if front is None:
            return x, pressure
        behind = np.isfinite(pressure)
        return np.append(x[behind], front[0]), np.append(pressure[behind], front[1])

    def _set(self, moving: dict[str, Any], k: int, end: float) -> None:
        """Put front, gas and words of a shot in place."""
        elastic, front = self.run.elastic, self._front(k)
        time = float(elastic.shot_times[k])
        if front is None:
            moving["front"].set_data([], [])
            moving["gas"].set_data([], [])
            moving["clock"].set_text(f"{time:.2f} s")
            moving["said"].set_text("the front has arrived: the film goes slower from here on")
            return
        at, gas = front
        moving["front"].set_data([at, at], self.axes.get_ylim())
        moving["gas"].set_data([at, end], [gas, gas])
        moving["clock"].set_text(f"{time:.1f} s")
        speed = float(np.interp(time, elastic.time, elastic.flow / self.run.line.line.area[elastic.pipe]))
        moving["said"].set_text(
            f"front {speed:.2f} m/s; dotted: gas {gas:.2f} {self.display.units.pressure}(g)"
        )


def _some(which: Any, most: int) -> Any:
    if which.size <= most:
        return which
    return which[np.linspace(0, which.size - 1, most).astype(int)]
