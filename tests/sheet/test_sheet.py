"""The sheet that both sides sign: one set of figures in all its forms, no place to sign where none may be."""

from __future__ import annotations

import base64
import copy
import hashlib
import io
import json
import math
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import jsonschema
import pypdf
import pytest
from click.testing import CliRunner, Result
from support.demos import Demos
from support.sheets import html_of, sheet

import surge
from surge.case.file import Case
from surge.cli.main import main
from surge.reports.words import SHORT, Display
from surge.rules.assess import Assessment
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN
from surge.schemas import path_of
from surge.search.joint import PROPORTION, JointSet
from surge.search.rates import RateLimit
from surge.search.strokes import StrokeLimits
from surge.search.window import Windows
from surge.sheet.data import A_DRAFT, NOT_TO_SIGN, Sheet
from surge.sheet.moves import NOT_SEARCHED, SAME_STROKE, _greatest, _lower, _objection, _window
from surge.sheet.rows import lower_rows, name_of, upper_rows
from surge.sheet.sketch import sketch
from surge.sheet.typeset import sheet_pdf
from surge.sheet.valve_tests import TestRow, Tests
from surge.sheet.window_notes import together_words
from surge.units import ShowUnits, from_si

CASES = Path(__file__).parents[2] / "cases"
BIGGEST, OVER = "gasoline-drop-lines", "methanol-closed-branches"
PRINTED = (BIGGEST, OVER, "benzene-by-names-and-sizes", "gasoline-through-cargo-pumps")
DEMOS = (*PRINTED, "shore-line-of-unknown-length")
NUMBER = re.compile(r"\d+(?:\.\d+)?")
# What counts pages, steps and rows, and is no figure of the sheet.
COUNTS = re.compile(r"page \d( of \d)?|and \d+ more|\d+ of them|\d+ figures?|\d+ rules?|\b\d\. (?=[A-Z])")
MARKUP = (
    r"<script>alert(1)</script> #set text(red) *b* _i_ $x^2$ \u{41} @ref `raw` #panic() {{7*7}} {%x%} "
    "'q' &amp; \u05d0\u05d1\u05d2 \u65e5\u672c \U0001f6a2"
)


Made = dict[str, tuple[Case, Sheet]]


@pytest.fixture(scope="module")
def checked(demos: Demos) -> dict[str, tuple[Case, Assessment]]:
    """All demos, and what came of them."""
    return {name: (demos[name].case, demos[name].answer) for name in DEMOS}


@pytest.fixture(scope="module")
def made(checked: dict[str, tuple[Case, Assessment]], demos: Demos) -> Made:
    """Sheets of all demos; that of the biggest with its windows."""
    found = {}
    for name, (case, assessment) in checked.items():
        windows = demos[name].windows if name == BIGGEST else None
        found[name] = (case, sheet(case, windows, assessment=assessment))
    return found


@pytest.fixture(scope="module")
def printed(made: Made) -> dict[str, bytes]:
    """The PDF of some."""
    return {name: pdf_of(*made[name]) for name in PRINTED}


def many_movements(sheet: dict[str, Any]) -> list[dict[str, Any]]:
    """Its movements four times, at other times each, so that no two stand in one row."""
    moves = sheet["movements"]
    return [dict(m, part=f"valve {k}", begins=f"{k}.00 s") for k in range(4) for m in moves]


def document(one: Sheet) -> dict[str, Any]:
    return json.loads(json.dumps(one.document(), allow_nan=False))


def pages(pdf: bytes) -> list[str]:
    """Texts of the pages, without the marks where a long word may break."""
    read = pypdf.PdfReader(io.BytesIO(pdf))
    return [page.extract_text().replace("\u200b", "") for page in read.pages]


def pdf_of(case: Case, one: Sheet) -> bytes:
    return sheet_pdf(one.document(), sketch(case.lineup, words=one.line_up))


def leaves(item: Any) -> Iterator[Any]:
    if isinstance(item, dict):
        for child in item.values():
            yield from leaves(child)
    elif isinstance(item, list | tuple):
        for child in item:
            yield from leaves(child)
    else:
        yield item


# Data


@pytest.mark.parametrize("name", DEMOS)
def test_json_keeps_to_its_schema(name: str, made: Made) -> None:
    schema = json.loads(path_of("sheet").read_text(encoding="utf-8"))
    jsonschema.validate(document(made[name][1]), schema)
    broken = document(made[name][1]) | {"more": 1}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(broken, schema)


