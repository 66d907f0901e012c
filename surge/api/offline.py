"""A folder from which the program installs and starts on a computer without internet."""

from __future__ import annotations

import re
import sys
from pathlib import Path

from surge.arguments import checked
from surge.choices import SystemOf
from surge.errors import ArgumentError
from surge.offline.collect import Collected, collect
from surge.offline.wheels import Target
from surge.workers import Progress

_VERSION = re.compile(r"3\.(1[1-9]|[2-9][0-9])")


@checked
def pack_offline(
    folder: str | Path,
    *,
    system: SystemOf,
    python: str | None = None,
    progress: Progress | None = None,
) -> Collected:
    """Make a folder that installs and starts the program without internet, as ``surge offline`` does.

    Parameters
    ----------
    folder : str or Path
        Made; it must not be there, or be empty.
    system : {"windows", "linux"}
        Of the computer that it is for: 64 bit, x86.
    python : str, optional
        The version of Python there, such as "3.11"; by default that of this computer.
    progress : callable, optional
        Called with a word as work goes on.

    Returns
    -------
    Collected
        ``wheels``, ``size`` [bytes]; ``starter``, the file to double click; ``line``, which installs by hand.

    Raises
    ------
    ArgumentError
        A version of Python that the program does not run on.
    RequestError
        The folder is in use or cannot be written; wheels cannot be had.
    """
    version = python or f"{sys.version_info[0]}.{sys.version_info[1]}"
    if not _VERSION.fullmatch(version):
        raise ArgumentError(("python",), repr(version), 'write a version from 3.11 on, such as "3.11"')
    return collect(Path(folder), Target(system=system, python=version), progress=progress)
