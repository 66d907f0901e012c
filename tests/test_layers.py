"""An import may only point to a lower ring; units, files and plots stay at the edge."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "surge"

MODULES = sorted(p.stem for p in PACKAGE.glob("*.py"))

RINGS: tuple[tuple[str, ...], ...] = (
    ("errors", "phrases", "search", "workers"),
    (
        *("formulas", "compiled", "curves", "boundaries", "trees", "kernel"),
        *("batch_links", "batch_clusters", "batch_pipes", "batch_kernel"),
    ),
    (
        *("lineup", "stroke", "topology", "way", "sequences", "reference", "stroketest", "records_limits"),
        *("pipesizes", "flanges", "hoses", "valvesizes", "fittings", "roughness", "rulebook"),
        *("petroleum", "cargo_table", "cargo_table_petroleum", "cargo_table_chemicals", "cargoes"),
    ),
    ("rules_fields", "rules_curves", "rules_scenarios", "rules"),
    ("losses", "flownet", "steady", "reaches", "clusters", "grid"),
    (
        "watch",
        "march",
        "batch_lane",
        "batch_block",
        "batch_single",
        "batch",
        "result",
        "closures",
        "peaks",
        "scenario_result",
        "run",
        "profiles",
    ),
    (
        *("verdict", "static", "ranges"),
        *("rulings_ground", "rulings_times", "rulings_strokes", "rulings_flow", "rulings_parts"),
        *(
            "rulings_pressure",
            "rulings",
            "assess",
            "margins",
            "scan",
            "strokelimits",
            "ratelimit",
            "openrate",
            "jointset",
            "window",
        ),
        *("orders", "shapes", "spread", "bandsearch", "bands"),
        *("chart_pick", "chart_survey", "chart"),
        *("trend", "valvehistory_types", "valvehistory", "valvehistory_words"),
        *("strokecurve", "strokecurve_words", "measured"),
        *("records_judge", "records_findings", "records_window"),
    ),
    ("units", "positions", "tomltext", "rulebook_read"),
    (
        "leaves",
        "casespec",
        "casefaults",
        "casenotes",
        "casesize",
        "casemend",
        "casestock",
        "casewalls",
        "caseliquid",
        "casescenario",
        "casebuild",
    ),
    (
        *("casefile", "rulefile"),
        *(
            "records_text",
            "records_dates",
            "records_cells",
            "records_columns",
            "records_rows",
            "records_read",
            *("records_limitfile", "records_sources"),
            "strokecurve_read",
        ),
    ),
    (
        "checks",
        "asked",
        "catalogue",
        *("proof", "proof_lines", "proof_speeds", "proof_friction", "proof_waves", "proof_junctions"),
        *("proof_ends", "proof_books", "proof_allievi", "proof_packing", "proof_rules", "proof_checks"),
        "words",
        "advice",
        "report_rules",
        "report_text",
        "report_list",
        "report_proof",
        "report_json",
        "report_window",
        "report_orders",
        *("pictures", "pictures_time", "pictures_line", "pictures_wave", "animation", "facts", "compare"),
        *(
            "plots_frame",
            "plots_time",
            "plots_line",
            "plots_wave",
            *("plots_film", "plots_film_frames"),
            "film_files",
            "report_picture",
            *("plots_compare", "report_compare"),
        ),
        *("plots_history_page", "plots_history", "plots_measured", "report_measured"),
        "plots",
        "report_chart",
        *("report_records_open", "report_records", "report_records_data"),
        *("sheet_tests", "sheet_rows", "sheet_moves", "sheet_windows", "sheet_data"),
        *("sheet_layout", "sheet_sketch", "sheet_html", "sheet_pdf"),
        "library",
    ),
    (
        "cli_options",
        "cli_shared",
        *(
            "command_new",
            "command_check",
            "command_window",
            "command_chart",
            "command_picture",
            "command_animate",
            "command_compare",
            "command_list",
            "command_verify",
            "command_schema",
            "command_sheet",
            *("command_curve", "command_records"),
        ),
        *("cli", "__main__", "__init__"),
    ),
)
RING_OF = {name: i for i, ring in enumerate(RINGS) for name in ring}
# Within a ring: a module may import those that stand before it in its ring.
PLACE = {name: k for ring in RINGS for k, name in enumerate(ring)}
ONLY = {
    "pint": {"units"},
    "matplotlib": {m for m in MODULES if m.startswith("plots")},
    "PIL": {"film_files"},
    "click": {m for m in MODULES if m.startswith(("cli", "command_"))},
    "pydantic": {"casespec", "casefaults", "casefile", "leaves", "casemend"},
    "numba": {"boundaries", "compiled", "kernel", "batch_links"},
    "scipy": {"trend"},
    "fluids": {"fittings"},
    "typst": {"sheet_pdf"},
    "jinja2": {"sheet_html"},
    "markupsafe": {"sheet_html"},
}


def imports(module: str) -> set[tuple[str, str]]:
    """Pairs of (top package, sub-module) that a module imports anywhere, type checking apart."""
    tree = ast.parse((PACKAGE / f"{module}.py").read_text(encoding="utf-8"))
    skipped = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    found: set[tuple[str, str]] = set()
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.Import):
            found |= {(a.name.split(".")[0], a.name.partition(".")[2]) for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            top, _, rest = node.module.partition(".")
            if top == "surge" and not rest:
                found |= {("surge", a.name) for a in node.names if (PACKAGE / f"{a.name}.py").exists()}
            else:
                found.add((top, rest))
        elif isinstance(node, ast.ImportFrom):
            pytest.fail(f"{module}: relative import")
    return found


@pytest.mark.parametrize("module", MODULES)
def test_imports_point_down(module: str) -> None:
    assert module in RING_OF, f"{module} stands in no ring: put it into RINGS"
    for top, name in imports(module):
        if top != "surge" or not name:
            continue
        other = name.split(".")[0]
        below = RING_OF[other] < RING_OF[module]
        beside = RING_OF[other] == RING_OF[module] and PLACE[other] < PLACE[module]
        assert below or beside, f"{module} imports {other}, which does not stand below it"


@pytest.mark.parametrize("module", MODULES)
def test_edge_packages_stay_at_the_edge(module: str) -> None:
    for top, _ in imports(module):
        if top in ONLY:
            assert module in ONLY[top], f"{module} imports {top}"


def test_kernel_knows_only_numbers() -> None:
    allowed = {"numpy", "numba", "math", "collections", "__future__", "surge", "dataclasses"}
    kernels = {
        "kernel",
        "boundaries",
        "trees",
        "batch_links",
        "batch_clusters",
        "batch_pipes",
        "batch_kernel",
    }
    for module in kernels:
        assert {top for top, _ in imports(module)} <= allowed
        assert {name for top, name in imports(module) if top == "surge"} <= kernels | {"curves", "compiled"}


def test_public_names_are_no_modules() -> None:
    import surge

    assert not set(surge.__all__) & set(MODULES)
    assert all(getattr(surge, name) is not None for name in surge.__all__)
