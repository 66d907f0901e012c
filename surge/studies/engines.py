"""Who runs the chunks of a study: this process, or others of this computer.

Decisions
---------
* Marches let other threads run, but much of a run is reading, laying out and judging, which Python does one
  at a time: of a check about a half are marches, of a quick look an eighth to a third. So a study of more
  than ``SHORT`` of work is run by processes, one chunk at a time each; a short one by this process, without
  their start-up of a second or two. Measured by ``tests/benchmarks/studies.py``.
* A process that dies gives its chunk back, ``TRIES`` times at most; then the study ends with what is written.
  A process ends by itself when its input does, so that none outlives a study that is killed.
* At most ``AHEAD`` chunks for each worker are drawn ahead: memory does not grow with the number of runs.
"""

from __future__ import annotations

import os
import pickle
import struct
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import suppress
from queue import SimpleQueue
from typing import IO, Any

from surge.effort import PACE
from surge.errors import SolveError
from surge.studies.plan import Chunk, Plan
from surge.studies.types import Study
from surge.studies.work import Table, run_chunk
from surge.workers import processors

SHORT = 20.0 * PACE  # effort of a study that this process runs by itself
TRIES = 3
AHEAD = 2
OFTEN = 0.5  # [s] that is waited at a time
_SIZE = struct.Struct(">Q")
Made = tuple[int, Table]  # a chunk's number, and its runs


def workers_for(plan: Plan, chunks: int, wanted: int | None) -> int:
    """Return how many processes run so many chunks of a plan; 0: this one does."""
    if wanted is None and plan.effort * plan.chunk * chunks <= SHORT:
        return 0
    return min(wanted or processors(), chunks) if (wanted or processors()) > 1 else 0


def made_by(plan: Plan, numbers: list[int], *, workers: int | None = None) -> Iterator[Made]:
    """Run chunks of a plan on this computer, and yield each as it is made, in any order.

    Parameters
    ----------
    plan : Plan
    numbers : list of int
        Of the chunks; they rise.
    workers : int, optional
        Processes; by default as many as there are processors, or none for a short study.

    Raises
    ------
    SolveError
        Processes die again and again.
    """
    count = workers_for(plan, len(numbers), workers)
    chunks = plan.some(iter(numbers))
    if count == 0:
        yield from _here(plan.study, chunks)
    else:
        team = [_Process(plan.study) for _ in range(count)]
        try:
            yield from _spread(chunks, team)
        finally:
            for one in team:
                one.end()


def _here(study: Study, chunks: Iterator[Chunk]) -> Iterator[Made]:
    for chunk in chunks:
        yield chunk.number, run_chunk(study, chunk)


def _spread(chunks: Iterator[Chunk], team: list[_Process]) -> Iterator[Made]:
    free: SimpleQueue[_Process] = SimpleQueue()
    for one in team:
        free.put(one)

    def run(chunk: Chunk) -> Made:
        one = free.get()
        try:
            return chunk.number, one.run(chunk)
        finally:
            free.put(one)

    pool = ThreadPoolExecutor(len(team))
    try:
        yield from in_flight(chunks, lambda chunk: pool.submit(run, chunk), AHEAD * len(team))
    finally:
        for one in team:
            one.end()  # threads that wait for an answer are let go
        pool.shutdown(cancel_futures=True)


def in_flight(chunks: Iterator[Chunk], submit: Callable[[Chunk], Future[Made]], most: int) -> Iterator[Made]:
    """Hand out chunks, ``most`` at a time, and yield what comes back."""
    under_way: set[Future[Made]] = set()
    left = True
    while left or under_way:
        while left and len(under_way) < most:
            chunk = next(chunks, None)
            if chunk is None:
                left = False
            else:
                under_way.add(submit(chunk))
        # Not for ever: Windows lets no interrupt through to a wait without end.
        done, under_way = wait(under_way, timeout=OFTEN, return_when=FIRST_COMPLETED)
        for job in done:
            yield job.result()


class _Process:
    """A process that runs chunks; begun when it is first needed, and again when it dies."""

    def __init__(self, study: Study) -> None:
        self.study = study
        self._process: subprocess.Popen[bytes] | None = None
        self._ended = threading.Event()

    def run(self, chunk: Chunk) -> Table:
        """Run a chunk, in a new process where one dies over it."""
        for _ in range(TRIES):
            if self._ended.is_set():
                break
            try:
                process = self._begun()
                assert process.stdin is not None
                assert process.stdout is not None
                send(process.stdin, chunk)
                made: Table | None = receive(process.stdout)
            except OSError:
                made = None
            if made is not None:
                return made
            self._drop()
        raise SolveError(
            f"the process that runs the study died {TRIES} times over runs {chunk.first} to "
            f"{chunk.first + chunk.count - 1}: is there enough memory?"
        )

    def _begun(self) -> subprocess.Popen[bytes]:
        if self._process is None:
            command = [sys.executable, "-m", "surge.studies.worker"]
            # In a session of its own, no key that interrupts the study reaches it: who began it ends it.
            self._process = subprocess.Popen(
                command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=os.name == "posix"
            )
            assert self._process.stdin is not None
            send(self._process.stdin, self.study)
        return self._process

    def _drop(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            for pipe in (process.stdin, process.stdout):
                with suppress(OSError):
                    assert pipe is not None
                    pipe.close()
            process.wait()

    def end(self) -> None:
        """End the process, whatever it does."""
        self._ended.set()
        process = self._process
        if process is not None:
            process.kill()
            process.wait()
            for pipe in (process.stdin, process.stdout):
                with suppress(OSError, ValueError):
                    assert pipe is not None
                    pipe.close()


def send(to: IO[bytes], what: Any) -> None:
    """Send an object through a pipe to a process of this program."""
    content = pickle.dumps(what, protocol=pickle.HIGHEST_PROTOCOL)
    to.write(_SIZE.pack(len(content)) + content)
    to.flush()


def receive(of: IO[bytes]) -> Any:
    """Return the next object of a pipe; None at its end."""
    head = of.read(_SIZE.size)
    if len(head) < _SIZE.size:
        return None
    size = _SIZE.unpack(head)[0]
    content = of.read(size)
    return pickle.loads(content) if len(content) == size else None
