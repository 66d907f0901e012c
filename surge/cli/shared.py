"""What the commands share: printing, refusing, progress, the units of the output.

Heavy imports are made where they are needed.
"""

from __future__ import annotations

import errno
import math
import os
import shutil
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

import click

from surge.choices import offer, words_of
from surge.cli.streams import seen
from surge.outputs import gathered

if TYPE_CHECKING:
    from surge.api.refusals import Refusal
    from surge.effort import Meter
    from surge.errors import ArgumentError, CaseError

PATIENT = "surge.patient"  # among what click keeps of a command
Command = TypeVar("Command", bound=Callable[..., Any])


def print_text(text: str, *, nl: bool = True, coloured: bool = False) -> None:
    """Write to standard output; when it takes nothing more, say so instead of crashing."""
    _write(seen(text, coloured=coloured), nl=nl)


def _write(text: str, *, nl: bool) -> None:
    try:
        click.echo(text, nl=nl)
    except OSError as error:
        if error.errno == errno.EPIPE:
            raise  # click ends quietly: the reader has gone
        fail(f"standard output cannot be written: {error.strerror}")


def print_pieces(pieces: Iterable[str]) -> None:
    """Write a text that is made piece by piece to standard output, some of it at a time."""
    for some in gathered(pieces):
        _write(some, nl=False)
    _write("", nl=True)


def tell(message: str) -> None:
    """Say something beside the answer, on standard error."""
    click.echo(seen(message), err=True)


def fail(message: str) -> NoReturn:
    """Say in one line what was wrong and leave with 2."""
    tell(f"surge: {message}")
    sys.exit(2)


@contextmanager
def answering(path: str, *, as_json: bool = False) -> Iterator[ProgressLine]:
    """Surround the work of a command: progress is told, faults become lines and exit codes.

    More than two minutes of work is refused where the command has ``patient_option`` and it was not given.

    Yields the progress; called with a word, it shows that the work goes on.

    Parameters
    ----------
    path : str
        The file that faults are in, where they do not say so themselves.
    as_json : bool
        Refusals are printed as documents too.
    """
    with lighter_start():
        from surge.effort import PATIENCE, Meter, metered
        from surge.errors import ArgumentError, CaseError, RequestError, SurgeError

        context = click.get_current_context(silent=True)
        patient = context is None or context.meta.get(PATIENT, True)
        meter = Meter(math.inf if patient else PATIENCE)
        progress = ProgressLine(meter)
        meter.at_compiling = progress.compiling
        try:
            try:
                with metered(meter):
                    yield progress
            finally:
                progress.done()
                _tell_trouble()
        except CaseError as error:
            refuse(error, path, as_json=as_json)
        except ArgumentError as error:
            fail(as_options(error))
        except RequestError as error:
            fail(str(error))
        except SurgeError as error:
            from surge.api.refusals import undecided

            leave(undecided(error, path), as_json=as_json)


def as_options(error: ArgumentError) -> str:
    """Return what is wrong with an argument of a function, in the options of the command that runs."""
    context = click.get_current_context(silent=True)
    params = context.command.params if context is not None else []
    options = {p.name: max(p.opts, key=len) for p in params if isinstance(p, click.Option)}
    if "begin" in options:
        options["span"] = "--from, --until"
    names = (options.get(name, f"--{name}") for name in error.names)
    return f"{' '.join(names)} {error.found}: {error.remedy}"


def _tell_trouble() -> None:
    """Say in one line why the compiled solver could not be kept for the next time."""
    compiled = sys.modules.get("surge.kernel.compiled")
    if compiled is not None and compiled.TROUBLE:
        tell(
            f"surge: the compiled solver cannot be kept ({compiled.TROUBLE[-1]}), so that every start takes "
            "ten seconds to half a minute more: let NUMBA_CACHE_DIR name a folder that can be written"
        )
        compiled.TROUBLE.clear()


@contextmanager
def lighter_start() -> Iterator[None]:
    """Do without what nothing here needs, while the solver loads.

    The case reader's library looks for plugins, and the collector walks over modules that stay.
    """
    import gc

    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "1")
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()  # else the first collection walks over all of the modules
        gc.enable()


