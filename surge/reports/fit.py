"""A case fitted to a record, in words and as a table of readings."""

from __future__ import annotations

from collections.abc import Sequence

from surge.fitting.copy import before, number, shown
from surge.fitting.doubts import Doubt, LeftOver, whose
from surge.fitting.figures import INERTIA, RUN_DOWN, STROKE
from surge.fitting.fit import Fit, FittedFigure, FittedPlace
from surge.phrases import capital, counted
from surge.reports.layout import paragraph, table
from surge.reports.spreadsheet import Cell
from surge.reports.spreadsheet import table as spreadsheet
from surge.reports.words import CAUTIONS, Display
from surge.units import printable, quoted

FITTED, DOUBTED, UNTOLD = "fitted", "fitted, with doubts", "not told"
HEADLINE = {
    FITTED: "FITTED: THESE FIGURES EXPLAIN THE RECORD",
    DOUBTED: "FITTED, WITH DOUBTS: THE FIGURES DO NOT EXPLAIN THE RECORD",
    UNTOLD: "NOT TOLD: THE RECORD DOES NOT TELL THESE FIGURES",
}
EXIT_CODE = {FITTED: 0, DOUBTED: 4, UNTOLD: 4}
ONE_RECORD = (
    "A fitted figure is only as good as the record and the gauge, and goes for what was recorded: this line, "
    "this cargo, this movement. It is no limit and no permission."
)
WHO_JUDGES = "Whether the case is safe with these figures, `surge check` of the written copy says."
FRICTION = (
    "Friction in the model is that of steady flow. Real waves die down faster; a roughness that was fitted "
    "to many periods makes up for that, and is then too great for the steady flow. A case may ask for "
    "unsteady friction."
)
UNSTEADY = "Marches are with unsteady friction, as the case asks; its check judges by both kinds."
MOST_GAPS = 3
OF_ONE_DAY = (STROKE, RUN_DOWN, INERTIA)


def verdict_of(fit: Fit) -> str:
    """Return one of ``FITTED``, ``DOUBTED``, ``UNTOLD``."""
    if not fit.apart:
        return UNTOLD
    return DOUBTED if fit.doubts else FITTED


def fit_lines(fit: Fit, title: str, display: Display, *, details: bool) -> list[str]:
    """Return the answer as text.

    Parameters
    ----------
    fit : Fit
    title : str
        Of the case.
    display : Display
    details : bool
        Also clock, correlations, searches, and how the file was read.
    """
    out = [paragraph(title), "", HEADLINE[verdict_of(fit)], "", paragraph(_about(fit)), ""]
    out += figures_table(fit)
    out += ["", *[paragraph(left_words(p, display), indent="  ", first="- ") for p in fit.places]]
    if fit.doubts:
        out += ["", "Doubts", *_doubts(fit.doubts, display)]
    notes = _notes(fit, display)
    if details:
        notes += _details(fit)
    if notes:
        out += ["", "Notes", *[paragraph(text, indent="    ", first="  - ") for text in notes]]
    if details:
        out += _correlations(fit)
    out += ["", "What to do", *[paragraph(text, indent="    ", first="  - ") for text in _to_do(fit)]]
    friction = UNSTEADY if fit.unsteady else FRICTION
    out += ["", paragraph(ONE_RECORD), paragraph(friction), paragraph(CAUTIONS[0])]
    return out if details else [*out, "More: --details, --json; a picture of what is left over: -o fit.png."]


def _about(fit: Fit) -> str:
    places = " and ".join(f"{p.time.size} readings at {quoted(p.place)}" for p in fit.places)
    begin = min(float(p.time[0]) for p in fit.places)
    end = max(float(p.time[-1]) for p in fit.places)
    return (
        f'Record {printable(fit.trace.file.filename)} of the scenario "{fit.scenario}": {places}, from '
        f"{begin:.2f} to {end:.2f} s of the scenario."
    )


def figures_table(fit: Fit) -> list[str]:
    """Return the figures, each with its interval and what the case has."""
    rows = [
        (
            _name(f),
            shown(f, f.value),
            f"{number(f, f.low)} to {number(f, f.high)}",
            before(f),
        )
        for f in fit.figures
    ]
    return table(("figure", "fitted", "95 % interval", "in the case"), rows)


def _name(figure: FittedFigure) -> str:
    if figure.figure.factor:
        return f"{figure.figure.kind}, factor on that of all pipes"
    return f"{figure.figure.kind} of {quoted(figure.figure.name)}"


def left_words(place: FittedPlace, display: Display) -> str:
    """Return what is left over at a place, against the noise of its gauge."""
    left = place.left
    known = "before anything moved" if left.quiet else "from one reading to the next"
    off = f" The gauge reads {_signed(place.off, display)}." if place.off else ""
    return (
        f"At {quoted(place.place)} readings and fitted case differ by {fine(left.rms, display)} (root mean "
        f"square) while the pressure swings by {display.difference(left.swing)}. The gauge's own noise is "
        f"{fine(left.noise, display)}, as seen {known}; the farthest reading is off by "
        f"{fine(abs(left.worst), display)}, at {left.worst_time:.2f} s (row {left.worst_row}).{off}"
    )


