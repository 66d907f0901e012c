"""One list of limits: what a verdict holds an extreme against, a search holds it against."""

from __future__ import annotations

import pytest
from support.demos import VERDICTS, Demos

from surge.rules.findings import Finding
from surge.rules.limits import held_limits

EXTREMES = ("peak", "lowest", "vapour")


def held(finding: Finding) -> tuple[str, str, str, float | None, str]:
    return finding.subject, finding.name, finding.check, finding.limit, finding.rule


@pytest.mark.parametrize("name", VERDICTS)
def test_a_verdict_and_a_search_hold_the_same_limits(name: str, demos: Demos) -> None:
    found = demos[name].answer
    listed = [(h.subject, h.name, h.check, h.limit.value, h.limit.rule) for h in held_limits(found.lineup)]
    assert listed
    for scenario in found.lineup.scenarios:
        judged = {
            held(f)
            for f in found.findings
            if f.scenario == scenario.name and f.check in EXTREMES and f.limit is not None
        }
        assert judged == set(listed)
