"""What all tests share: the demo cases and their answers, once a session, and how hypothesis runs."""

from __future__ import annotations

import os

import pytest
from hypothesis import HealthCheck, settings
from support.demos import VERDICTS, Demo, Demos

from surge.api.check import check
from surge.case.file import read_case
from surge.fitting import estimate
from surge.rules.assess import Assessment

# How long an example takes says how busy the machine is, and nothing about the program. The examples are the
# same in every run, so that one that fails says what was changed; --hypothesis-profile=fresh draws new ones.
patient = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("same", patient, derandomize=True)
settings.register_profile("fresh", patient)
settings.load_profile("same")


@pytest.fixture(scope="session")
def demos(tmp_path_factory: pytest.TempPathFactory) -> Demos:
    """Every demo case by its name; read, checked and calculated by hand when that is first asked for."""
    own = tmp_path_factory.getbasetemp()
    shared = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "demos"
    return {name: Demo(name, shared) for name in VERDICTS}


@pytest.fixture(scope="session")
def compiled(demos: Demos) -> None:
    """Make sure that the march is compiled and kept: no command says any more that it compiles."""
    assert demos["restart-into-a-shut-deck-line"].answer.scenarios


@pytest.fixture
def one_search(monkeypatch: pytest.MonkeyPatch) -> None:
    """A fit searches from the case's own figures only: for what is told of an answer, however it was found.

    That several searches are made, and agree, a test of the demo record says.
    """
    monkeypatch.setattr(estimate, "GUESSES", 2)  # the case's own, and the least that can be drawn beside it
    monkeypatch.setattr(estimate, "SEARCHED", 1)


@pytest.fixture(scope="session")
def boiling(demos: Demos) -> Assessment:
    """The answer to a demo with crude so light that it boils behind the valve that shuts."""
    text = demos["crude-sea-line"].path.read_text(encoding="utf-8")
    old = 'vapour_pressure = "0.15 bar(a)"'
    assert old in text
    changed = text.replace(old, 'vapour_pressure = "0.45 bar(a)"')
    return check(read_case(changed, filename="boiling.toml"), remedies=False)
