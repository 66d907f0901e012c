"""The sheet as one HTML file: opens anywhere, asks for nothing, needs no script, and prints."""

from __future__ import annotations

import base64
import hashlib
from importlib.resources import files
from typing import Any

import jinja2
from markupsafe import Markup

HIGHEST, LOWEST = 6, 3  # rows before the details, as long as the others are kept
NOT_KEPT = ("EXCEEDED", "undecided")


def sheet_html(document: dict[str, Any], sketch: str) -> str:
    """Return the sheet as an HTML document.

    Parameters
    ----------
    document : dict
        As :meth:`surge.sheet.data.Sheet.document` gives it; every text of it is escaped.
    sketch : str
        The line-up as SVG, as :func:`surge.sheet.sketch.sketch` gives it: the only markup taken as it is.

    Notes
    -----
    The content security policy lets nothing load and nothing run but the one style sheet inside, by its hash.
    """
    folder = files("surge.sheet") / "templates"
    style = (folder / "sheet.css").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, keep_trailing_newline=True
    )
    template = environment.from_string((folder / "sheet.html").read_text(encoding="utf-8"))
    return template.render(
        d=document,
        highest=_parted(document["highest"], HIGHEST),
        lowest=_parted(document["lowest"], LOWEST),
        sketch=Markup(sketch),
        style=Markup(style),
        style_hash=f"sha256-{digest}",
    )


def _parted(rows: list[dict[str, Any]], most: int) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Rows for the sheet itself, all that are not kept among them, and the others for the details."""
    bad = sum(row["verdict"] in NOT_KEPT for row in rows)
    shown = max(most, bad)
    return rows[:shown], rows[shown:]