@pytest.mark.parametrize("name", ["shore-line-of-unknown-length", "benzene-by-names-and-sizes"])
def test_with_a_range_every_row_is_of_the_run_that_it_names(
    name: str, checked: dict[str, tuple[Case, Assessment]]
) -> None:
    case, assessment = checked[name]
    display = Display(units=case.show, density=case.lineup.liquid.density)
    runs = {name_of(run, display): run for run in assessment.scenarios}
    assert all(run.taken for run in assessment.scenarios)
    for upper, rows in ((True, upper_rows(assessment, display)), (False, lower_rows(assessment, display))):
        for row in rows:
            run = runs[row.scenario.removesuffix(", before anything moves")]
            element = next(e for e in run.elements if e.name == row.name)
            extreme = element.highest if upper else element.lowest
            assert row.pressure_pa_gauge == extreme.pressure
            same = [r for r in runs.values() if r.name == run.name]
            all_ = [next(e for e in r.elements if e.name == row.name) for r in same]
            if upper and row.check == "peak":
                assert extreme.pressure - extreme.error >= max(
                    e.highest.pressure - 2 * e.highest.error for e in all_
                )


@pytest.mark.parametrize("name", DEMOS)
def test_every_limit_of_the_check_stands_on_the_sheet(
    name: str, made: Made, checked: dict[str, tuple[Case, Assessment]]
) -> None:
    case, one = made[name]
    assessment = checked[name][1]
    upper = {f.name for f in assessment.findings if f.check == "peak"}
    lower = {f.name for f in assessment.findings if f.check in ("lowest", "vapour")}
    assert upper <= {r.name for r in one.highest}
    assert lower == {r.name for r in one.lowest}
    assert {e.name for e in case.lineup.elements} <= {r.name for r in one.highest}
    margins = [r.margin_pa for r in one.highest if r.verdict == "EXCEEDED"]
    assert (one.exit_code == 3) == (assessment.exit_code == 3)
    if any(f.check == "peak" and f.verdict == EXCEEDED for f in assessment.findings):
        assert margins
        assert one.highest[0].margin_pa == min(m for m in margins if m is not None)


def limits(**changes: Any) -> StrokeLimits:
    plain: dict[str, Any] = {
        "valve": "v",
        "scenario": "s",
        "period": 1.0,
        "stroke": 10.0,
        "shortest": 8.0,
        "longest": 20.0,
        "from_": 1.0,
        "to": 120.0,
        "governs": None,
        "run": None,
        "looked": (),
        "slow_rule": None,
        "reason": "",
        "verdict": WITHIN,
    }
    return StrokeLimits(**(plain | changes))


@pytest.mark.parametrize(
    ("changes", "takes", "words"),
    [
        ({}, 10.0, ""),
        ({}, 8.0, ""),
        ({}, 20.0, ""),
        ({}, 8.0 - 2 * SAME_STROKE, "faster than the shortest stroke"),
        ({}, 20.0 + 2 * SAME_STROKE, "slower than the rules on time allow"),
        ({"shortest": None}, 10.0, "no stroke time is shown to be safe"),
        ({"shortest": 21.0}, 20.5, "the window of stroke times is empty"),
        ({"longest": None}, 500.0, ""),
        ({"shortest": 1.0}, 0.5, ""),  # the shortest looked at is safe: what is below was not looked at
        ({"longest": 0.0}, 10.0, "empty"),
    ],
)
def test_a_stroke_outside_its_window_is_objected_to(
    changes: dict[str, Any], takes: float, words: str, demos: Demos
) -> None:
    display = Display(units=demos[BIGGEST].case.show, density=700.0)
    said = _objection(limits(**changes), takes, display)
    assert (words in said) if words else said == ""


@pytest.mark.parametrize(
    ("verdict", "words"), [(EXCEEDED, "no stroke is safe"), (UNDECIDED, "none shown to be safe")]
)
def test_a_window_that_cannot_be_decided_is_not_called_unsafe(verdict: str, words: str) -> None:
    display = Display(units=ShowUnits(), density=700.0)
    assert _window(limits(shortest=None, longest=None, verdict=verdict), display)[0] == words


