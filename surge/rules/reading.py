"""From the data of a rule file to rules: every fault noted, with where it is and what to write."""

from __future__ import annotations

import difflib
import functools
import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from surge.errors import Fault, Origin
from surge.inputs import InputFile
from surge.rules.book import (
    COMPARES,
    CONDITIONS,
    MEASURES,
    REQUIREMENTS,
    STATUSES,
    TERMS,
    Measure,
    Rule,
    RuleBook,
    speaks_of,
)
from surge.toml.text import FileError, FileKind, file_of, parsed, read_file
from surge.units import DIMENSIONS, QuantityError, printable, quoted, read

BUILT_IN = Path(__file__).with_name("tables") / "rules.toml"
LONGEST_TEXT = 600  # characters of a text
_ID = re.compile(r"[a-z0-9][a-z0-9.-]{0,59}")
_SOURCE = ("authority", "edition", "clause")
_TEXTS = ("name", "text", *_SOURCE, "note")
_NEEDED = ("id", "name", "text", *_SOURCE, "measure", "figure", "compare", "requirement", "applies", "status")
KEYS = (*_NEEDED, "counts", "conditions", "note", "replaces", "reason")
_OFF_KEYS = ("id", "replaces", "requirement", "reason", "note")
_CHOICES: Mapping[str, Sequence[str]] = {
    "measure": tuple(MEASURES),
    "compare": COMPARES,
    "requirement": REQUIREMENTS,
    "applies": tuple(CONDITIONS),
    "status": STATUSES,
}
_EXAMPLES = {
    "id": '"hose-velocity"',
    "name": '"Velocity in hoses"',
    "text": "one plain sentence in quotes",
    "authority": '"terminal regulations"',
    "edition": '"2026"; "not noted" where there is none',
    "clause": '"4.2"; "none" where there is none',
    "figure": '"30 s", or a number where it is a factor',
    "reason": "why the rule is off, and who decided it",
    "replaces": '"hose-velocity"',
    "note": "a text in quotes",
}
_ANY = ("time", "level", "fraction", "speed", "difference")  # what a figure outside the case may be


@functools.cache
def built_in() -> RuleBook:
    """Return the rules that come with the program.

    Raises
    ------
    ValueError
        When the package is damaged: the file in it has a fault.
    """
    rules, faults = rules_of(tomllib.loads(BUILT_IN.read_text(encoding="utf-8")))
    if faults:
        message = f"{BUILT_IN}: {faults[0]}"
        raise ValueError(message)
    return RuleBook(rules=rules)


def rules_of(
    data: Mapping[str, Any], *, base: RuleBook | None = None
) -> tuple[tuple[Rule, ...], tuple[Fault, ...]]:
    """Return the rules of a file's data, and every fault in it.

    Parameters
    ----------
    data : mapping
        What ``tomllib`` gave.
    base : RuleBook, optional
        The book that a user's file adds to; without it the data are such a book themselves.

    Returns
    -------
    rules, faults : tuple of Rule, tuple of Fault
        Only when there are no faults are the rules complete.
    """
    reader = _Reader(base)
    for key in data:
        if key != "rule":
            reader.fault((key,), _key_found(key), "[[rule]] only", "take it out; each rule is a [[rule]]")
    tables = data.get("rule", [])
    if not isinstance(tables, list) or not all(isinstance(t, dict) for t in tables):
        reader.fault(
            ("rule",),
            _shown(tables),
            "a list of tables [[rule]]",
            "write the header with two brackets: [[rule]]",
        )
        tables = []
    rules = [reader.rule(table, ("rule", k)) for k, table in enumerate(tables)]
    return tuple(r for r in rules if r is not None), tuple(reader.faults)


def _shown(value: object) -> str:
    """Return a TOML value as a message shows it."""
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, int) and abs(value) >= 10**18:
        return "a number of many digits"
    return quoted(str(value))


def _key_found(key: str) -> str:
    return f"unknown key {quoted(key)}"


