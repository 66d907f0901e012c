"""What the commands share: printing, refusing, progress, writing files, the units of the output.

Heavy imports are made where they are needed.

Decisions
---------
* Files are written by :func:`write_whole` only: beside the target, synchronised, then renamed. Nothing is
  left half written.
* No output holds the time of day. Each names program, case and hash: in text, in JSON, in a column
  ``made_by`` of CSV, unseen in pictures (:func:`surge.plots.frame.file_words`).
"""

from __future__ import annotations

import errno
import os
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from surge import __version__

if TYPE_CHECKING:
    from surge.case.file import Case
    from surge.errors import SurgeError
    from surge.units import ShowUnits

LONGEST_NAME = 80  # characters of a case's path in a signature, so that its hash is seen wherever it stands


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file whole or not at all; it is then as others may read it, or as it was before."""
    import tempfile

    path = path.resolve()  # a link stays one
    with tempfile.NamedTemporaryFile(dir=path.parent, prefix=".surge-", delete=False) as file:
        try:
            file.write(content if isinstance(content, bytes) else content.encode())
            file.flush()
            os.fsync(file.fileno())
            Path(file.name).chmod(path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_mask())
            Path(file.name).replace(path)
        except BaseException:
            Path(file.name).unlink(missing_ok=True)
            raise


def _mask() -> int:
    """Rights that new files do not get; there is no way to ask without setting it."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def print_text(text: str, *, nl: bool = True) -> None:
    """Write to standard output; when it takes nothing more, say so instead of crashing."""
    try:
        click.echo(text, nl=nl)
    except OSError as error:
        if error.errno == errno.EPIPE:
            raise  # click ends quietly: the reader has gone
        fail(f"standard output cannot be written: {error.strerror}")


def print_document(document: Any) -> None:
    """Print one JSON document, in ASCII: whatever the terminal's coding, it stays whole."""
    import json

    from surge.reports.document import as_json

    print_text(json.dumps(as_json(document), allow_nan=False, indent=1))


def fail(message: str) -> NoReturn:
    """Say in one line what was wrong and leave with 2."""
    click.echo(f"surge: {message}", err=True)
    sys.exit(2)


@contextmanager
def answering(path: str, *, as_json: bool) -> Iterator[ProgressLine]:
    """Surround the work of a command: progress is told, faults become lines and exit codes.

    Yields the progress; called with a word, it shows that the work goes on.
    """
    with lighter_start():
        from surge.errors import CaseError, SurgeError

        progress = ProgressLine()
        try:
            try:
                yield progress
            finally:
                progress.done()
                _tell_trouble()
        except CaseError as error:
            refuse(getattr(error, "filename", path), error, as_json=as_json)
        except SurgeError as error:
            undecided(path, error, as_json=as_json)


def _tell_trouble() -> None:
    """Say in one line why the compiled solver could not be kept for the next time."""
    compiled = sys.modules.get("surge.kernel.compiled")
    if compiled is not None and compiled.TROUBLE:
        click.echo(
            f"surge: the compiled solver cannot be kept ({compiled.TROUBLE[-1]}), so that every start takes "
            "some ten seconds more: let NUMBA_CACHE_DIR name a folder that can be written",
            err=True,
        )
        compiled.TROUBLE.clear()


@contextmanager
def lighter_start() -> Iterator[None]:
    """Do without what nothing here needs, while the solver loads.

    The compiler's runtime asks for scipy's linear algebra wherever scipy is installed (0.14 s), the
    case reader's library looks for plugins, and the collector walks over modules that stay.
    """
    import gc

    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "1")
    hidden = "scipy" not in sys.modules
    if hidden:
        sys.modules["scipy"] = None  # type: ignore[assignment]
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()  # else the first collection walks over all of the modules
        gc.enable()
        if hidden and sys.modules.get("scipy", 0) is None:
            del sys.modules["scipy"]


