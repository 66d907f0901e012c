"""Standard pipes against the tables of `fluids`, how sizes are written, what a wrong name is told."""

from __future__ import annotations

import fluids.piping as oracle
import pytest

from surge.hydraulics.formulas import wave_speed
from surge.reference.pipes import (
    PIPE_SIZES,
    SIZES,
    UnknownNameError,
    nominal_inches,
    pipe_size,
    schedules_of,
    search,
)

# Our schedule and the library's lists of sizes [inch], outside diameters and walls [mm].
ORACLE = {
    "standard": ("NPSSTD", "STDo", "STDt"),
    "extra strong": ("NPSXS", "XSo", "XSt"),
    **{f"schedule {n}": (f"NPS{n}", f"S{n}o", f"S{n}t") for n in (10, 20, 30, 40, 60, 80)},
    **{f"schedule {n}S": (f"NPSS{n}", f"SS{n}o", f"SS{n}t") for n in (5, 10, 40, 80)},
}


def test_every_row_says_where_it_comes_from() -> None:
    for row in PIPE_SIZES:
        assert row.source.startswith("ASME B36.1")
        assert ("B36.19M" in row.source) == row.schedule.endswith("S")
        assert row.status == "from memory"
        assert "rating" in row.validity
        assert 0.0 < row.wall < row.outside / 4
        assert row.inside == pytest.approx(row.outside - 2 * row.wall)


def test_the_sizes_asked_for_are_there() -> None:
    wanted = (2, 2.5, 3, 4, 5, 6, 8, 10, 12, 14, 16, 18, 20, 24, 28, 30, 36)
    assert {f"{n:g} inch" for n in wanted} <= set(SIZES)
    for size in SIZES:
        assert {"standard", "extra strong", "schedule 10"} <= set(schedules_of(size))


@pytest.mark.parametrize("schedule", ORACLE)
def test_diameters_and_walls_and_no_size_too_many(schedule: str) -> None:
    sizes, outsides, walls = (getattr(oracle, name) for name in ORACLE[schedule])
    theirs = {
        f"{n:g} inch": (o, t)
        for n, o, t in zip(sizes, outsides, walls, strict=True)
        if f"{n:g} inch" in SIZES
    }
    ours = {row.size: row for row in PIPE_SIZES if row.schedule == schedule}
    assert set(ours) == set(theirs)
    for size, (outside, wall) in theirs.items():
        assert ours[size].outside * 1e3 == pytest.approx(outside, abs=0.05)
        assert ours[size].wall * 1e3 == pytest.approx(wall, abs=0.005)


def test_no_schedule_is_left_without_an_oracle() -> None:
    assert {row.schedule for row in PIPE_SIZES} == set(ORACLE)


@pytest.mark.parametrize("text", ["12 inch", "12 in", '12"', "12inch", "NPS 12", "nps12", "DN 300", "dn300"])
@pytest.mark.parametrize("schedule", ["standard", "STD", " Standard "])
def test_ways_to_write_a_size(text: str, schedule: str) -> None:
    row = pipe_size(text, schedule=schedule)
    assert (row.size, row.dn, row.schedule) == ("12 inch", 300, "standard")
    assert row.outside == pytest.approx(0.3238)
    assert row.wall == pytest.approx(9.53e-3)


@pytest.mark.parametrize(
    ("text", "inches"), [("2 1/2 inch", 2.5), ("DN 65", 2.5), ("DN 80", 3), ("DN 900", 36), ("2.5 in", 2.5)]
)
def test_odd_sizes(text: str, inches: float) -> None:
    assert nominal_inches(text) == inches


def test_schedules_differ_by_the_letter() -> None:
    assert pipe_size("14 inch", schedule="10").wall == pytest.approx(6.35e-3)
    assert pipe_size("14 inch", schedule="10S").wall == pytest.approx(4.78e-3)
    assert pipe_size("14 inch", schedule="sch 10s").schedule == "schedule 10S"


@pytest.mark.parametrize(
    "text", ["300", "12", "13 inch", "DN 305", "", "12 mm", "2.5 1/2 inch", "DN", "inch"]
)
def test_an_unknown_size_is_told_what_there_is(text: str) -> None:
    with pytest.raises(UnknownNameError) as error:
        pipe_size(text, schedule="standard")
    assert error.value.known == SIZES
    assert error.value.given == text
    assert "12 inch" in str(error.value)
    assert error.value.exit_code == 2


@pytest.mark.parametrize("schedule", ["20", "schedule 99", "", "XXS", "20S"])
def test_an_unknown_schedule_is_told_those_of_its_size(schedule: str) -> None:
    with pytest.raises(UnknownNameError) as error:
        pipe_size("6 inch", schedule=schedule)
    assert error.value.kind == "schedule of 6 inch pipe"
    assert error.value.known == schedules_of("DN 150")
    assert "schedule 20" not in error.value.known


def test_search() -> None:
    assert search("") == list(PIPE_SIZES)
    assert {row.size for row in search("2 inch")} == {"2 inch"}  # and not 12 inch
    assert [row.schedule for row in search("12 INCH 40")] == ["schedule 40"]
    assert [row.schedule for row in search("10s DN300")] == ["schedule 10S"]
    assert {row.size for row in search("b36.19m extra")} == set()
    assert search("copper") == []


def test_what_the_wall_does_to_surge() -> None:
    # Gas oil; a wall off nominal, the outside as it is: to which side wave speed and velocity go.
    row = pipe_size("12 inch", schedule="standard")

    def rise(wall: float) -> float:
        inside = row.outside - 2 * wall
        speed = wave_speed(
            density=840.0, sound_speed=1370.0, diameter=inside, wall=wall, modulus=207e9, c1=0.91
        )
        return speed / inside**2  # of a given rate stopped at once

    assert rise(0.875 * row.wall) < rise(row.wall)  # the thinnest that seamless pipe may have as delivered
    assert rise(1.10 * row.wall) / rise(row.wall) == pytest.approx(1.02, abs=0.005)
