"""The processes that compute for the page: one for each tab and kind of work, and a spare one that is warm.

Decisions
---------
* A tab has a process for each kind of work (looks, checks, remedies, what takes long), so that none waits for
  another, and two tabs do not disturb each other. What a tab asks anew of a kind ends what it asked before.
* At most ``MOST`` processes. The one that was idle longest makes room; where all work, the question is
  refused.
* To give up ends the process. The spare one takes its place, and another is started.
"""

from __future__ import annotations

import asyncio
import json
import sys
import time
from collections.abc import AsyncGenerator, AsyncIterator
from contextlib import suppress
from typing import Any

MOST = 12
LONGEST_LINE = 2**29  # [bytes] of an answer
Key = tuple[str, str]  # tab, kind of work


class BusyError(Exception):
    """All processes work."""


class Worker:
    """One process, which answers one question after another."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        self.process, self.busy, self.last = process, False, time.monotonic()

    @classmethod
    async def start(cls, folder: str) -> Worker:
        """Start a process that works in a folder."""
        process = await asyncio.create_subprocess_exec(
            sys.executable,
            "-P",  # no module of the folder in place of ours
            "-m",
            "surge.page.worker",
            cwd=folder,
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            limit=LONGEST_LINE,
        )
        return cls(process)

    async def ask(self, request: dict[str, Any]) -> AsyncIterator[dict[str, Any]]:
        """Yield what the process says until it has answered."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps(request).encode() + b"\n")
        await self.process.stdin.drain()
        while True:
            line = await self.process.stdout.readline()
            if not line:
                yield {"answer": {"refused": GONE}}
                return
            said = json.loads(line)
            yield said
            if "answer" in said:
                return

    @property
    def alive(self) -> bool:
        """Whether the process still runs."""
        return self.process.returncode is None

    async def end(self) -> None:
        """End the process, whatever it does."""
        with suppress(ProcessLookupError):
            self.process.kill()
        await self.process.wait()


GONE = {"text": "the calculation was ended before it had an answer", "document": None, "exit_code": 1}


class Desk:
    """All processes.

    Parameters
    ----------
    folder : str
        The folder that they work in.
    """

    def __init__(self, folder: str) -> None:
        self.folder = folder
        self.workers: dict[Key, Worker] = {}
        self.spare: asyncio.Task[Worker] | None = None
        self.taking = asyncio.Lock()

    def warm(self) -> None:
        """Have a spare process started."""
        if self.spare is None:
            self.spare = asyncio.get_running_loop().create_task(Worker.start(self.folder))

    async def ask(self, tab: str, kind: str, request: dict[str, Any]) -> AsyncGenerator[dict[str, Any]]:
        """Yield what a process says to a question; whoever stops listening ends the work.

        Raises
        ------
        BusyError
            All processes work for others.
        """
        worker = await self._take((tab, kind))
        answered = False
        try:
            async for said in worker.ask(request):
                answered = "answer" in said
                yield said
        finally:
            worker.busy, worker.last = False, time.monotonic()
            if not answered or not worker.alive:
                await asyncio.shield(self._drop((tab, kind), worker))

    async def _take(self, key: Key) -> Worker:
        async with self.taking:
            worker = self.workers.get(key)
            if worker is not None and (worker.busy or not worker.alive):
                await self._drop(key, worker)
                worker = None
            if worker is None:
                if len(self.workers) >= MOST:
                    await self._make_room()
                self.warm()
                assert self.spare is not None
                worker, self.spare = await self.spare, None
                self.workers[key] = worker
                self.warm()
            worker.busy = True
            return worker

    async def _make_room(self) -> None:
        idle = [(w.last, key) for key, w in self.workers.items() if not w.busy]
        if not idle:
            raise BusyError
        key = min(idle)[1]
        await self._drop(key, self.workers[key])

    async def _drop(self, key: Key, worker: Worker) -> None:
        if self.workers.get(key) is worker:
            del self.workers[key]
        await worker.end()

    async def stop(self, tab: str) -> None:
        """Give up what a tab has asked and is not answered yet."""
        for key, worker in list(self.workers.items()):
            if key[0] == tab and worker.busy:
                await self._drop(key, worker)

    async def leave(self, tab: str) -> None:
        """End the processes of a tab that is closed."""
        for key, worker in list(self.workers.items()):
            if key[0] == tab:
                await self._drop(key, worker)

    async def close(self) -> None:
        """End all processes."""
        for key, worker in list(self.workers.items()):
            await self._drop(key, worker)
        if self.spare is not None:
            await (await self.spare).end()
            self.spare = None
