"""Files of rules: the user's, with every fault, its place and what to write; and the program's own.

Decisions
---------
* A user's file is read by the models of :mod:`surge.rules.schema`, as a case is. The program's own table is
  made into rules without them: a test reads it with the models, and a rule checks its own words
  (:class:`surge.rules.book.Rule`). So a start that reads no file of the user's does not pay for them.
"""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from surge.errors import Fault, Origin, meant
from surge.inputs import InputFile
from surge.rules.book import FIGURES, MEASURES, NEEDED, OFF_KEYS, TERMS, Measure, Rule, RuleBook, speaks_of
from surge.toml.text import FileError, FileKind, file_of, parsed, read_file, shown
from surge.units import DIMENSIONS, QuantityError, quoted, read

BUILT_IN = Path(__file__).with_name("tables") / "rules.toml"
RULES = FileKind(
    words="a rule file: a text in TOML with [[rule]]",
    too_big="a rule takes some hundred bytes: check that this is the file you mean",
    lists="[[rule]]",
)


@functools.cache
def built_in() -> RuleBook:
    """Return the rules that come with the program.

    Raises
    ------
    ValueError
        When the package is damaged: the file in it has a fault.
    """
    try:
        rules, faults = rules_of(tomllib.loads(BUILT_IN.read_text(encoding="utf-8"))["rule"])
    except (KeyError, TypeError, ValueError) as error:
        raise ValueError(f"{BUILT_IN}: {error}") from error
    if faults:
        raise ValueError(f"{BUILT_IN}: {faults[0]}")
    return RuleBook(rules=rules)


def load_rules(path: str | Path, *, private: bool = False) -> RuleBook:
    """Read a rule file from disk and put its rules into the built-in book.

    Parameters
    ----------
    path : str or Path
    private : bool
        Faults tell places and keys, and nothing else that stands in the file.

    Raises
    ------
    FileError
        With one fault when the file cannot be read or is no TOML, else with all faults of its rules; see
        :func:`surge.toml.faults.describe` for their lines.
    """
    try:
        return _book_of(read_file(path, RULES))
    except FileError as error:
        if not private:
            raise
        remedy = "`surge list rules --rules` with the name of this file shows what is wrong"
        raise error.without_contents(remedy) from None


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
    rules, faults = rules_in(parsed(file, RULES), base=base)
    if faults:
        raise FileError(faults, file=file, kind=RULES)
    return base.merged(rules, file=file)


def rules_in(data: dict[str, Any], *, base: RuleBook | None) -> tuple[tuple[Rule, ...], list[Fault]]:
    """Return the rules of a file, and every fault in it.

    Parameters
    ----------
    data : dict
        As ``tomllib`` gives it.
    base : RuleBook or None
        The book that the file adds to; None for a file that is such a book itself.
    """
    from surge.rules.schema import RulesFile
    from surge.toml.mend import mend

    mended = mend(data, RulesFile, RULES)
    spec = mended.spec(None)
    rules, faults = rules_of([dict(_given(table)) for table in spec.rule or []] if spec else [], base=base)
    mended.add(list(faults))
    return rules, mended.listed(RULES)


def _given(table: Any) -> Iterable[tuple[str, Any]]:
    """What stands in a table: None for what was refused."""
    return ((key, getattr(table, key)) for key in table.model_fields_set)


def rules_of(
    tables: Iterable[Mapping[str, Any]], *, base: RuleBook | None = None
) -> tuple[tuple[Rule, ...], tuple[Fault, ...]]:
    """Make rules of tables whose single values are sound.

    Parameters
    ----------
    tables : iterable of mapping
        Key -> value; None, alone or in a list, for one that was refused.
    base : RuleBook, optional
        The book that a user's file adds to; without it the tables are such a book themselves.

    Returns
    -------
    rules, faults : tuple of Rule, tuple of Fault
        Only when there are no faults are the rules complete.
    """
    maker = _RuleMaker(base)
    made = [maker.rule(table, ("rule", k)) for k, table in enumerate(tables)]
    return tuple(rule for rule in made if rule is not None), tuple(maker.faults)


