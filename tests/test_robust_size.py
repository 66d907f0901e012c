"""What is too large is refused at once, with its bound; choices are made in little room."""

from __future__ import annotations

import json
import time
import tracemalloc
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from support.inputs.case_text import STARTER

import surge
from surge import effort
from surge.case import size as casesize
from surge.case.file import read_case
from surge.cli.main import main
from surge.errors import CaseError
from surge.search import scan
from surge.toml.faults import describe, format_faults
from surge.toml.mend import MOST_FAULTS_LISTED
from surge.toml.text import BIGGEST
from surge.transient import first_march
from surge.transient.batch_lane import Lane, LaneResult
from surge.transient.reaches import choose_step

HEAD = STARTER[: STARTER.index("[[scenario]]")]
EVENT = '\n[[scenario.event]]\nat = "0 s"\nclose = "manifold valve"\nstroke = "20 s"\n'
SCENARIO = '\n[[scenario]]\nname = "{}"' + EVENT
SPARE = '\n[[pipe]]\nname = "x{0}"\nfrom = "manifold"\nto = "y{0}"\nlength = "1 m"\n'


def table(rows: int) -> str:
    inner = ",\n".join(f'["{k} ms", {1 - k / (rows - 1):.6f}]' for k in range(rows))
    return f'\n[[scenario]]\nname = "a"{EVENT}law = "table"\ntable = [{inner}]\n'.replace(
        'stroke = "20 s"\n', ""
    )


@pytest.mark.parametrize(
    ("text", "key", "found"),
    [
        (
            HEAD.replace('length = "1200 m"', 'length = "10000 km"') + SCENARIO.format("a"),
            "length",
            '"10000 km"',
        ),
        (
            HEAD + "".join(SPARE.format(k) for k in range(3_000)) + SCENARIO.format("a"),
            "pipe",
            "3008 elements",
        ),
        (
            HEAD + "".join(f'\n[points."q{k}"]\nelevation = "1 m"' for k in range(9_000)),
            "points",
            "9009 points",
        ),
        (HEAD + "".join(SCENARIO.format(k) for k in range(101)), "scenario", "101 scenarios"),
        (HEAD + SCENARIO.format("a") + EVENT * 200, "event", "201 events in one scenario"),
        (HEAD + table(20_000), "table", "20000 rows in one table"),
        (HEAD + SCENARIO.format("a").replace('"0 s"', '"24 h"'), "at", "86400 s"),
    ],
)
def test_too_much_is_refused_with_its_bound(text: str, key: str, found: str) -> None:
    began = time.process_time()
    with pytest.raises(CaseError) as caught:
        read_case(text, filename="big.toml")
    assert time.process_time() - began < 5.0
    (record,) = [r for r in describe(caught.value) if found in r.found]
    assert key in record.key
    assert any(c.isdigit() for c in record.expected)
    assert record.remedy


def test_many_elements_in_many_scenarios_are_refused_together() -> None:
    spare = "".join(SPARE.format(k) for k in range(100))
    with pytest.raises(CaseError) as caught:
        read_case(HEAD + spare + "".join(SCENARIO.format(k) for k in range(20)), filename="big.toml")
    assert caught.value.faults[0].found == "20 scenarios with 108 elements each"
    assert caught.value.faults[0].expected == "at most 14 scenarios with so many elements"


def test_as_much_as_is_allowed_is_no_fault_of_size() -> None:
    rows = table(casesize.ROWS)
    text = HEAD + rows + "".join(SCENARIO.format(k) for k in range(casesize.SCENARIOS - 1))
    assert len(read_case(text, filename="x.toml").lineup.scenarios) == casesize.SCENARIOS


def test_a_thousandth_of_a_second_is_not_too_short_by_rounding() -> None:
    """0.009 - 0.008 is a little less than 0.001 in binary figures."""
    read_case(HEAD + table(1000), filename="x.toml")


def test_very_many_faults_of_rules_are_cut_short_too() -> None:
    text = STARTER + "".join(f'\n[points."q{k}"]\nelevation = "1 m"' for k in range(230))
    with pytest.raises(CaseError) as caught:
        read_case(text, filename="x.toml")
    assert len(caught.value.faults) == MOST_FAULTS_LISTED + 1
    assert "230 faults" in caught.value.faults[0].found


