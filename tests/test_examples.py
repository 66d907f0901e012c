"""Examples in docstrings are run, and the functions that people call have one.

What an example of a formula prints is a figure from a book or from a pocket calculator, and the example says
which. Examples of what ``surge.__all__`` offers show what the program says of a demo.
"""

from __future__ import annotations

import doctest
from importlib import import_module
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MODULES = [
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for path in sorted((ROOT / "surge").rglob("*.py"))
    if ">>>" in path.read_text(encoding="utf-8")
]
EXAMPLES = {
    test.name: test
    for module in MODULES
    for test in doctest.DocTestFinder(exclude_empty=True).find(import_module(module))
    if test.examples
}
CALLED = (
    "surge.api.chart.survey",
    "surge.api.check.check",
    "surge.api.compare.compare",
    "surge.api.fit.fit_record",
    "surge.api.known.list_known",
    "surge.api.proof.verify",
    "surge.api.records.judge_records",
    "surge.api.sheet.make_sheet",
    "surge.api.stroke.run_measured_stroke",
    "surge.api.verbs.draw",
    "surge.api.verbs.report",
    "surge.api.windows.find_windows",
    "surge.case.file.load_case",
    "surge.case.file.read_case",
    "surge.hydraulics.formulas.colebrook",
    "surge.hydraulics.formulas.friction_factor",
    "surge.hydraulics.formulas.head_loss",
    "surge.hydraulics.formulas.hose_wave_speed",
    "surge.hydraulics.formulas.joukowsky",
    "surge.hydraulics.formulas.kv_loss",
    "surge.hydraulics.formulas.loss_factor_to_kv",
    "surge.hydraulics.formulas.restraint_factor",
    "surge.hydraulics.formulas.wave_speed",
    "surge.kernel.curves.head",
    "surge.model.stroke.join",
    "surge.model.stroke.kv_ratio_over_time",
    "surge.model.topology.pipeline_period",
    "surge.reference.flanges.class_150_rating",
    "surge.reference.liquids.at",
    "surge.reference.petroleum.dead_oil_sound_speed",
    "surge.reference.petroleum.petroleum_density",
    "surge.reference.pipes.pipe_size",
    "surge.reference.valves.assumed_kv",
    "surge.transient.run.simulate",
)


@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example_prints_what_it_says(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)  # examples read the demos in cases/
    said: list[str] = []
    result = doctest.DocTestRunner(verbose=False).run(EXAMPLES[name], out=said.append)
    assert result.attempted > 0
    assert result.failed == 0, "".join(said)


@pytest.mark.parametrize("name", CALLED)
def test_what_people_call_has_an_example(name: str) -> None:
    assert name in EXAMPLES
