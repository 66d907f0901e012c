"""A berth of the template with one scenario: quick to check and to find forces in."""

from __future__ import annotations

import surge

NEXT = '\n[[scenario]]\nname = "start of loading"'


def shutdown_alone(*, arms: int = 1, tanks: int = 1) -> str:
    """The text of a case that of the template's scenarios has the shutdown only, which keeps all limits."""
    text, rest, _ = surge.new_case(arms=arms, tanks=tanks).partition(NEXT)
    assert rest
    return text
