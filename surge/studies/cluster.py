"""The chunks of a study run by the workers of a Dask cluster.

Decisions
---------
* Chunks are seconds of work each: handing one out takes some milliseconds.
* A worker that dies gives its chunks to others; each is tried ``TRIES`` times. What is written is whole.
* Workers must have this version of the program: another one may give other figures.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from concurrent.futures import Future
from typing import Any

from surge import __version__
from surge.errors import RequestError, SolveError
from surge.studies.engines import AHEAD, TRIES, Made, in_flight
from surge.studies.plan import Chunk, Plan
from surge.studies.types import Study
from surge.studies.work import run_chunk

INSTALL = 'pip install "surge[study]"'
CONNECT = 20  # [s] in which the cluster has to answer


def version() -> str:
    """Return the version of the program; asked of every worker."""
    return __version__


def run(study: Study, chunk: Chunk) -> Made:
    """Run a chunk on a worker."""
    return chunk.number, run_chunk(study, chunk)


def made_on(address: str, plan: Plan, numbers: list[int]) -> Iterator[Made]:
    """Run chunks of a plan on a cluster, and yield each as it is made, in any order.

    Parameters
    ----------
    address : str
        Of its scheduler, such as "tcp://10.0.0.5:8786".
    plan : Plan
    numbers : list of int
        Of the chunks; they rise.

    Raises
    ------
    RequestError
        There is no such cluster, it has no worker, or they have another version; the library is missing.
    SolveError
        Workers die again and again over a chunk.
    """
    try:
        import distributed
    except ImportError:
        raise RequestError(f"a cluster needs the library distributed: {INSTALL}") from None
    logging.getLogger("distributed").setLevel(logging.ERROR)
    try:
        make: Any = distributed.Client
        client = make(address, timeout=CONNECT, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise RequestError(
            f"--cluster {address}: no answer from there ({' '.join(str(error).split())[:200]}); "
            "write the address that dask scheduler prints, such as tcp://10.0.0.5:8786"
        ) from None
    with client:
        threads = _threads(client, address)
        waiting: dict[int, Any] = {}

        def submit(chunk: Chunk) -> Future[Made]:
            made: Future[Made] = Future()
            task: Any = client.submit(run, plan.study, chunk, pure=False, retries=TRIES)
            waiting[chunk.number] = task  # who lets go of a task gives it up
            task.add_done_callback(lambda done: _hand_over(done, made, waiting, chunk.number))
            return made

        yield from in_flight(plan.some(iter(numbers)), submit, AHEAD * threads)


def _threads(client: Any, address: str) -> int:
    """How many chunks the workers run at a time; refuses none, and workers of another version."""
    threads: dict[str, int] = client.nthreads()
    if not threads:
        raise RequestError(f"--cluster {address} has no worker: start one with dask worker {address}")
    try:
        versions = client.run(version)
    except ImportError as error:
        raise RequestError(f"--cluster {address}: a worker lacks the program: {error}") from None
    for worker, found in versions.items():
        if found != __version__:
            raise RequestError(
                f"--cluster {address}: the worker {worker} has version {found} of the program, and this is "
                f"{__version__}: install the same on all"
            )
    return max(1, sum(threads.values()))


def _hand_over(task: Any, made: Future[Made], waiting: dict[int, Any], number: int) -> None:
    waiting.pop(number, None)
    try:
        made.set_result(task.result())
    except Exception as error:
        made.set_exception(_told(error))


def _told(error: Exception) -> Exception:
    if type(error).__name__ in ("KilledWorker", "CancelledError", "FutureCancelledError"):
        return SolveError(
            f"workers of the cluster died again and again over the same runs ({error}): have they enough "
            "memory? What is written is kept; the same command goes on"
        )
    return error