def test_an_objection_makes_a_kept_case_no_agreement(made: Made, demos: Demos) -> None:
    case, one = made[BIGGEST]
    assert one.signable
    assert one.exit_code == 0
    window = windows_of_one(case, shortest=26.0)
    against = sheet(case, window, assessment=demos[BIGGEST].answer)
    assert against.verdict == EXCEEDED
    assert not against.signable
    assert against.exit_code == 3
    assert any("faster than the shortest stroke" in o for o in against.objections)
    assert against.advice[0].startswith("Put right")


def windows_of_one(case: Case, *, shortest: float) -> Windows:
    """A window as if every longer stroke were safe only from ``shortest`` on."""
    name = case.lineup.scenarios[0].name
    part = limits(valve="manifold valve", scenario=name, shortest=shortest, longest=None)
    return Windows(by_valve={"manifold valve": (part,)}, rates=())


@pytest.mark.parametrize(("verdict", "code"), [("EXCEEDED", 3), ("undecided", 4), ("kept", 0)])
def test_records_count(verdict: str, code: int, made: Made, demos: Demos) -> None:
    full = {"EXCEEDED": EXCEEDED, "undecided": UNDECIDED, "kept": WITHIN}[verdict]
    none: dict[str, Any] = {
        f"{k}{s}": None for k in ("fastest", "not_faster", "slowest", "not_slower") for s in ("_s",)
    }
    shown = dict.fromkeys(("tested", "fastest", "not_faster", "slowest", "not_slower"), "-")
    row = TestRow(valve="manifold valve", tag="M1", verdict=verdict, words="too fast", **shown, **none)
    case, _ = made[BIGGEST]
    tests = Tests(given=True, words="looked at", verdict=full, rows=(row,))
    one = sheet(case, tests=tests, assessment=demos[BIGGEST].answer)
    assert one.exit_code == code
    assert any("M1" in o for o in one.objections) == (code != 0)


def test_without_windows_a_kept_case_is_a_draft(made: Made, demos: Demos) -> None:
    case, assessment = demos[BIGGEST].case, demos[BIGGEST].answer
    one = sheet(case, assessment=assessment)
    assert (one.verdict, one.exit_code) == (WITHIN, 0)
    assert (one.headline, one.standing, one.signable) == ("DRAFT", A_DRAFT, False)
    assert one.advice == ("Make the sheet again without --no-window.",)
    # Where nothing closes there is nothing to search.
    opening, name = demos["restart-into-a-shut-deck-line"].case, "restart-into-a-shut-deck-line"
    assert sheet(opening, assessment=demos[name].answer).signable
    # A verdict that forbids signing is not softened to a draft.
    assert made[OVER][1].standing == NOT_TO_SIGN


@pytest.mark.slow
def test_what_was_not_searched_is_said(made: Made, printed: dict[str, bytes]) -> None:
    case, one = made[BIGGEST]
    closing = {m.part for m in one.movements if m.not_faster == NOT_SEARCHED}
    assert closing
    said = " ".join(one.not_searched)
    assert all(f'"{valve}"' in said for valve in closing)
    without = [s.name for s in one.stages if not s.greatest]
    assert without
    assert all(f'"{name}"' in said for name in without)
    first = " ".join(pages(printed[BIGGEST])[0].split())
    web = Reader(html_of(case, one)).text
    for words in one.not_searched:
        assert words in first
        assert words in web


def test_valves_that_share_a_stroke_are_named(demos: Demos) -> None:
    case = demos[BIGGEST].case
    (valve, parts), *_ = windows_of_one(case, shortest=10.0).by_valve.items()
    twins = tuple(replace(p, together=(valve, "its twin")) for p in parts)
    windows = replace(windows_of_one(case, shortest=10.0), by_valve={valve: twins})
    shown = sheet(case, windows, assessment=demos[BIGGEST].answer)
    assert f'"{valve}" and "its twin", both with one stroke' in " ".join(shown.window_notes)


