"""How fast studies are, how much memory they take, and what a second worker brings.

    .venv-test/bin/python tests/benchmarks/studies.py                       # 10 000 quick looks
    .venv-test/bin/python tests/benchmarks/studies.py --runs 100000 --into /tmp/looks     # or goes on there
    .venv-test/bin/python tests/benchmarks/studies.py --efficiency          # one worker against two, in pairs
    .venv-test/bin/python tests/benchmarks/studies.py --kept 1000000        # results only: nothing is marched

Rates and ratios mean something on an idle machine only; memory and processor time always do. ``--kept`` runs
one chunk and writes its rows again and again: it measures what grows with the number of runs where anything
does, writing, reading and summing up, and says so.
"""

from __future__ import annotations

import argparse
import os
import resource
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.studies import HEAD, SAMPLES, SPEED, written

from surge.api import study as door
from surge.effort import Meter, metered
from surge.studies.engines import Made
from surge.studies.plan import Plan
from surge.studies.work import run_chunk
from surge.workers import Progress

MEGABYTE = 2**20
PAGE = os.sysconf("SC_PAGE_SIZE")


def text_of(runs: int, *, verdict: bool = False) -> str:
    head = HEAD.replace("quick look", "verdict") if verdict else HEAD
    return head + SAMPLES.replace("12", str(runs)) + SPEED


class Memory:
    """The most memory of this process and of all below it, looked at some times a second."""

    def __init__(self) -> None:
        self.own = self.below = 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)

    def __enter__(self) -> Memory:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()

    def _watch(self) -> None:
        while not self._stop.wait(0.2):
            self.own = max(self.own, _resident(os.getpid()))
            self.below = max(self.below, max(map(_resident, _children()), default=0))


def _resident(pid: int) -> int:
    try:
        return int(Path(f"/proc/{pid}/statm").read_text(encoding="utf-8").split()[1]) * PAGE
    except (OSError, IndexError):
        return 0


def _children() -> Iterator[int]:
    for task in Path("/proc/self/task").iterdir():
        try:
            yield from map(int, (task / "children").read_text(encoding="utf-8").split())
        except OSError:
            continue


def timed(path: Path, into: Path, workers: int | None, progress: Progress | None = None) -> float:
    began = time.perf_counter()
    door.run_study(path, into=into, workers=workers, progress=progress)
    return time.perf_counter() - began


class Foretold:
    """What a study told on its way of how long it would still take, against how long it took."""

    SHARES = (0.1, 0.25, 0.5, 0.75)

    def __init__(self, meter: Meter) -> None:
        self.meter, self.told = meter, []  # type: ignore[var-annotated]

    def __call__(self, _: str) -> None:
        self.told.append((time.perf_counter(), self.meter.left()))

    def words(self) -> str:
        begin, end = self.told[0][0], self.told[-1][0]
        found = []
        for share in self.SHARES:
            at, left = next((at, left) for at, left in self.told if at >= begin + share * (end - begin))
            if left is not None and end > at:
                found.append(f"after {share:.0%} of the time {left / (end - at):.2f}")
        return f"time left as told, in times of what was: {', '.join(found) or 'not told'}"


def run(runs: int, workers: int | None, into: Path | None) -> None:
    with tempfile.TemporaryDirectory() as name, Memory() as memory, metered(Meter()) as meter:
        path = written(Path(name), text_of(runs))
        results = into or Path(name) / "results"
        there = sum(_rows(p) for p in results.rglob("*.parquet"))
        told, begin = Foretold(meter), processor_time()
        took = timed(path, results, workers, told)
        spent = processor_time() - begin
        size = sum(p.stat().st_size for p in results.rglob("*.parquet"))
    made = runs - there
    print(
        f"{made} quick looks{f' beside {there} that were there' if there else ''}: {took:.1f} s, "
        f"{made / took:.0f} a second; processor time {spent:.1f} s, {made / spent:.0f} a second of it; "
        f"memory of this process {memory.own / MEGABYTE:.0f} MB, of a worker at most "
        f"{memory.below / MEGABYTE:.0f} MB; results {size / MEGABYTE:.1f} MB"
    )
    print(told.words())


def _rows(path: Path) -> int:
    """Runs in a file of results, by its name."""
    first, last = map(int, path.stem.split("-")[1:])
    return last - first + 1


def kept(runs: int) -> None:
    """Write the rows of one chunk again and again, as if all had been run."""

    def again(plan: Plan, numbers: list[int], **_: object) -> Iterator[Made]:
        first = next(plan.some(iter([0])))
        table = run_chunk(plan.study, first)
        for chunk in plan.some(iter(numbers)):
            rows = {k: v[: chunk.count] for k, v in table.items()}
            yield chunk.number, {**rows, "run": list(range(chunk.first, chunk.first + chunk.count))}

    _replaced(again)
    with tempfile.TemporaryDirectory() as name, Memory() as memory:
        path = written(Path(name), text_of(runs))
        took = timed(path, Path(name) / "results", None)
    print(
        f"{runs} rows kept and summed up, NOT marched: {took:.1f} s; memory of this process "
        f"{memory.own / MEGABYTE:.0f} MB"
    )


def _replaced(made: Callable[..., Iterator[Made]]) -> None:
    door.made_by = made  # type: ignore[assignment]


def efficiency(runs: int, pairs: int) -> None:
    """One worker against two, each pair one after the other, start-up of the processes included.

    Also by processor time, which a busy machine does not change: what one process spends, over what this one
    and both workers spend together. It tells what sharing the work costs, and not how evenly it is shared.
    """
    for verdict in (False, True):
        count = runs // 10 if verdict else runs
        ratios, spent = [], []
        for k in range(pairs):
            with tempfile.TemporaryDirectory() as name:
                path = written(Path(name), text_of(count, verdict=verdict))
                begin = processor_time()
                one = timed(path, Path(name) / "one", 1)
                middle = processor_time()
                two = timed(path, Path(name) / "two", 2)
                end = processor_time()
            ratios.append(one / (2.0 * two))
            spent.append((middle - begin) / (end - middle))
            print(
                f"  pair {k + 1}: {one:.1f} s by one, {two:.1f} s by two: efficiency {ratios[-1]:.2f}; "
                f"by processor time {spent[-1]:.2f}"
            )
        what = "verdicts" if verdict else "quick looks"
        print(
            f"{count} {what}: efficiency over two workers {statistics.median(ratios):.2f}, by processor time "
            f"{statistics.median(spent):.2f} (medians)"
        )


def processor_time() -> float:
    """Of this process and of those below it that have ended [s]."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--runs", type=int, default=10_000)
    parser.add_argument("--workers", type=int)
    parser.add_argument("--into", type=Path, help="folder of results, which stays")
    parser.add_argument("--efficiency", action="store_true")
    parser.add_argument("--pairs", type=int, default=3)
    parser.add_argument("--kept", type=int)
    asked = parser.parse_args()
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    if asked.kept:
        kept(asked.kept)
    elif asked.efficiency:
        efficiency(min(asked.runs, 3000), asked.pairs)
    else:
        run(asked.runs, asked.workers, asked.into)
    print(f"most memory ever {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