class _RuleMaker:
    """Makes rule after rule, and notes what does not go together."""

    def __init__(self, base: RuleBook | None) -> None:
        self.base = base
        self.faults: list[Fault] = []
        self.seen: dict[str, int] = {}  # id, or id of what it replaces -> number of its table

    def fault(self, path: Origin, found: str, expected: str, remedy: str) -> None:
        self.faults.append(Fault(path=path, found=found, expected=expected, remedy=remedy))

    def rule(self, table: Mapping[str, Any], path: Origin) -> Rule | None:
        """Return the rule of one table, or None if it has a fault."""
        before = len(self.faults)
        got: dict[str, Any] = {
            key: tuple(value) if isinstance(value, list) else value
            for key, value in table.items()
            if value is not None
        }
        off = got.get("requirement") == "off"
        if table.get("requirement", "") is not None:  # else nobody knows which keys it should have
            self._keys(table, path, off=off)
        old = self._old(got, path, off=off)
        if off:
            return self._off(got, old, path, clean=len(self.faults) == before)
        measure = MEASURES.get(got.get("measure", ""))
        value = 0.0
        if measure is not None:
            value = self._figure(got, path, measure)
            self._fits(got, path, measure)
        if len(self.faults) > before or None in table.values() or None in got.get("counts", ()):
            return None
        figure = got["figure"]
        text = figure if isinstance(figure, str) else f"{figure:g}"
        rule = Rule(**got | {"figure": value}, figure_text=text, own=self.base is not None)
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
        return Rule(**kept | {"requirement": "off", "reason": got.get("reason", ""), "own": True})

    # Keys and the figure

    def _keys(self, table: Mapping[str, Any], path: Origin, *, off: bool) -> None:
        for key in table if off else ():
            if key not in OFF_KEYS:
                remedy = f"take {key} out: a rule that is off keeps the figure and source it had"
                expected = f"only {', '.join(OFF_KEYS)}"
                self.fault((*path, key), f"{key} beside requirement off", expected, remedy)
        if not off and "reason" in table:
            found, remedy = "a reason beside a rule in force", "write it as note, or take it out"
            self.fault((*path, "reason"), found, "no reason", remedy)
        for key in ("reason",) if off else NEEDED:
            if key not in table:
                self._missing((*path, key))
        if off and "id" not in table and "replaces" not in table:
            self._missing((*path, "id"))

    def _missing(self, path: Origin) -> None:
        from surge.rules.schema import RulesFile
        from surge.toml.tables import missing_key

        self.faults.append(missing_key(path, RulesFile))

    def _figure(self, got: Mapping[str, Any], path: Origin, measure: Measure) -> float:
        """Return the figure in SI."""
        if "figure" not in got:
            return 0.0
        value, path = got["figure"], (*path, "figure")
        if measure.figure == "number" and isinstance(value, str):
            self.fault(path, shown(value), "a number", "write a factor as a bare number")
            return 0.0
        if isinstance(value, str):
            return self._quantity(value, path, measure)
        if measure.figure not in ("number", "any"):
            expected = DIMENSIONS[measure.figure].expected
            self.fault(path, shown(value), expected, f'write it like "{DIMENSIONS[measure.figure].example}"')
        return float(value)

    def _quantity(self, text: str, path: Origin, measure: Measure) -> float:
        refusal: QuantityError | None = None
        for dimension in FIGURES[measure.figure]:
            try:
                reading = read(text, dimension=dimension)
            except QuantityError as error:
                refusal = refusal or error
                continue
            if reading.kind == "absolute pressure" and measure.figure != "any":
                remedy = 'write it above the atmosphere, such as "8 bar(g)"'
                self.fault(path, quoted(text), "a gauge pressure", remedy)
            if reading.value < 0:
                remedy = "check the sign: compare tells above from below"
                self.fault(path, quoted(text), "a figure from 0 up", remedy)
            return reading.value
        assert refusal is not None
        self.fault(path, refusal.found, refusal.expected, refusal.remedy)
        return 0.0

    # What belongs together

    def _old(self, got: Mapping[str, Any], path: Origin, *, off: bool) -> Rule | None:
        """Return the rule of the base that this one replaces or switches off."""
        key = "replaces" if "replaces" in got else "id"
        name = got.get(key)
        if name is None:
            return None
        for each in dict.fromkeys(got[k] for k in ("id", "replaces") if k in got):
            if each in self.seen:
                found = f"{shown(each)}, which rule {self.seen[each] + 1} has already"
                self.fault((*path, key), found, "each rule once", "take one of the two out")
            self.seen.setdefault(each, int(path[-1]))
        known = {r.id: r for r in self.base.rules} if self.base else {}
        if "replaces" in got and got.get("id") in known and got["id"] != got["replaces"]:
            self.fault(
                (*path, "id"),
                shown(got["id"]),
                "an id that the book does not have",
                "give the new rule an id of its own",
            )
        if name not in known and (off or key == "replaces"):
            near = meant(name, known)
            remedy = f'did you mean "{near}"?' if near else "surge list rules shows the ids"
            self.fault((*path, key), shown(name), "the id of a rule of the book", remedy)
        return known.get(name)

    def _fits(self, got: Mapping[str, Any], path: Origin, measure: Measure) -> None:
        if "applies" in got and not speaks_of(got["measure"], got["applies"]):
            expected = (
                f'a condition that "{got["measure"]}" can have, which is found for a whole {measure.level}'
            )
            remedy = 'write another condition, such as "always"'
            self.fault((*path, "applies"), shown(got["applies"]), expected, remedy)
        if measure.terms and not got.get("counts"):
            found, expected = "no terms that the time counts", f"some of {', '.join(TERMS)}"
            remedy = 'write counts = ["signal", "stroke"], with every term that the rule counts'
            self.fault((*path, "counts"), found, expected, remedy)
        if got.get("counts") and not measure.terms:
            found = f'counts beside the measure "{got["measure"]}"'
            expected = "no counts: it has no terms of a shutdown"
            self.fault((*path, "counts"), found, expected, "take counts out")

    def _loosened(self, rule: Rule, old: Rule, path: Origin) -> None:
        """Note what would make a fixed rule of the book looser than it is."""
        if not MEASURES[old.measure].fixed:
            return
        stays = {k: getattr(old, k) for k in ("measure", "requirement", "applies")}
        for key, value in stays.items():
            if getattr(rule, key) != value:
                remedy = "write it so; a limit is changed in the case, where its source stands"
                self.fault(
                    (*path, key), shown(getattr(rule, key)), f'"{value}": "{old.id}" stays in force', remedy
                )
        looser = rule.figure > old.figure if old.upper else rule.figure < old.figure
        if rule.upper != old.upper or (old.compare != rule.compare and rule.inclusive):
            self.fault((*path, "compare"), shown(rule.compare), f'"{old.compare}" or stricter', "write that")
        elif looser:
            remedy = "a higher limit goes into the case: rating, allowance or test pressure, with its source"
            self.fault((*path, "figure"), rule.figure_text, f"{old.figure_text} or stricter", remedy)
