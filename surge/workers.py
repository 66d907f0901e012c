"""Work in several threads: how many, and what an interrupt does to them.

Decisions
---------
* Every pool of threads comes from here. An error or an interrupt leaves at once; the command line ends the
  process (:func:`surge.cli.main.entry`).
* The same bits whatever the number of threads: what one thread does, it does for itself, results are taken in
  the order of the work, and no sum depends on how it was divided. What several threads need is made by the
  one that asks first (:class:`Once`). Cached code or new, this hash seed or
  another, the same input gives the same bytes of every output on one machine (``tests/test_robust_same.py``).
* No more marches run at once than there are processors (:data:`TURNS`), however many threads have one to
  make: those that wait take nothing, and those that run are not put off by them.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Hashable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import copy_context
from typing import Any, Generic, TypeVar

T = TypeVar("T")
K = TypeVar("K", bound=Hashable)
V = TypeVar("V")
Progress = Callable[[str], None]
"""Called with a word as long work goes on; it may be called from several threads."""


def processors() -> int:
    """Processors that this process may use: all of the machine, or those that it was given."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


AT_ONCE = min(max(processors(), 2), 4)
"""Scenarios, searches and so on that are under way at once: what is not a march holds other threads up.

On two processors windows took 4 % less with two of them than with four; above four is not tried.
"""
TURNS = threading.BoundedSemaphore(processors())
"""Held for some hundredths of a second at a time, by who marches; never while waiting for another thread."""


class Pool(ThreadPoolExecutor):
    """Threads in which work counts for the answer that asked for it (:mod:`surge.effort`)."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Begin work as soon as a thread is free, in the context of whoever asks for it."""
        return super().submit(copy_context().run, fn, *args, **kwargs)


@contextmanager
def workers(most: int | None = None) -> Iterator[ThreadPoolExecutor]:
    """Give a pool of ``most`` threads, one for each processor without it.

    An error or an interrupt leaves at once: what has not begun is dropped, what is under way is not waited
    for (a march can take a minute).
    """
    pool = Pool(most or processors())
    try:
        yield pool
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        raise
    pool.shutdown()


def each(work: Callable[[T], V], items: Sequence[T]) -> list[V]:
    """Do work for every item at once; what comes of each, in their order.

    An error is raised when all are through, the first in their order: so what was done, and counted as work,
    does not go by which thread ends first. An interrupt leaves at once.
    """
    if len(items) <= 1:
        return [work(item) for item in items]
    with workers(min(len(items), max(processors(), AT_ONCE))) as pool:
        jobs = [pool.submit(work, item) for item in items]
        for job in jobs:
            job.exception()
        return [job.result() for job in jobs]


class Once(Generic[K, V]):
    """What is made once for a key: by the thread that asks first, while others that ask wait for it.

    What is made must follow from the key alone. Whoever makes it may not ask for another key here, so that no
    two wait for each other. An error goes to all that wait; who asks afterwards makes it anew.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._jobs: dict[K, Future[V]] = {}

    def get(self, key: K, make: Callable[[], V]) -> V:
        """What there is for a key, or is made now."""
        with self._lock:
            job = self._jobs.get(key)
            own = job is None
            if job is None:
                job = self._jobs[key] = Future()
        if own:
            try:
                job.set_result(make())
            except BaseException as error:
                with self._lock:
                    del self._jobs[key]
                job.set_exception(error)
                raise
        return job.result()

    def find(self, key: K) -> V | None:
        """What there is for a key; None where nothing is, or is still being made."""
        with self._lock:
            job = self._jobs.get(key)
        return job.result() if job is not None and job.done() else None

    def keep(self, key: K, value: V) -> None:
        """Enter what was made elsewhere, unless there is something already."""
        self.get(key, lambda: value)
