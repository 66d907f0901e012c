"""The rule file of a terminal or ship: a text in TOML that adds to the built-in rules, or replaces some."""

from __future__ import annotations

from pathlib import Path

from surge.errors import CaseError
from surge.rules.book import RuleBook
from surge.rules.reading import built_in, rules_of
from surge.toml import FileKind, parsed, read_file

BIGGEST = 1_000_000  # [bytes] of a rule file
RULES = FileKind(
    words="a rule file: a text in TOML with [[rule]]",
    biggest=BIGGEST,
    too_big=("more than 1 MB", "a rule takes some hundred bytes: check that this is the file you mean"),
    closed="check the path and the rights",
    lists="[[rule]]",
)


def load_rules(path: str | Path) -> RuleBook:
    """Read a rule file from disk and put its rules into the built-in book.

    Parameters
    ----------
    path : str or Path

    Raises
    ------
    CaseError
        With one fault when the file cannot be read or is no TOML, else with all faults of its rules; see
        :func:`surge.case.faults.describe` for their lines.
    """
    return read_rules(read_rule_text(path))


def read_rule_text(path: str | Path) -> str:
    """Return the text of a rule file; raises CaseError with one fault when it cannot be read."""
    return read_file(path, RULES)


def read_rules(text: str) -> RuleBook:
    """Put the rules of a rule file's text into the built-in book.

    Parameters
    ----------
    text : str

    Raises
    ------
    CaseError
        As :func:`load_rules`.
    """
    base = built_in()
    rules, faults = rules_of(parsed(text.removeprefix("\ufeff"), RULES), base=base)
    if faults:
        raise CaseError(list(faults))
    return base.merged(rules)