class ProgressLine:
    """Tells on standard error how long the work goes on, and how long it still will; from several threads.

    On a terminal in one line, when it takes longer than ``after`` seconds. Elsewhere only for work that is
    foretold to take more than ``LONG`` of effort: a line now and then, each twice as late as the one before.
    """

    LONG = 1e10  # effort: some twenty seconds
    SLOW = 10.0  # [s] before the first line where there is no terminal

    def __init__(self, meter: Meter | None = None, *, after: float = 1.0, every: float = 0.2) -> None:
        self.meter, self.start = meter, time.monotonic()
        # A terminal that is dumb could not go back in a line.
        self.terminal = sys.stderr.isatty() and os.environ.get("TERM") != "dumb"
        self.every = every
        self.next = self.start + (after if self.terminal else self.SLOW)
        self.width = 0
        self.compiled = 0  # parts of the solver
        self.lock = threading.Lock()

    def __call__(self, word: str) -> None:
        """Say what is being done, if it is time to."""
        now = time.monotonic()
        with self.lock:
            if now < self.next:
                return
            text = f"surge: {now - self.start:.0f} s{self._left()}"
            if self.terminal:
                self.next = now + self.every
                text = f"{text}, {word}"[: shutil.get_terminal_size().columns - 1]
                click.echo("\r" + text.ljust(self.width), nl=False, err=True)
                self.width = len(text)
            elif self.meter is not None and self.meter.foretold() > self.LONG:
                self.next = now + (now - self.start)
                click.echo(text, err=True)

    def _left(self) -> str:
        """How long it will still take, in words."""
        seconds = self.meter.left() if self.meter is not None else None
        if seconds is None:
            return ""
        if seconds < 10.0:
            return ", some seconds left"
        if seconds < 90.0:
            return f", about {math.ceil(seconds / 5) * 5} s left"
        return f", about {math.ceil(seconds / 60)} minutes left"

    def compiling(self) -> None:
        """Say that a part of the solver is compiled."""
        with self.lock:
            self.done()
            if not self.compiled:
                tell("surge: compiling the solver for this machine, once; ten seconds to half a minute ...")
            else:
                tell("surge: compiling another part of the solver, once; as long again ...")
            self.compiled += 1

    def done(self) -> None:
        """Clear the line."""
        if self.width:
            click.echo("\r" + " " * self.width + "\r", nl=False, err=True)
            self.width = 0


def refuse(error: CaseError, path: str, *, as_json: bool = False) -> NoReturn:
    """Print all faults and leave with 2."""
    from surge.api.refusals import refused

    leave(refused(error, path), as_json=as_json)


def leave(refusal: Refusal, *, as_json: bool) -> NoReturn:
    """Say why there is no answer and leave with its exit code."""
    tell(refusal.text)
    if as_json:
        print_text(refusal.json())
    sys.exit(refusal.exit_code)


class OneOf(click.Choice[str]):
    """One of the words that the function behind the command takes, refused in the same words."""

    def __init__(self, choices: Any) -> None:
        super().__init__(words_of(choices))

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the word; another one ends the command."""
        del ctx
        if value not in self.choices:
            name = (param.opts[0] if isinstance(param, click.Option) else param.name) if param else ""
            fail(f"{name} {value!r}: {offer(tuple(self.choices))}")
        return str(value)


UNITS = {
    "pressure": "Unit of pressures: bar, psi, kPa, kg/cm2, MPa.",
    "flow": "Unit of flows: m3/h, bbl/h, t/h, L/s ...",
    "length": "Unit of lengths: m, ft.",
    "diameter": "Unit of diameters: mm, inch, m.",
}


def _remember(context: click.Context, _: click.Parameter, patient: bool) -> None:
    context.meta[PATIENT] = patient


patient_option = click.option(
    "--patient",
    is_flag=True,
    expose_value=False,
    callback=_remember,
    help="Also do what takes more than about two minutes.",
)
"""How long a command may take: see :func:`answering`."""


def unit_options(*kinds: str) -> Callable[[Command], Command]:
    """Return a decorator that adds the units of the output: of ``kinds``, in this order."""

    def add(command: Command) -> Command:
        for kind in reversed(kinds):
            command = click.option(f"--{kind}", help=UNITS[kind])(command)
        return command

    return add


def wanted_units(options: Mapping[str, str | None]) -> dict[str, str]:
    """Return the units that were asked for; an unknown one ends the command before anything is read."""
    from surge.errors import ArgumentError
    from surge.units import offered

    given = {kind: unit for kind, unit in options.items() if unit is not None}
    try:
        return offered(given)
    except ArgumentError as error:
        fail(error.as_option)


def seconds_of(option: str, text: str | None) -> float | None:
    """Read a time of an option [s]."""
    from surge.units import QuantityError, read

    if text is None:
        return None
    try:
        return read(text, dimension="time").value
    except QuantityError as error:
        fail(f"{option} {error}")


def day_of(text: str | None) -> date | None:
    """Read the day of --today."""
    from surge.errors import ArgumentError
    from surge.units import day

    try:
        return day("today", text)
    except ArgumentError as error:
        fail(error.as_option)
