"""Wheels: the program's own, packed again from where it is installed, and what wheels need of one another.

Decisions
---------
* The program is on no index, and a package of another kind may have its name there: its wheel is packed from
  the files that are running, and its name is never asked of an index.
* pip judges the conditions of requirements by the computer that it runs on. What is needed on the other
  computer only, such as ``colorama`` on Windows, it leaves out. So the conditions are judged here, for the
  computer that the folder is for, until nothing is missing (:func:`missing`).
"""

from __future__ import annotations

import base64
import hashlib
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from email.parser import Parser
from importlib import metadata
from pathlib import Path

import surge
from surge.errors import RequestError

NAME = "surge"
EXTRA = "page"
STAMP = (1980, 1, 1, 0, 0, 0)  # of every file in the wheel: the same files give the same bytes
_KEPT = ("METADATA", "entry_points.txt")
_LEFT_OUT = ("__pycache__",)


@dataclass(frozen=True, kw_only=True)
class Target:
    """The computer that a folder is for.

    Attributes
    ----------
    system : {"windows", "linux"}
    python : str
        Its version, such as "3.11".
    """

    system: str
    python: str

    @property
    def platforms(self) -> tuple[str, ...]:
        """Its platforms as tags of wheels have them, the newest first."""
        if self.system == "windows":
            return ("win_amd64",)
        newer = tuple(f"manylinux_2_{minor}_x86_64" for minor in range(35, 16, -1))
        return (*newer, "manylinux2014_x86_64", "linux_x86_64")

    @property
    def environment(self) -> dict[str, str]:
        """What conditions of requirements go by."""
        windows = self.system == "windows"
        return {
            "implementation_name": "cpython",
            "implementation_version": f"{self.python}.0",
            "os_name": "nt" if windows else "posix",
            "platform_machine": "AMD64" if windows else "x86_64",
            "platform_python_implementation": "CPython",
            "platform_release": "",
            "platform_system": "Windows" if windows else "Linux",
            "platform_version": "",
            "python_full_version": f"{self.python}.0",
            "python_version": self.python,
            "sys_platform": "win32" if windows else "linux",
        }


# The program's own wheel


def own_wheel(folder: Path) -> Path:
    """Pack the program that is running as a wheel into a folder; return the file.

    Raises
    ------
    RequestError
        It was not installed, so that nobody knows what it needs.
    """
    try:
        installed = metadata.distribution(NAME)
    except metadata.PackageNotFoundError:
        raise RequestError(
            "the program runs without being installed, so that what it needs is not known: install it "
            "(`pip install .` in its folder) and try again"
        ) from None
    version = surge.__version__
    info = f"{NAME}-{version}.dist-info"
    files = dict(_of_package())
    for name in _KEPT:
        if (text := installed.read_text(name)) is not None:
            files[f"{info}/{name}"] = text.encode()
    files |= {f"{info}/licenses/{path.name}": path.read_bytes() for path in _licences(installed)}
    tags = "Wheel-Version: 1.0\nGenerator: surge offline\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
    files[f"{info}/WHEEL"] = tags.encode()
    record = f"{info}/RECORD"
    lines = [f"{name},sha256={_digest(content)},{len(content)}" for name, content in files.items()]
    files[record] = "\n".join([*lines, f"{record},,", ""]).encode()
    target = folder / f"{NAME}-{version}-py3-none-any.whl"
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in files.items():
            packed.writestr(zipfile.ZipInfo(name, STAMP), content, zipfile.ZIP_DEFLATED)
    return target


def _of_package() -> Iterator[tuple[str, bytes]]:
    """The files of the package, without what the interpreter and the compiler keep beside them."""
    package = Path(surge.__file__).parent
    for path in sorted(package.rglob("*")):
        parts = path.relative_to(package.parent).parts
        if path.is_file() and not set(_LEFT_OUT) & set(parts):
            yield "/".join(parts), path.read_bytes()


def _licences(installed: metadata.Distribution) -> list[Path]:
    listed = [Path(str(f.locate())) for f in installed.files or () if "licenses" in f.parts]
    return [path for path in listed if path.is_file()]


def _digest(content: bytes) -> str:
    return base64.urlsafe_b64encode(hashlib.sha256(content).digest()).rstrip(b"=").decode()


# What wheels need


@dataclass(frozen=True, kw_only=True)
class Wheel:
    """What a wheel says of itself.

    Attributes
    ----------
    file, name, version : str
    needs : tuple of str
        Its requirements, with their conditions.
    """

    file: str
    name: str
    version: str
    needs: tuple[str, ...]


def plain(name: str) -> str:
    """Return a name of a package as indexes compare it."""
    from packaging.utils import canonicalize_name

    return str(canonicalize_name(name))


def wheels_in(folder: Path) -> dict[str, Wheel]:
    """Return the wheels of a folder by their plain names."""
    found = {}
    for path in sorted(folder.glob("*.whl")):
        with zipfile.ZipFile(path) as packed:
            inside = next(n for n in packed.namelist() if n.endswith(".dist-info/METADATA"))
            said = Parser().parsestr(packed.read(inside).decode("utf-8"), headersonly=True)
        wheel = Wheel(
            file=path.name,
            name=said["Name"],
            version=said["Version"],
            needs=tuple(said.get_all("Requires-Dist") or ()),
        )
        found[plain(wheel.name)] = wheel
    return found


def missing(wheels: Mapping[str, Wheel], target: Target, *, extras: Iterable[str] = (EXTRA,)) -> list[str]:
    """Return what the program still needs on the other computer, as pip takes it.

    Parameters
    ----------
    wheels : mapping of str to Wheel
        By their plain names; the program's own among them.
    target : Target
    extras : iterable of str
        Of the program.

    Returns
    -------
    list of str
        Requirements without a wheel, or whose wheel is of a version that does not do.
    """
    from packaging.requirements import Requirement

    lacking: dict[str, str] = {}
    seen: set[tuple[str, str]] = set()
    waiting = [(NAME, extra) for extra in ("", *extras)]
    while waiting:
        name, extra = waiting.pop()
        if (name, extra) in seen or name not in wheels:
            continue
        seen.add((name, extra))
        for text in wheels[name].needs:
            need = Requirement(text)
            if need.marker and not need.marker.evaluate({**target.environment, "extra": extra}):
                continue
            wanted = plain(need.name)
            there = wheels.get(wanted)
            if there is None or not need.specifier.contains(there.version, prereleases=True):
                lacking[wanted] = f"{need.name}{need.specifier}"
            waiting += [(wanted, one) for one in ("", *sorted(need.extras))]
    return sorted(lacking.values())
