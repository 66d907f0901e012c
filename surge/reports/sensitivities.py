"""What a case asks for beside the usual, in words: what it changes, and when to trust it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from surge.reports.layout import paragraph, table
from surge.reports.words import Display
from surge.rules.assess import Assessment
from surge.rules.findings import EXCEEDED, UNDECIDED, Finding, weakest
from surge.transient.result import ElementResult, Extreme, PlaceResult, ScenarioResult, Sensitivity
from surge.transient.sensitivities import GAS, UNSTEADY_FRICTION

TRUST = {
    UNSTEADY_FRICTION: (
        "Trust what unsteady friction adds to a first peak, and takes off late ones, where the flow is "
        "laminar: its weight is exact there. In turbulent flow it is an estimate for smooth walls."
    ),
    GAS: (
        "Trust gas in the liquid as a sensitivity: small bubbles spread evenly, none dissolving. What gas "
        "there is on the day is not known: try several shares. Its numerical error is an estimate, tried on "
        "some ten line-ups only."
    ),
}
NO_BETTER = "no verdict is better for it"
_COUNTED = {EXCEEDED: "exceeded", UNDECIDED: "undecided"}


@dataclass(frozen=True, kw_only=True)
class _Compared:
    """One scenario with one thing beside the usual: what is worse with it, what is nearest to a limit."""

    run: ScenarioResult
    one: Sensitivity
    worse: tuple[Finding, ...]
    nearest: Finding | None

    @property
    def order(self) -> tuple[bool, bool, float]:
        """For sorting: what tells most comes last."""
        shown = weakest(self.worse) or self.nearest
        return bool(self.worse), self.one.run is not None, shown.load if shown else 0.0


def _compared(assessment: Assessment) -> dict[str, list[_Compared]]:
    """Every scenario with every sensitivity, by the words of the latter."""
    found: dict[str, list[_Compared]] = {}
    for run in assessment.scenarios:
        own = [f for f in assessment.findings if f.scenario == run.name and f.taken == run.taken]
        nearest = weakest(f for f in own if not f.beside and f.check in ("peak", "lowest"))
        for one in run.sensitivities:
            worse = tuple(f for f in own if f.beside == one.words)
            found.setdefault(one.words, []).append(_Compared(run=run, one=one, worse=worse, nearest=nearest))
    return found


def sensitivity_sentences(assessment: Assessment, display: Display) -> list[str]:
    """Return a sentence for everything that the case asks for beside the usual: where it changes most."""
    said = []
    for words, all_of_it in _compared(assessment).items():
        shown = max(all_of_it, key=lambda c: c.order)
        missing = [c for c in all_of_it if c.one.run is None]
        if shown.one.run is not None:
            said.append(_sentence(shown, display))
        if missing:
            names = " and ".join(dict.fromkeys(f'"{c.run.name}"' for c in missing[:2]))
            more = f" and {len(missing) - 2} more" if len(missing) > 2 else ""
            said.append(f"With {words} {names}{more} could not be run: {missing[0].one.missing}.")
    return said


def sensitivity_trust(assessment: Assessment) -> list[str]:
    """Return when to trust what the case asks for beside the usual; nothing where it asks for nothing."""
    kinds = dict.fromkeys(one.kind for run in assessment.scenarios for one in run.sensitivities)
    return [TRUST[kind] for kind in kinds]


def _sentence(c: _Compared, display: Display) -> str:
    where = f'With {c.one.words}, in "{c.run.name}"'
    f = weakest(c.worse) or c.nearest
    if c.worse and f is not None and f.subject == "scenario":
        return f"{where} it cannot be decided: {f.reason}."
    moved = _moved(c, f, display) if f is not None else ""
    if not c.worse:
        return f"{where}{moved or ' no pressure comes near a limit'}: no verdict changes."
    counts = [f"{n} {_COUNTED[v]}" for v in _COUNTED if (n := sum(f.verdict == v for f in c.worse))]
    return f"{where}{moved}: of the limits {' and '.join(counts)} by it alone."


def _moved(c: _Compared, f: Finding, display: Display) -> str:
    """An extreme without and with it."""
    assert c.one.run is not None
    upper = f.check == "peak"
    without, with_it = (_extreme(run, f, upper=upper).pressure for run in (c.run, c.one.run))
    write = display.round_up if upper else display.round_down
    does = "peaks at" if upper else "falls to"
    return f', "{f.name}" {does} {write(with_it, unit=True)}, without it {write(without)}'


def _extreme(run: ScenarioResult, f: Finding, *, upper: bool) -> Extreme:
    owners: Sequence[ElementResult | PlaceResult] = run.elements if f.subject == "element" else run.places
    owner = next(o for o in owners if o.name == f.name)
    return owner.highest if upper else owner.lowest


def shown_without(assessment: Assessment, display: Display) -> str:
    """Return for a picture that it shows the usual run, and what is beside it; "" where nothing is."""
    said = sensitivity_sentences(assessment, display)
    return " ".join(["Shown is the run without what follows.", *said]) if said else ""


def sensitivity_lines(run: ScenarioResult, display: Display) -> Iterator[str]:
    """Yield tables of extremes without and with what the case asks for beside the usual."""
    for one in run.sensitivities:
        yield ""
        if one.run is None:
            yield paragraph(f"With {one.words}: not run, {one.missing}.")
            continue
        m = one.run.method
        fit = f", weights within {100 * one.fit:.1f} %" if one.fit else ""
        yield paragraph(
            f"The same with {one.words}: {m.runs} marches to {m.duration:.1f} s, steps of "
            f"{m.dt * 1e3:.2f} ms, largest numerical error {display.error(m.worst_error)} "
            f"{display.units.pressure}{fit}. It is held against every limit too; {NO_BETTER}."
        )
        unit = f"{display.units.pressure}(g)"
        head = ("element or place", f"peak {unit}", "with it", "at s", f"lowest {unit}", "with it", "at s")
        yield from table(head, list(_rows(run, one.run, display)))
        yield paragraph(TRUST[one.kind])


def _rows(run: ScenarioResult, other: ScenarioResult, display: Display) -> Iterator[tuple[str, ...]]:
    for usual, own in zip(_owners(run), _owners(other), strict=True):
        row = [usual.name]
        for before, now, write in (
            (usual.highest, own.highest, display.round_up),
            (usual.lowest, own.lowest, display.round_down),
        ):
            row += [
                write(before.pressure),
                f"{write(now.pressure)} {display.error(now.error)}",
                display.time(now.time),
            ]
        yield tuple(row)


def _owners(run: ScenarioResult) -> list[ElementResult | PlaceResult]:
    return [*run.elements, *run.places]
