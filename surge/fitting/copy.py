"""The copy of a case with fitted figures, each with a comment that says where it comes from."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from surge import __version__
from surge.errors import RequestError
from surge.fitting.fit import Fit, FittedFigure
from surge.toml.positions import Stretch
from surge.toml.rewrite import Written, written
from surge.units import printable

WIDTH = 110  # characters of a comment
FACTORS = {"m": (1e3, "mm"), "1": (1.0, "")}  # SI unit -> how a case has it
DIGITS = 12


def shown(figure: FittedFigure, value: float) -> str:
    """Return a value of a figure with its unit, as many figures as its interval leaves sense in."""
    _, unit = FACTORS.get(figure.figure.unit, (1.0, figure.figure.unit))
    return f"{number(figure, value)} {unit}".strip()


def number(figure: FittedFigure, value: float) -> str:
    """Return the same without the unit."""
    factor, _ = FACTORS.get(figure.figure.unit, (1.0, ""))
    half = 0.5 * (figure.high - figure.low) * factor
    places = 0
    while half < 10.0 and places < DIGITS:
        half *= 10.0
        places += 1
    return f"{value * factor:.{places}f}"


def before(figure: FittedFigure) -> str:
    """Return what the case has, with its unit."""
    factor, unit = FACTORS.get(figure.figure.unit, (1.0, figure.figure.unit))
    return f"{figure.figure.value * factor:.6g} {unit}".strip()


def fitted_text(fit: Fit) -> str:
    """Return the text of the case with the fitted figures in it; everything else stands as it was written.

    Parameters
    ----------
    fit : Fit

    Raises
    ------
    RequestError
        The record does not tell every figure: a case with such a figure would look surer than it is.
    """
    if not fit.apart:
        raise RequestError(
            "no copy of the case is written: the record does not tell every figure (see the doubts). Ask for "
            "fewer figures, or give a better record"
        )
    base = fit.text.base
    made = Written(base.text)
    changes = [(stretch, written(value)) for stretch, value in fit.text.stretches(fit.values)]
    for figure in fit.figures:
        for target in figure.figure.targets:
            line = base.text.rfind("\n", 0, base.places.keys[target.path].start) + 1
            said = _comment(fit, figure, fit.text.replaced.get(target.path, ()))
            changes.append((Stretch(line, line), said))
    made.replace(changes)
    return base.as_it_came(made.text)


def _comment(fit: Fit, figure: FittedFigure, replaced: Sequence[str]) -> str:
    """Where a figure comes from, as lines of a comment."""
    trace = fit.trace.file
    what = f"{figure.figure.kind}{' of all, as a factor' if figure.figure.factor else ''}"
    words = [
        f"Fitted by surge {__version__} to {printable(trace.filename)}, sha256 {trace.sha256[:16]}, scenario "
        f'"{printable(fit.scenario)}": {what} {shown(figure, figure.value)}, 95 % interval '
        f"{number(figure, figure.low)} to {shown(figure, figure.high)}, before {before(figure)}."
    ]
    if replaced:
        words.append(f"It takes the place of {', '.join(replaced)}.")
    if fit.doubts:
        words.append("With doubts: these figures alone do not explain the record.")
    words.append("As good as that record, no better.")
    lines = textwrap.wrap(" ".join(words), WIDTH - 2, break_on_hyphens=False)
    return "".join(f"# {line}\n" for line in lines)