def test_strokes_that_are_not_safe_together_are_told(demos: Demos) -> None:
    one = {"strokes": {"a": 8.0, "b": 9.0}, "assessment": demos[BIGGEST].answer}
    alone = JointSet(**one, pressures=EXCEEDED, verdict=EXCEEDED)
    assert "together" in together_words(alone)
    assert together_words(alone).endswith("pressures EXCEEDED: do not set them so together.")
    longer = JointSet(**one, way=PROPORTION, pressures=WITHIN, verdict=WITHIN)
    assert together_words(longer) == (
        'All at their shortest together exceed a limit; none is exceeded with "a" 8.0 s, "b" 9.0 s.'
    )
    case = demos[BIGGEST].case
    windows = replace(windows_of_one(case, shortest=10.0), together=alone)
    shown = sheet(case, windows, assessment=demos[BIGGEST].answer)
    assert not shown.signable
    assert together_words(alone) in shown.objections


@pytest.mark.parametrize(("unit", "step"), [("m3/h", 0.1), ("bbl/h", 1.0), ("t/h", 0.1), ("L/s", 0.01)])
def test_safe_rates_are_rounded_down_and_unsafe_ones_outwards(unit: str, step: float) -> None:
    display = Display(units=ShowUnits(flow=unit), density=845.0)
    flows = [0.1 + 0.00012345 * k for k in range(50)]
    for flow in flows:
        limit = RateLimit(
            scenario="s", agreed=0.1, greatest=flow, to=1.0, governs=None, unsafe_below=(flow, flow)
        )
        true = from_si(flow, unit=unit, density=845.0)
        told = float(NUMBER.findall(_greatest(limit, display))[0])
        assert true - step < told <= true + 1e-6 * step
        low, high = (float(n) for n in NUMBER.findall(_lower(limit, display).replace("m3", "m"))[:2])
        assert low <= true + 1e-6 * step
        assert high >= true - 1e-6 * step
    assert any(display.flow(f) != display.flow_down(f) for f in flows)


def test_without_an_agreed_rate_the_sheet_has_what_flows(demos: Demos) -> None:
    case = demos[BIGGEST].case
    lineup = case.lineup.with_(rate=None)
    lineup = lineup.with_(scenarios=tuple(replace(s, rate=None) for s in lineup.scenarios[:1]))
    free = replace(case, lineup=lineup)
    assessment = surge.check(free, remedies=False)
    window = windows_of_one(free, shortest=10.0)
    one = sheet(free, window, assessment=assessment)
    (stage,) = one.stages
    assert "No rate is agreed" in one.not_searched[-1]
    flow = next(e for e in assessment.scenarios[0].elements if e.name == "shore line").figures
    assert flow is not None
    assert stage.rate_m3_per_s == pytest.approx(flow.flow)
    assert stage.rate == f"{flow.flow * 3600:.1f} m3/h, as pumps and levels give it"


@pytest.mark.parametrize("name", DEMOS)
def test_the_sheet_has_the_figures_of_the_check_rounded_to_the_unsafe_side(name: str, made: Made) -> None:
    case, one = made[name]
    told = json.loads(run_check(CASES / f"{name}.toml").stdout)
    assert one.case.sha256 == told["case"]["sha256"]
    clock = re.compile(r"-?\d+\.\d\d s\b")  # the sheet counts from the order, a check from the beginning
    assert clock.sub("", one.sentence) == clock.sub("", told["sentence"])
    found = {(f["subject"], f["name"], f["check"], f["pressure_pa_gauge"]): f for f in told["findings"]}
    bar = 1e5
    assert case.show.pressure == "bar"
    for row in (*one.highest, *one.lowest):
        if not row.check or row.limit_pa_gauge is None:
            continue
        own = found[(row.subject, row.name, row.check, row.pressure_pa_gauge)]
        assert (row.limit_pa_gauge, row.margin_pa) == (own["limit_pa_gauge"], own["margin_pa"])
        assert SHORT[own["verdict"]] == row.verdict
        assert row.pressure_pa_gauge is not None
        assert row.margin_pa is not None
        beyond = float(row.pressure) - row.pressure_pa_gauge / bar
        assert 0 <= (beyond if row.check in ("peak", "steady", "static") else -beyond) + 1e-6 < 0.01 + 2e-6
        assert 0 <= row.margin_pa / bar - float(row.margin) + 1e-6 < 0.01 + 2e-6


# PDF


