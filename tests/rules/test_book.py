"""The built-in rules: sources, boundary values of the texts, and what a user's file may do."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surge.errors import CaseError, Fault
from surge.rules import ground as rulings_ground
from surge.rules import limits, rulings
from surge.rules.book import (
    COMPARES,
    CONDITIONS,
    MEASURES,
    REQUIREMENTS,
    STATUSES,
    TERMS,
    Rule,
    RuleBook,
    speaks_of,
)
from surge.rules.reading import BUILT_IN, built_in, load_rules, read_rules, rules_in, rules_of
from surge.rules.schema import RuleTable
from surge.toml.faults import describe, format_faults
from surge.toml.text import BIGGEST, FileError
from surge.units import UNITS

BAR = 1e5
HOUR = 3600.0


def rule(rule_id: str) -> Rule:
    found = built_in().rule(rule_id)
    assert found is not None, rule_id
    return found


# The book


@pytest.mark.parametrize("each", built_in().rules, ids=lambda r: r.id)
def test_every_rule_says_what_it_holds_and_where_it_stands(each: Rule) -> None:
    for words in (each.name, each.text, each.authority, each.edition, each.clause):
        assert words.strip()
    assert each.text.endswith(".")
    assert each.status in STATUSES
    assert each.compare in COMPARES
    assert each.requirement in ("required", "advisory")
    assert math.isfinite(each.figure)
    assert each.figure >= 0
    assert each.figure_text
    assert speaks_of(each.measure, each.applies)
    assert set(each.counts) <= set(TERMS)
    assert bool(each.counts) is MEASURES[each.measure].terms
    assert each.status in each.source
    assert each.clause in each.source or each.clause == "none"
    if each.authority == "common practice":
        assert each.status == "common practice, no source"


def test_ids_are_unique_and_the_words_for_what_is_known_are_closed() -> None:
    ids = [r.id for r in built_in().rules]
    assert len(ids) == len(set(ids))
    assert set(rulings._EVALUATE) == set(MEASURES)
    assert set(rulings_ground._CONDITIONS) == set(CONDITIONS)
    assert {r.applies for r in built_in().rules} | {"arms"} == set(CONDITIONS), "a condition for nobody"
    assert {r.measure for r in built_in().rules} == set(MEASURES), "a measure that no rule uses"


def test_every_pressure_finding_has_its_rule_in_the_book() -> None:
    named = [getattr(limits, name) for name in dir(limits) if name.endswith("_RULE")]
    assert len(named) == 10
    for rule_id in named:
        assert MEASURES[rule(rule_id).measure].shown == "pressure"
        assert rule(rule_id).required


def test_pressure_rules_are_required_and_what_binds_only_some_ships_is_not() -> None:
    required = {r.id for r in built_in().rules if r.required}
    assert required == {
        *(
            "static-pressure",
            "hose-static-pressure",
            "steady-pressure",
            "peak-pressure",
            "peak-test-pressure",
        ),
        *("pump-top", "place-limit", "lowest-pressure", "vapour-pressure", "valid-run"),
        *("stop-flow-time", "stop-flow-time-old-berth"),
        *("stop-flow-time-hazardous", "stop-flow-time-hazardous-old-berth"),
        *("total-shutdown-time", "overfill-time", "start-velocity", "bulk-velocity"),
        *("hose-test-pressure", "arm-test-pressure", "hose-burst-static", "hose-test-interval"),
    }


def test_what_was_not_read_says_so() -> None:
    assert rule("pump-top").status == "common practice, no source"
    assert "8 bar" in rule("pump-top").figure_text
    for rule_id in ("allowance-1.10-pipeline", "allowance-1.10-us-pipeline", "allowance-1.10-eu"):
        assert rule(rule_id).status == "from memory"
    assert rule("overfill-time").status == "read in part"
    assert rule("valve-test-interval").status == "read in part"
    assert rule("closed-line-rating-chemical").status == "from memory"


def test_what_is_known_only_as_quoted_elsewhere_says_so() -> None:
    quoted = [r for r in built_in().rules if r.authority in ("ASME B31.3", "ASME B31.1")]
    assert {r.id for r in quoted} >= {"peak-pressure", "peak-test-pressure", "allowance-1.20-power-piping"}
    assert len(quoted) == 6
    for each in quoted:
        assert each.status == "read in part"
        assert "quoted" in each.note
        assert "read in part" in each.source


def test_reading_the_book_is_quick() -> None:
    text = BUILT_IN.read_text(encoding="utf-8")
    assert len(text) < 40_000, "tomllib takes about a millisecond for 10 kB: keep the book short"


# Boundary values of the texts

INCLUSIVE = [
    # rule, limit or share of, kept, not kept
    ("stop-flow-time", 30.0, 30.0, 30.001),  # 33 CFR 154.550(c)(2)
    ("stop-flow-time-old-berth", 60.0, 60.0, 60.001),  # 33 CFR 154.550(c)(1)
    ("stop-flow-time-hazardous", 30.0, 30.0, 30.001),  # 33 CFR 154.550(d)(2)
    ("stop-flow-time-hazardous-old-berth", 60.0, 60.0, 60.001),  # 33 CFR 154.550(d)(1)
    ("total-shutdown-time", 30.0, 3.0 + 27.0, 3.0 + 28.0),  # IGC Code 5.6.4
    ("remote-valve-time", 30.0, 30.0, 30.1),  # 46 CFR 153.284
    ("shore-before-ship", 0.0, 0.0, -0.1),  # IBC Code 15.19.7.3
    ("start-velocity", 1.0, 1.0, 1.001),  # ISGOTT 5th ed. 11.1.7
    ("bulk-velocity", 7.0, 7.0, 7.001),  # ISGOTT 5th ed. 11.1.7.8
    ("hose-velocity", 12.0, 12.0, 12.001),  # ISGOTT 5th ed. 18.2.5
    ("hose-velocity-upper", 15.0, 15.0, 15.001),
    ("pump-top", 8 * BAR, 8 * BAR, 8.01 * BAR),
    ("hose-floor-gas", 10 * BAR, 10 * BAR, 9.99 * BAR),  # IGC Code 5.7
    ("closed-line-rating", 10 * BAR, 10 * BAR, 9.99 * BAR),  # IGC Code 5.4.1
    ("open-ended-line-rating", 5 * BAR, 5 * BAR, 4.99 * BAR),
    ("hose-test-interval", 12.0, 12.0, 12.04),  # ISGOTT 5th ed. 18.2.6, 18.2.8
    ("closing-about-30-s", 30.0, 30.0, 29.9),  # ISGOTT 5th ed. 16.10.1
    ("gauge-error", 0.10, 0.10, 0.11),  # 33 CFR 156.170(c)(3)
    ("alarm-test-interval", 24 * HOUR, 24 * HOUR, 24.1 * HOUR),  # 33 CFR 154.850(b), 2003
]


@pytest.mark.parametrize(("rule_id", "figure", "kept", "broken"), INCLUSIVE)
def test_the_figure_itself_is_allowed_and_what_is_beyond_is_not(
    rule_id: str, figure: float, kept: float, broken: float
) -> None:
    each = rule(rule_id)
    assert each.figure == pytest.approx(figure, rel=1e-12)
    assert each.keeps(kept, limit=each.figure) is True
    assert each.keeps(broken, limit=each.figure) is False
    assert each.margin(broken, limit=each.figure) < 0


SHARES = [
    # rule, what it is a share of, kept, not kept
    ("hose-test-pressure", 10 * BAR, 15 * BAR, 14.99 * BAR),  # 33 CFR 156.170(c)(1): at least 15
    ("arm-test-pressure", 10 * BAR, 15 * BAR, 14.99 * BAR),  # 33 CFR 156.170(c)(4)
    ("hose-burst-static", 11.5 * BAR, 46 * BAR, 45.9 * BAR),  # 33 CFR 154.500(a): 10 + 1.5 bar
    ("hose-burst-gas", 10 * BAR, 50 * BAR, 49.9 * BAR),  # IGC Code 5.7
    ("hose-test-gas", 50 * BAR, 20 * BAR, 20.1 * BAR),  # IGC Code 5.7: two fifths of the burst pressure
    ("allowance-1.33-process-piping", 10 * BAR, 13.3 * BAR, 13.31 * BAR),  # ASME B31.3 302.2.4
    ("allowance-1.20-process-piping", 10 * BAR, 12.0 * BAR, 12.01 * BAR),
    ("allowance-1.15-power-piping", 10 * BAR, 11.5 * BAR, 11.51 * BAR),  # ASME B31.1 102.2.4
    ("allowance-1.20-power-piping", 10 * BAR, 12.0 * BAR, 12.01 * BAR),
    ("allowance-1.10-pipeline", 10 * BAR, 11.0 * BAR, 11.01 * BAR),  # ASME B31.4, from memory
    ("allowance-1.00", 10 * BAR, 10 * BAR, 10.01 * BAR),
    ("peak-test-pressure", 15 * BAR, 15 * BAR, 15.01 * BAR),  # ASME B31.3: never above the test pressure
    ("overfill-time", 5 / (600 / HOUR), 30.0, 30.01),  # IBC Code 15.19.8: U 5 m3, LR 600 m3/h
    ("overfill-time", 5 / (599 / HOUR), 30.0, 30.1),
    ("hose-elongation", 4.0, 6.0, 6.01),  # ISGOTT 5th ed. 18.2.6.5: 4 % when new
]


@pytest.mark.parametrize(("rule_id", "base", "kept", "broken"), SHARES)
def test_shares_of_a_rating_or_of_something_else(
    rule_id: str, base: float, kept: float, broken: float
) -> None:
    each = rule(rule_id)
    assert each.keeps(kept, limit=each.figure * base) is True
    assert each.keeps(broken, limit=each.figure * base) is False


def test_3600_u_over_lr_backwards() -> None:
    # IBC Code 15.19.8: 5 m3 of ullage and 30 s allow 600 m3/h, and 600 m3/h allow 30 s.
    each = rule("overfill-time")
    assert each.figure * 5 / 30 * HOUR == 600
    assert each.keeps(30.0, limit=each.figure * 5 / (601 / HOUR)) is False
    assert each.counts == TERMS


@pytest.mark.parametrize(
    ("rule_id", "limit"), [("hose-static-pressure", 11.5 * BAR), ("effective-closing-time", 6.0)]
)
def test_strict_rules_refuse_the_figure_itself(rule_id: str, limit: float) -> None:
    # 33 CFR 154.500(b): the rating is MORE than 10 + 1.5 bar. ISGOTT 16.9.1: equal to the period is fast.
    each = rule(rule_id)
    assert each.figure == 1.0
    assert each.keeps(limit, limit=limit) is False
    beyond = limit * (1 - 1e-6) if each.upper else limit * (1 + 1e-6)
    assert each.keeps(beyond, limit=limit) is True


def test_values_within_their_error_of_the_figure_are_not_decided() -> None:
    each = rule("total-shutdown-time")
    assert each.keeps(29.9, limit=30.0, error=0.2) is None
    assert each.keeps(30.1, limit=30.0, error=0.2) is None
    assert each.keeps(29.7, limit=30.0, error=0.2) is True
    assert each.keeps(30.3, limit=30.0, error=0.2) is False
    assert each.keeps(math.nan, limit=30.0) is None
    assert each.keeps(0.1 + 0.2, limit=0.3) is True, "rounding is no difference"


def test_150_psi_is_10_34_bar() -> None:
    # 46 CFR 32.50-30
    assert rule("hose-floor").figure == 150 * UNITS["gauge pressure"]["psi(g)"]
    assert rule("hose-floor").figure / BAR == pytest.approx(10.34, abs=0.005)


def test_a_gauge_that_shows_9_5_bar_stands_for_a_band() -> None:
    # 33 CFR 156.170(c)(3): within 10 %
    error = rule("gauge-error").figure
    assert (9.5 * (1 - error), 9.5 * (1 + error)) == pytest.approx((8.55, 10.45))


def test_hoses_are_retired_by_what_they_stretch() -> None:
    # ISGOTT 5th ed. 18.2.6.5: new 4 % -> 6 %; new 1 % -> 3 %
    assert rule("hose-elongation").figure * 4.0 == 6.0
    assert 1.0 + 100 * rule("hose-elongation-small").figure == 3.0


def test_conditions_of_the_allowances() -> None:
    # ASME B31.3 302.2.4 and B31.1 102.2.4
    for rule_id, hours in (
        ("allowance-1.33-process-piping", ("at most 10 h at a time", "at most 100 h a year")),
        ("allowance-1.20-process-piping", ("at most 50 h at a time", "at most 500 h a year")),
        ("allowance-1.15-power-piping", ("at most 8 h at a time", "at most 800 h a year")),
        ("allowance-1.20-power-piping", ("at most 1 h at a time", "at most 80 h a year")),
    ):
        assert rule(rule_id).conditions[:2] == hours
    for rule_id in ("allowance-1.33-process-piping", "allowance-1.20-process-piping"):
        conditions = rule(rule_id).conditions
        assert "at most 1000 times in the life of the line" in conditions
        assert "never above the test pressure" in conditions
        assert "the owner approves" in conditions


# Flow rates printed in ISGOTT, 5th ed.: bore [mm] -> m3/h
TABLE_18_1 = {152: 788, 203: 1400, 254: 2180, 305: 3150, 406: 5600, 508: 8750, 610: 12600, 762: 19700}
TABLE_18_2 = {152: 985, 203: 1750, 254: 2730, 305: 3940, 406: 7000, 508: 10900, 610: 15700, 762: 24600}


@pytest.mark.parametrize(
    ("rule_id", "table", "tolerance"),
    [("hose-velocity", TABLE_18_1, 0.006), ("hose-velocity-upper", TABLE_18_2, 0.007)],
)
def test_hose_rates_as_printed(rule_id: str, table: dict[int, int], tolerance: float) -> None:
    # The printed figures are rounded to three digits and go by the bore in inches.
    for bore, printed in table.items():
        flow = rule(rule_id).figure * math.pi / 4 * (bore / 1000) ** 2 * HOUR
        assert flow == pytest.approx(printed, rel=tolerance)


def test_rates_of_figure_11_2() -> None:
    # ISGOTT 5th ed. fig. 11.2: 10 inch, 1 m/s 183 m3/h, 7 m/s 1281, two inlets 366
    start, bulk = rule("start-velocity").figure, rule("bulk-velocity").figure
    assert bulk / start == 7
    assert 183 * bulk / start == 1281
    ten_inch = math.pi / 4 * 0.254**2 * HOUR
    assert bulk * ten_inch == pytest.approx(1277, abs=0.5)
    assert start * ten_inch == pytest.approx(183, rel=0.005)
    assert 2 * start * ten_inch == pytest.approx(366, rel=0.005)


# A user's file

OWN = """
[[rule]]
id = "our-stop-time"
replaces = "total-shutdown-time"
name = "Shutdown at our berth"
text = "Our berth shuts within 25 s."
authority = "terminal regulations"
edition = "2026"
clause = "4.2"
measure = "total shutdown time"
figure = "25 s"
compare = "at most"
counts = ["signal", "stroke"]
requirement = "required"
applies = "a shutdown is in the case"
status = "read"
"""


def changed(**lines: str | None) -> str:
    """OWN with the value of a key changed, or the key taken out."""
    out = []
    for line in OWN.splitlines():
        key = line.split(" =")[0]
        if key not in lines:
            out.append(line)
        elif lines[key] is not None:
            out.append(f"{key} = {lines[key]}")
    out += [f"{key} = {value}" for key, value in lines.items() if value and f"\n{key} =" not in OWN]
    return "\n".join(out)


def refusal(text: str) -> FileError:
    with pytest.raises(FileError) as caught:
        read_rules(text, filename="ours.toml")
    return caught.value


def faults_of(text: str) -> tuple[Fault, ...]:
    return refusal(text).faults


def the_fault(text: str) -> Fault:
    faults = faults_of(text)
    assert len(faults) == 1, faults
    return faults[0]


def test_a_rule_of_ones_own_stands_in_the_place_of_the_old_one() -> None:
    book = read_rules(OWN)
    assert len(book.rules) == len(built_in().rules)
    own = book.rule("total-shutdown-time")
    assert own is book.rule("our-stop-time")
    assert own is not None
    assert own.own
    assert (own.figure, own.authority, own.counts) == (25.0, "terminal regulations", ("signal", "stroke"))
    place = [r.id for r in built_in().rules].index("total-shutdown-time")
    assert book.rules[place] is own
    assert built_in().rule("our-stop-time") is None, "the built-in book stays as it is"


def test_the_same_id_replaces_and_a_new_one_adds() -> None:
    same = read_rules(changed(id='"total-shutdown-time"', replaces=None))
    assert len(same.rules) == len(built_in().rules)
    assert same.rule("total-shutdown-time").figure == 25.0  # type: ignore[union-attr]
    added = read_rules(changed(replaces=None))
    assert len(added.rules) == len(built_in().rules) + 1
    assert added.rules[-1].id == "our-stop-time"
    assert added.rule("total-shutdown-time").figure == 30.0  # type: ignore[union-attr]


def test_a_rule_can_be_switched_off_with_a_reason() -> None:
    book = read_rules(
        '[[rule]]\nid = "hose-floor"\nrequirement = "off"\nreason = "no tank vessel under this regulation"\n'
    )
    off = book.rule("hose-floor")
    assert off is not None
    assert (off.requirement, off.reason) == ("off", "no tank vessel under this regulation")
    assert (off.required, off.own, off.clause) == (False, True, "32.50-30")
    fault = the_fault('[[rule]]\nid = "hose-floor"\nrequirement = "off"\n')
    assert fault.path == ("rule", 0, "reason")
    assert "no key reason" in fault.found


def test_off_needs_a_rule_that_there_is_and_nothing_besides() -> None:
    fault = the_fault('[[rule]]\nid = "hose-flor"\nrequirement = "off"\nreason = "why"\n')
    assert fault.path == ("rule", 0, "id")
    assert '"hose-floor"' in fault.remedy
    fault = the_fault('[[rule]]\nid = "hose-floor"\nrequirement = "off"\nreason = "why"\nfigure = 1\n')
    assert fault.path == ("rule", 0, "figure")
    assert "off" in fault.found


def test_rules_on_pressure_can_only_be_made_stricter() -> None:
    off = the_fault('[[rule]]\nid = "peak-pressure"\nrequirement = "off"\nreason = "we know better"\n')
    assert off.path == ("rule", 0, "requirement")
    assert "stays in force" in off.expected
    peak = changed(
        id='"peak-pressure"',
        replaces=None,
        measure='"peak pressure over rating x allowance"',
        figure="0.5",
        counts=None,
        applies='"always"',
    )
    assert read_rules(peak).rule("peak-pressure").figure == 0.5  # type: ignore[union-attr]
    looser = the_fault(peak.replace("figure = 0.5", "figure = 1.5"))
    assert looser.path == ("rule", 0, "figure")
    assert "goes into the case" in looser.remedy
    for old, new, key in (
        ('requirement = "required"', 'requirement = "advisory"', "requirement"),
        ('applies = "always"', 'applies = "hoses"', "applies"),
        ('compare = "at most"', 'compare = "at least"', "compare"),
        ('measure = "peak pressure over rating x allowance"', 'measure = "rating"', "measure"),
    ):
        text = peak.replace(old, new).replace(
            "figure = 0.5", 'figure = "1 bar(g)"' if key == "measure" else "figure = 0.5"
        )
        assert faults_of(text)[0].path == ("rule", 0, key)
    strict = read_rules(peak.replace('compare = "at most"', 'compare = "less than"'))
    assert not strict.rule("peak-pressure").inclusive  # type: ignore[union-attr]


def test_the_limit_at_the_pump_top_may_go_either_way() -> None:
    text = changed(
        id='"pump-top"',
        replaces=None,
        measure='"pressure at the top of the cargo pump"',
        figure='"10 bar(g)"',
        counts=None,
        applies='"always"',
    )
    assert read_rules(text).rule("pump-top").figure == 10 * BAR  # type: ignore[union-attr]
    off = '[[rule]]\nid = "pump-top"\nrequirement = "off"\nreason = "loads through drop lines only"\n'
    assert not read_rules(off).rule("pump-top").required  # type: ignore[union-attr]


WRONG = [
    # changes, key, words of the fault: found, expected, remedy
    ({"measure": '"total shutdown tim"'}, "measure", ("tim", "one of", '"total shutdown time"')),
    ({"measure": "3"}, "measure", ("3", "one of", "write one of these")),
    ({"figure": '"25 sec"'}, "figure", ("25 sec", "a time such as", "s")),
    ({"figure": '"25 bar"'}, "figure", ("25 bar", "a time such as", "pressure difference")),
    ({"figure": "25"}, "figure", ("25", "a time such as", "20 s")),
    ({"figure": '"-25 s"'}, "figure", ("-25 s", "from 0 up", "sign")),
    ({"figure": None}, "figure", ("no key figure", "30 s", "add figure = ")),
    ({"compare": '"<="'}, "compare", ("<=", "at most", 'write "at most" or')),
    ({"counts": '["signal", "closing"]'}, "counts", ("closing", "detection", 'write "detection" or')),
    ({"counts": '["signals"]'}, "counts", ("signals", "detection", '"signal"')),
    ({"counts": "[]"}, "counts", ("no terms", "detection", "counts = ")),
    ({"counts": '"signal"'}, "counts", ("signal", "a list", '["signal", "stroke"]')),
    ({"requirement": '"mandatory"'}, "requirement", ("mandatory", "required", 'or "off"')),
    ({"applies": '"hoses"'}, "applies", ("hoses", "a condition that", "always")),
    ({"applies": '"sometimes"'}, "applies", ("sometimes", "one of", "")),
    ({"status": '"seen"'}, "status", ("seen", "from memory", "")),
    (
        {"authority": None},
        "authority",
        ("no key authority", "who says so", 'authority = "terminal regulations"'),
    ),
    ({"edition": None}, "edition", ("no key edition", "edition", 'add edition = "2026"')),
    ({"clause": '""'}, "clause", ('""', "text of 1 to 600", "write it")),
    ({"text": None}, "text", ("no key text", "sentence", "add text = ")),
    ({"text": '"""two\nlines"""'}, "text", ("two", "sentence", "write it on one line")),
    ({"id": '"Our Rule!"'}, "id", ("Our Rule!", "small letters", "hose-velocity")),
    ({"replaces": '"total-shutdown"'}, "replaces", ("total-shutdown", "a rule of the book", "")),
    ({"id": '"hose-floor"'}, "id", ("hose-floor", "does not have", "of its own")),
    ({"reason": '"because"'}, "reason", ("a reason", "no reason", "note")),
    ({"valve": '"all"'}, "valve", ("unknown key", "a key of [rule]", "keys there: id, name")),
    ({"conditions": '[""]'}, "conditions", ('""', "text of 1 to 600", "write it")),
    ({"conditions": "7"}, "conditions", ("7", "a list in brackets", '["..."]')),
    ({"figure": "1979-05-27"}, "figure", ("1979", "a quantity", "30 s")),
]


@pytest.mark.parametrize(("changes", "key", "words"), WRONG)
def test_faults_say_what_stands_there_and_what_to_write(
    changes: dict[str, str | None], key: str, words: tuple[str, str, str]
) -> None:
    fault = the_fault(changed(**changes))
    assert fault.path[:3] == ("rule", 0, key)
    found, expected, remedy = words
    assert found in fault.found
    assert expected in fault.expected
    assert remedy in fault.remedy


@pytest.mark.parametrize(
    ("figure", "found"),
    [('"3"', "3"), ("-1.0", "-1.0"), ("nan", "nan"), ("1e300", "1e+300"), ("true", "true")],
)
def test_faults_of_a_factor(figure: str, found: str) -> None:
    text = changed(
        replaces=None,
        measure='"test pressure over rating"',
        counts=None,
        applies='"hoses"',
        figure=figure,
    )
    fault = the_fault(text)
    assert fault.path == ("rule", 0, "figure")
    assert found in fault.found
    assert "number" in fault.expected


def test_a_level_has_to_be_gauge() -> None:
    text = changed(replaces=None, measure='"rating"', counts=None, applies='"hoses"', figure='"10 bar(a)"')
    fault = the_fault(text)
    assert "gauge" in fault.expected
    text = text.replace("bar(a)", "bar(g)").replace(
        'applies = "hoses"', 'applies = "hoses"\ncounts = ["signal"]'
    )
    assert the_fault(text).path == ("rule", 0, "counts")


def test_all_faults_come_at_once_each_with_its_line() -> None:
    text = changed(figure='"25 bar"', authority=None, status='"seen"') + "\n" + changed(counts='["sgnal"]')
    refused = refusal(text)
    # The second rule also repeats the id and what it replaces.
    assert len(refused.faults) == 6
    records = describe(refused)
    lines = text.splitlines()
    told = {r.key.split(": ")[-1].split(",")[0]: r for r in records}
    assert lines[told["figure"].line - 1] == 'figure = "25 bar"'
    assert lines[told["status"].line - 1] == 'status = "seen"'
    assert lines[told["authority"].line - 1] == "[[rule]]", "a missing key is shown at the header"
    assert "Shutdown at our berth" in told["figure"].key
    assert "ours.toml:" in format_faults(refused)


@pytest.mark.parametrize(
    ("text", "found", "remedy"),
    [
        ("[rule]\nid = 1", ["a table", "1"], "two brackets: [[rule]]"),
        ("rule = 3", ["3"], "[[rule]]"),
        ("rule = [1]", ["1"], "rule"),
        ('title = "ours"', ['unknown key "title"'], "keys there: rule"),
        ('[[rules]]\nid = "Ours"', ['unknown key "rules"', '"Ours"'], 'did you mean "rule"?'),
    ],
)
def test_faults_of_the_shape(text: str, found: list[str], remedy: str) -> None:
    """What is under a wrong header is looked at too, but for the keys that are missing there."""
    faults = faults_of(text)
    assert [fault.found for fault in faults][: len(found)] == found
    assert remedy in faults[0].remedy


def test_a_text_that_is_no_toml_says_where() -> None:
    text = '[[rule]]\nid = "a\n'
    (record,) = describe(refusal(text))
    assert record.line == 2
    for bad in ("a = " + "[" * 5000, "a = " + "9" * 10000, "#" + "x" * 30000):
        assert len(faults_of(bad)) == 1


def test_files_are_read_or_refused(tmp_path: Path) -> None:
    good = tmp_path / "ours.toml"
    good.write_text("\ufeff" + OWN, encoding="utf-8")
    assert load_rules(good).rule("our-stop-time") is not None
    (tmp_path / "big.toml").write_bytes(b"#" * (BIGGEST + 1))
    (tmp_path / "latin.toml").write_bytes(b"# ok\n# \xe4\n")
    for name, words in (
        ("none.toml", "cannot be opened"),
        ("big.toml", "1 MB"),
        ("latin.toml", "UTF-8"),
        (".", "cannot be opened"),
    ):
        with pytest.raises(CaseError) as caught:
            load_rules(tmp_path / name)
        assert words in caught.value.faults[0].found


def test_an_empty_file_changes_nothing() -> None:
    assert read_rules("").rules == built_in().rules


def test_data_without_a_base_are_a_book_themselves() -> None:
    rules, faults = rules_of(tomllib.loads(OWN.replace('replaces = "total-shutdown-time"\n', ""))["rule"])
    assert not faults
    assert [r.own for r in rules] == [False]
    assert RuleBook(rules=rules).rule("our-stop-time") is rules[0]


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20) | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
words = st.sampled_from(
    [*MEASURES, *CONDITIONS, *COMPARES, *REQUIREMENTS, *STATUSES, *TERMS, "30 s", "1.0", ""]
)
tables = st.dictionaries(
    st.sampled_from(list(RuleTable.model_fields)) | st.text(max_size=8),
    values | words | st.lists(words, max_size=3),
    max_size=18,
)


@settings(max_examples=100, deadline=None)
@given(st.lists(tables, max_size=3) | values, st.sampled_from([None, "base"]))
def test_no_data_bring_the_reader_down(data: object, base: str | None) -> None:
    rules, faults = rules_in({"rule": data}, base=built_in() if base else None)
    for fault in faults:
        assert fault.found
        assert fault.expected
        assert fault.remedy
        assert fault.found.isprintable()
    if not faults:
        assert all(r.measure in MEASURES for r in rules)


@settings(max_examples=100, deadline=None)
@given(st.integers(0, len(OWN)), st.integers(0, len(OWN)), st.text(max_size=6))
def test_no_damage_to_a_file_gives_a_traceback(start: int, end: int, patch: str) -> None:
    text = OWN[: min(start, end)] + patch + OWN[max(start, end) :]
    try:
        assert len(read_rules(text).rules) >= len(built_in().rules)
    except FileError as error:
        format_faults(error)
