"""What moves by itself, drawn from flows and pressures of a run: the march itself tells the same."""

from __future__ import annotations

import numpy as np
import pytest
from support.demos import Demo, Demos

from surge.model.way import find_way
from surge.views.by_itself import GAS, LIFT, OPEN, SPEED, ByItself, moved_by_itself
from surge.views.film import film_of, shown_of
from surge.views.line import hung_on, left_out, way_of
from surge.views.subject import Subject, subject_of
from surge.views.time import time_picture


def _of(demo: Demo, scenario: str | None = None) -> tuple[Subject, dict[str, ByItself]]:
    subject = subject_of(demo.answer, scenario)
    return subject, {one.name: one for one in moved_by_itself(subject)}


def test_the_lift_is_that_of_the_march(demos: Demos) -> None:
    subject, moved = _of(demos["kerosene-relief-valve"])
    (told,) = subject.run.relief_valves
    drawn = moved["berth relief valve"]
    assert drawn.kind == LIFT
    # Samples of the history are 10 ms apart, in which the lift changes by less than 0.01.
    assert drawn.values.max() == pytest.approx(told.lift, abs=0.01)
    assert told.opened is not None
    time = subject.run.history.time
    assert np.all(drawn.values[time < told.opened - 0.02] == 0.0)
    assert drawn.values[-1] == 0.0


def test_gas_is_that_of_the_march(demos: Demos) -> None:
    subject, moved = _of(demos["naphtha-surge-drum"])
    (told,) = subject.run.surge_drums
    drawn = moved["jetty drum"]
    assert drawn.kind == GAS
    assert drawn.values[0] == told.gas / told.volume
    assert drawn.values.min() == pytest.approx(told.least / told.volume, abs=0.002)


def test_speed_after_a_trip_is_that_of_the_march(demos: Demos) -> None:
    subject, moved = _of(demos["gas-oil-two-pumps-one-trips"], "pump 2 trips")
    (told,) = subject.run.trips
    drawn = moved["pump 2"]
    assert drawn.kind == SPEED
    before = subject.run.history.time <= told.at
    assert np.all(drawn.values[before] == 1.0)
    assert np.all(np.diff(drawn.values) <= 0.0)
    assert drawn.values[-1] == pytest.approx(told.speed, rel=2e-3)
    nozzle = moved["nozzle valve 2"]
    assert nozzle.kind == OPEN
    shut = subject.run.history.time[np.argmin(nozzle.values)]
    assert shut == pytest.approx(subject.run.non_return_valves[1].closed, abs=0.02)
    assert "swing valve 1" not in moved  # it stays open


def test_a_run_in_which_nothing_does_so_has_none(demos: Demos) -> None:
    assert _of(demos["crude-sea-line"])[1] == {}


def test_pictures_and_films_show_it(demos: Demos) -> None:
    subject, _ = _of(demos["kerosene-relief-valve"])
    picture = time_picture(subject)
    assert [one.name for one in picture.by_itself] == ["berth relief valve"]
    # Of what stands behind one another one flow is enough.
    assert list(picture.flows) == ["manifold valve", "shore pump", "berth relief valve"]
    film = film_of(subject, playing=2.0)
    assert film.kinds == {"berth relief valve": LIFT}
    assert film.others["berth relief valve"].max() > 0.5
    assert [name for _, name in film.hung] == ["berth relief valve"]
    way = way_of(subject)
    ((place, name),) = hung_on(subject, way)
    assert name == "berth relief valve"
    assert place == way.drawn_at("relief branch")
    assert "Hanging" in left_out(subject, way)
    assert "Hanging" not in left_out(subject, way, hung=False)


def test_a_film_of_a_trip_follows_the_pump_that_trips(demos: Demos) -> None:
    subject, _ = _of(demos["gas-oil-two-pumps-one-trips"], "pump 2 trips")
    film = film_of(subject, playing=2.0)
    names = [p.name for p in film.way.parts]
    assert {"pump 2", "nozzle valve 2", "drop line"} <= set(names)
    assert set(film.strokes) == {"pump 2", "nozzle valve 2"}
    begin, end = shown_of(subject, None, None)
    assert 0.0 < begin < 5.0 < end < subject.end
    other, _ = _of(demos["gas-oil-two-pumps-one-trips"], "pump 1 stops")
    assert "pump 1" in [p.name for p in film_of(other, playing=2.0).way.parts]


def test_a_way_keeps_away_from_what_is_shunned(demos: Demos) -> None:
    subject, _ = _of(demos["gas-oil-two-pumps-one-trips"], "pump 2 trips")
    flows = subject.work.steady.flow
    for pump, other in (("pump 1", "pump 2"), ("pump 2", "pump 1")):
        way = find_way(subject.lineup, "tank outlet", "drop line foot", flows=flows, shunned=(pump,))
        assert way is not None
        assert other in [p.name for p in way.parts]
        assert pump in way.left_out