def test_a_file_that_is_far_too_big_is_not_read(tmp_path: Path) -> None:
    """A gigabyte that takes no room on disk: of each kind of file only as much is read as may be."""
    big = tmp_path / "big"
    with big.open("wb") as file:
        file.truncate(10**9)
    case = tmp_path / "case.toml"
    case.write_text(
        STARTER.replace("[liquid]", f'[rules]\nfile = "{big.name}"\n\n[liquid]', 1), encoding="utf-8"
    )
    for arguments, bound in (
        (["check", str(big)], "more than 1 MB"),
        (["check", str(case)], "more than 1 MB"),
        (["records", str(big)], "more than 100 MB"),
        (["records", str(big), "--case", str(case), "--curve", "manifold valve"], "more than 100 MB"),
        (["records", str(case), "--limits", str(big)], "more than 1 MB"),
    ):
        got = CliRunner().invoke(main, arguments)
        assert got.exit_code == 2, arguments
        assert bound in got.stderr, arguments


def test_the_step_is_chosen_in_little_room() -> None:
    """Never steps times pipes of memory."""
    times = np.exp(np.random.default_rng(1).uniform(-5, 1, 20_000))
    times[0] = 50.0
    tracemalloc.start()
    try:
        choose_step(times, stroke=20.0, period=100.0)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 4e6


@pytest.mark.parametrize("command", ["check", "window", "chart"])
def test_work_of_hours_is_refused_before_it_begins(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A quarter of what is foretold is always taken: where that is too much, nothing is marched.

    But for some strokes by which a chart chooses its valve.
    """
    case = tmp_path / "case.toml"
    case.write_text(STARTER, encoding="utf-8")
    monkeypatch.setattr(effort, "PATIENCE", 1e6)
    marched: list[object] = []
    march_batch = scan.march_batch

    def counted(lanes: Sequence[Lane], **options: Any) -> tuple[LaneResult, ...]:
        marched.extend(lanes if command != "chart" or len(lanes) > 3 else ())
        return march_batch(lanes, **options)

    monkeypatch.setattr(scan, "march_batch", counted)
    monkeypatch.setattr(first_march, "until_calm", lambda *args: marched.append(args))
    words = [command, str(case), *(["-o", str(tmp_path / "c.png")] if command == "chart" else [])]
    got = CliRunner().invoke(main, words)
    assert got.exit_code == 4
    assert "--patient" in got.stderr
    assert not marched
    assert not (tmp_path / "c.png").exists()


def test_work_that_turns_out_to_be_too_much_ends_by_its_count(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = tmp_path / "case.toml"
    case.write_text(STARTER, encoding="utf-8")
    with effort.metered(effort.Meter()) as all_of_it:
        surge.check(case)
    monkeypatch.setattr(effort, "PATIENCE", 0.9 * all_of_it.spent)
    refused = CliRunner().invoke(main, ["check", str(case), "--json"])
    assert refused.exit_code == 4
    assert json.loads(refused.stdout)["verdict"] == "cannot be decided"
    patient = CliRunner().invoke(main, ["check", str(case), "--patient"])
    assert patient.exit_code == surge.check(case).exit_code


@pytest.mark.parametrize(
    "text",
    [
        "\n".join(f"b{k}.{'a.' * 9000}a = 1" for k in range(50)),
        "\n".join(f"b{k} = {{ {'a . ' * 4000}a = 1 }}" for k in range(50)),
        "\n".join(f"[a{k}]" for k in range(100_000)),
        "x = [" + "[],\n" * 240_000 + "]",
    ],
    ids=["long keys", "long keys in braces", "tables", "lists"],
)
def test_a_text_of_a_megabyte_takes_no_time(text: str) -> None:
    """A few megabytes of keys of 10 000 parts took all of the memory that there was."""
    assert len(text) < BIGGEST
    began = time.process_time()
    with pytest.raises(CaseError) as caught:
        read_case(text, filename="x.toml")
    assert format_faults(caught.value)
    assert time.process_time() - began < 10.0
