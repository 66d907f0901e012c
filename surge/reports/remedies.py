"""Remedies that were tried, in words: what to change, from what to what, and what it costs in time."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from surge.case.stages import AT
from surge.model.lineup import LineUp
from surge.phrases import capital
from surge.reports.words import Display
from surge.search.changes import (
    AT_LEAST,
    AT_MOST,
    LATER,
    ORDER,
    RATE,
    RUN_DOWN,
    SPEED,
    STROKE,
    ULLAGE,
    Change,
)
from surge.search.remedies import Remedy
from surge.search.trials import Trial

SLIGHT = 0.05  # [s] ends that differ by less are one
BOUND = {AT_LEAST: " or more", AT_MOST: " or less"}
PARCEL = 1000.0  # [m3] told of where the case does not say how much is loaded


def remedy_words(remedy: Remedy, lineup: LineUp, display: Display) -> str:
    """A remedy in a sentence or two: its changes, and what they cost."""
    changes = "; and ".join(_change(c, lineup, display) for c in remedy.changes)
    return f"{capital(changes)}. {_cost(remedy, lineup)}"


def _change(change: Change, lineup: LineUp, display: Display) -> str:
    whole = len(change.scenarios) == len(lineup.scenarios)
    where = "" if whole or not change.scenarios else f"{_where(change, lineup)}, "
    words = {
        RATE: _rate,
        STROKE: _stroke,
        RUN_DOWN: _run_down,
        LATER: _later,
        ORDER: _order,
        SPEED: _speed,
        ULLAGE: _ullage,
    }[change.kind](change, lineup, display)
    return where + words


def _where(change: Change, lineup: LineUp) -> str:
    """The scenarios of a change; those that repeat a shutdown go without saying.

    A rate is that of a stage: a shutdown that is repeated there does not take it at its other stages.
    """
    own = [s for s in lineup.scenarios if s.name in change.scenarios]
    if change.kind != RATE:
        return f"in {quoted(dict.fromkeys(s.repeats or s.name for s in own))}"
    stage = own[0].stage
    if stage in AT and own == [s for s in lineup.scenarios if s.stage == stage]:
        return AT[stage]
    return f"in {quoted([s.name for s in own if not s.repeats] or [s.name for s in own])}"


def _rate(change: Change, lineup: LineUp, display: Display) -> str:
    rate = f"{display.flow_down(change.value)}{BOUND.get(change.bound, '')}"
    return f"{'discharge' if lineup.discharges else 'load'} at {rate}, not {display.flow(change.was)}"


def _stroke(change: Change, _: LineUp, __: Display) -> str:
    verb = "open" if change.opens else "close"
    words = f"{verb} {quoted(change.names)} in {change.value:.1f} s{BOUND.get(change.bound, '')}"
    words += f", not {change.was:.1f} s"
    if change.to is None:
        return words
    most = f" (up to {change.to:.1f} s: more than that is too slow for a rule on time)"
    least = f" (and not faster than {change.to:.1f} s, for the surge)"
    return words + (most if change.bound == AT_LEAST else least)


def _run_down(change: Change, _: LineUp, __: Display) -> str:
    pump = quoted(change.names)
    return f"let {pump} run down in {change.value:.1f} s{BOUND.get(change.bound, '')}, not {change.was:.1f} s"


def _later(change: Change, _: LineUp, __: Display) -> str:
    return f"let {quoted(change.names)} begin {change.value:g} s later"


def _order(change: Change, lineup: LineUp, _: Display) -> str:
    """What begins when, counted from the order to stop, or from the first movement."""
    scenario = next(s for s in lineup.scenarios if s.name in change.scenarios)
    first = min(start for _, start in change.starts) if scenario.ordered is None else scenario.ordered
    begins = ", ".join(f'"{name}" at {start - first:.1f} s' for name, start in change.starts)
    return f"move in another order: {begins}"


def _speed(change: Change, _: LineUp, __: Display) -> str:
    return (
        f"run {quoted(change.names)} at {100 * change.value:.0f} % of its full speed, not "
        f"{100 * change.was:.0f} %"
    )


def _ullage(change: Change, _: LineUp, __: Display) -> str:
    return (
        f"order the stop earlier, with an ullage of {change.value:.1f} m3 or more in {quoted(change.names)}, "
        f"not {change.was:.1f} m3"
    )


def _cost(remedy: Remedy, lineup: LineUp) -> str:
    """What a remedy costs: in loading, and at the end."""
    words = _loading(remedy, lineup)
    if remedy.ends_later > SLIGHT:
        words += f"; the last movement ends {remedy.ends_later:.1f} s later"
    elif remedy.ends_later < -SLIGHT:
        words += f"; the last movement ends {-remedy.ends_later:.1f} s earlier"
    return f"{words}."


def _loading(remedy: Remedy, lineup: LineUp) -> str:
    if remedy.slower <= 0.0:
        as_it_flows = lineup.rate is None and any(c.kind == SPEED for c in remedy.changes)
        operation = "the discharge" if lineup.discharges else "loading"
        return f"Less flows then: {operation} takes longer" if as_it_flows else "It costs no time"
    rated = [c for c in remedy.changes if c.kind == RATE]
    named = {n for c in rated for n in c.scenarios}
    stages = {s.stage for s in lineup.scenarios if s.name in named}
    parcel = lineup.berth.parcel
    if parcel is not None and stages & {"bulk", ""}:
        much = f"{parcel:.0f} m3"
        if lineup.berth.parcel_by_mass:
            much = f"{parcel * lineup.liquid.density / 1000.0:.0f} t"
        return f"The parcel of {much} takes {_duration(remedy.slower * parcel)} longer"
    return f"Every {PARCEL:.0f} m3 at that rate takes {_duration(remedy.slower * PARCEL)} longer"


def _duration(seconds: float) -> str:
    minutes = math.ceil(seconds / 60.0 - 1e-9)
    return f"{minutes} min" if minutes < 120 else f"{math.ceil(minutes / 6) / 10:.1f} h"


def in_vain_words(trials: Sequence[Trial]) -> list[str]:
    """What was tried and does not help, in one sentence; none where everything did."""
    told: dict[str, dict[str, None]] = {}
    for one in trials:
        told.setdefault(one.scenario, {})[_tried(one)] = None
    return [
        f'Tried in "{scenario}", and no help by itself: {"; ".join(words)}.'
        for scenario, words in told.items()
    ]


def _tried(trial: Trial) -> str:
    names = quoted(trial.names)
    if trial.kind == STROKE:
        return f"another stroke of {names}" if names else "other strokes"
    return {
        RATE: "a lower rate" if not names else f"a lower rate with another stroke of {names}",
        RUN_DOWN: f"a longer run-down of {names}" if names else "longer run-downs",
        LATER: f"{names} later" if names else "other starts",
        ORDER: "another order",
        SPEED: f"a lower speed of {names}",
        ULLAGE: "more ullage",
    }[trial.kind]


def quoted(names: Iterable[str]) -> str:
    """Names in quotes, in words."""
    *first, last = [f'"{n}"' for n in names] or [""]
    return f"{', '.join(first)} and {last}" if first else last