def _hint(word: str, known: Sequence[str], otherwise: str) -> str:
    near = difflib.get_close_matches(word[:100], known, n=1, cutoff=0.6)
    return f'did you mean "{near[0]}"?' if near else otherwise


class _Reader:
    """Reads rule after rule, and notes what is wrong."""

    def __init__(self, base: RuleBook | None) -> None:
        self.base = base
        self.faults: list[Fault] = []
        self.seen: dict[str, int] = {}  # id, or id of what it replaces -> number of its table

    def fault(self, path: Origin, found: str, expected: str, remedy: str) -> None:
        self.faults.append(Fault(path=path, found=found, expected=expected, remedy=remedy))

    def rule(self, table: Mapping[str, Any], path: Origin) -> Rule | None:
        """Return the rule of one table, or None if it has a fault."""
        before = len(self.faults)
        off = table.get("requirement") == "off"
        self._keys(table, path, off=off)
        got: dict[str, Any] = {key: self._text(table, path, key) for key in (*_TEXTS, "reason")}
        got |= {key: self._choice(table, path, key) for key in _CHOICES}
        got |= {key: self._list(table, path, key) for key in ("counts", "conditions")}
        got |= {key: self._id(table, path, key) for key in ("id", "replaces")}
        old = self._old(got, path, off=off)
        if off:
            return self._off(got, old, path, clean=len(self.faults) == before)
        measure = MEASURES.get(got["measure"])
        figure = self._figure(table, path, measure) if measure else 0.0
        if measure:
            self._fits(got, path, measure)
        if len(self.faults) > before:
            return None
        text = table["figure"] if isinstance(table["figure"], str) else f"{table['figure']:g}"
        rule = Rule(**got, figure=figure, figure_text=text, own=self.base is not None)
        if old is not None:
            self._loosened(rule, old, path)
        return rule

    def _off(self, got: Mapping[str, Any], old: Rule | None, path: Origin, *, clean: bool) -> Rule | None:
        if old is not None and MEASURES[old.measure].fixed:
            remedy = "take this rule out; a limit is changed in the case, where its source stands"
            self.fault((*path, "requirement"), '"off"', f'"required": "{old.id}" stays in force', remedy)
            return None
        if old is None or not clean:
            return None
        kept = {k: getattr(old, k) for k in Rule.__dataclass_fields__}
        return Rule(**kept | {"requirement": "off", "reason": got["reason"], "own": True})

    # Keys and single values

    def _keys(self, table: Mapping[str, Any], path: Origin, *, off: bool) -> None:
        known = _OFF_KEYS if off else KEYS
        for key in table:
            if key not in KEYS:
                self.fault(
                    (*path, key),
                    _key_found(key),
                    f"one of {', '.join(KEYS)}",
                    _hint(key, KEYS, "take it out"),
                )
            elif key not in known:
                remedy = f"take {key} out: a rule that is off keeps the figure and source it had"
                self.fault((*path, key), f"{key} beside requirement off", f"only {', '.join(known)}", remedy)
        if not off and "reason" in table:
            self.fault(
                (*path, "reason"),
                "a reason beside a rule in force",
                "no reason",
                "write it as note, or take it out",
            )
        needed = ("reason",) if off else _NEEDED
        for key in needed:
            if key not in table:
                self._missing(path, key)
        if off and "id" not in table and "replaces" not in table:
            self._missing(path, "id")

    def _missing(self, path: Origin, key: str) -> None:
        listed = " or ".join(f'"{c}"' for c in _CHOICES.get(key, ()))
        what = listed if len(listed) < 200 else f'such as "{_CHOICES[key][0]}"; surge list rules shows them'
        self.fault((*path, key), f"no key {key}", f"{key}: {what or _EXAMPLES[key]}", f"add the key {key}")

    def _text(self, table: Mapping[str, Any], path: Origin, key: str) -> str:
        value = table.get(key, "")
        fine = isinstance(value, str) and len(value) <= LONGEST_TEXT and printable(value) == value
        if key in table and not (fine and value.strip()):
            self.fault(
                (*path, key),
                _shown(value),
                f"a text on one line, 1 to {LONGEST_TEXT} characters",
                f"write {key}, e.g. {_EXAMPLES[key]}",
            )
        return value.strip() if fine else ""

    def _id(self, table: Mapping[str, Any], path: Origin, key: str) -> str:
        value = table.get(key, "")
        fine = isinstance(value, str) and _ID.fullmatch(value) is not None
        if key in table and not fine:
            words = "small letters, digits, hyphens and points, 60 at most"
            self.fault((*path, key), _shown(value), words, f"write {key} like {_EXAMPLES['id']}")
        return value if fine else ""

    def _choice(self, table: Mapping[str, Any], path: Origin, key: str) -> str:
        value, known = table.get(key, ""), _CHOICES[key]
        if key in table and value not in known:
            listed = "one of " + "; ".join(f'"{c}"' for c in known)
            remedy = (
                _hint(value, known, "write one of these") if isinstance(value, str) else "write one of these"
            )
            self.fault((*path, key), _shown(value), listed, remedy)
            return ""
        return str(value)

    def _list(self, table: Mapping[str, Any], path: Origin, key: str) -> tuple[str, ...]:
        value = table.get(key, [])
        if not isinstance(value, list):
            self.fault((*path, key), _shown(value), "a list of texts in brackets", f'write {key} = ["..."]')
            return ()
        for k, item in enumerate(value):
            if key == "counts" and item not in TERMS:
                remedy = (
                    _hint(item, TERMS, "write one of these")
                    if isinstance(item, str)
                    else "write one of these"
                )
                self.fault((*path, key, k), _shown(item), f"one of {', '.join(TERMS)}", remedy)
            elif (
                not isinstance(item, str)
                or not item.strip()
                or printable(item) != item
                or len(item) > LONGEST_TEXT
            ):
                self.fault((*path, key, k), _shown(item), "a text", "write it in quotes")
        return tuple(item for item in value if isinstance(item, str))

    def _figure(self, table: Mapping[str, Any], path: Origin, measure: Measure) -> float:
        if "figure" not in table:
            return 0.0
        value, path = table["figure"], (*path, "figure")
        if (
            isinstance(value, int | float)
            and not isinstance(value, bool)
            and measure.figure in ("number", "any")
        ):
            if not 0 <= value <= 1e9:  # not a number fails this as well
                self.fault(path, _shown(value), "a number from 0 to 1000000000", "check the figure")
                return 0.0
            return float(value)
        if not isinstance(value, str) or measure.figure == "number":
            what = "a number" if measure.figure == "number" else DIMENSIONS[self._dimension(measure)].expected
            self.fault(
                path,
                _shown(value),
                what,
                "write a factor as a bare number"
                if what == "a number"
                else f"write it like {_EXAMPLES['figure']}",
            )
            return 0.0
        return self._quantity(value, path, measure)

    @staticmethod
    def _dimension(measure: Measure) -> str:
        return "time" if measure.figure == "any" else measure.figure

    def _quantity(self, text: str, path: Origin, measure: Measure) -> float:
        refusal: QuantityError | None = None
        for dimension in _ANY if measure.figure == "any" else (measure.figure,):
            try:
                reading = read(text, dimension=dimension)
            except QuantityError as error:
                refusal = refusal or error
                continue
            if reading.kind == "absolute pressure" and measure.figure != "any":
                remedy = 'write it above the atmosphere, such as "8 bar(g)"'
                self.fault(path, quoted(text), "a gauge pressure", remedy)
            if reading.value < 0:
                self.fault(
                    path, quoted(text), "a figure from 0 up", "check the sign: compare tells above from below"
                )
            return reading.value
        assert refusal is not None
        self.fault(path, refusal.found, refusal.expected, refusal.remedy)
        return 0.0

    # What belongs together

    def _old(self, got: Mapping[str, Any], path: Origin, *, off: bool) -> Rule | None:
        """Return the rule of the base that this one replaces or switches off."""
        key = "replaces" if got["replaces"] else "id"
        name = got[key]
        if not name:
            return None
        for each in {got["id"], got["replaces"]} - {""}:
            if each in self.seen:
                found = f"{_shown(each)}, which rule {self.seen[each] + 1} has already"
                self.fault((*path, key), found, "each rule once", "take one of the two out")
            self.seen.setdefault(each, int(path[-1]))
        known = {r.id: r for r in self.base.rules} if self.base else {}
        if got["replaces"] and got["id"] in known and got["id"] != got["replaces"]:
            self.fault(
                (*path, "id"),
                _shown(got["id"]),
                "an id that the book does not have",
                "give the new rule an id of its own",
            )
        if name not in known and (off or key == "replaces"):
            remedy = _hint(name, tuple(known), "surge list rules shows the ids")
            self.fault((*path, key), _shown(name), "the id of a rule of the book", remedy)
        return known.get(name)

    def _fits(self, got: Mapping[str, Any], path: Origin, measure: Measure) -> None:
        if got["applies"] and not speaks_of(got["measure"], got["applies"]):
            self.fault(
                (*path, "applies"),
                _shown(got["applies"]),
                f'a condition that "{got["measure"]}" can have, which is found for a whole {measure.level}',
                'write another condition, such as "always"',
            )
        noted = any(f.path[: len(path) + 1] == (*path, "counts") for f in self.faults)
        if measure.terms and not got["counts"] and not noted:
            self._missing_terms(path)
        if got["counts"] and not measure.terms:
            found = f'counts beside the measure "{got["measure"]}"'
            self.fault(
                (*path, "counts"), found, "no counts: it has no terms of a shutdown", "take counts out"
            )

    def _missing_terms(self, path: Origin) -> None:
        self.fault(
            (*path, "counts"),
            "no terms that the time counts",
            f"some of {', '.join(TERMS)}",
            'write counts = ["signal", "stroke"], with every term that the rule counts',
        )

    def _loosened(self, rule: Rule, old: Rule, path: Origin) -> None:
        """Note what would make a fixed rule of the book looser than it is."""
        if not MEASURES[old.measure].fixed:
            return
        stays = {k: getattr(old, k) for k in ("measure", "requirement", "applies")}
        for key, value in stays.items():
            if getattr(rule, key) != value:
                remedy = "write it so; a limit is changed in the case, where its source stands"
                self.fault(
                    (*path, key), _shown(getattr(rule, key)), f'"{value}": "{old.id}" stays in force', remedy
                )
        looser = rule.figure > old.figure if old.upper else rule.figure < old.figure
        if rule.upper != old.upper or (old.compare != rule.compare and rule.inclusive):
            self.fault((*path, "compare"), _shown(rule.compare), f'"{old.compare}" or stricter', "write that")
        elif looser:
            remedy = "a higher limit goes into the case: rating, allowance or test pressure, with its source"
            self.fault((*path, "figure"), rule.figure_text, f"{old.figure_text} or stricter", remedy)


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
    FileError
        With one fault when the file cannot be read or is no TOML, else with all faults of its rules; see
        :func:`surge.toml.faults.describe` for their lines.
    """
    return _book_of(read_file(path, RULES))


def read_rules(text: str, *, filename: str = "rules.toml") -> RuleBook:
    """Put the rules of a rule file's text into the built-in book.

    Parameters
    ----------
    text : str
    filename : str
        For the output only; nothing is opened.

    Raises
    ------
    FileError
        As :func:`load_rules`.
    """
    return _book_of(file_of(text, filename=filename, kind=RULES))


def _book_of(file: InputFile) -> RuleBook:
    base = built_in()
    rules, faults = rules_of(parsed(file, RULES), base=base)
    if faults:
        raise FileError(faults, file=file, kind=RULES)
    return base.merged(rules, file=file)
