"""What is compiled is kept as an object, loaded without the compiler, and made anew where it is not whole."""

from __future__ import annotations

import errno
import hashlib
import os
import subprocess
import sys
from collections import namedtuple
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from support.plain_march import marched

from surge.kernel import compiled, objects
from surge.kernel.march import march
from surge.transient.links import Laws

KEEP = """
import sys
from collections import namedtuple
import numpy as np
from surge.kernel import compiled

Bundle = namedtuple("Bundle", "x counts")

@compiled.jit
def twice(x):
    return 2.0 * x

@compiled.entry(results=2)
def doubled(bundle, share, first, more):
    for i in range(bundle.x.size):
        bundle.x[i] = twice(bundle.x[i]) + share
    more[0, 0] = bundle.counts[first]
    return first + 1, bundle.x.size

kept = doubled.kept()
bundle, more = Bundle(np.arange(3.0), np.array([5, 7])), np.zeros((1, 1))
result = doubled(bundle, 0.5, 1, more)
print(kept, result, bundle.x.tolist(), more.item(), compiled.TROUBLE, "numba" in sys.modules)
"""
FIGURES = "(2, 3) [0.5, 2.5, 4.5] 7.0"


def keep(**environment: str) -> str:
    """Compile an entry, or load it; whether it was kept, what came of it, what stood in the way."""
    got = subprocess.run(
        [sys.executable, "-c", KEEP],
        capture_output=True,
        text=True,
        env=os.environ | environment,
        check=False,
    )
    assert got.returncode == 0, got.stderr
    return got.stdout.strip()


def test_what_is_kept_is_loaded_without_the_compiler_and_what_is_damaged_made_anew(tmp_path: Path) -> None:
    folder = {"NUMBA_CACHE_DIR": str(tmp_path / "cache"), "NUMBA_DISABLE_JIT": "0"}
    new, kept = f"False {FIGURES} [] True", f"True {FIGURES} [] False"
    assert keep(**folder) == new
    assert keep(**folder) == kept
    (path,) = (tmp_path / "cache").iterdir()
    whole = path.read_bytes()
    for damaged in (whole[:100], b"", whole[:-1] + bytes([whole[-1] ^ 1])):
        path.write_bytes(damaged)
        assert keep(**folder) == new
        assert path.read_bytes()[:32] == hashlib.sha256(path.read_bytes()[32:]).digest()
    assert [p.name for p in path.parent.iterdir()] == [path.name]


def test_an_object_of_other_arguments_is_not_called(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Machine code that takes one more array would read what is none."""
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    monkeypatch.setattr(objects, "_linked", lambda code: code)
    assert objects.load("some", "two arrays", lambda: b"first") == b"first"
    assert objects.load("some", "two arrays", lambda: b"anew") == b"first"
    assert objects.load("some", "three arrays", lambda: b"second") == b"second"
    assert objects.load("some", "three arrays", lambda: b"anew") == b"second"


def test_without_a_place_for_it_the_work_goes_on(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    said = keep(NUMBA_CACHE_DIR=str(tmp_path / "file" / "cache"), NUMBA_DISABLE_JIT="0")
    assert said.startswith(f"False {FIGURES} [")
    assert os.strerror(errno.ENOTDIR) in said


def test_an_object_of_other_sources_or_another_processor_has_another_name(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    named = objects._file("march")
    monkeypatch.setattr("llvmlite.binding.get_host_cpu_name", lambda: "another")
    objects._key.cache_clear()
    other = objects._file("march")
    monkeypatch.undo()
    read = Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda self: read(self) + b"#" * (self.name == "laws.py"))
    objects._key.cache_clear()
    changed = objects._file("march")
    monkeypatch.undo()
    objects._key.cache_clear()
    assert len({named, other, changed}) == 3
    assert objects._file("march") == named


def test_the_newest_objects_stay(tmp_path: Path) -> None:
    for k in range(objects.KEPT + 2):
        path = tmp_path / f"march-{k}.obj"
        path.touch()
        os.utime(path, (k, k))
    (tmp_path / "march_block-0.obj").touch()
    objects._tidy(tmp_path, "march")
    assert {p.name for p in tmp_path.iterdir()} == {
        "march_block-0.obj",
        *(f"march-{k}.obj" for k in range(2, objects.KEPT + 2)),
    }


def test_where_no_object_can_be_loaded_the_compiler_is_the_way_in(monkeypatch: pytest.MonkeyPatch) -> None:
    def cannot(*_: Any) -> None:
        raise RuntimeError("no linker")

    bundle = namedtuple("Bundle", "x")
    monkeypatch.setattr(objects, "load", cannot)
    monkeypatch.setattr(compiled, "PLAIN", False)
    monkeypatch.setattr(compiled, "TROUBLE", [])
    made = compiled.entry(results=1)(_last)
    assert made(bundle(np.array([1.0, 3.0])), 1) == 3
    assert compiled.TROUBLE == ["no linker"]


def test_a_choice_is_the_same_compiled_and_in_plain_python(tmp_path: Path) -> None:
    """Where the condition does not hold, or what is new is no number, it keeps what stands in memory."""
    got = subprocess.run(
        [sys.executable, "-c", CHOICES],
        capture_output=True,
        text=True,
        env=os.environ | {"NUMBA_CACHE_DIR": str(tmp_path), "NUMBA_DISABLE_JIT": "0"},
        check=False,
    )
    assert got.returncode == 0, got.stderr
    compiled_, plain = got.stdout.splitlines()
    assert compiled_ == plain
    assert plain == "[0.5, 3.0, 2.0, 4.0, 1.5] [0.0, -3.0, 2.0, -4.0, 0.5] [0, 7, 0, 7, 0]"


CHOICES = """
import math
from collections import namedtuple
import numpy as np
from surge.kernel import compiled
from surge.kernel.compiled import larger, pick, smaller

Bundle = namedtuple("Bundle", "new high low count")

@compiled.entry(results=0)
def kept(b, seven):
    for i in range(b.new.size):
        b.high[i] = larger(b.new[i], b.high[i])
        b.low[i] = smaller(-b.new[i], b.low[i])
        b.count[i] = pick(b.new[i] > 2.5, seven, b.count[i])

for run in (kept, kept.function):
    new = np.array([-0.5, 3.0, math.nan, 4.0, -1.5])
    high, low = np.array([0.5, 1.0, 2.0, 3.0, 1.5]), np.array([0.0, -1.0, 2.0, 0.0, 0.5])
    made = Bundle(new, high, low, np.zeros(5, int))
    run(made, 7)
    print(made.high.tolist(), made.low.tolist(), made.count.tolist())
"""


def _last(bundle, at):  # type: ignore[no-untyped-def]
    return int(bundle.x[at])


def test_an_array_of_another_kind_is_no_argument() -> None:
    """Machine code takes what stands at an address: what that is, is looked at before."""
    grid = marched(1, Laws(ratio={}, speed={})).grid
    nothing = np.empty((0, 1))
    for wrong in (nothing.astype(np.float32), np.empty((4, 4))[:, ::2], np.empty(0)):
        if not compiled.PLAIN:
            with pytest.raises(TypeError, match="compiled for"):
                march(grid.net, 0, 1, 0.01, False, False, 1, wrong, nothing)