@pytest.mark.parametrize("name", PRINTED)
def test_pdf_is_one_page_and_one_of_details_with_exactly_the_numbers_of_the_json(
    name: str, made: Made, printed: dict[str, bytes]
) -> None:
    _, one = made[name]
    shown = pages(printed[name])
    assert 1 < len(shown) <= 4
    assert f"page 1 of {len(shown)}" in shown[0]
    words = " ".join(" ".join(shown).split()).replace("sha256", "")
    told = {n for leaf in leaves(document(one)) for n in NUMBER.findall(str(leaf))}
    words = re.sub("[0-9a-f]{32}", "", words)  # halves of hashes
    assert set(NUMBER.findall(COUNTS.sub("", words))) <= told
    for row in (*one.highest, *one.lowest):
        figures = [
            row.steady,
            row.pressure,
            *([row.error] if row.error else []),
            row.time,
            row.limit,
            row.margin,
        ]
        assert " ".join(figures) in words
    for stage in one.stages:
        assert stage.rate in words
    for move in one.movements:
        assert f"{move.begins} " in words
        assert move.takes in words
    for chain in one.chains:
        for term in chain.terms:
            assert f"{term.begins} to {term.ends}" in words


def sizes(page: pypdf.PageObject) -> dict[float, str]:
    """Sizes of the letters on a page [pt], each with what is written so."""
    found: dict[float, str] = {}

    def note(text: str, cm: Any, tm: Any, _: Any, size: float) -> None:
        if text.strip():
            high = size * math.hypot(tm[2], tm[3]) * math.hypot(cm[2], cm[3])
            found[round(high, 2)] = found.get(round(high, 2), "") + text

    page.extract_text(visitor_text=note)
    return found


@pytest.mark.parametrize("name", PRINTED)
def test_no_text_is_too_small_to_read(name: str, made: Made, printed: dict[str, bytes]) -> None:
    """Text is at least 7.5 pt on A4; only names in the sketch are smaller, and those at least 6 pt."""
    own = Counter(re.findall(r"\w", label_words(made[name][0])))
    for page in pypdf.PdfReader(io.BytesIO(printed[name])).pages:
        for size, text in sizes(page).items():
            assert size >= 6.0, text
            if size < 7.49:
                assert Counter(re.findall(r"\w", text)) <= own, text


def label_words(case: Case) -> str:
    """All that the sketch writes."""
    return "".join(re.findall(r"<text[^>]*>([^<]*)<", sketch(case.lineup)))


def test_parts_with_the_same_figures_stand_in_one_row(made: Made) -> None:
    case, one = made[BIGGEST]
    twin = copy.deepcopy(document(one))
    row = dict(twin["highest"][0])
    twin["highest"] = [row, dict(row, name="its twin"), *twin["highest"][1:]]
    first = " ".join(pages(sheet_pdf(twin, sketch(case.lineup)))[0].split())
    assert f"{row['name']}, its twin" in first


def test_what_can_be_typed_is_printed_so(made: Made) -> None:
    case, one = made[OVER]
    big = copy.deepcopy(document(one))
    big["rules"] = [dict(r) for r in big["rules"] for _ in range(60)]
    assert "surge check CASE --details" in " ".join(
        " ".join(pages(sheet_pdf(big, sketch(case.lineup)))).split()
    )


def test_the_head_has_who_loads_what_where_and_when(demos: Demos) -> None:
    case = demos[OVER].case
    berth = replace(
        case.lineup.berth, ship="MT Invented", terminal="Sandbank", name="berth 3", parcel=29850.4
    )
    one = sheet(
        replace(case, lineup=case.lineup.with_(berth=berth)),
        assessment=replace(demos[OVER].answer, lineup=case.lineup.with_(berth=berth)),
    )
    assert (one.ship, one.terminal, one.parcel) == ("MT Invented", "Sandbank, berth 3", "29850 m3")
    first = " ".join(pages(pdf_of(case, one))[0].split())
    for words in ("MT Invented", "Sandbank, berth 3", "29850 m3"):
        assert words in first
        assert words in html_of(case, one)


def test_times_count_from_the_order(made: Made) -> None:
    for case, one in made.values():
        scenarios = {s.name: s for s in case.lineup.scenarios}
        for move in one.movements:
            own = scenarios[move.scenario]
            starts = [m.start for m in (*own.moves, *own.pump_moves)]
            zero = own.ordered if own.ordered is not None else min(starts)
            assert min(abs(move.begins_s + zero - s) for s in starts) < 1e-9
            assert move.begins == f"{move.begins_s:.2f} s"


