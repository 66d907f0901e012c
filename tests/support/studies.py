"""Studies for tests: of one instant stop, whose peak has a closed form, in a folder of their own."""

from __future__ import annotations

from pathlib import Path

from surge.api.inputs import rules_of_case
from surge.case.file import Case
from surge.inputs import InputFile
from surge.studies.file import load_study
from surge.studies.types import Study
from surge.toml.faults import FaultRecord, describe
from surge.toml.text import FileError

STOP = (Path(__file__).parent / "inputs" / "instant_stop.toml").read_text(encoding="utf-8")

HEAD = """
schema = 1
title = "Stops"
case = "stop.toml"
run = "quick look"
"""
SAMPLES = """
[samples]
design = "independent"
count = 12
seed = 3
"""
RATE = """
[[axis]]
name = "rate"
key = "rate: agreed"
values = ["280 m3/h", "300 m3/h"]
"""
SPEED = """
[[uncertain]]
name = "wave speed"
key = 'pipe "line": wave_speed'
distribution = "normal"
mean = "1000 m/s"
standard_deviation = "60 m/s"
"""


def written(folder: Path, text: str, *, case: str = STOP) -> Path:
    """Write a study with its case into a folder; returns the path of the study."""
    (folder / "stop.toml").write_text(case, encoding="utf-8")
    path = folder / "study.toml"
    path.write_text(text, encoding="utf-8")
    return path


def no_rules(case: Case) -> tuple[str, InputFile] | None:
    rules_of_case(case)
    return None


def loaded(folder: Path, text: str, *, case: str = STOP) -> Study:
    return load_study(written(folder, text, case=case), rules_of=no_rules)


def refused(folder: Path, text: str, *, case: str = STOP) -> list[FaultRecord]:
    """Return the faults of a study that must have some."""
    try:
        loaded(folder, text, case=case)
    except FileError as error:
        return describe(error)
    raise AssertionError("it was not refused")
