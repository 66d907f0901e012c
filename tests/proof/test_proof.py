"""The checks of ``surge verify``: each holds, can fail, and is what the command and the page tell."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner
from support.documents import hold_to_schema

from surge import __version__
from surge.cli.main import main
from surge.errors import SolveError
from surge.hydraulics import formulas
from surge.proof.checks import COMPUTED, STATUSES, Check, Figure, given, hold, named, work
from surge.proof.every import CHECKS
from surge.reports.document import as_json
from surge.reports.proof import (
    detail_lines,
    proof_document,
    proof_lines,
    proof_page,
    to_tolerance,
    verdict_line,
)

ROOT = Path(__file__).parents[2]
SCHEMA = json.loads((ROOT / "surge" / "schema" / "verify.schema.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def outcomes():
    return [o for check in CHECKS for o in hold(check)]


# Every check


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.name)
def test_check(check: Check) -> None:
    for outcome in hold(check):
        assert outcome.within, "\n".join(detail_lines([outcome]))


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.name)
def test_a_check_says_where_it_comes_from(check: Check) -> None:
    assert check.status in STATUSES
    assert len(check.source) > 20
    assert check.why
    assert check.program
    assert check.figures
    # Nothing is "computed here" without being shown, but for an independent calculation that is named.
    steps = [f.step for f in check.figures if f.step]
    assert steps or "independent" in check.source or check.name in ("steady-stays-steady",)
    symbols = {line.symbol for line in work(check)}
    assert set(steps) <= symbols


def test_names_are_unique_and_no_name_hides_another() -> None:
    names = [c.name for c in CHECKS]
    assert len(set(names)) == len(names)
    assert all(re.fullmatch(r"[a-z0-9.-]+", n) for n in names)


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.name)
def test_every_figure_can_fail(check: Check) -> None:
    """Expected figures moved by three tolerances (and a thousandth where there is none) fall outside, "
    "every one."""
    for way in (1, -1):
        moved = tuple(
            replace(f, expected=f.expected + way * (3 * f.tolerance or 1e-3)) for f in check.figures
        )
        assert not any(o.within for o in hold(replace(check, figures=moved)))


# The check can fail because of the program, of the working, of a refusal


def _one(got: float, expected: float = 2.0, working: str = "y = 2*x") -> Check:
    return Check(
        name="one",
        group="g",
        title="t",
        source="s",
        status=COMPUTED,
        given=given(("x", 1.0, "-", "x")),
        working=(working,),
        figures=(Figure(what="y", unit="-", expected=expected, tolerance=0.1, step="y"),),
        why="w",
        program="p",
        compute=lambda: (got,),
    )


@pytest.mark.parametrize(
    ("check", "within"),
    [
        (_one(2.05), True),
        (_one(2.2), False),
        (_one(math.nan), False),
        (_one(math.inf), False),
        (_one(3.0, expected=3.0), False),
        (_one(2.0, working="y = 2.3*x"), False),
    ],
)
def test_within(check: Check, within: bool) -> None:
    assert hold(check)[0].within is within


def test_a_refusal_is_outside_and_told() -> None:
    def refuse() -> Sequence[float]:
        raise SolveError("no flow found")

    (outcome,) = hold(replace(_one(2.0), compute=refuse))
    assert not outcome.within
    assert "no flow found" in "\n".join(detail_lines([outcome]))
    assert proof_document([outcome], version="x").checks[0].figures[0].program is None


def test_a_crash_is_not_hidden() -> None:
    with pytest.raises(ZeroDivisionError):
        hold(replace(_one(2.0), compute=lambda: (1 / 0,)))
    with pytest.raises(ValueError, match="argument"):
        hold(replace(_one(2.0), compute=lambda: (1.0, 2.0)))


