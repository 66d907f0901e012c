"""What is known as a range only, a length or the wave speed of a hose: the line-up at figures within it.

Where in their ranges the figures are taken is a pair of shares, of the length and of the wave speeds, each 0
at the low end and 1 at the high one.

Decisions
---------
* Wave speeds of hoses of which only the type is known move together.
* ``LENGTH_COUNT`` times ``SPEED_COUNT`` pairs are looked at, interior included; what is done there, and why a
  case has no more than one length as a range, stands in :mod:`surge.rules.assess`.
"""

from __future__ import annotations

from dataclasses import replace

from surge.model.lineup import LineUp, Pipe

Shares = tuple[float, float]
LENGTH_COUNT, SPEED_COUNT = 17, 5  # figures looked at of each range, both ends among them


def ranged(lineup: LineUp) -> tuple[bool, bool]:
    """Return whether a length is a range, and whether a wave speed is."""
    pipes = lineup.pipes
    return any(p.length_range for p in pipes), any(p.wave_speed_range for p in pipes)


def at_shares(lineup: LineUp, shares: Shares) -> LineUp:
    """Return the line-up with every range a single figure.

    Parameters
    ----------
    lineup : LineUp
    shares : (float, float)
        Of the range of lengths, and of those of wave speeds [-].
    """
    if not any(ranged(lineup)):
        return lineup

    def fix(pipe: Pipe) -> Pipe:
        length, speed = pipe.length, pipe.wave_speed
        if pipe.length_range is not None:
            length = _between(pipe.length_range, shares[0])
        if pipe.wave_speed_range is not None:
            speed = _between(pipe.wave_speed_range, shares[1])
        return replace(pipe, length=length, length_range=None, wave_speed=speed, wave_speed_range=None)

    return lineup.with_(pipes=tuple(fix(p) for p in lineup.pipes))


def _between(ends: tuple[float, float], share: float) -> float:
    return ends[0] + share * (ends[1] - ends[0])


def all_shares(lineup: LineUp, *, lengths: int = LENGTH_COUNT, speeds: int = SPEED_COUNT) -> list[Shares]:
    """Return shares over all ranges, interior included; one pair where nothing is a range.

    Parameters
    ----------
    lineup : LineUp
    lengths, speeds : int
        How many of each range.

    Returns
    -------
    list of (float, float)
        [-]
    """
    length, speed = ranged(lineup)
    return [(a, b) for a in _even(length, lengths) for b in _even(speed, speeds)]


def _even(has_range: bool, count: int) -> list[float]:
    return [i / (count - 1) for i in range(count)] if has_range else [1.0]


def shares_near(lineup: LineUp, shares: Shares) -> list[Shares]:
    """Return shares a quarter and half of the usual distance away from a pair [-], within the ranges."""
    found = []
    for axis, (has_range, count) in enumerate(zip(ranged(lineup), (LENGTH_COUNT, SPEED_COUNT), strict=True)):
        if not has_range:
            continue
        for part in (-0.5, -0.25, 0.25, 0.5):
            share = shares[axis] + part / (count - 1)
            if 0.0 <= share <= 1.0:
                found.append((share, shares[1]) if axis == 0 else (shares[0], share))
    return found


def figures_at(lineup: LineUp, shares: Shares) -> tuple[dict[str, float], dict[str, float]]:
    """Return the lengths [m] and wave speeds [m/s] that are taken of what is a range, by pipe.

    Parameters
    ----------
    lineup : LineUp
    shares : (float, float)
        [-]
    """
    fixed = {p.name: p for p in at_shares(lineup, shares).pipes}
    lengths = {p.name: fixed[p.name].length for p in lineup.pipes if p.length_range is not None}
    speeds = {p.name: fixed[p.name].wave_speed for p in lineup.pipes if p.wave_speed_range is not None}
    return lengths, speeds
