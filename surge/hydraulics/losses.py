"""Head lost along pipes: as a function for the steady flow, as tables for the march.

Decisions
---------
* With local friction the march takes the loss of a reach from a table of ``TABLE_SIZE`` steps for each pipe,
  up to ``TOP_VELOCITY`` or four times the steady velocity. The steady flow is a point of the table.
* At inner nodes it takes more than a figure from the table: the tangent of loss/|d| there (:func:`tangents`),
  which it keeps for some steps. A node at rest takes the line to the loss at the steady flow, or at
  ``SOME_FLOW`` of the table if that is more: a front that sets it in motion comes sooner than the next look
  into the table, and laminar friction would be next to none.
* Beyond the table the loss goes on along its last tangent in the march, and as the square of the flow at pipe
  ends and in lumped elements.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surge.arrays import Array
from surge.hydraulics.formulas import friction_factor, fully_rough_factor, head_loss
from surge.model.lineup import LineUp

SMALL_FLOW = 1e-6  # [m3/s] keeps a slope off zero at rest; not part of any solution
TABLE_SIZE = 1024  # steps of a loss table: its error is a millionth of the loss at its end
TOP_VELOCITY = 10.0  # [m/s] a loss table reaches at least this
SOME_FLOW = 0.1  # of the table: what sets a node at rest in motion is taken to be as fast, at least (1 m/s)


class PipeLoss:
    """Friction and minor losses of all pipes, as a function of their flows.

    Parameters
    ----------
    lineup : LineUp

    Attributes
    ----------
    area, diameter, length : ndarray, shape (pipes,)
        Of the bore [m2], [m]; [m].
    rough, minor : ndarray, shape (pipes,)
        Relative roughness and sum of loss factors [-].
    given : ndarray, shape (pipes,)
        Fixed Darcy factor [-], not a number where there is none.
    some_given : bool
        Whether any has one.
    viscosity, gravity : float
        Kinematic [m2/s]; [m/s2].
    """

    def __init__(self, lineup: LineUp) -> None:
        pipes = lineup.pipes
        self.area = np.array([p.area for p in pipes])
        self.diameter = np.array([p.diameter for p in pipes])
        self.length = np.array([p.length for p in pipes])
        self.rough = np.array([p.roughness for p in pipes]) / self.diameter
        self.minor = np.array([p.minor_loss for p in pipes])
        self.given = np.array([np.nan if p.friction_factor is None else p.friction_factor for p in pipes])
        self.some_given = any(p.friction_factor is not None for p in pipes)
        self.viscosity = lineup.liquid.viscosity
        self.gravity = lineup.gravity

    def factor(self, flow: Array) -> Array:
        """Return the Darcy factor at each flow [-]; a pipe at rest takes the fully rough one.

        Parameters
        ----------
        flow : ndarray, shape (..., pipes)
            [m3/s]

        Returns
        -------
        ndarray
            [-], of the shape of ``flow``.
        """
        rough = np.asarray(fully_rough_factor(self.rough))
        moving = np.abs(flow) > 0
        if self.viscosity > 0:
            reynolds = np.abs(flow) / self.area * self.diameter / self.viscosity
            f = np.where(moving, friction_factor(np.maximum(reynolds, 1e-12), self.rough), rough)
        else:
            f = rough
        return np.where(np.isnan(self.given), f, self.given) if self.some_given else f

    def __call__(self, flow: Array) -> Array:
        """Return the head lost at each flow [m], signed.

        Parameters
        ----------
        flow : ndarray, shape (..., pipes)
            [m3/s]

        Returns
        -------
        ndarray
            [m], of the shape of ``flow``; see :func:`surge.hydraulics.formulas.head_loss`.
        """
        loss = head_loss(
            flow,
            length=self.length,
            diameter=self.diameter,
            roughness=self.rough * self.diameter,
            viscosity=self.viscosity,
            minor_loss=self.minor,
            gravity=self.gravity,
        )
        if not self.some_given:
            return np.asarray(loss)
        square = flow * np.abs(flow) / (2 * self.gravity * self.area**2)
        fixed = (self.given * self.length / self.diameter + self.minor) * square
        return np.asarray(np.where(np.isnan(self.given), loss, fixed))

    def with_slope(self, flow: Array) -> tuple[Array, Array]:
        """Return the head lost at each flow [m] and its slope [s/m2], by a difference, never zero.

        Parameters
        ----------
        flow : ndarray, shape (pipes,)
            [m3/s]

        Returns
        -------
        loss, slope : ndarray, shape (pipes,)
            [m], [s/m2]
        """
        step = 1e-6 * np.abs(flow) + SMALL_FLOW
        at, above, below = self(np.stack([flow, flow + step, flow - step]))
        return at, (above - below) / (2 * step) + 1e-9


@dataclass(frozen=True, kw_only=True, eq=False)
class LossTables:
    """Head lost over each whole pipe at equal steps of flow; row k is pipe k.

    The steady flow falls on a point of its row (from half a step up, some 5 mm/s), so a steady line stays
    steady to rounding.

    Attributes
    ----------
    loss : ndarray, shape (pipes, TABLE_SIZE + 1)
        [m]
    step : ndarray, shape (pipes,)
        [m3/s]
    """

    loss: Array
    step: Array


def loss_tables(lineup: LineUp, flow: Array) -> LossTables:
    """Tabulate the losses of all pipes.

    Parameters
    ----------
    lineup : LineUp
    flow : ndarray, shape (pipes,)
        The steady flow [m3/s].

    Returns
    -------
    LossTables
        With ``frozen_friction`` of the line-up the factor of every pipe stays that of its steady flow.
    """
    loss = PipeLoss(lineup)
    size = np.abs(flow)
    rough = np.maximum(TOP_VELOCITY * loss.area, 4 * size) / TABLE_SIZE
    whole = np.rint(size / rough)
    # A pipe as good as at rest keeps the common step: a table for its flow would end at once.
    step = np.where(whole > 0, size / np.maximum(whole, 1), rough)
    q = step * np.arange(TABLE_SIZE + 1)[:, None]
    if lineup.frozen_friction:
        factor = loss.factor(flow) * loss.length / loss.diameter + loss.minor
        values = factor * q * q / (2 * loss.gravity * loss.area**2)
    else:
        values = loss(q)
    return LossTables(loss=np.ascontiguousarray(values.T), step=step)


def of_wave_difference(loss: Array, step: float, b: float, steady: float) -> tuple[Array, float]:
    """Return the loss of a reach against d = P - M as it arrives at a node, at equal steps of d.

    Parameters
    ----------
    loss : ndarray, shape (steps + 1,)
        Head lost over the reach at equal steps of flow [m].
    step : float
        Of the flow [m3/s].
    b : float
        Impedance B of the pipe [s/m2].
    steady : float
        Size of the steady flow, kept on a point of the table [m3/s].

    Returns
    -------
    loss, step : ndarray, float
        [m] at equal steps of d, and that step [m].

    Notes
    -----
    The waves carry the flow before half of the loss is taken off each, so d = 2BQ + loss(Q): friction at the
    middle of the reach.
    """
    q = step * np.arange(loss.size)
    d = 2 * b * q + loss
    at = round(steady / step)
    new = d[at] / at if at > 0 else d[-1] / (loss.size - 1)
    grid = new * np.arange(loss.size)
    if at > 0:
        grid[at] = d[at]
    return np.interp(grid, d, loss), float(new)


def tangents(loss: Array, step: float, steady: float) -> Array:
    """Return the loss of a reach as d*(base + rise*|d|) about every point of its table.

    Parameters
    ----------
    loss : ndarray, shape (steps + 1,)
        At equal steps of d [m], as :func:`of_wave_difference` makes it.
    step : float
        Of d [m].
    steady : float
        Size of d at the steady flow, if that is not at rest on a point of the table [m].

    Returns
    -------
    ndarray, shape (steps + 1, 2)
        base [-], rise [1/m]. Loss and slope are those of the table at each point, and neither figure is
        negative: the loss has the sign of d for every d, and is nought without flow. Where the tangent of
        loss/|d| would not allow that, a line through the point that does has its place.
    """
    d = step * np.arange(loss.size)
    share = np.empty_like(loss)
    share[1:] = loss[1:] / d[1:]
    share[0] = share[1]
    rise = np.maximum(np.gradient(share, step), 0.0)
    rise[1:] = np.minimum(rise[1:], share[1:] / d[1:])
    some = max(round(steady / step), round(SOME_FLOW * (loss.size - 1)))
    rise[0] = max(share[some] - share[0], 0.0) / d[some]
    base = np.maximum(share - rise * d, 0.0)
    if steady < step / 2:
        # As good as at rest, but a steady line stays steady.
        base[0] = max(share[0] - rise[0] * steady, 0.0)
    return np.column_stack([base, rise])
