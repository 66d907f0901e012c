"""What pages say about the code is so: figures of the method, links, and the map of modules."""

from __future__ import annotations

import re
from importlib import import_module
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
HOW = ROOT / "notebooks" / "how-it-works.md"
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", HOW]
FIGURE = re.compile(r"([0-9][0-9.e+-]*)( %)?<!--([\w.]+)\.(\w+)-->")
FIGURES = FIGURE.findall(HOW.read_text(encoding="utf-8"))


def test_every_hidden_note_is_understood() -> None:
    assert len(FIGURES) == HOW.read_text(encoding="utf-8").count("<!--")
    assert len(FIGURES) >= 30


@pytest.mark.parametrize(("figure", "percent", "module", "name"), FIGURES, ids=lambda x: x.strip() or "-")
def test_a_figure_of_the_method_is_that_of_the_code(
    figure: str, percent: str, module: str, name: str
) -> None:
    value = getattr(import_module(f"surge.{module}"), name)
    assert float(figure) == pytest.approx(value * (100.0 if percent else 1.0), rel=1e-12)


def test_the_formula_of_the_error_has_the_factors_of_the_code() -> None:
    from surge.transient.summary import FIT_SAFETY, LEAST_ERROR, LEAST_SHARE

    text = HOW.read_text(encoding="utf-8")
    formula = (
        rf"{FIT_SAFETY}\,|r - h| + {FIT_SAFETY}\,|l - s| + {LEAST_SHARE:.4f}\,R + {LEAST_ERROR:g}~\text{{Pa}}"
    )
    assert formula in text


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
        if not target.startswith("http"):
            assert (page.parent / target).exists(), target
