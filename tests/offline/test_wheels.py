"""The program's own wheel, and what is needed on the other computer."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import zipfile
from pathlib import Path

import pytest

import surge
from surge.offline.wheels import Target, Wheel, missing, own_wheel, wheels_in

WINDOWS, LINUX = Target(system="windows", python="3.11"), Target(system="linux", python="3.12")


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return own_wheel(tmp_path_factory.mktemp("wheel"))


def test_the_own_wheel_holds_the_package_and_its_record_is_true(own: Path) -> None:
    with zipfile.ZipFile(own) as packed:
        names = packed.namelist()
        record = next(n for n in names if n.endswith(".dist-info/RECORD"))
        rows = list(csv.reader(io.StringIO(packed.read(record).decode())))
        for name, digest, size in rows:
            if name != record:
                content = packed.read(name)
                made = base64.urlsafe_b64encode(hashlib.sha256(content).digest()).rstrip(b"=").decode()
                assert (digest, size) == (f"sha256={made}", str(len(content)))
    assert sorted(row[0] for row in rows) == sorted(names)
    package = Path(surge.__file__).parent
    there = {p.relative_to(package.parent).as_posix() for p in package.rglob("*") if p.is_file()}
    assert {n for n in names if n.startswith("surge/")} == {n for n in there if "__pycache__" not in n}
    assert not any(name.endswith((".obj", ".pyc", ".nbi")) for name in names)


def test_the_own_wheel_is_the_same_again_and_says_what_it_needs(own: Path, tmp_path: Path) -> None:
    assert own_wheel(tmp_path).read_bytes() == own.read_bytes()
    (wheel,) = wheels_in(own.parent).values()
    assert (wheel.name, wheel.version) == ("surge", surge.__version__)
    needed = missing(wheels_in(own.parent), WINDOWS)
    assert any(need.startswith("numba") for need in needed)
    assert any(need.startswith("starlette") for need in needed)  # of the page
    assert not any(need.startswith("pytest") for need in needed)


def wheel(name: str, version: str, *needs: str) -> Wheel:
    return Wheel(file=f"{name}-{version}-py3-none-any.whl", name=name, version=version, needs=needs)


SET = {
    "surge": wheel(
        "surge", "0.2.0", "Click>=8.2", 'starlette>=1; extra == "page"', 'pytest; extra == "test"'
    ),
    "click": wheel("click", "8.2", 'colorama; platform_system == "Windows"', 'old; python_version < "3.9"'),
    "starlette": wheel("starlette", "1.1", "anyio[trio]<5,>=4"),
}


def test_conditions_are_those_of_the_other_computer() -> None:
    """pip would judge ``colorama`` by the computer that it runs on, and leave it out on Linux."""
    assert missing(SET, WINDOWS) == ["anyio<5,>=4", "colorama"]
    assert missing(SET, LINUX) == ["anyio<5,>=4"]


def test_extras_of_what_is_needed_and_versions_that_do_not_do() -> None:
    more = {**SET, "anyio": wheel("anyio", "4.2", 'trio>=0.3; extra == "trio"', 'uvloop; extra == "fast"')}
    assert missing(more, LINUX) == ["trio>=0.3"]
    assert missing({**more, "trio": wheel("trio", "0.2")}, LINUX) == ["trio>=0.3"]
    assert missing({**more, "trio": wheel("trio", "0.4")}, LINUX) == []


def test_tags_of_platforms() -> None:
    assert WINDOWS.platforms == ("win_amd64",)
    assert {"manylinux_2_28_x86_64", "manylinux2014_x86_64"} <= set(LINUX.platforms)
