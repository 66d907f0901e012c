"""Pictures are drawn whatever the user's settings of the drawing library say."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

DRAW = """
import io, os, sys
from surge.errors import RequestError
from surge.plots.frame import new_figure, our_settings
before = dict(os.environ)
try:
    with our_settings():
        figure = new_figure((2.0, 1.0))
        figure.text(0.5, 0.5, "pressure")
        out = io.BytesIO()
        figure.savefig(out, format="png")
        figure.savefig(io.BytesIO(), format="svg")
except RequestError as error:
    sys.exit(f"refused: {error}")
assert dict(os.environ) == before
sys.stdout.buffer.write(out.getvalue())
"""


def drawn(folder: Path, **settings: str) -> subprocess.CompletedProcess[bytes]:
    environment = {k: v for k, v in os.environ.items() if not k.startswith("MPL")} | settings
    command = [sys.executable, "-c", DRAW]
    return subprocess.run(command, env=environment, cwd=folder, capture_output=True, check=False)


def test_no_backend_of_elsewhere_stops_a_picture(tmp_path: Path) -> None:
    usual = drawn(tmp_path)
    assert usual.stdout.startswith(b"\x89PNG"), usual.stderr
    for backend in ("module://no_such_package.backend_inline", "nonsense", "inline", "tkagg"):
        got = drawn(tmp_path, MPLBACKEND=backend)
        assert got.stdout == usual.stdout, (backend, got.stderr.decode()[-500:])


@pytest.mark.parametrize("content", [b"backend: nonsense\nfont.size: huge\n", b"\xff\xfe\x00"])
def test_settings_in_the_folder_change_nothing_or_are_named(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "matplotlibrc").write_bytes(content)
    got = drawn(tmp_path)
    if got.returncode == 0:
        assert got.stdout == drawn(tmp_path.parent).stdout
    else:
        assert b"refused: nothing can be drawn here" in got.stderr
        assert b'"matplotlibrc"' in got.stderr
        assert b"Traceback" not in got.stderr
