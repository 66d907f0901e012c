"""What pages say about the code is so: figures of the method, links, names of files."""

from __future__ import annotations

import re
import tomllib
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules

import pytest

import surge

ROOT = Path(__file__).parents[1]
HOW = ROOT / "notebooks" / "how-it-works.md"
PAGES = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    HOW,
    ROOT / "notebooks" / "guide.md",
    ROOT / "notebooks" / "page.md",
    ROOT / "notebooks" / "verification.md",
    *sorted((ROOT / "cases").rglob("*.md")),
]
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
    from surge.transient.errors import (
        BEFORE,
        LEAST_ERROR,
        LEAST_SHARE,
        LEAST_TIMES,
        LUMP_SAFETY,
        STEP_SAFETY,
    )

    text = HOW.read_text(encoding="utf-8")
    assert BEFORE == 0.5
    step = rf"{STEP_SAFETY:g}\,\max\left(|h - s|,\ \tfrac12|s - d|\right) + b"
    least = (
        rf"\min({LEAST_SHARE:.4f}\,W,\ {LEAST_TIMES:g} \times \text{{these}}) + {LEAST_ERROR:g}~\text{{Pa}}"
    )
    assert rf"{step} + {LUMP_SAFETY}\,|l - s| + {least}$$" in text


def anchors_of(page: Path) -> set[str]:
    """Where links into a page can lead: its headings, as a reader of Markdown makes them."""
    headings = re.findall(r"^#+ (.+)$", page.read_text(encoding="utf-8"), flags=re.M)
    return {re.sub(r"[^\w -]", "", h.lower()).strip().replace(" ", "-") for h in headings}


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
        if target.startswith("http"):
            continue
        name, _, anchor = target.partition("#")
        there = page.parent / name if name else page
        assert there.exists(), target
        assert not anchor or anchor in anchors_of(there), target


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_files_that_a_page_names_are_there(page: Path) -> None:
    named = re.findall(r"`((?:surge|tests|cases|notebooks)/[\w./-]+)`", page.read_text(encoding="utf-8"))
    assert [name for name in named if not (ROOT / name).exists()] == []


def test_the_readme_can_be_read_in_ten_minutes() -> None:
    before_the_changes = (ROOT / "README.md").read_text(encoding="utf-8").split("## Changelog")[0]
    assert len(before_the_changes.split()) <= 1800


# --- the map of rooms, and what heads of modules name ---------------------------------------------------

SURGE = ROOT / "surge"
MAP = re.findall(
    r"^\| `(\w+)` \|[^|]*\|([^|]*)\|$", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"), flags=re.M
)


def found(dotted: str) -> bool:
    """Whether a module, or a name in one, is there."""
    parts = dotted.split(".")
    for k in range(len(parts), 0, -1):
        try:
            here: object = import_module(".".join(parts[:k]))
        except ModuleNotFoundError:
            continue
        for name in parts[k:]:
            if not hasattr(here, name):
                return False
            here = getattr(here, name)
        return True
    return False


def test_every_room_is_on_the_map_in_the_order_of_the_layers() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    layers = project["tool"]["importlinter"]["contracts"][0]["layers"]
    depth = {room: k for k, layer in enumerate(layers) for room in layer.split(" | ")}
    rooms = [room for room, _ in MAP]
    assert sorted(rooms) == sorted(p.parent.name for p in SURGE.glob("*/__init__.py"))
    assert [depth[room] for room in rooms] == sorted(depth[room] for room in rooms)


@pytest.mark.parametrize(("room", "names"), MAP, ids=lambda x: x if x.isidentifier() else "")
def test_map_and_head_of_a_room_say_where_to_begin(room: str, names: str) -> None:
    begin = re.findall(r"`([\w.]+)`", names)
    assert begin
    assert [name for name in begin if not found(f"surge.{room}.{name}")] == []
    assert "Begin with :" in (import_module(f"surge.{room}").__doc__ or "")


def test_no_public_name_is_a_room_or_a_module() -> None:
    """``surge.check`` would turn into the module as soon as anybody imported it."""
    assert {found.name for found in iter_modules(surge.__path__)} & set(surge.__all__) == set()


def test_names_that_texts_of_the_code_refer_to_are_there() -> None:
    role = re.compile(r":(?:mod|func|class|meth|attr|data):`~?(surge(?:\.\w+)*)`")
    named = {n for path in SURGE.rglob("*.py") for n in role.findall(path.read_text(encoding="utf-8"))}
    assert len(named) > 50
    assert sorted(name for name in named if not found(name)) == []


DECIDED = [p for p in sorted(SURGE.rglob("*.py")) if "\nDecisions\n---" in p.read_text(encoding="utf-8")]


@pytest.mark.parametrize("path", DECIDED, ids=lambda p: str(p.relative_to(SURGE)))
def test_constants_that_a_decision_names_are_those_of_its_module(path: Path) -> None:
    module = import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
    named = re.findall(r"``([A-Z][A-Z_]{2,})``", module.__doc__ or "")
    assert [name for name in named if not hasattr(module, name)] == []


@pytest.mark.parametrize("path", DECIDED, ids=lambda p: str(p.relative_to(SURGE)))
def test_a_module_that_decides_is_in_the_list(path: Path) -> None:
    assert f"`{path.relative_to(ROOT)}`" in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
