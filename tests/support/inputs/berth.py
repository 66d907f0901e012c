"""The smallest berth of the template, with one scenario: quick to check, to search and to find forces in."""

from __future__ import annotations

import surge

NEXT = '\n[[scenario]]\nname = "start of loading"'


def shutdown_alone() -> str:
    """The text of a case: one arm, one tank, and of its scenarios the shutdown, which keeps all limits."""
    text, rest, _ = surge.new_case(arms=1, tanks=1).partition(NEXT)
    assert rest
    return text
