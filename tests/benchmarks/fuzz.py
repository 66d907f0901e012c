"""Damage very many inputs and look at what the program says.

    python tests/benchmarks/fuzz.py [--count 200000] [--seed 1] [--workers 2] [--bound 5] [--whole 40]
    python tests/benchmarks/fuzz.py --seed 1 --show 4711 > in.toml

Inputs of five kinds (case files, records, limits files, measured curves, rule files;
``support.inputs.fuzzing``) are damaged by structure, by line and by byte, and read in process: case files up
to the plan of every scenario, the others to the end, with everything that would be printed. Of the case files
that are accepted about one in ``--whole`` is run through ``surge check`` as well. Every input is made from
seed and number.

Printed: how many were accepted, refused, not decided; tracebacks, hangs (more than ``--bound`` seconds of a
processor: by the clock, a busy machine finds hangs that are none), and refusals that do not explain
themselves, each with the number by which ``--show`` makes the input again; the slowest. Exit code 1 if there
is any of these. What is found goes into ``tests/test_fuzz_inputs.py``. Not collected by pytest.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.inputs.fuzzing import CASES, KINDS, answered, bases, made  # tests are no package

PIECE = 250  # inputs between two words from a worker
MEMORY = Path("/dev/shm")  # a folder that needs no disk, where there is one
WHOLE_BOUND = 120.0  # [s] for a whole run


class Hang(BaseException):
    """Raised by the alarm; no ``except Exception`` may take it for an answer."""


def _alarm(*_: Any) -> None:
    raise Hang


def _whole(content: bytes, folder: Path) -> int:
    """Run ``surge check`` on a case that was accepted."""
    from click.testing import CliRunner

    from surge.cli.main import main

    path = folder / "whole.toml"
    path.write_bytes(content)
    got = CliRunner().invoke(main, ["check", str(path), "--json"])
    if got.exception is not None and not isinstance(got.exception, SystemExit):
        raise got.exception
    return got.exit_code


def one(
    seed: int, number: int, folder: Path, *, bound: float, whole: int
) -> tuple[str, int | str, float, str]:
    """Kind, exit code or what is wrong, seconds, details."""
    kind, content = made(seed, number)
    began = time.process_time()
    code: int | str
    try:
        signal.setitimer(signal.ITIMER_PROF, bound)
        code = answered(kind, content, folder)
        signal.setitimer(signal.ITIMER_PROF, 0)
        took = time.process_time() - began
        if kind == "case" and code == 0 and whole and number % whole == 0:
            signal.setitimer(signal.ITIMER_PROF, WHOLE_BOUND)
            kind, code = "case, run", _whole(content, folder)
    except Hang:
        return kind, "hang", time.process_time() - began, traceback.format_exc(limit=-3)
    except AssertionError as error:
        return kind, "unexplained", time.process_time() - began, f"{error}"
    except Exception:
        return kind, "traceback", time.process_time() - began, traceback.format_exc(limit=-4)
    else:
        return kind, code, took, ""
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)


def piece(
    asked: tuple[int, int, int, float, int],
) -> tuple[Counter[tuple[str, int | str]], list[Any], Any, int]:
    """One worker's piece: counts, what is wrong, the slowest, memory [kB]."""
    seed, first, last, bound, whole = asked
    signal.signal(signal.SIGPROF, _alarm)
    counts: Counter[tuple[str, int | str]] = Counter()
    wrong, slowest = [], (0.0, "", 0)
    with tempfile.TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else None) as folder:
        shutil.copytree(CASES / "rules", Path(folder, "rules"))  # which a case names
        for kind in KINDS:  # what is imported late is no part of the first input's time
            answered(kind, bases(kind)[0], Path(folder))
        for number in range(first, last):
            kind, code, took, details = one(seed, number, Path(folder), bound=bound, whole=whole)
            counts[kind, code] += 1
            slowest = max(slowest, (took, kind, number))
            if isinstance(code, str):
                wrong.append((number, kind, code, details))
    return counts, wrong, slowest, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--count", type=int, default=200_000)
    parser.add_argument("--first", type=int, default=0, help="number of the first input")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--bound", type=float, default=5.0, help="seconds of a processor for one input")
    parser.add_argument(
        "--whole", type=int, default=40, help="every how many accepted cases are run; 0: none"
    )
    parser.add_argument("--show", type=int, help="write this input to standard output, and end")
    asked = parser.parse_args()
    if asked.show is not None:
        sys.stdout.buffer.write(made(asked.seed, asked.show)[1])
        return
    began = time.perf_counter()
    last = asked.first + asked.count
    pieces = [
        (asked.seed, n, min(n + PIECE, last), asked.bound, asked.whole)
        for n in range(asked.first, last, PIECE)
    ]
    counts: Counter[tuple[str, int | str]] = Counter()
    wrong, slowest, memory, done = [], (0.0, "", 0), 0, 0
    with multiprocessing.get_context("spawn").Pool(asked.workers) as pool:
        for found, faults, slow, room in pool.imap_unordered(piece, pieces):
            counts += found
            done += found.total()
            slowest, memory = max(slowest, slow), max(memory, room)
            for number, kind, code, details in faults:
                wrong.append((number, kind, code))
                if len(wrong) <= 60:
                    print(f"--- {code}: {kind} {number}\n{details}", flush=True)
            if sys.stderr.isatty() or done % 10_000 < PIECE:
                print(
                    f"{done} of {asked.count}, {time.perf_counter() - began:.0f} s",
                    file=sys.stderr,
                    flush=True,
                )
    _print(counts, wrong, slowest, memory, time.perf_counter() - began)
    sys.exit(1 if wrong else 0)


def _print(
    counts: Counter[tuple[str, int | str]], wrong: list[Any], slowest: Any, memory: int, seconds: float
) -> None:
    codes = (0, 2, 3, 4)
    words = ("0 accepted", "2 refused", "3 exceeded", "4 undecided")
    print(f"{'':12}" + "".join(f"{w:>13}" for w in words) + f"{'in all':>10}")
    for kind in (*KINDS, "case, run"):
        of = [counts[kind, c] for c in codes]
        print(f"{kind:12}" + "".join(f"{n:13}" for n in of) + f"{sum(of):10}")
    said = Counter(code for _, _, code in wrong)
    print(f"{counts.total()} inputs in {seconds:.0f} s; greatest memory of a worker {memory / 1000:.0f} MB")
    print(f"tracebacks {said['traceback']}, hangs {said['hang']}, unexplained refusals {said['unexplained']}")
    print(f"slowest: {slowest[0]:.2f} s, {slowest[1]} {slowest[2]}")


if __name__ == "__main__":
    main()
