"""A berth of the template with few scenarios: quick to check and to find forces in."""

from __future__ import annotations

import surge

SCENARIO = "\n[[scenario]]\n"


def shutdown_alone(*, arms: int = 1, tanks: int = 1, more: int = 0) -> str:
    """The text of a case with the template's shutdown, which keeps all limits, and so many scenarios more."""
    head, *scenarios = surge.new_case(arms=arms, tanks=tanks).split(SCENARIO)
    assert 'name = "emergency shutdown"' in scenarios[0]
    return SCENARIO.join([head, *scenarios[: 1 + more]])
