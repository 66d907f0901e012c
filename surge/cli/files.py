"""What commands write: which files may be written over, and how.

Decisions
---------
* Files are written by :func:`surge.outputs.write_whole` only. Nothing is left half written.
* What a command reads is never written over, with --force or without: neither by its name nor by a link or by
  another name of the same file. So are the inputs that it is called with, looked at before anything is
  computed, and every file that was read for it, such as the rules that a case names.
* Only files are written: a folder, a device or a pipe in the place of one is refused.
* No output holds the time of day. Each names program, case and hash: in text, in JSON, in a column
  ``made_by`` of CSV, unseen in pictures (:func:`surge.plots.frame.file_words`).
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from surge.cli.shared import fail, tell
from surge.inputs import no_name_on_windows, was_read
from surge.outputs import Content, write_whole

if TYPE_CHECKING:
    from surge.api.answers import Picture

WINDOWS = os.name == "nt"


class OutputPath(click.Path):
    """The type of an option or argument that names a file to write; whoever writes it looks at it."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:  # noqa: ARG002
        """Return the name as it is."""
        return value


class InputPath(OutputPath):
    """The type of every option and argument that names a file to read; whoever reads it looks at it."""


def _state(path: Path) -> os.stat_result | None:
    """What stands where a file is to be written, links followed; None for nothing."""
    try:
        return path.stat()
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:  # too long, a loop of links, a folder that may not be looked into
        reason = error.strerror if isinstance(error, OSError) else str(error)
        fail(f"{path} cannot be written: {reason}")


def _given() -> Iterator[tuple[str, os.stat_result]]:
    """The inputs that the command is called with, as far as there are such files."""
    context = click.get_current_context(silent=True)
    for parameter in context.command.params if context else ():
        value = context.params.get(parameter.name or "") if context else None
        if isinstance(parameter.type, InputPath) and value is not None:
            try:
                yield value, Path(value).stat()
            except (OSError, ValueError):
                continue  # whoever reads it says so


def _refuse_target(path: Path) -> bool:
    """Leave with 2 where nothing may be written, whatever was said; return whether a file is there."""
    if WINDOWS and (why := no_name_on_windows(path)):
        fail(f"{path} cannot be written: {why}; choose another name")
    there = _state(path)
    if there is None:
        return False
    kinds = (
        (stat.S_ISDIR, "a folder"),
        (stat.S_ISFIFO, "a pipe"),
        (stat.S_ISSOCK, "a socket"),
        (stat.S_ISCHR, "a device"),
        (stat.S_ISBLK, "a device"),
    )
    for is_kind, words in kinds:
        if is_kind(there.st_mode):
            fail(f"{path} cannot be written: it is {words}; name a file")
    for name, state in _given():
        if os.path.samestat(there, state):
            fail(f"{path} is {name}, which this command reads: name another file")
    if was_read(there):
        fail(f"{path} was read for this answer and is not written over: name another file")
    return True


def refuse_existing(path: Path, *, force: bool) -> None:
    """Leave with 2 when a file to write exists already, or could not be written anyway."""
    if _refuse_target(path) and not force:
        fail(f"{path} exists already: choose another name, or add --force to overwrite it")
    if not path.parent.is_dir():
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


def write_file(path: Path, content: Content) -> None:
    """Write a file whole, or say in one line why not and leave with 2."""
    _refuse_target(path)  # once more: by now it is known what was read
    try:
        write_whole(path, content)
    except OSError as error:
        fail(f"{path} cannot be written: {error.strerror}")


def contents_of(paths: Mapping[Path, str], make: Callable[[Any], Mapping[Any, bytes]]) -> dict[Path, bytes]:
    """What goes into each file: ``make`` is asked once, for every kind once, and not at all for no file."""
    kinds = tuple(dict.fromkeys(paths.values()))
    made = make(kinds) if kinds else {}
    return {path: made[kind] for path, kind in paths.items()}


def bytes_of(pictures: Mapping[Any, Picture]) -> dict[Any, bytes]:
    """What is in the files of pictures, by kind."""
    return {kind: picture.content for kind, picture in pictures.items()}


def write_files(contents: Mapping[Path, Content], *, told: str = "") -> None:
    """Write files that were made, each whole, and say so."""
    for path in contents:
        _refuse_target(path)  # of all, before the first is written
    for path, content in contents.items():
        write_file(path, content)
        tell(f"{path} written{told}.")
