"""The words around a picture or an animation: what is drawn, how to read it, and the cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from surge.phrases import capital
from surge.plots.film import Words
from surge.plots.frame import Heading
from surge.plots.line import draw_line
from surge.plots.map import draw_wave
from surge.plots.time import draw_time, place_words
from surge.reports.rules import rule_items
from surge.reports.sensitivities import shown_without
from surge.reports.words import CAUTIONS, HEADLINE, Display, against, sentence, what_happens, whose
from surge.rules.book import LOCAL_CODES
from surge.rules.findings import WITHIN
from surge.transient.result import ScenarioResult
from surge.views.by_itself import GAS, LIFT
from surge.views.film import Film
from surge.views.line import LinePicture, left_out
from surge.views.map import WavePicture
from surge.views.subject import Subject
from surge.views.time import TimePicture

Span = tuple[float, float]


def scenario_words(subject: Subject, display: Display) -> str:
    """Return the verdict on a scenario, its name, and the figures taken where the case gives a range."""
    run, case = subject.run, subject.assessment.verdict
    why = ", the one nearest to a limit" if subject.chosen else ""
    verdict = HEADLINE[subject.verdict]
    if case != subject.verdict:
        verdict = f"{verdict} (the whole case: {HEADLINE[case]})"
    # The verdict first: a long name may be cut where there is no room.
    return f'{verdict}: scenario "{run.name}"{taken(run, display)}{why}'


def taken(run: ScenarioResult, display: Display) -> str:
    """Return the figures that a run took of what is a range, as far as they matter."""
    said = display.taken(run.taken)
    return f" ({', '.join(said)})" if said else ""


def verdict_words(subject: Subject, display: Display) -> str:
    """Return the weakest place of a scenario in a sentence, and which shut-off pressures are not kept."""
    said = []
    if subject.finding is not None:
        # The scenario is told beside it.
        said.append(sentence(replace(subject.finding, scenario=""), subject.run, display))
    for f in subject.assessment.static:
        if f.verdict != WITHIN:
            words = "; ".join(w for w in (what_happens(f, None, display), against(f, None, display)) if w)
            said.append(f"Before any scenario: {whose(f)}: {words}.")
    return " ".join(said) or "No pressure is held against a limit here."


def heading_of(subject: Subject, display: Display, how: str, signature: str, *, more: str = "") -> Heading:
    """Return the words around a picture: scenario and weakest place above it, how to read it below.

    Parameters
    ----------
    subject : Subject
    display : Display
    how : str
        How to read the picture.
    signature : str
        Which program and which case.
    more : str
        What else is to be known about it.
    """
    run = subject.run
    end = f" {' '.join(f'{capital(r)}.' for r in run.undecided)}" if run.undecided else ""
    error = f"Numerical error up to {display.difference(run.method.worst_error)}, either way."
    lines = (
        subject.lineup.title,
        scenario_words(subject, display),
        verdict_words(subject, display),
    )
    foot = (
        " ".join(t for t in (how, more, shown_without(subject.assessment, display), error + end) if t),
        f"{LOCAL_CODES} {' '.join(CAUTIONS)}",
    )
    return Heading(lines=lines, foot=foot, signature=signature)


BOILS = "Where the cargo boils this picture ends: dotted parts are without cavities, and not valid."


CAVITIES = (
    "From when the cargo boils, curves are of a march with cavities of vapour and gas, on the finest grid; "
    "marks are the furthest of all marches with cavities."
)


def time_files(
    picture: TimePicture, display: Display, signature: str, *, kinds: Sequence[str], span: Span | None
) -> dict[str, bytes]:
    """Draw a :class:`surge.views.time.TimePicture` with its words; return a file for each kind."""
    subject = picture.subject
    how = (
        "Above: pressure at the places named, the marks being the extremes that the run reports; hatched: "
        "beyond a limit. Middle: how far valves are open, or the speed of pumps. Below: flow, positive from "
        f"{'ship to shore' if subject.lineup.discharges else 'shore to ship'}."
    )
    if any(one.kind in (LIFT, GAS) for one in picture.by_itself):
        how += (
            " Lift: how far a relief valve is open. Gas: as a share of its drum, into which flow is positive."
        )
    alt = (
        f"Pressure against time at {', '.join(place_words(c, display) for c in picture.traces)} in "
        f"{scenario_words(subject, display)}. {verdict_words(subject, display)}"
    )
    boils = CAVITIES if picture.cavities else BOILS
    heading = heading_of(subject, display, how, signature, more=boils if subject.run.vapour else "")
    return draw_time(picture, display, heading, kinds=kinds, alt=alt, span=span)


NOT_TO_SCALE = (
    "Across, each element is as wide as the root of its length and parts without length have a width too, "
    "so that short ones can be seen; lengths are written."
)


def line_files(
    picture: LinePicture, display: Display, signature: str, *, kinds: Sequence[str]
) -> dict[str, bytes]:
    """Draw a :class:`surge.views.line.LinePicture` with its words; return a file for each kind."""
    subject = picture.subject
    how = (
        "Highest and lowest pressure anywhere along the line during the whole scenario: they do not occur at "
        f"the same time. Hatched: beyond the limit of that part. {NOT_TO_SCALE}"
    )
    if picture.until is not None:
        how += (
            f" The cargo boils at {display.time(picture.until)} s: shown is the time before that, without "
            "cavities."
        )
    way = f'from "{picture.way.points[0]}" to "{picture.way.points[-1]}"'
    alt = (
        f"Highest, lowest and steady pressure along the line {way} in {scenario_words(subject, display)}. "
        f"{verdict_words(subject, display)}"
    )
    heading = heading_of(subject, display, how, signature, more=left_out(subject, picture.way, hung=False))
    return draw_line(picture, display, heading, kinds=kinds, alt=alt)


def wave_files(
    picture: WavePicture, display: Display, signature: str, *, kinds: Sequence[str]
) -> dict[str, bytes]:
    """Draw a :class:`surge.views.map.WavePicture` with its words; return a file for each kind."""
    subject = picture.subject
    how = (
        "Pressure at every place (across) and time (upwards): a wave is an oblique edge, the steeper the "
        "slower. White bars show how far a valve is open, or how fast a pump runs; crossed: beyond the limit "
        f"of that part. The map has one row every {picture.every:.3g} s, and a peak between two rows is not "
        f"in it; the ring is at the extreme that the whole run reports. {NOT_TO_SCALE}"
    )
    way = f'from "{picture.way.points[0]}" to "{picture.way.points[-1]}"'
    alt = (
        f"Map of pressure against place and time along the line {way} in {scenario_words(subject, display)}. "
        f"{verdict_words(subject, display)}"
    )
    more = " ".join(t for t in (left_out(subject, picture.way), BOILS if subject.run.vapour else "") if t)
    heading = heading_of(subject, display, how, signature, more=more)
    return draw_wave(picture, display, heading, kinds=kinds, alt=alt)


def picture_lines(subject: Subject, display: Display) -> list[str]:
    """Return the words that go with a picture, and the rules of the trade that the case does not keep."""
    broken = [i.text for i in rule_items(subject.assessment, display, details=False) if i.about == "broken"]
    return [subject.lineup.title, scenario_words(subject, display), verdict_words(subject, display), *broken]


def film_words(film: Film, display: Display, signature: str) -> tuple[Words, str]:
    """Return the words around an animation, and what it shows, for those who do not see it."""
    subject = film.subject
    way = f'from "{film.way.points[0]}" to "{film.way.points[-1]}"'
    alt = (
        f"Animation of the pressure along the line {way} from {film.time[0]:.2f} s to {film.time[-1]:.2f} s, "
        f"{film.pace}, in {scenario_words(subject, display)}. {verdict_words(subject, display)} "
        f"{left_out(subject, film.way)}"
    )
    words = Words(title=subject.lineup.title, line=scenario_words(subject, display), signature=signature)
    return words, alt.strip()
