"""The rules of the trade as data: what a rule is, and a book of them.

A rule holds one measure against one figure. Which measures and conditions there are is a closed list, since
the program has to know how to find each of them in a case; every figure, source and word stands in the book
(``tables/rules.toml``), and a terminal or ship adds or replaces rules in a file of its own.

Decisions
---------
* Rules on pressures are required: static, steady, peak, test pressure, top of the cargo pump, lowest
  pressure, vapour. All but the pump top may be made stricter by a user's file, never looser: a higher limit
  goes into the case (rating, allowance), where its source stands.
* A figure that stands in the case always counts. For the top of the cargo pump a file may set aside the
  program's own 8 bar, up or down or altogether; of a figure in the case and one in a file the smaller holds.
* A rule binds what it speaks of. Many rules come from regulations for certain ships or ports; of several
  figures for one thing the strictest holds, unless the case says why another does.
* Unknown is not "no". A required rule that lacks the fact which tells whether it applies (is the cargo a
  static accumulator, is this the start of loading, what is the ullage) is held, with its strictest figure,
  until the case gives the fact. The ruling says so, and what to write. A required rule that lacks the figure
  to be held makes the verdict "cannot be decided".
* Only what a case does not ask is left: without a [scenario.shutdown] the rules on the times of a shutdown
  have nothing to hold. They are listed as "not checked", with what to write, and do not count.
* A terminal that wants a shutdown in every case writes those rules with ``applies = "always"``.
* Advisory rules never count. Local codes win over every rule of the book.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from surge.inputs import InputFile

LOCAL_CODES = "Local codes and the procedures of terminal and ship win over every rule listed here."
STATUSES = ("read", "read in part", "from memory", "computed", "hearsay", "common practice, no source")
BINDS = {"IGC Code": "binds gas carriers", "IBC Code": "binds chemical tankers"}  # of codes for certain ships
WANTED = {  # how a measure stands to the figure of its rule -> the same in a sentence, before the figure
    "at most": "limit",
    "less than": "must be less than",
    "at least": "must be at least",
    "more than": "must be more than",
}
COMPARES = tuple(WANTED)
REQUIREMENTS = ("required", "advisory", "off")
TERMS = ("detection", "operator response", "signal", "pump stop", "earlier valves", "stroke")
# Keys of a rule: those that every rule in force has, and those that a rule has that is off.
NEEDED = (
    *("id", "name", "text", "authority", "edition", "clause"),
    *("measure", "figure", "compare", "requirement", "applies", "status"),
)
OFF_KEYS = ("id", "replaces", "requirement", "reason", "note")
LARGEST_FACTOR = 1e9  # [-]
ROUNDING = 1e-9  # [-] of the limit: figures that differ by less are the same figure


@dataclass(frozen=True, kw_only=True)
class Measure:
    """Something that the program can hold against a figure.

    Attributes
    ----------
    figure : str
        What a figure of it is: a dimension of :data:`surge.units.DIMENSIONS`, "number", or "any".
    shown : str
        What value and limit of a ruling are: "time" [s], "pressure" [Pa gauge], "speed" [m/s], "number" [-].
    level : str
        What a condition on it may speak of: "case", "scenario", "element".
    terms : bool
        Whether its rules list the terms of a shutdown that they count.
    fixed : bool
        Whether a rule of the built-in book that holds it can only be made stricter.
    """

    figure: str
    shown: str
    level: str
    terms: bool = False
    fixed: bool = False


# What the figure of a measure is -> the dimensions that it may be written in; "number" has none.
FIGURES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        **{dimension: (dimension,) for dimension in ("time", "level", "difference", "speed")},
        "any": ("time", "level", "fraction", "speed", "difference"),
    }
)


def _pressure(figure: str = "number", *, fixed: bool = True, level: str = "element") -> Measure:
    return Measure(figure=figure, shown="pressure", level=level, fixed=fixed)


def _ratio(shown: str = "pressure") -> Measure:
    return Measure(figure="number", shown=shown, level="element")


MEASURES: Mapping[str, Measure] = MappingProxyType(
    {
        # Pressures that ``findings`` and ``static`` find; a figure is a share of the limit, or a distance.
        "static pressure over rating": _pressure(),
        "steady pressure over rating": _pressure(),
        "peak pressure over rating x allowance": _pressure(),
        "peak pressure over test pressure": _pressure(),
        "pressure at the top of the cargo pump": _pressure("level", fixed=False, level="case"),
        "pressure over a place's own limit": _pressure(level="case"),
        "lowest pressure above the lowest allowed": _pressure("difference"),
        "lowest pressure above vapour pressure": _pressure("difference"),
        "whether the run is valid": _pressure(level="case"),
        # Times of a shutdown
        "time to stop the flow": Measure(figure="time", shown="time", level="scenario", terms=True),
        "total shutdown time": Measure(figure="time", shown="time", level="scenario", terms=True),
        "shutdown time over time to fill the ullage": Measure(
            figure="number", shown="time", level="scenario", terms=True
        ),
        "time from the shore's stop to the ship's first valve": Measure(
            figure="time", shown="time", level="scenario"
        ),
        # Strokes
        "effective closing time over pipeline period": Measure(
            figure="number", shown="time", level="scenario"
        ),
        "stroke time": Measure(figure="time", shown="time", level="element"),
        "stroke time per inch of bore": Measure(figure="time", shown="time", level="element"),
        "stroke time per millimetre of bore": Measure(figure="time", shown="time", level="element"),
        # Flow
        "velocity": Measure(figure="speed", shown="speed", level="element"),
        "velocity at the inlets of ship's tanks": Measure(figure="speed", shown="speed", level="scenario"),
        # What the parts are made for, and when they were tested
        "allowance on the rating": _ratio("number"),
        "rating": Measure(figure="level", shown="pressure", level="element"),
        "test pressure over rating": _ratio(),
        "test pressure over burst pressure": _ratio(),
        "burst pressure over rating": _ratio(),
        "burst pressure over static pressure": _ratio(),
        "months since the last pressure test": _ratio("number"),
        # What no case holds: the record of it is kept elsewhere
        "not in the case": Measure(figure="any", shown="number", level="case"),
    }
)

# Condition -> what it speaks of. A rule on a case or scenario takes no condition on an element.
CONDITIONS: Mapping[str, str] = MappingProxyType(
    {
        "always": "case",
        "a shutdown is in the case": "scenario",
        "a shutdown; oil, first transfer on or before 1980-11-01": "scenario",
        "a shutdown; oil, first transfer later or not stated": "scenario",
        "a shutdown; hazardous material, first transfer before 1990-10-04": "scenario",
        "a shutdown; hazardous material, first transfer later or not stated": "scenario",
        "a ship's tank has an ullage": "case",
        "the cargo is a static accumulator": "case",
        "the cargo is a static accumulator, at the start of loading": "scenario",
        "hoses": "element",
        "arms": "element",
        "a hose whose burst pressure is given": "element",
        "a hose whose test and burst pressures are given": "element",
        "a test pressure is given, or a surge uses an allowance": "element",
        "a ship's line that a valve can shut off from its tank": "element",
        "a ship's line that is always open to its tank": "element",
        "no allowance is chosen": "element",
        "an allowance up to 1.10 is chosen": "element",
        "an allowance above 1.10, up to 1.15 is chosen": "element",
        "an allowance above 1.15, up to 1.20 is chosen": "element",
        "an allowance above 1.20 is chosen": "element",
    }
)
_DEPTH = {"case": 0, "scenario": 1, "element": 2}


def speaks_of(measure: str, condition: str) -> bool:
    """Whether a condition makes sense for a measure."""
    return _DEPTH[CONDITIONS[condition]] <= _DEPTH[MEASURES[measure].level]


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One rule.

    Attributes
    ----------
    id : str
        Our own plain words.
    name, text : str
        A title, and one sentence that an officer understands.
    authority, edition, clause : str
        Where it stands.
    measure : str
        A key of :data:`MEASURES`.
    figure : float
        In SI; a factor for ratios and allowances. ``figure_text`` is as written.
    compare : str
        "at most", "less than", "at least" or "more than".
    counts : tuple of str
        Terms of a shutdown that a time counts, from :data:`TERMS`.
    requirement : str
        "required", "advisory" or "off".
    applies : str
        A key of :data:`CONDITIONS`.
    status : str
        How far the source was verified, from :data:`STATUSES`.
    conditions : tuple of str
        What must hold besides, and no case tells.
    replaces : str
        Id of the rule of the built-in book that it stands for, "" otherwise.
    reason : str
        Why it is off.
    own : bool
        From a user's file.

    Raises
    ------
    ValueError
        A word that is none of those above: a rule that nobody could hold a case against.
    """

    id: str
    name: str
    text: str
    authority: str
    edition: str
    clause: str
    measure: str
    figure: float
    figure_text: str
    compare: str
    requirement: str
    applies: str
    status: str
    counts: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()
    note: str = ""
    replaces: str = ""
    reason: str = ""
    own: bool = False

    def __post_init__(self) -> None:
        words = (
            (self.measure, MEASURES),
            (self.compare, COMPARES),
            (self.requirement, REQUIREMENTS),
            (self.applies, CONDITIONS),
            (self.status, STATUSES),
            *((term, TERMS) for term in self.counts),
        )
        for word, known in words:
            if word not in known:
                raise ValueError(f"the rule {self.id}: {word!r} is none of {', '.join(known)}")

    @property
    def source(self) -> str:
        """Authority, clause, edition and status in one line."""
        edition = self.edition.replace("not noted", "edition not noted")
        told = [edition, self.binds, self.status]
        clause = "" if self.clause == "none" else f", {self.clause}"
        return f"{self.authority}{clause} ({'; '.join(t for t in told if t not in ('', 'none'))})"

    @property
    def binds(self) -> str:
        """Which ships its code binds, in words; "" for every tanker and terminal that its conditions name."""
        return BINDS.get(self.authority, "")

    @property
    def required(self) -> bool:
        """Whether it counts for the verdict."""
        return self.requirement == "required"

    @property
    def upper(self) -> bool:
        """Whether the figure is an upper limit."""
        return self.compare in ("at most", "less than")

    @property
    def inclusive(self) -> bool:
        """Whether the figure itself is still allowed."""
        return self.compare in ("at most", "at least")

    def keeps(self, value: float, *, limit: float, error: float = 0.0) -> bool | None:
        """Hold a value against a limit.

        Parameters
        ----------
        value, limit : float
            In one unit; the limit is the figure, or the figure times what it is a share of.
        error : float
            Numerical error of the value, either way.

        Returns
        -------
        bool or None
            None when the error reaches across the limit, or a number is not one.
        """
        if math.isnan(value) or math.isnan(limit):
            return None
        margin = self.margin(value, limit=limit)
        same = ROUNDING * abs(limit)
        if error > same and abs(margin) < error:
            return None
        return margin >= -same if self.inclusive else margin > same

    def margin(self, value: float, *, limit: float) -> float:
        """How far a value stays on the allowed side; negative beyond the limit."""
        return limit - value if self.upper else value - limit


@dataclass(frozen=True, kw_only=True)
class RuleBook:
    """The rules that a case is held against, in their order.

    Attributes
    ----------
    rules : tuple of Rule
    file : InputFile or None
        The user's file that some of them come from; None for the built-in rules alone.
    """

    rules: tuple[Rule, ...]
    file: InputFile | None = None

    def rule(self, rule_id: str) -> Rule | None:
        """Return the rule with an id, or the one that replaces it; None where there is neither."""
        own = next((r for r in self.rules if r.id == rule_id), None)
        return own or next((r for r in self.rules if r.replaces == rule_id), None)

    def merged(self, changes: tuple[Rule, ...], *, file: InputFile | None = None) -> RuleBook:
        """Return the book with a user's rules: each in the place of the one it replaces, or at the end."""
        instead = {r.replaces or r.id: r for r in changes}
        known = {r.id for r in self.rules}
        added = tuple(r for r in changes if (r.replaces or r.id) not in known)
        return RuleBook(rules=tuple(instead.get(r.id, r) for r in self.rules) + added, file=file)
