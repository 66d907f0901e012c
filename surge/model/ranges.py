"""What is known as a range only, a length or the wave speed of a hose: the line-up at places in it.

A place is a pair of shares, of the length and of the wave speeds, each 0 at the low end and 1 at the high
one.

Decisions
---------
* Wave speeds of hoses of which only the type is known move together.
* ``LENGTHS`` times ``SPEEDS`` places are looked at, interior included; what is done there, and why a case has
  no more than one length as a range, stands in :mod:`surge.rules.assess`.
"""

from __future__ import annotations

from dataclasses import replace

from surge.model.lineup import LineUp, Pipe

Place = tuple[float, float]
LENGTHS, SPEEDS = 17, 5  # samples over each range, both ends among them


def ranged(lineup: LineUp) -> tuple[bool, bool]:
    """Whether a length is a range, and whether a wave speed is."""
    pipes = lineup.pipes
    return any(p.length_range for p in pipes), any(p.wave_speed_range for p in pipes)


def at_place(lineup: LineUp, place: Place) -> LineUp:
    """The line-up at a place: every range a single figure."""
    if not any(ranged(lineup)):
        return lineup

    def fix(pipe: Pipe) -> Pipe:
        length, speed = pipe.length, pipe.wave_speed
        if pipe.length_range is not None:
            length = _between(pipe.length_range, place[0])
        if pipe.wave_speed_range is not None:
            speed = _between(pipe.wave_speed_range, place[1])
        return replace(pipe, length=length, length_range=None, wave_speed=speed, wave_speed_range=None)

    return lineup.with_(pipes=tuple(fix(p) for p in lineup.pipes))


def _between(ends: tuple[float, float], share: float) -> float:
    return ends[0] + share * (ends[1] - ends[0])


def places(lineup: LineUp, *, lengths: int = LENGTHS, speeds: int = SPEEDS) -> list[Place]:
    """Places over all ranges, interior included; one where nothing is a range.

    Parameters
    ----------
    lineup : LineUp
    lengths, speeds : int
        Samples over each range.
    """
    length, speed = ranged(lineup)
    return [(a, b) for a in _samples(length, lengths) for b in _samples(speed, speeds)]


def _samples(has_range: bool, count: int) -> list[float]:
    return [i / (count - 1) for i in range(count)] if has_range else [1.0]


def around(lineup: LineUp, place: Place) -> list[Place]:
    """Places a quarter and half a sample away from one, within the ranges."""
    found = []
    for axis, (has_range, count) in enumerate(zip(ranged(lineup), (LENGTHS, SPEEDS), strict=True)):
        if not has_range:
            continue
        for part in (-0.5, -0.25, 0.25, 0.5):
            share = place[axis] + part / (count - 1)
            if 0.0 <= share <= 1.0:
                found.append((share, place[1]) if axis == 0 else (place[0], share))
    return found


def figures(lineup: LineUp, place: Place) -> tuple[dict[str, float], dict[str, float]]:
    """Lengths [m] and wave speeds [m/s] taken at a place, of what is a range."""
    fixed = {p.name: p for p in at_place(lineup, place).pipes}
    lengths = {p.name: fixed[p.name].length for p in lineup.pipes if p.length_range is not None}
    speeds = {p.name: fixed[p.name].wave_speed for p in lineup.pipes if p.wave_speed_range is not None}
    return lengths, speeds
