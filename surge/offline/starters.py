"""The texts that install and start the program by double click, and what to read first.

Decisions
---------
* The program is installed into the folder itself, the first time; it can be deleted with it.
* A text for Windows has line ends of Windows and nothing but ASCII: what a command prompt makes of other
  letters goes by the country. Jumps take the place of blocks in brackets: a bracket in the name of a folder
  would end a block.
* pip is isolated: what somebody set for it elsewhere, such as an index, does not count.
"""

from __future__ import annotations

from importlib.resources import files

from surge.offline.wheels import EXTRA, NAME, Target

ENVIRONMENT = "environment"
WHEELS = "wheels"
README = "READ-ME-FIRST.txt"
NAMES = {"windows": "surge.bat", "linux": "surge.sh"}
_LABELS = {"windows": "Windows, 64 bit", "linux": "Linux, 64 bit (x86_64)"}


def install_line(version: str) -> str:
    """Return the one line that installs from the folder."""
    return f"pip install --no-index --find-links {WHEELS} {NAME}[{EXTRA}]=={version}"


def starter(target: Target, version: str) -> bytes:
    """Return the file that installs, the first time, and starts."""
    return _made(NAMES[target.system], target, version)


def read_me(target: Target, version: str) -> bytes:
    """Return what to read first."""
    return _made(f"read-me-{target.system}.txt", target, version)


def _made(name: str, target: Target, version: str) -> bytes:
    """A text of ``texts`` filled in, with the line ends of its system."""
    text = files("surge.offline").joinpath("texts", name).read_text(encoding="ascii")
    values = {
        "@PYTHON@": target.python,
        "@VERSION@": version,
        "@MAJOR@": ", ".join(target.python.split(".")),
        "@NAME@": f"{NAME}[{EXTRA}]=={version}",
        "@LINE@": install_line(version),
        "@SYSTEM@": _LABELS[target.system],
    }
    for key, value in values.items():
        text = text.replace(key, value)
    return (text.replace("\n", "\r\n") if target.system == "windows" else text).encode("ascii")