class ProgressLine:
    """Tells on standard error how long the work goes on; called from several threads.

    Only on a terminal, and only when it takes longer than ``after`` seconds.
    """

    def __init__(self, *, after: float = 1.0, every: float = 0.2) -> None:
        self.start = time.monotonic()
        self.next, self.every = self.start + after, every
        self.width = 0
        self.on = sys.stderr.isatty()
        self.lock = threading.Lock()

    def __call__(self, word: str) -> None:
        """Say what is being done, if it is time to."""
        now = time.monotonic()
        with self.lock:
            if not self.on or now < self.next:
                return
            self.next = now + self.every
            text = f"surge: {now - self.start:.0f} s, {word}"
            click.echo("\r" + text.ljust(self.width), nl=False, err=True)
            self.width = len(text)

    def done(self) -> None:
        """Clear the line."""
        if self.width:
            click.echo("\r" + " " * self.width + "\r", nl=False, err=True)


def _read_again(path: str) -> tuple[str, str]:
    """Text of a case file and its hash; empty when it cannot be read."""
    import hashlib

    from surge.case.file import read_text
    from surge.errors import CaseError

    try:
        text = read_text(path)
    except CaseError:
        text = ""
    return text, hashlib.sha256(text.encode()).hexdigest()


def refuse(path: str, error: Any, *, as_json: bool) -> NoReturn:
    """Print all faults and leave with 2."""
    from surge.toml.faults import describe, format_faults

    text, digest = _read_again(path)
    click.echo(format_faults(error.faults, filename=path, text=text), err=True)
    if as_json:
        from surge.reports.document import refusal

        records = describe(error.faults, filename=path, text=text)
        print_document(refusal(records, version=__version__, filename=path, sha256=digest))
    sys.exit(2)


def undecided(path: str, error: SurgeError, *, as_json: bool) -> NoReturn:
    """Say why nothing could be computed and leave with 4."""
    click.echo(f"surge: {path}: cannot be decided: {error}", err=True)
    if as_json:
        from surge.reports.document import no_answer

        _, digest = _read_again(path)
        print_document(no_answer(str(error), version=__version__, filename=path, sha256=digest))
    sys.exit(error.exit_code)


def units_over(wanted: dict[str, str | None]) -> Any:
    """Check the unit options now; give a function that lays them over a case's own."""
    from dataclasses import replace

    from surge.units import SHOWN

    given = {k: v for k, v in wanted.items() if v is not None}
    for kind, unit in given.items():
        if unit not in SHOWN[kind]:
            fail(f"--{kind} {unit}: no such unit; write one of {', '.join(SHOWN[kind])}")

    def over(own: ShowUnits) -> ShowUnits:
        return replace(own, **given)

    return over


def refuse_existing(path: Path, *, force: bool) -> None:
    """Leave with 2 when a file to write exists already, or could not be written anyway."""
    try:
        exists, folder = path.exists(), path.parent.is_dir()
    except OSError as error:  # a name that is too long, a folder that may not be looked into
        fail(f"{path} cannot be written: {error.strerror}")
    if exists and not force:
        fail(f"{path} exists already: choose another name, or add --force to overwrite it")
    if not folder:
        fail(f"{path} cannot be written: there is no folder {path.parent}")


def output_paths(outputs: Sequence[str], *, kinds: Sequence[str], force: bool) -> dict[Path, str]:
    """Files to write and the kind of each by its ending, looked at before anything is computed."""
    endings = {f".{kind}": kind for kind in kinds}
    paths = {Path(name): endings.get(Path(name).suffix.lower(), "") for name in outputs}
    for path, kind in paths.items():
        if not kind:
            fail(f"--output {path}: end the name with one of {', '.join(endings)}")
        refuse_existing(path, force=force)
    return paths


def write_file(path: Path, content: str | bytes) -> None:
    """Write a file whole, or say in one line why not and leave with 2."""
    try:
        write_whole(path, content)
    except OSError as error:
        fail(f"{path} cannot be written: {error.strerror}")


def signature(case: Case) -> str:
    """Which program and which case an answer comes from."""
    name = case.filename if len(case.filename) <= LONGEST_NAME else f"...{case.filename[-LONGEST_NAME:]}"
    return f"surge {__version__}, case {name}, sha256 {case.sha256[:16]}"