def test_codes_for_certain_ships_say_so_and_hearsay_is_not_called_read(made: Made) -> None:
    for _, one in made.values():
        for edition in one.editions:
            code = {"IGC Code": "binds gas carriers", "IBC Code": "binds chemical tankers"}
            assert edition.binds == code.get(edition.authority, "")
            if "questions and answers" in edition.authority:
                assert edition.status == ("hearsay",)
            assert edition.met + edition.not_met + edition.not_decided > 0


def test_the_worst_is_on_page_1(made: Made, printed: dict[str, bytes]) -> None:
    for name, pdf in printed.items():
        one = made[name][1]
        first = " ".join(pages(pdf)[0].split())
        assert one.headline in first
        assert one.standing in first
        for rows in (one.highest, one.lowest):
            assert f"{rows[0].pressure} {rows[0].error}".strip() in first


def test_a_filling_that_comes_nearest_to_a_limit_marks_the_weakest(demos: Demos) -> None:
    demo = demos["gas-oil-first-fill"]
    one = sheet(demo.case, assessment=demo.answer)
    assert (one.weak_subject, one.weak_name) == ("element", "deck line")
    assert demo.answer.weakest is not None
    assert demo.answer.weakest.name == "shore line"


def test_only_a_kept_sheet_has_a_place_to_sign(made: Made, printed: dict[str, bytes]) -> None:
    assert {made[name][1].signable for name in printed} == {True, False}
    for name, pdf in printed.items():
        case, one = made[name]
        web = re.sub(r"<style>.*?</style>", "", html_of(case, one), flags=re.S)
        for shown in (pages(pdf)[0], web):
            assert ("Signature" in shown) == one.signable
            assert ("initials" in shown) == one.signable
            assert " ".join(shown.split()).count(one.standing) == (1 if one.signable else 2)


def test_pdf_is_the_same_to_the_last_byte_and_keeps_the_standards(demos: Demos) -> None:
    case = demos[OVER].case
    one = sheet(case, assessment=demos[OVER].answer)
    made = pdf_of(case, one)
    assert pdf_of(case, one) == made
    reader = pypdf.PdfReader(io.BytesIO(made))
    assert bool(reader.root_object["/MarkInfo"]["/Marked"])
    metadata = reader.xmp_metadata
    assert metadata is not None
    raw = metadata.stream.get_data().decode()
    assert "pdfuaid:part" in raw
    assert "pdfaid:part" in raw
    assert case.lineup.title in raw


@pytest.mark.slow
def test_a_huge_case_still_takes_two_pages_and_hides_nothing_that_governs(
    made: Made,
) -> None:
    case, one = made[OVER]
    big = copy.deepcopy(document(one))
    for key, times in (
        ("highest", 4),
        ("lowest", 4),
        ("movements", 4),
        ("stages", 4),
        ("objections", 9),
        ("rules", 4),
    ):
        big[key] = [dict(r) if isinstance(r, dict) else r for r in big[key] for _ in range(times)]
    big["assumed"] = [
        {
            "quantity": "Kv",
            "subjects": ["a valve"],
            "value": "1 m3/h",
            "source": "handbook " * 20,
            "asked": False,
        }
    ] * 40
    shown = pages(sheet_pdf(big, sketch(case.lineup)))
    assert 1 < len(shown) <= 4
    assert one.highest[0].pressure in shown[0]
    assert re.search(r"\d+ of them exceeded or undecided", " ".join(shown[0].split()))


def test_a_name_without_spaces_runs_over_nothing(made: Made) -> None:
    name = "no-space" + "W" * 52
    case, one = made[OVER]
    long = copy.deepcopy(document(one))
    for row in (*long["highest"], *long["lowest"]):
        row["name"] = row["scenario"] = name
    for move in long["movements"]:
        move["part"] = move["scenario"] = name
    long["title"] = name * 3
    shown = pages(sheet_pdf(long, sketch(case.lineup)))
    assert 1 < len(shown) <= 6
    lines = "\n".join(shown).splitlines()
    assert any(line.startswith(name[:14]) for line in lines)
    assert not any(line.startswith(name) for line in lines)


def test_what_goes_on_to_page_2_has_room_for_initials_there(made: Made) -> None:
    case, one = made[BIGGEST]
    big = copy.deepcopy(document(one))
    assert big["signable"]
    big["movements"] = many_movements(big)
    first, second, *_ = pages(sheet_pdf(big, sketch(case.lineup)))
    assert "more movements" in " ".join(first.split())
    assert "initials" in second


