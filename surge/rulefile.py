"""The rule file of a terminal or ship: a text in TOML that adds to the built-in rules, or replaces some."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from surge.errors import CaseError
from surge.rulebook import RuleBook
from surge.rulebook_read import built_in, rules_of

BIGGEST = 1_000_000  # [bytes] of a rule file
LONGEST_LINE = 20_000  # [characters]; the parser's time for one key grows with the square of its length
_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")


def load_rules(path: str | Path) -> RuleBook:
    """Read a rule file from disk and put its rules into the built-in book.

    Parameters
    ----------
    path : str or Path

    Raises
    ------
    CaseError
        With one fault when the file cannot be read or is no TOML, else with all faults of its rules; see
        :func:`surge.casefaults.describe` for their lines.
    """
    return read_rules(read_rule_text(path))


def read_rule_text(path: str | Path) -> str:
    """Return the text of a rule file; raises CaseError with one fault when it cannot be read."""
    try:
        with Path(path).open("rb") as file:
            content = file.read(BIGGEST + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise _fault(f"cannot be opened: {reason}", "check the path and the rights") from None
    if len(content) > BIGGEST:
        raise _fault(
            "more than 1 MB", "a rule takes some hundred bytes: check that this is the file you mean"
        )
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise _fault(
            f"byte {content[error.start]:#04x}, which is not UTF-8", "save the file as UTF-8", line=line
        ) from None


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
    rules, faults = rules_of(_parsed(text.removeprefix("\ufeff")), base=base)
    if faults:
        raise CaseError(list(faults))
    return base.merged(rules)


def _parsed(text: str) -> dict[str, Any]:
    lines = text.replace("\r\n", "\n").split("\n")
    for number, content in enumerate(lines, start=1):
        if len(content) > LONGEST_LINE:
            raise _fault(f"a line of {len(content)} characters", "write a line break", line=number)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = _PLACE.search(str(error))
        line, column = len(lines), len(lines[-1]) + 1
        if place and place[1]:
            line, column = int(place[1]), int(place[2])
        remedy = "look for a missing quote, bracket or equals sign here or just before"
        raise _fault(_PLACE.sub("", str(error)), remedy, line=line, column=column) from None
    except RecursionError:
        raise _fault("brackets nested too deep", "no key of a rule takes so many brackets") from None
    except ValueError as error:  # a whole number of thousands of digits
        raise _fault(f"a number that cannot be read: {error}", "write a shorter number") from None


def _fault(found: str, remedy: str, *, line: int = 1, column: int = 1) -> CaseError:
    from surge.casefaults import TextFault  # late: it brings the reader of case files with it

    expected = "a rule file: a text in TOML with [[rule]]"
    return CaseError(
        [TextFault(path=(), found=found, expected=expected, remedy=remedy, line=line, column=column)]
    )
