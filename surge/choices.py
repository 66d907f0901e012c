"""Words that an argument or an option may be, each set of them said once.

Functions take them as types and refuse other words (:mod:`surge.arguments`). Options of the command line are
made of the same (:mod:`surge.cli.shared`), so that nothing heavy may be imported here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Literal, get_args

PictureOf = Literal["time", "line", "map"]
PictureKind = Literal["png", "svg", "pdf"]
DrawnKind = Literal["png", "svg", "pdf", "csv"]
FilmKind = Literal["gif", "mp4", "html"]
ChartKind = Literal["png", "svg", "pdf", "csv", "json"]
StudyPicture = Literal["table", "peaks", "matters"]
ForcesKind = Literal["png", "svg", "pdf", "csv"]
FillingKind = Literal["png", "svg", "pdf", "csv", "gif"]
FitKind = Literal["toml", "png", "svg", "pdf", "csv"]
SystemOf = Literal["windows", "linux"]
Through = Literal["drop lines", "pumps"]
SheetKind = Literal["pdf", "html"]
PageKind = Literal["md", "html"]
Dates = Literal["day-first", "month-first"]
DecimalSign = Literal["point", "comma"]
TimedFrom = Literal["order", "movement"]
KnownKind = Literal["liquids", "pipes", "hoses", "valves", "rules"]
_FileSchema = Literal["case", "rules", "limits", "study"]
SchemaOf = Literal[
    _FileSchema,
    "result",
    "list",
    "window",
    "chart",
    "records",
    "measured",
    "verify",
    "compare",
    "sheet",
    "forces",
    "filling",
    "fit",
    "study-result",
]
FILM_SECONDS = (2.0, 60.0)  # [s] that an animation may run


def words_of(choices: Any) -> tuple[str, ...]:
    """Return the words of one of the types of this module, in their order."""
    words: tuple[str, ...] = get_args(choices)
    return words


def offer(words: tuple[str, ...]) -> str:
    """Say what to write instead of a word that is not offered."""
    return f"write one of {', '.join(words)}"


def ending(path: str | Path, choices: Any) -> Any:
    """Return which of the words a file's name ends in; raises ArgumentError where it is none of them."""
    from surge.errors import ArgumentError

    kind = Path(path).suffix.lower().removeprefix(".")
    if kind not in words_of(choices):
        endings = ", ".join(f".{word}" for word in words_of(choices))
        raise ArgumentError(("path",), str(path), f"end the name with one of {endings}")
    return kind


_USES: dict[str, tuple[PictureOf, ...]] = {
    "place": ("time",),
    "places": ("time",),
    "to": ("line", "map"),
    "from": ("time", "map"),
    "until": ("time", "map"),
    "span": ("time", "map"),
}


def refuse_useless(of: PictureOf, given: Mapping[str, Any]) -> None:
    """Raise ArgumentError for what a picture has no use for: it is a mistake, not a wish to pass over.

    Parameters
    ----------
    of : {"time", "line", "map"}
    given : mapping of str to object
        What was asked for beside it: "places", "to", "span"; of the command line "place", "from", "until".
    """
    from surge.errors import ArgumentError

    for name, value in given.items():
        used = _USES[name]
        if value and of not in used:
            found = f'has no use in the picture "{of}"'
            raise ArgumentError((name,), found, f"leave it out, or ask for {' or '.join(used)}")


def refuse_table(of: PictureOf, kinds: Iterable[str]) -> None:
    """Raise ArgumentError where a table is wanted of a picture that is none of histories.

    Parameters
    ----------
    of : {"time", "line", "map"}
    kinds : iterable of {"png", "svg", "pdf", "csv"}
    """
    from surge.errors import ArgumentError

    if of != "time" and "csv" in kinds:
        remedy = 'a table holds histories: ask for "time", or for a picture (png, svg or pdf)'
        raise ArgumentError(("of",), f'"{of}" as csv', remedy)
