"""From the scenarios of a case file to valve and pump movements."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from surge.case import schema_scenarios as spec
from surge.case.notes import Notes
from surge.errors import Origin, meant
from surge.model.lineup import Assumed, PumpMove, Scenario, Table, Trip, ValveMove
from surge.toml.text import shown
from surge.units import Reading

Move = ValveMove | PumpMove
_VALVE_VERBS = ("close", "open", "move")
_PUMP_VERBS = ("stop", "start")
_LAW_KEYS = {  # law -> the keys that it needs
    "linear": ("stroke",),
    "two-stage": ("stroke", "break_opening", "break_time"),
    "step": (),
    "table": ("table",),
}
_PUMP_KEY = {"stop": "run_down", "start": "run_up"}


class ScenarioBuilder:
    """Builds the scenarios of one line-up, and notes their faults in ``notes``."""

    def __init__(self, notes: Notes) -> None:
        self.notes = notes

    def scenario(self, scenario: spec.TimeLine, origin: Origin) -> Scenario:
        """Build one scenario, or the time line of a filling."""
        moves: list[Move | Trip] = []
        shutdown = scenario.shutdown if isinstance(scenario, spec.ScenarioTable) else None
        trapped_pressure = scenario.trapped_pressure if isinstance(scenario, spec.ScenarioTable) else {}
        for i, event in enumerate(scenario.event):
            moves += self._event(event, (*origin, "event", i))
        if shutdown:
            moves += self._shutdown(shutdown, (*origin, "shutdown"))
        trapped = (
            (name, self.notes.pressure(reading, (*origin, "trapped_pressure", name)) or 0.0)
            for name, reading in trapped_pressure.items()
        )
        return Scenario(
            name=scenario.name,
            note=scenario.note,
            stage=scenario.stage,
            rate=None if scenario.rate is None else self.notes.flow(scenario.rate),
            by_mass=scenario.rate is not None and scenario.rate.kind == "mass flow",
            levels=tuple((name, level.value) for name, level in scenario.levels.items()),
            openings=tuple(scenario.openings.items()),
            shut_at_start=tuple(scenario.shut_at_start),
            trapped=tuple(trapped),
            moves=tuple(m for m in moves if isinstance(m, ValveMove)),
            pump_moves=tuple(m for m in moves if isinstance(m, PumpMove)),
            trips=tuple(m for m in moves if isinstance(m, Trip)),
            timing=_timing(shutdown) if shutdown else (),
            ordered=shutdown.at.value if shutdown else None,
            not_at=tuple(shutdown.not_at.items()) if shutdown else (),
            origin=origin,
        )

    def _event(self, event: spec.EventTable, origin: Origin) -> list[Move | Trip]:
        verb = self._verb(event, (*_VALVE_VERBS, *_PUMP_VERBS, "trip"), origin)
        if verb is None:
            return []
        if event.trip is not None:
            return [self._trip(event, event.trip, event.at.value, origin)]
        return [self._movement(event, verb, event.at.value, origin)]

    def _trip(self, entry: spec.MovementTable, pump: str, start: float, origin: Origin) -> Trip:
        self._unused(entry, (), "trip: the pump runs down by its inertia", origin)
        return Trip(pump=pump, start=start, origin=origin)

    def _verb(self, entry: spec.MovementTable, verbs: Sequence[str], origin: Origin) -> str | None:
        """Return what an entry does; note the fault if it does nothing, or two things."""
        given = [verb for verb in verbs if getattr(entry, verb) is not None]
        listed = ", ".join(verbs)
        if not given:
            remedy = f'add one, such as {verbs[0]} = "manifold valve"'
            self.notes.fault((*origin, verbs[0]), "nothing that happens", f"one of the keys {listed}", remedy)
            return None
        for verb in given[1:]:
            remedy = f"write one entry for {given[0]} and one for {verb}"
            self.notes.fault(
                (*origin, verb), f"{verb} beside {given[0]}", f"one of the keys {listed}", remedy
            )
        return given[0]

    def _movement(
        self, entry: spec.MovementTable, verb: str, start: float, origin: Origin, *, side: str = ""
    ) -> Move:
        """Build the movement that ``verb`` names; ``side`` when a shutdown orders it."""
        name, what = getattr(entry, verb), "shutdown" if side else "event"
        if verb in _PUMP_VERBS:
            law = self._pump_law(entry, verb, origin)
            return PumpMove(pump=name, start=start, law=law, what=what, side=side, origin=origin)
        law = self._valve_law(entry, verb, origin)
        return ValveMove(valve=name, start=start, law=law, what=what, side=side, origin=origin)

    # Laws

    def _valve_law(self, entry: spec.MovementTable, verb: str, origin: Origin) -> Table:
        """Return the whole stroke, (time [s], opening)."""
        kind = entry.law or ("table" if verb == "move" else "linear")
        if verb == "move" and kind != "table":
            self.notes.fault(
                (*origin, "law"),
                shown(kind),
                'law = "table", which says where the valve moves to',
                'write law = "table" and a table, or close or open instead of move',
            )
            return self._some_law(verb)
        if entry.law is None and kind == "linear" and entry.stroke is not None:
            source = "common practice, no source; the last quarter decides: give a measured curve"
            note = Assumed(
                subject=getattr(entry, verb),
                quantity="stroke law",
                value="evenly from end to end",
                source=source,
                asked=False,
            )
            if note not in self.notes.assumed:
                self.notes.assumed.append(note)
        self._unused(entry, (*_LAW_KEYS[kind], "law"), f'law = "{kind}"', origin)
        missing = [key for key in _LAW_KEYS[kind] if not _given(entry, key)]
        for key in missing:
            self.notes.missing((*origin, key), f'{key}, which law "{kind}" needs', f"add the key {key}")
        if missing:
            return self._some_law(verb)
        law = self._stroke(entry, kind, verb, origin)
        ends_at = {"close": 0.0, "open": 1.0}.get(verb)
        if ends_at is not None and law[-1][1] != ends_at:
            self.notes.fault(
                (*origin, "table"),
                f"a table that ends at opening {law[-1][1]:g}",
                f"{verb}: the last opening is {ends_at:g}",
                f"end the table at opening {ends_at:g}, or write move instead of {verb}",
            )
        return law

    def _stroke(self, entry: spec.MovementTable, kind: str, verb: str, origin: Origin) -> Table:
        """Return the stroke of a law whose keys are all there."""
        first, last = (0.0, 1.0) if verb == "open" else (1.0, 0.0)
        if kind == "table":
            return tuple((time.value, opening) for time, opening in entry.table)
        if kind == "step" or entry.stroke is None:
            return ((0.0, first), (0.0, last))
        end = (entry.stroke.value, last)
        if kind == "linear" or entry.break_time is None or entry.break_opening is None:
            return ((0.0, first), end)
        if entry.break_time.value >= entry.stroke.value:
            self.notes.fault(
                (*origin, "break_time"),
                shown(entry.break_time.text),
                f"less than the whole stroke of {entry.stroke.text}",
                "both count from the beginning of the stroke: make break_time the shorter one",
            )
            return self._some_law(verb)
        return ((0.0, first), (entry.break_time.value, entry.break_opening), end)

    def _pump_law(self, entry: spec.MovementTable, verb: str, origin: Origin) -> Table:
        """Return (time [s], share of the speed)."""
        key = _PUMP_KEY[verb]
        first, last = (1.0, 0.0) if verb == "stop" else (0.0, 1.0)
        self._unused(entry, (key,), verb, origin)
        run = getattr(entry, key)
        if run is None:
            self.notes.missing((*origin, key), f'{key}, such as {key} = "8 s"', f"add the key {key}")
            return ((0.0, first), (1.0, last))
        if isinstance(run, Reading):
            return ((0.0, first), (run.value, last))
        law = tuple((time.value, speed) for time, speed in run)
        if not law or (law[0][1], law[-1][1]) != (first, last):
            self.notes.fault(
                (*origin, key),
                shown(run),
                f"a table from speed {first:g} to speed {last:g}",
                f'begin at ["0 s", {first:.1f}] and end at {last:.1f}; speeds are shares of its speed',
            )
            return ((0.0, first), (1.0, last))
        return law

    def _some_law(self, verb: str) -> Table:
        span = (0.01, 3600.0)[self.notes.pick]
        return ((0.0, 0.0), (span, 1.0)) if verb == "open" else ((0.0, 1.0), (span, 0.0))

    def _unused(self, entry: spec.MovementTable, used: Sequence[str], why: str, origin: Origin) -> None:
        """Note keys that would be read by nobody: the writer meant something by them."""
        for key in ("law", "stroke", "break_opening", "break_time", "table", "run_down", "run_up"):
            if key not in used and _given(entry, key):
                self.notes.fault((*origin, key), f"{key} beside {why}", f"no {key} here", f"take {key} out")

    # Shutdown

    def _shutdown(self, shutdown: spec.Shutdown, origin: Origin) -> list[Move | Trip]:
        """Return the movements of an emergency shutdown.

        A step begins ``at + detection + signal`` after the beginning, later by ``voice_delay`` on the
        other side when the sides are not linked; ``after`` lets it wait until the whole stroke of an
        earlier step is over (whole, although a valve that stood part open is shut sooner); a trip is over in
        its instant.
        """
        if not shutdown.linked and shutdown.voice_delay is None:
            self.notes.fault(
                (*origin, "voice_delay"),
                "no key voice_delay, and linked = false",
                'the time until the other side acts on a call, such as "20 s"',
                "add the key voice_delay",
            )
        if shutdown.linked and shutdown.voice_delay is not None:
            self.notes.fault(
                (*origin, "voice_delay"),
                f"voice_delay = {shown(shutdown.voice_delay.text)} beside linked = true",
                "no voice_delay: linked sides act on the same signal",
                "take voice_delay out, or write linked = false",
            )
        if not shutdown.step:
            self.notes.fault(
                (*origin, "step"), "no step", "[[scenario.shutdown.step]]", "add what closes or stops"
            )
        base = shutdown.at.value + shutdown.detection.value + shutdown.signal.value
        voice = 0.0 if shutdown.linked or shutdown.voice_delay is None else shutdown.voice_delay.value
        moves: list[Move | Trip] = []
        ends: dict[str, float] = {}
        for i, step in enumerate(shutdown.step):
            path = (*origin, "step", i)
            verb = self._verb(step, ("close", "stop", "trip"), path)
            if verb is None:
                continue
            earliest = base + (0.0 if step.side == shutdown.given_by else voice)
            wait = step.wait.value if step.wait else 0.0
            start = max(earliest, self._end_of(step, ends, path)) + wait
            if step.trip is not None:
                trip = replace(self._trip(step, step.trip, start, path), side=step.side)
                moves.append(replace(trip, after=step.after or "", earliest=earliest, wait=wait))
                ends[step.trip] = start
                continue
            move = self._movement(step, verb, start, path, side=step.side)
            moves.append(replace(move, after=step.after or "", earliest=earliest, wait=wait))
            ends[getattr(step, verb)] = start + move.law[-1][0]
        return moves

    def _end_of(self, step: spec.StepTable, ends: dict[str, float], origin: Origin) -> float:
        """Return when the step is over that this one comes after [s]; 0 if it comes after none."""
        if step.after is None:
            return 0.0
        if step.after not in ends:
            near = meant(step.after, list(ends))
            remedy = (
                f'did you mean "{near}"?' if near else "write the steps in their order, earlier ones first"
            )
            expected = "the valve or pump of an earlier step"
            self.notes.fault((*origin, "after"), shown(step.after), expected, remedy)
        return ends.get(step.after, 0.0)


def _given(entry: spec.MovementTable, key: str) -> bool:
    """Tell whether a key stands in an entry; an empty table counts as none."""
    value = getattr(entry, key, None)
    return value is not None and value != []


def _timing(shutdown: spec.Shutdown) -> tuple[tuple[str, float], ...]:
    """Return the terms of the chain with their seconds."""
    terms = [("detection", shutdown.detection.value), ("signal", shutdown.signal.value)]
    if not shutdown.linked and shutdown.voice_delay is not None:
        terms.append(("voice", shutdown.voice_delay.value))
    return tuple(terms)
