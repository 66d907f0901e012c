"""From the program that is running to a folder for another computer: wheels, a starter, what to read first.

Decisions
---------
* Wheels come by pip, as its user has set it: from the index that this computer uses. Only wheels are taken,
  nothing is built, and nothing of the other system is run here.
* The folder is made beside its place and moved there when it is whole.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from surge import __version__
from surge.errors import RequestError
from surge.offline.starters import NAMES, README, WHEELS, install_line, read_me, starter
from surge.offline.wheels import EXTRA, Target, missing, own_wheel, wheels_in
from surge.workers import Progress

LAST_LINES = 6  # of what pip said, that are told
Download = Callable[[Sequence[str], Path], None]


@dataclass(frozen=True, kw_only=True)
class Collected:
    """A folder that was made.

    Attributes
    ----------
    folder : Path
    target : Target
    wheels : tuple of str
        Names of the files.
    size : int
        Of all of them [bytes].
    """

    folder: Path
    target: Target
    wheels: tuple[str, ...]
    size: int

    @property
    def starter(self) -> str:
        """The file to double click."""
        return NAMES[self.target.system]

    @property
    def line(self) -> str:
        """The one line that installs from the folder."""
        return install_line(__version__)


def collect(
    folder: Path, target: Target, *, download: Download | None = None, progress: Progress | None = None
) -> Collected:
    """Make a folder from which the program installs without internet.

    Parameters
    ----------
    folder : Path
        It must not be there, or be empty.
    target : Target
        The computer that it is for.
    download : callable, optional
        Called with requirements and a folder, brings their wheels there; by default by pip.
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    RequestError
        The folder is in use or cannot be written; wheels cannot be had.
    """
    tell = progress or (lambda _: None)
    _refuse_used(folder)
    try:
        beside = Path(tempfile.mkdtemp(dir=folder.absolute().parent, prefix=".surge-"))
    except OSError as error:
        raise RequestError(f"{folder} cannot be written: {error.strerror}") from None
    try:
        beside.chmod(0o755)
        wheels = beside / WHEELS
        wheels.mkdir()
        _complete(own_wheel(wheels), target, download or by_pip(target), tell)
        (beside / README).write_bytes(read_me(target, __version__))
        begin = beside / NAMES[target.system]
        begin.write_bytes(starter(target, __version__))
        begin.chmod(0o755)
        size = sum(path.stat().st_size for path in wheels.iterdir())
        names = tuple(sorted(path.name for path in wheels.iterdir()))
        if folder.is_dir():
            folder.rmdir()  # it is empty
        beside.rename(folder)
    except OSError as error:
        raise RequestError(f"{folder} cannot be written: {error.strerror}") from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)
    return Collected(folder=folder, target=target, wheels=names, size=size)


def _refuse_used(folder: Path) -> None:
    if folder.is_dir():
        if any(folder.iterdir()):
            raise RequestError(f"{folder} is there already and not empty: name another folder")
    elif folder.exists() or folder.is_symlink():
        raise RequestError(f"{folder} is there already and no folder: name another one")
    elif not folder.absolute().parent.is_dir():
        raise RequestError(f"{folder} cannot be made: there is no folder {folder.absolute().parent}")


def _complete(own: Path, target: Target, download: Download, tell: Progress) -> None:
    """Bring wheels until every one that is needed on the other computer is there.

    All are asked for together each time, so that versions go together.
    """
    asked = [f"{own}[{EXTRA}]"]
    needed = missing(wheels_in(own.parent), target)
    while needed:
        tell(f"{len(needed)} packages, with what they need")
        download(asked, own.parent)
        needed = missing(wheels_in(own.parent), target)
        more = [one for one in needed if one not in asked]
        if needed and not more:
            raise RequestError(
                f"wheels that go together cannot be had: {', '.join(needed)} does not fit the others"
            )
        asked += more  # what pip leaves out, since this computer does not need it


def by_pip(target: Target) -> Download:
    """Return what brings wheels for a computer by pip."""

    def download(needed: Sequence[str], folder: Path) -> None:
        platforms = [word for name in target.platforms for word in ("--platform", name)]
        command = [
            *(sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check"),
            *("--no-input", "--only-binary=:all:", "--implementation", "cp"),
            *("--python-version", target.python, "--dest", str(folder), "--find-links", str(folder)),
            *(*platforms, *needed),
        ]
        done = subprocess.run(command, capture_output=True, text=True, errors="replace", check=False)
        if done.returncode != 0:
            last = [line for line in done.stderr.splitlines() if line.strip()][-LAST_LINES:]
            if "No module named pip" in done.stderr:
                remedy = f"pip is not there: `{Path(sys.executable).name} -m ensurepip` brings it"
                raise RequestError(remedy)
            raise RequestError(
                "wheels cannot be had; pip says: "
                + " / ".join(last)
                + ". Look whether this computer reaches its package index, and whether there are wheels for "
                f"Python {target.python}"
            )

    return download