def test_a_shutdown_chain_stays_on_page_1_with_the_rule_that_is_nearest(made: Made) -> None:
    case, one = next((c, o) for c, o in made.values() if o.chains and o.chains[0].rules)
    big = copy.deepcopy(document(one))
    big["movements"] = many_movements(big)
    big["stages"] = [dict(s) for s in big["stages"] for _ in range(3)]
    rule = next(r for r in big["chains"][0]["rules"] if r["counts"])
    others = [
        dict(rule, words=f"Tank {k} is kept.", outcome="kept", value_s=k, limit_s=30.0) for k in range(9)
    ]
    big["chains"] = [dict(big["chains"][0], rules=others)]
    first, *more = (" ".join(page.split()) for page in pages(sheet_pdf(big, sketch(case.lineup))))
    second = " ".join(more)
    terms = big["chains"][0]["terms"]
    assert all(f"{t['begins']} to {t['ends']}" in first for t in terms)
    assert "Tank 8 is kept" in first
    assert all(f"Tank {k} is kept" in second for k in range(9))


def test_boxes_for_initials_on_page_2_stand_inside_the_page_beside_their_headings(made: Made) -> None:
    case, one = made[BIGGEST]
    big = copy.deepcopy(document(one))
    big["movements"] = many_movements(big)
    page = pypdf.PdfReader(io.BytesIO(sheet_pdf(big, sketch(case.lineup)))).pages[1]
    found: dict[str, tuple[float, float]] = {}

    def note(text: str, cm: Any, tm: Any, *_: Any) -> None:
        for words in ("More movements", "initials: ship"):
            if words in text:
                x, y = tm[4], tm[5]
                found[words] = cm[0] * x + cm[2] * y + cm[4], cm[1] * x + cm[3] * y + cm[5]

    page.extract_text(visitor_text=note)
    assert abs(found["More movements"][1] - found["initials: ship"][1]) < 12.0
    assert 300.0 < found["initials: ship"][0] < float(page.mediabox.width)


# Names with markup in them


@pytest.fixture(scope="module")
def marked(demos: Demos) -> tuple[Case, Sheet]:
    case = demos[BIGGEST].case
    lineup = case.lineup.with_(title=MARKUP)
    renamed = tuple(replace(s, name=f"{MARKUP[:30]} {s.name}") for s in lineup.scenarios)
    changed = replace(case, lineup=lineup.with_(scenarios=renamed))
    return changed, sheet(changed)


def test_markup_in_names_is_text_in_the_pdf(marked: tuple[Case, Sheet]) -> None:
    shown = pages(pdf_of(*marked))
    assert 1 < len(shown) <= 4
    bare = "".join("".join(shown).split())
    for part in (
        r"<script>alert(1)</script>#settext(red)*b*_i_$x^2$\u{41}@ref`raw`#panic(){{7*7}}{%x%}'q'&amp;",
    ):
        assert part in bare


