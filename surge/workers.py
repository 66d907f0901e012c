"""Work in several threads: how many, and what an interrupt does to them.

Decisions
---------
* Every pool of threads comes from here. An error or an interrupt leaves at once; the command line ends the
  process (:func:`surge.cli.main.entry`).
* The same bits whatever the number of threads: what one thread does, it does for itself, results are taken in
  the order of the work, and no sum depends on how it was divided. Cached code or new, this hash seed or
  another, the same input gives the same bytes of every output on one machine (``tests/test_robust_same.py``).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import copy_context
from typing import Any

Progress = Callable[[str], None]
"""Called with a word as long work goes on; it may be called from several threads."""


def processors() -> int:
    """Processors that this process may use: all of the machine, or those that it was given."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


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
