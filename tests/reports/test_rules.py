"""What the answer says of rules: broken ones, those of a file, and what to do about both at once."""

from __future__ import annotations

from dataclasses import fields

from support.demos import Demos
from support.inputs.case_text import case as starter

from surge.api.check import check
from surge.reports.advice import advice
from surge.reports.rules import assumed_lines, rule_lines
from surge.reports.text import TextReport
from surge.reports.words import Display
from surge.rules.assess import Assessment
from surge.rules.findings import EXCEEDED
from surge.rules.reading import read_rules
from surge.search.remedies import Advised, Remedies
from surge.units import ShowUnits

DISPLAY = Display(units=ShowUnits(), density=800.0)
SLOW = ('after = "shore pump"      # begins when that step is over\nstroke = "13 s"', 'stroke = "60 s"')


def text(lines: list[str]) -> str:
    return " ".join(" ".join(lines).split())


def test_rules_of_a_file_are_told_with_what_they_switch_off(demos: Demos) -> None:
    made = text(rule_lines(demos["kerosene-shutdown-linked-and-not"].answer, DISPLAY, details=False))
    assert "Shutdown time at this berth, at most 70 s" in made
    assert "Switched off by a file: Total shutdown time. Reason: written for gas carriers" in made


def test_a_broken_rule_makes_its_scenario_exceeded_in_the_overview() -> None:
    made = check(starter(SLOW).lineup)
    assert made.verdict == EXCEEDED
    assert {r.rule.id for r in made.broken} >= {"stop-flow-time"}
    report = "\n".join(TextReport(made, DISPLAY, details=True).lines())
    row = next(line for line in report.split("\n") if line.startswith("emergency shutdown"))
    assert "EXCEEDED" in row
    assert "Of the pressures, weakest is" in " ".join(report.split())


def test_a_chain_that_takes_too_long_asks_for_the_date_of_the_berth() -> None:
    made = check(starter(SLOW).lineup)
    tried = Advised(**{f.name: getattr(made, f.name) for f in fields(Assessment)}, remedies=Remedies())
    assert any("first transfer" in step for step in advice(tried, DISPLAY))


def test_what_moves_a_peak_most_is_told_first(demos: Demos) -> None:
    lines = assumed_lines(demos["benzene-by-names-and-sizes"].case.lineup.assumed)
    items = [line for line in lines if line.startswith("  - ")]
    assert items[0].startswith("  - wave speed of cargo hose")
    assert items[1].startswith("  - Kv of ")


def test_a_rule_that_is_off_is_no_news_without_a_file(demos: Demos) -> None:
    made = text(rule_lines(demos["gasoline-drop-lines"].answer, DISPLAY, details=False))
    assert "file" not in made.replace("a file of rules", "")


def test_a_stricter_rule_of_a_file_shows_as_broken(demos: Demos) -> None:
    own = read_rules(
        """
[[rule]]
id = "berth-time"
name = "Shutdown time at the berth"
text = "Every valve is shut within 10 s."
authority = "berth regulations (invented)"
edition = "2026"
clause = "1"
measure = "total shutdown time"
figure = "10 s"
compare = "at most"
counts = ["signal", "pump stop", "earlier valves", "stroke"]
requirement = "required"
applies = "a shutdown is in the case"
status = "read"
"""
    )
    lineup = demos["gasoline-drop-lines"].case.lineup
    shutdown = next(s for s in lineup.scenarios if s.ordered is not None)
    made = check(lineup.with_(scenarios=(shutdown,)), book=own)
    assert made.verdict == EXCEEDED
    assert [r.rule.id for r in made.broken] == ["berth-time"]
    assert "Shutdown time at the berth" in text(rule_lines(made, DISPLAY, details=False))
