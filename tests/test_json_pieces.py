"""JSON is written piece by piece: the same bytes, and no more held at once than one list of numbers."""

from __future__ import annotations

import dataclasses
import gc
import json
import random
import threading
import tracemalloc
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from support.demos import Demos

import surge
from surge.api.check import CheckAnswer
from surge.cli.main import main
from surge.outputs import gathered, write_whole
from surge.reports.document import Made, as_json, as_pieces
from surge.transient.history import History
from surge.transient.result import Envelope

LEFT_BEHIND = 120.0  # [s] that one march takes at most, on a slow machine
SEED = 20261128


def documents(count: int) -> Iterator[Any]:
    """Plain data, arrays and lists made late, of any shape."""
    draw = random.Random(SEED)

    def value(depth: int) -> Any:
        kind = draw.randrange(9 if depth else 5)
        match kind:
            case 0:
                return draw.choice([None, True, False, 0, -3, 10**20, "", 'a \\ "b"\n\u20ac', "\U0001f600"])
            case 1:
                return draw.uniform(-1e9, 1e9) * 10.0 ** draw.randrange(-300, 300)
            case 2:
                return np.array([draw.uniform(-1, 1) for _ in range(draw.randrange(4))])
            case 3:
                return np.float64(draw.uniform(-1, 1))
            case 4:
                return [draw.random() for _ in range(draw.randrange(4))]
            case 5:
                return {str(k): value(depth - 1) for k in range(draw.randrange(4))}
            case 6:
                return tuple(value(depth - 1) for _ in range(draw.randrange(4)))
            case 7:
                items = [value(depth - 1) for _ in range(draw.randrange(4))]
                return Made(lambda k: items[k], range(len(items)))
            case _:
                return np.zeros((draw.randrange(3), draw.randrange(3)))

    for _ in range(count):
        yield value(4)


def test_pieces_are_what_the_library_writes() -> None:
    for document in documents(2000):
        plain = as_json(document)
        assert "".join(as_pieces(document)) == json.dumps(plain, allow_nan=False, indent=1)


@pytest.mark.parametrize(
    "bad", [float("nan"), [1.0, float("inf")], np.array([np.nan]), {"a": [{"b": -np.inf}]}]
)
def test_what_is_not_finite_is_never_written(bad: Any) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        "".join(as_pieces(bad))


def test_a_long_text_is_gathered_whole() -> None:
    pieces = ["x" * n for n in (0, 1, 3 * 2**18, 5, 2**18, 7)]
    made = list(gathered(pieces))
    assert "".join(made) == "".join(pieces)
    assert len(made) == 3


def peak_of_writing(pieces: Callable[[], Iterator[str]]) -> tuple[int, int]:
    """Characters of a text, and most bytes that are held while it is made and dropped.

    What is held is counted for the whole process, other threads among it. So threads that an error in a test
    before this one has left behind are waited for, and the least of three times counts.
    """
    next(pieces())  # imports
    for thread in threading.enumerate():
        if thread.name.startswith("ThreadPoolExecutor"):
            thread.join(LEFT_BEHIND)
    most = []
    for _ in range(3):
        gc.collect()
        tracemalloc.start()
        try:
            size = sum(map(len, gathered(pieces())))
            most.append(tracemalloc.get_traced_memory()[1])
        finally:
            tracemalloc.stop()
    return size, min(most)


def test_histories_take_no_memory_of_their_own(demos: Demos) -> None:
    """A run of 80 places with 2000 samples each: 4 MB of text, of which one list at a time is held.

    A list of 2000 numbers takes 0.1 MB, its text as much, what is gathered twice 0.3 MB.
    """
    demo = demos["restart-into-a-shut-deck-line"].answer
    assert isinstance(demo, CheckAnswer)
    samples, places = 2000, 80
    figures = np.random.default_rng(SEED).uniform(-1e5, 1e6, samples)
    pressure = {f"place {k}": figures + k for k in range(places)}
    run = dataclasses.replace(
        demo.scenarios[0],
        history=History(time=figures, pressure=pressure, flow={}),
        envelopes={"x": Envelope(distance=figures, highest=figures, lowest=figures, steady=figures)},
    )
    large = dataclasses.replace(demo, scenarios=(run,))
    size, most = peak_of_writing(lambda: large.json_pieces(histories=True))
    assert size > 3.2e6
    assert most < 1.3e6


def test_tests_of_valves_take_no_memory_of_their_own(tmp_path: Path) -> None:
    """Three times as many rows: the text grows by a megabyte, and what writing it holds by less."""
    draw = random.Random(SEED)
    sizes, peaks = [], []
    for rows in (1500, 4500):
        lines = ["tag,date,direction,time [s],timed,alone or together"]
        for k in range(rows):
            day = date(2020, 1, 1) + timedelta(days=k // 20)
            lines.append(f"V{k % 20},{day},closing,{draw.uniform(18, 22):.1f},movement,alone")
        path = tmp_path / "tests.csv"
        path.write_text("\n".join(lines), encoding="utf-8")
        answer = surge.judge_records(path, today="2026-02-20")
        size, most = peak_of_writing(answer.json_pieces)
        sizes.append(size)
        peaks.append(most)
    grown = sizes[1] - sizes[0]
    assert grown > 0.9e6
    assert peaks[1] - peaks[0] < grown  # an index of the rows; a document in one takes four times the text


def test_files_and_pages_hold_the_same(tmp_path: Path, demos: Demos) -> None:
    demo = demos["restart-into-a-shut-deck-line"]
    printed = CliRunner().invoke(main, ["check", str(demo.path), "--json", "--histories"]).stdout
    assert printed == json.dumps(demo.answer.document(histories=True), allow_nan=False, indent=1) + "\n"
    whole = tmp_path / "a.json"
    write_whole(whole, demo.answer.json_pieces(histories=True))
    assert whole.read_text(encoding="utf-8") + "\n" == printed