def test_a_fault_in_a_formula_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Korteweg with the restraint factor forgotten: every check on a restrained pipe is outside."""
    right = formulas.wave_speed
    monkeypatch.setattr(formulas, "wave_speed", lambda **k: right(**(k | {"c1": 1.0})))
    (check,) = named(CHECKS, ["steel-16-inch-anchored-throughout"])
    assert not hold(check)[0].within


def test_a_fault_in_the_march_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """A wave speed 0.1 % too low on the grid, the steady flow untouched: the transients are outside."""
    from surge.proof import lines as proof_lines

    right = proof_lines.pipe
    monkeypatch.setattr(
        proof_lines, "pipe", lambda n, s, e, length, a, **more: right(n, s, e, length, 0.999 * a, **more)
    )
    for name in ("instant-stop-water", "michaud", "allievi-1-2"):
        (check,) = [c for c in CHECKS if c.name == name]
        assert not all(o.within for o in hold(check))


# The working is a pocket calculator


def test_a_working_knows_nothing_but_its_lines() -> None:
    with pytest.raises(NameError):
        work(_one(2.0, working="y = open"))
    with pytest.raises(NameError):
        work(_one(2.0, working="y = z*x"))


def test_named() -> None:
    assert named(CHECKS, []) == CHECKS
    assert [c.name for c in named(CHECKS, ["michaud"])] == ["michaud"]
    assert len(named(CHECKS, ["allievi"])) == 13
    assert named(CHECKS, ["allie"]) == ()


def test_to_tolerance() -> None:
    assert to_tolerance(1268.1642, 0.01) == "1268.164"
    assert to_tolerance(0.03088295041, 6e-11) == "0.030882950410"
    assert to_tolerance(1e-14, 1e-8) == "1e-14"
    assert to_tolerance(30.0, 0.0) == "30"
    assert to_tolerance(math.nan, 1.0) == "none"


# What is told


def test_text_has_every_check_and_source(outcomes) -> None:
    text = "\n".join(proof_lines(outcomes))
    assert text.startswith("ALL WITHIN")
    assert "OUTSIDE" not in text
    for check in CHECKS:
        assert check.name in text
    assert max(len(line) for line in text.splitlines()) <= 132


def test_a_figure_outside_is_told_first() -> None:
    found = [*hold(_one(2.0)), *hold(replace(_one(5.0), name="two"))]
    assert verdict_line(found).startswith("OUTSIDE: 1 of 2 figures are outside their tolerance: two.")
    assert "OUTSIDE" in "\n".join(proof_lines(found)).split("\n\n", 1)[1]


def test_details_can_be_redone_by_hand() -> None:
    (check,) = named(CHECKS, ["instant-stop-water"])
    text = "\n".join(detail_lines(hold(check)))
    for part in (
        "rho = 998.2 kg/m3",
        "a = 1200 m/s",
        "dp = rho*a*dV = 1197840",
        "J = a*dV/g = 122.365",
        "Joukowsky",
    ):
        assert part in text


def test_json_keeps_to_its_schema(outcomes) -> None:
    document = proof_document(outcomes, version=__version__)
    jsonschema.validate(json.loads(json.dumps(as_json(document), allow_nan=False)), SCHEMA)
    assert len(document.checks) == len(CHECKS)
    hold_to_schema(document, "verify")


MACHINE = re.compile(r"^(\|(?:[^|]*\|){3})[^|]*(\|.*)$")  # the column of what the program gives


def _without_machine(page: str) -> list[str]:
    return [MACHINE.sub(r"\1\2", line) for line in page.splitlines()]


def test_the_committed_page_is_in_step(outcomes) -> None:
    """surge verify --page notebooks/verification.md --force; what the program gives may differ in its "
    "last digit."""
    committed = (ROOT / "notebooks" / "verification.md").read_text(encoding="utf-8")
    made = proof_page(outcomes, version=__version__, kind="md")
    assert _without_machine(committed) == _without_machine(made)


def test_the_html_page_has_the_same_checks(outcomes) -> None:
    page = proof_page(outcomes, version=__version__, kind="html")
    assert page.count("<h3 ") == len(CHECKS)
    assert page.count("<td>within</td>") == len(outcomes)
    assert "<script" not in page


# The command


def run(*args: str):
    return CliRunner().invoke(main, ["verify", *args])


def test_the_command() -> None:
    told = run("--only", "michaud", "--details")
    assert told.exit_code == 0
    assert "high = 2*rho*L*V/T/1e5 = 3.9928" in told.stdout


def test_the_command_ends_with_3_when_a_figure_is_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("surge.api.proof.CHECKS", (_one(5.0),))
    told = run()
    assert told.exit_code == 3
    assert told.stdout.startswith("OUTSIDE")
    assert json.loads(run("--json").stdout)["verdict"] == "outside"


def test_an_unknown_check_is_refused_with_what_is_near() -> None:
    told = run("--only", "michaut")
    assert told.exit_code == 2
    assert told.stderr.strip() == (
        'surge: --only michaut: no such check; perhaps michaud; "surge verify" lists all'
    )


def test_the_page_is_written_whole_and_never_over_another(tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    assert run("--only", "michaud", "--page", str(page)).exit_code == 0
    assert page.read_text(encoding="utf-8").endswith("</html>\n")
    assert run("--only", "michaud", "--page", str(page)).exit_code == 2
    assert run("--only", "michaud", "--page", str(page), "--force").exit_code == 0
    assert run("--page", str(tmp_path / "page.txt")).exit_code == 2
    assert run("--page", str(tmp_path / "none" / "page.md")).exit_code == 2