class Reader(HTMLParser):
    """Collects what a browser would act on, and the text."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    @property
    def text(self) -> str:
        return " ".join("".join(self.texts).split())


def test_markup_in_names_is_text_in_the_html(marked: tuple[Case, Sheet]) -> None:
    web = html_of(*marked)
    read = Reader(web)
    assert " ".join(MARKUP.split()) in read.text
    assert "script" not in {tag for tag, _ in read.tags}


@pytest.mark.parametrize("name", DEMOS)
def test_html_asks_for_nothing_and_runs_nothing(name: str, made: Made) -> None:
    web = html_of(*made[name])
    read = Reader(web)
    loads = {"src", "href", "srcset", "data", "poster", "action", "background", "xlink:href", "ping", "style"}
    for tag, attributes in read.tags:
        assert tag not in (
            "script",
            "link",
            "iframe",
            "object",
            "embed",
            "img",
            "base",
            "form",
            "foreignobject",
        )
        assert not loads & set(attributes)
        assert not [a for a in attributes if a.startswith("on")]
    assert not re.search(r"url\(|@import|expression\(", web)
    policy = next(a["content"] for t, a in read.tags if t == "meta" and a.get("http-equiv"))
    style = re.search(r"<style>(.*?)</style>", web, flags=re.S)
    assert policy is not None
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert policy.startswith(f"default-src 'none'; style-src 'sha256-{digest}'")


@pytest.mark.parametrize("name", DEMOS)
def test_html_can_be_read_by_all(name: str, made: Made) -> None:
    case, one = made[name]
    web = html_of(case, one)
    read = Reader(web)
    tags = [tag for tag, _ in read.tags]
    assert tags.count("caption") == tags.count("table") > 0
    assert all("scope" in attributes for tag, attributes in read.tags if tag == "th")
    assert tags.count("h1") == 1
    assert next(a for t, a in read.tags if t == "html")["lang"] == "en"
    picture = next(a for t, a in read.tags if t == "svg")
    assert picture["role"] == "img"
    assert all(e.name in (picture["aria-label"] or "") for e in case.lineup.elements)
    for row in (*one.highest, *one.lowest):
        figures = [
            row.steady,
            " ".join(filter(None, (row.pressure, row.error))),
            row.time,
            row.limit,
            row.margin,
        ]
        assert "".join(f'<td class="n">{f}</td>' for f in figures) in web
    assert "prefers-color-scheme: dark" in web
    assert "@media print" in web


# The command


def run_check(path: Path) -> Result:
    return CliRunner().invoke(main, ["check", str(path), "--no-remedies", "--json"])


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["sheet", *(str(a) for a in arguments)])


@pytest.mark.slow
def test_the_command_writes_both_files_and_prints_the_data(tmp_path: Path) -> None:
    pdf, html = tmp_path / "a.pdf", tmp_path / "a.HTML"
    done = run(CASES / f"{OVER}.toml", "--no-window", "-o", pdf, "-o", html, "--json", "--pressure", "psi")
    assert done.exit_code == 3
    told = json.loads(done.stdout)
    jsonschema.validate(told, json.loads(path_of("sheet").read_text(encoding="utf-8")))
    assert told["units"]["pressure"] == "psi(g)"
    assert told["window_notes"] == [
        "Windows of stroke times were not searched: shorter or longer strokes may not be safe."
    ]
    assert told["highest"][0]["pressure"] in " ".join(pages(pdf.read_bytes()))
    assert told["highest"][0]["pressure"] in html.read_text(encoding="utf-8")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.HTML", "a.pdf"]


def test_an_existing_file_is_kept_without_force(tmp_path: Path) -> None:
    path = tmp_path / "a.html"
    path.write_text("mine")
    arguments = (CASES / f"{BIGGEST}.toml", "--no-window", "-o", path)
    refused = run(*arguments)
    assert refused.exit_code == 2
    assert "exists already" in refused.stderr
    assert path.read_text() == "mine"
    assert run(*arguments, "--force").exit_code == 0
    assert path.read_text().startswith("<!DOCTYPE html>")


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["-o", "a.docx"], "end the name with one of .pdf, .html"),
        (["-o", "no-such-folder/a.pdf"], "there is no folder"),
        (["--limits", "x.toml"], "--limits goes with records: add the file of the tests"),
        (["--today", "3 May"], "write a day such as"),
        (["--pressure", "furlong"], "no such unit"),
    ],
)
def test_bad_options_are_refused_before_anything_is_computed(more: list[str], words: str) -> None:
    done = run("no-such-case.toml", *more)
    assert done.exit_code == 2
    assert words in done.stderr


def test_a_faulty_case_writes_nothing(tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    case.write_text("schema = 1\n")
    done = run(case, "-o", tmp_path / "a.pdf")
    assert done.exit_code == 2
    assert [p.name for p in tmp_path.iterdir()] == ["case.toml"]


def test_records_that_cannot_be_read_are_refused_as_such(tmp_path: Path) -> None:
    records = tmp_path / "r.csv"
    records.write_text("a;b\n1;2\n")
    done = run(CASES / f"{BIGGEST}.toml", "--no-window", "-o", tmp_path / "a.pdf", "--records", records)
    assert done.exit_code == 2
    assert "r.csv: nothing could be read" in done.stderr
    assert not (tmp_path / "a.pdf").exists()
    told = json.loads(run(CASES / f"{BIGGEST}.toml", "--no-window", "--records", records, "--json").stdout)
    jsonschema.validate(told, json.loads(path_of("sheet").read_text(encoding="utf-8")))
    assert (told["verdict"], told["records"]["file"]) == ("refused", str(records))
