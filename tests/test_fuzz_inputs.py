"""A fixed part of the fuzzer (``tests/benchmarks/fuzz.py`` runs very many), and what it has found."""

from __future__ import annotations

import time
from collections import Counter
from pathlib import Path

import pytest
from support.inputs.fuzzing import KINDS, LEAKS, Unexplained, answered, bases, explained, made

COUNT = 250


def test_damaged_inputs_are_read_or_refused_and_explained(tmp_path: Path) -> None:
    codes: Counter[tuple[str, int]] = Counter()
    for number in range(COUNT):
        kind, content = made(20, number)
        began = time.process_time()
        try:
            codes[kind, answered(kind, content, tmp_path)] += 1
        except Exception as error:
            error.add_note(f"python tests/benchmarks/fuzz.py --seed 20 --show {number}  # {kind}")
            raise
        assert time.process_time() - began < 5.0, number
    assert codes.total() == COUNT
    assert all(codes[kind, 2] for kind in KINDS)  # each kind is refused, and some of each are not
    assert all(codes[kind, 0] + codes[kind, 3] + codes[kind, 4] for kind in KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_sound_inputs_are_not_refused(kind: str, tmp_path: Path) -> None:
    for base in bases(kind):
        assert answered(kind, base, tmp_path) in (0, 3, 4)


def test_an_input_is_made_of_its_seed_and_number_alone() -> None:
    again = [made(3, n) for n in range(40)]
    assert [made(3, n) for n in reversed(range(40))] == again[::-1]
    assert made(4, 0) != made(3, 0)


@pytest.mark.parametrize(
    "said",
    ["<class 'int'>", "NoneType", "Input should be a list", "KeyError: 'x'", "got None", " ", "a\x1bb"],
)
def test_the_judge_sees_a_refusal_that_explains_nothing(said: str) -> None:
    with pytest.raises(Unexplained):
        explained([("found", said)], b"")
    if LEAKS.search(said):
        explained([("found", said)], said.encode())  # unless the input itself says so


TITLES = "tag,date,direction,time [s],timed\n"
ROW = "M1P,2026-02-05,closing,20,movement\n"


@pytest.mark.parametrize(
    ("kind", "text", "code"),
    [
        ("records", f'"tag{"," * 100_000}x",date,direction,time [s]\n' + ROW, 2),
        ("records", f'"{"a." * 50_000}",date,direction,time [s]\n' + ROW, 2),
        ("records", f'tag,date,direction,"{"[" * 100_000}"\n' + ROW, 2),
        ("records", f"tag,date,direction{',x' * 50_000}\n" + ROW, 2),
        ("records", f'{TITLES}M1P,"{" 0" * 60_000}",closing,20,movement\n', 4),
        ("records", f'{TITLES}M1P,2026-02-05,closing,"{"1," * 60_000}",movement\n', 4),
        ("records", "Test d\x7fte,tag,direction,time [s]\n" + ROW, 2),
        ("curve", f'time [s],"position{" " * 100_000}%"\n0,100\n', 2),
        ("curve", f"time [s],position [%]\n0,{'9' * 5000}\n", 2),
        ("curve", "time [s],angle [de\x1a, 0 shut, 90 open]\n0,90 deg\n", 2),
        ("records", f"Valve;Test date;Closing time{'x' * 40_000}\n" + ROW, 2),
        ("case", f"{'a.' * 100_000}a = 1", 2),
        ("case", "\n".join(f"b{k}.{'a.' * 9000}a = 1" for k in range(50)), 2),
        ("case", "\n".join(f"b{k} = {{ {'a . ' * 4000}a = 1 }}" for k in range(50)), 2),
        ("case", f"{'v' * 5000} = 12 m", 2),
        ("case", '[show."\u200b"]\nx = 1', 2),
        ("case", "x = 2026-02-30", 2),
        ("limits", f'schema = 1\n[[valve]]\ntags = ["{"*a" * 9000}b"]\nsource = "x"\n', 2),
        ("limits", f'schema = 1\n[[valve]]\ntags = ["{"*a" * 149}b"]\nsource = "x"\n', 4),
    ],
)
def test_what_was_found(kind: str, text: str, code: int, tmp_path: Path) -> None:
    """Patterns that took minutes for a long title or cell, control characters and long texts in messages."""
    began = time.process_time()
    assert answered(kind, text.encode(), tmp_path) == code
    assert time.process_time() - began < 3.0
