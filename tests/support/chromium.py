"""A browser for tests of the page: where it is, how it is started, cases to open in it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from support.demos import CASES
from support.inputs.berth import shutdown_alone

CHROMIUM = next(
    (p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n))), None
)
ARGUMENTS = [
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update"),
]
IN_A_BROWSER = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: apt-get install chromium"),
]
LONG = 240_000  # [ms] that a calculation may take on a busy machine
KEPT, EXCEEDED = "#verdict.is-limit-kept", "#verdict.is-limit-exceeded"
Opened = Callable[..., Any]


def write_case(folder: Path, name: str, demo: str | None = None, **replaced: str) -> Path:
    """Write a demo, or the smallest berth with its shutdown alone, with some of its words replaced."""
    text = shutdown_alone() if demo is None else (CASES / f"{demo}.toml").read_text(encoding="utf-8")
    for old, new in replaced.items():
        text = text.replace(old, new)
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def wait_for_text(page: Any, part: str) -> None:
    """Wait until the text of the case has a part; an answer that stands may still be the one before."""
    page.locator("#toml", has_text=part).wait_for(state="attached")


def figure(page: Any, *path: Any) -> Any:
    """The field of the form for a key."""
    return page.locator(f"#form [data-path='{json.dumps(list(path), separators=(',', ':'))}']")