def _signed(off: float, display: Display) -> str:
    return f"{fine(abs(off), display)} too {'much' if off > 0.0 else 'little'}"


def fine(value: float, display: Display) -> str:
    """Return a small difference of pressures [Pa] with a figure more than others have."""
    from surge.units import DECIMALS, from_si

    unit = display.units.pressure
    return f"{from_si(value, unit=unit):.{DECIMALS[unit] + 1}f} {unit}"


def _doubts(doubts: Sequence[Doubt], display: Display) -> list[str]:
    return [paragraph(display.phrase(d.phrase), indent="    ", first="  - ") for d in doubts]


def _notes(fit: Fit, display: Display) -> list[str]:
    said = []
    for place in fit.places:
        said += _gaps(place)
        if _small_pattern(place.left) and not fit.doubts:
            said.append(
                f"What is left over at {quoted(place.place)} keeps a pattern of about "
                f"{fine(place.left.unexplained, display)}: less than a hundredth of the swing. "
                "It is no doubt of its own, but the intervals are rather too narrow."
            )
    if fit.memory > 1.5:
        said.append(
            f"Readings that follow one another are alike: {fit.memory:.1f} of them count as one, and the "
            "intervals are as much wider as that asks for."
        )
    if fit.agreeing < fit.starts and fit.apart:
        said.append(
            f"{fit.agreeing} of {fit.starts} searches came to these figures, the others to some that fit "
            "less well."
        )
    if fit.left_out:
        said.append(
            f"Left out, before or after: {counted(fit.left_out, 'reading')} (others: --from, --until). Later "
            "waves are damped by more than steady friction."
        )
    return said


def _small_pattern(left: LeftOver) -> bool:
    return left.structured and left.unexplained > 0.5 * left.noise


def _gaps(place: FittedPlace) -> list[str]:
    told = [
        f"A gap of {seconds:.2f} s at {quoted(place.place)}, from row {a} to row {b}: nothing is put into "
        "it, and what came there is not known."
        for a, b, seconds in place.gaps[:MOST_GAPS]
    ]
    if len(place.gaps) > MOST_GAPS:
        told.append(f"{counted(len(place.gaps) - MOST_GAPS, 'more gap')} at {quoted(place.place)}.")
    return told


def _details(fit: Fit) -> list[str]:
    drift, error = fit.drift
    clock = f"The record's clock shows {fit.clock:.3f} s when the scenario begins"
    if fit.clock_half:
        clock += f", give or take {fit.clock_half:.3f} s (fitted)"
    return [
        f"{clock}. It seems to run {abs(drift) * 100:.3f} % {'fast' if drift > 0 else 'slow'}, give or take "
        f"{2 * error * 100:.3f} %.",
        f"Marches at a step of {fit.step * 1e3:.3g} ms. {fit.agreeing} of {fit.starts} searches agree.",
        *fit.trace.notes,
    ]


def _correlations(fit: Fit) -> list[str]:
    if len(fit.figures) < 2:
        return []
    names = [_name(f) for f in fit.figures]
    head = ("correlation", *(str(k + 1) for k in range(len(names))))
    rows = [
        (f"{k + 1} {name}", *(f"{fit.alike[k, j]:.2f}" for j in range(len(names))))
        for k, name in enumerate(names)
    ]
    return ["", *table(head, rows)]


def _to_do(fit: Fit) -> list[str]:
    if not fit.apart:
        return [
            "Ask for fewer figures, or give a record that tells them: see the doubts. No copy is written."
        ]
    said = [
        f"Write the copy of the case with `-o fitted.toml`, and check it. {WHO_JUDGES}",
        "The copy has the figures that fit best. What the ends of their intervals do to the verdict, `surge "
        "study` tells, with each as an uncertain figure.",
        "Fit a second record, of another movement, and compare: figures that hold are those of the line.",
    ]
    if any(f.figure.kind in OF_ONE_DAY and f.value > f.figure.value for f in fit.figures):
        said.append(
            "It took longer on that day than the case says, which is the gentler side. Check the case also "
            "with the quickest that tests have shown (`surge records`)."
        )
    if fit.doubts:
        said.insert(0, "Look at the doubts first: with them, the figures may make up for something else.")
    return said


def fit_csv(fit: Fit, signature: str) -> str:
    """Return every reading beside the fitted case, as the text of a CSV file."""
    rows: list[list[Cell]] = [
        ["place", "row", "time s", "measured Pa gauge", "fitted Pa gauge", "left over Pa", "made by"]
    ]
    for p in fit.places:
        for k in range(p.time.size):
            values = (p.time[k], p.measured[k], p.modelled[k], p.measured[k] - p.modelled[k])
            figures = [float(f"{v:.7g}") for v in values]
            rows.append([p.place, int(p.rows[k]), *figures, signature])
    return spreadsheet(rows)


def alt_words(fit: Fit) -> str:
    """Return what a picture of the fit shows, in a sentence."""
    told = "; ".join(f"{whose(f.figure)} {shown(f, f.value)}" for f in fit.figures)
    return f"{HEADLINE[verdict_of(fit)].capitalize()}. {capital(told)}."
