"""Pictures and films of what a check found, as the bytes of files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from surge.api.inputs import Ends
from surge.arguments import Measure, Number, checked, si, si_or_none
from surge.choices import DrawnKind, FilmKind, PictureOf, ending, refuse_table, refuse_useless
from surge.plots.captions import film_words, line_files, time_files, wave_files
from surge.plots.film_files import film_file, frame_time
from surge.reports.histories import histories_csv
from surge.views import film as films
from surge.views.line import line_picture
from surge.views.map import times_of, wave_picture
from surge.views.time import time_picture
from surge.workers import Progress

if TYPE_CHECKING:
    from surge.reports.words import Display
    from surge.views.subject import Subject

NOT_NEGATIVE = Measure(least=0.0)


def drawn(
    subject: Subject,
    of: PictureOf,
    *,
    places: Sequence[str] = (),
    to: str | None = None,
    span: Ends = (None, None),
    kinds: Sequence[DrawnKind],
    display: Display,
    signature: str,
) -> dict[str, bytes]:
    """Draw pressures of one scenario, as ``surge picture`` does.

    Parameters
    ----------
    subject : Subject
        The scenario, with its run.
    of : {"time", "line", "map"}
        Pressures against time; the highest and lowest along the line; pressures in place and time.
    places : sequence of str
        For "time": points and elements to show beside the weakest place.
    to : str, optional
        For "line" and "map": the tank or point at which the way from the shore ends.
    span : (number or None, number or None)
        For "time" and "map": show from and until [s].
    kinds : sequence of {"png", "svg", "pdf", "csv"}
        "csv" of "time" only: the histories as a table.
    display : Display
        Units of the words and axes.
    signature : str
        Which program and which case; it stands on the picture.

    Returns
    -------
    dict of str to bytes
        The whole file for each kind.

    Raises
    ------
    RequestError
        A name or a time that the case does not have.
    """
    refuse_useless(of, {"places": places, "to": to, "span": any(end is not None for end in span)})
    refuse_table(of, kinds)
    if of == "line":
        return line_files(line_picture(subject, to), display, signature, kinds=kinds)
    begin, end = (si_or_none("span", x, dimension="time") for x in span)
    shown = times_of(subject, begin, end, cavities=of == "time")
    if of == "map":
        return wave_files(wave_picture(subject, to, span=shown), display, signature, kinds=kinds)
    histories = time_picture(subject, places)
    pictures = [kind for kind in kinds if kind != "csv"]
    files = time_files(histories, display, signature, kinds=pictures, span=shown) if pictures else {}
    if "csv" in kinds:
        files["csv"] = histories_csv(histories, display, signature, span=shown).encode()
    return files


@dataclass(frozen=True, kw_only=True, eq=False)
class FilmAnswer:
    """A film of the pressure as it travels along the line.

    Attributes
    ----------
    frames : surge.views.film.Film
        What each frame shows, as figures.
    display : Display
        Units of the words and axes.
    signature : str
        Which program and which case; it stands on every frame.
    """

    frames: films.Film
    display: Display
    signature: str

    @checked
    def file(self, kind: FilmKind, *, progress: Progress | None = None) -> bytes:
        """Return the film as the bytes of a file.

        Parameters
        ----------
        kind : {"gif", "html", "mp4"}
            "mp4" needs the program ffmpeg.
        progress : callable, optional
            Called with a word as frames are drawn.

        Returns
        -------
        bytes

        Raises
        ------
        RequestError
            There is no ffmpeg, or it failed; or the file would be too large.
        """
        words, alt = film_words(self.frames, self.display, self.signature)
        return film_file(kind, self.frames, self.display, words, alt=alt, progress=progress)

    @checked
    def told(self, size: Annotated[int, NOT_NEGATIVE]) -> str:
        """Return a line on the film: frames, times, pace, and the ``size`` of its file [bytes]."""
        film = self.frames
        large = f"{size / 1e6:.1f} MB" if size >= 1e5 else f"{size / 1e3:.0f} kB"
        return (
            f"{film.time.size} frames, one every {frame_time(film) * 1000:.0f} ms, {large}; "
            f"from {film.time[0]:.2f} s to {film.time[-1]:.2f} s, {film.pace}"
        )

    @checked
    def save(self, path: str | Path) -> None:
        """Write the film to a file, which is overwritten if it exists; the ending tells the kind.

        Raises
        ------
        ArgumentError
            The name does not end in .gif, .html or .mp4.
        """
        kind: FilmKind = ending(path, FilmKind)
        Path(path).write_bytes(self.file(kind))


def filmed(
    subject: Subject,
    *,
    to: str | None = None,
    span: Ends = (None, None),
    seconds: Number = 12.0,
    display: Display,
    signature: str,
) -> FilmAnswer:
    """Film the pressure as it travels along the line, as ``surge animate`` does.

    Parameters
    ----------
    subject : Subject
        The scenario, with its run.
    to : str, optional
        The tank or point at which the way from the shore ends.
    span : (number or None, number or None)
        Show from and until [s]; by default from before the first movement until the peak has passed.
    seconds : number
        How long the film runs, 2 to 60 [s].
    display, signature
        As of :func:`drawn`.

    Returns
    -------
    FilmAnswer

    Raises
    ------
    RequestError
        A name or a time that the case does not have.
    """
    begin, end = (si_or_none("span", x, dimension="time") for x in span)
    playing = si("seconds", seconds, dimension="time")
    made = films.film_of(subject, to=to, begin=begin, end=end, playing=playing)
    return FilmAnswer(frames=made, display=display, signature=signature)
