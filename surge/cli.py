"""The command line: parse, one call, print, exit code. Heavy imports are made where they are needed."""

from __future__ import annotations

import errno
import io
import os
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from surge import __version__

if TYPE_CHECKING:
    from surge.assess import Assessment
    from surge.casefile import Case
    from surge.errors import SurgeError
    from surge.units import ShowUnits

CODES = """\b
Exit codes, for scripts:
  0  every limit kept
  2  bad input: usage, case file, a path that cannot be read or written
  3  a limit exceeded
  4  cannot be decided
  1  the program crashed or was interrupted: never an answer
"""
COLDEST, HOTTEST = 73.15, 573.15  # [K]
COLOURS = {"limit kept": "cyan", "limit exceeded": "yellow", "cannot be decided": "magenta"}


@click.group(epilog=CODES, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="surge")
def main() -> None:
    """Check a tanker's loading line-up against pressure surge.

    Begin with "surge new berth.toml", put in your own figures, then "surge check berth.toml".
    A calculation, not a permit: local codes, procedures and qualified persons decide.
    """


def entry() -> None:
    """Run the command of the shell: as ``main``, without the tidying-up at the end.

    Everything is written by then; taking the compiler's library down would cost a tenth of a second.
    """
    code = 0
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a name that the terminal cannot show must not end it
    try:
        main(prog_name="surge")
    except SystemExit as error:
        code = error.code if isinstance(error.code, int) else 1
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except BrokenPipeError:
        pass  # the reader has gone: nothing is left to tell anyone
    except OSError:
        code = 2  # a full disk: what was written is not the whole answer
    os._exit(code)


@main.command()
@click.argument("file", default="case.toml", type=click.Path(dir_okay=False, allow_dash=True))
@click.option("--force", is_flag=True, help="Overwrite an existing file.")
def new(file: str, force: bool) -> None:
    """Write a commented starter case to FILE (default case.toml; - is standard output)."""
    from surge.casefile import starter_case

    text = starter_case()
    if file == "-":
        _say(text, nl=False)
        return
    if Path(file).exists() and not force:
        _fail(f"{file} exists already: choose another name, or add --force to overwrite it")
    try:
        write_whole(Path(file), text)
    except OSError as error:
        _fail(f"{file} cannot be written: {error.strerror}")
    click.echo(f"{file} written. Put in your own figures, then: surge check {file}", err=True)


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file whole or not at all."""
    import tempfile

    with tempfile.NamedTemporaryFile(dir=path.parent, prefix=f".{path.name}.", delete=False) as file:
        try:
            file.write(content if isinstance(content, bytes) else content.encode())
            file.close()
            Path(file.name).replace(path)
        except BaseException:
            Path(file.name).unlink(missing_ok=True)
            raise


@main.command()
@click.argument("case", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
@click.option("--histories", is_flag=True, help="With --json: add histories and envelopes.")
@click.option("--details", is_flag=True, help="All places, sources, and how it was computed.")
@click.option("--pressure", help="Unit of pressures: bar, psi, kPa, kg/cm2, MPa.")
@click.option("--flow", help="Unit of flows: m3/h, bbl/h, t/h, L/s ...")
@click.option("--length", help="Unit of lengths: m, ft.")
@click.option("--diameter", help="Unit of diameters: mm, inch, m.")
def check(case: str, as_json: bool, histories: bool, details: bool, **units: str | None) -> None:
    """Check every scenario of CASE and print the verdict.

    The answer goes to standard output, everything else to standard error. See "surge --help" for
    the exit codes.
    """
    show = _units(units)
    with _lighter_start():
        from surge.casefile import load_case
        from surge.errors import CaseError, SurgeError

        try:
            loaded = load_case(case)
            assessment = _assess(loaded)
        except CaseError as error:
            _refuse(getattr(error, "filename", case), error, as_json)
        except SurgeError as error:
            _undecided(case, error, as_json)
    _print(loaded, assessment, show(loaded.show), as_json, histories, details)
    sys.exit(assessment.exit_code)


@main.command()
@click.argument("case", type=click.Path())
@click.option("--valve", "valves", multiple=True, help="Search for this valve; may be given several times.")
@click.option("--shortest", default="1 s", help="Shortest stroke looked at.")
@click.option("--longest", help="Longest stroke looked at; 120 s or 20 pipeline periods without it.")
@click.option("--orders", is_flag=True, help="Also other orders of shutting.")
@click.option("--shapes", is_flag=True, help="Also the best two-stage stroke of each valve.")
@click.option("--bands", is_flag=True, help="Also the worst over [bands] of the case; takes its time.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
def window(
    case: str,
    valves: tuple[str, ...],
    shortest: str,
    longest: str | None,
    orders: bool,
    shapes: bool,
    bands: bool,
    as_json: bool,
) -> None:
    """Search how fast and how slowly the valves of CASE may close, and how fast it may load.

    Valves that the case marks with adjustable = true, or all that close.
    """
    with _lighter_start():
        from surge.asked import asked
        from surge.casefile import load_case
        from surge.checks import rules_of_case
        from surge.errors import CaseError, SurgeError
        from surge.window import windows_of

        ends = _strokes(shortest, longest)
        try:
            loaded = load_case(case)
            book, progress = rules_of_case(loaded), _Progress()
            try:
                found = windows_of(
                    loaded.lineup, book=book, valves=valves, shortest=ends[0], longest=ends[1], tell=progress
                )
                more = asked(
                    loaded.lineup,
                    found,
                    book=book,
                    orders=orders,
                    shapes=shapes,
                    bands=loaded.bands if bands else None,
                    tell=progress,
                )
            finally:
                progress.done()
        except CaseError as error:
            _refuse(getattr(error, "filename", case), error, as_json)
        except SurgeError as error:
            _undecided(case, error, as_json)
    from surge.report_json import head_of
    from surge.report_orders import more_document, more_lines
    from surge.report_window import window_document, window_lines
    from surge.words import CAUTIONS, Shown

    if as_json:
        head = head_of(__version__, loaded.filename, loaded.sha256)
        _document(window_document(found, head, CAUTIONS) | more_document(more))
    else:
        say = Shown(units=loaded.show, density=loaded.lineup.liquid.density)
        lines = window_lines(found, loaded.lineup, say, more=more_lines(more, say))
        _say("\n".join([*lines, "", _signature(loaded)]))
    sys.exit(found.exit_code)


def _strokes(shortest: str, longest: str | None) -> tuple[float, float | None]:
    """Read the ends of the strokes to look at [s]."""
    from surge.units import QuantityError, read

    found = []
    for option, text in (("--shortest", shortest), ("--longest", longest)):
        try:
            found.append(None if text is None else read(text, dimension="time").value)
        except QuantityError as error:
            _fail(f"{option} {error}")
    low, high = found
    assert low is not None
    if not 0.05 <= low <= 3600.0 or (high is not None and not low < high <= 3600.0):
        _fail(f"--shortest {shortest} --longest {longest}: write the shorter first, from 0.05 s to 3600 s")
    return low, high


@main.command()
@click.argument("case", type=click.Path())
@click.option("--valve", help="The valve whose stroke varies; the one that matters most without it.")
@click.option("--scenario", help="The scenario; the one that comes nearest to a limit without it.")
@click.option("--rates", nargs=2, help='Least and greatest rate, such as "200 m3/h" "900 m3/h".')
@click.option("--strokes", nargs=2, help='Shortest and longest stroke, such as "2 s" "60 s".')
@click.option("--points", default=25, type=click.IntRange(3, 100), help="Rates, and strokes, to compute.")
@click.option(
    "--output", multiple=True, help="File to write: .png, .svg, .pdf, .csv or .json; several allowed."
)
@click.option("--force", is_flag=True, help="Overwrite existing files.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def chart(case: str, output: tuple[str, ...], force: bool, as_json: bool, **asked: Any) -> None:
    """Draw how much of the nearest limit is used, for every rate and stroke time of one valve of CASE.

    Writes chart.png, or the files that --output names. The exit code is that of the agreed point.
    """
    paths = _chart_paths(output or (() if as_json else ("chart.png",)), force=force)
    with _lighter_start():
        from surge.casefile import load_case
        from surge.chart import chart_of
        from surge.checks import rules_of_case
        from surge.errors import CaseError, SurgeError

        try:
            loaded = load_case(case)
            density = loaded.lineup.liquid.density
            for key in ("rates", "strokes"):
                asked[key] = _range(f"--{key}", asked[key], density)
            progress = _Progress()
            try:
                found = chart_of(loaded.lineup, book=rules_of_case(loaded), tell=progress, **asked)
            finally:
                progress.done()
        except CaseError as error:
            _refuse(getattr(error, "filename", case), error, as_json)
        except SurgeError as error:
            _undecided(case, error, as_json)
    from surge.report_chart import chart_document, chart_files, chart_lines
    from surge.report_json import head_of
    from surge.words import CAUTIONS, Shown

    lineup, say = loaded.lineup, Shown(units=loaded.show, density=density)
    head = head_of(__version__, loaded.filename, loaded.sha256)
    document = chart_document(found, head, lineup.title, CAUTIONS)
    files = chart_files(found, paths.values(), document=document, say=say, signature=_signature(loaded))
    for path, kind in paths.items():
        try:
            write_whole(path, files[kind])
        except OSError as error:
            _fail(f"{path} cannot be written: {error.strerror}")
        click.echo(f"{path} written.", err=True)
    if as_json:
        _document(document)
    else:
        _say("\n".join([*chart_lines(found, lineup.title, say), "", _signature(loaded)]))
    sys.exit(found.exit_code)


def _chart_paths(outputs: Sequence[str], *, force: bool) -> dict[Path, str]:
    """Files to write and the kind of each by its ending, looked at before anything is computed."""
    kinds = {f".{kind}": kind for kind in ("png", "svg", "pdf", "csv", "json")}
    paths = {Path(name): kinds.get(Path(name).suffix.lower(), "") for name in outputs}
    for path, kind in paths.items():
        if not kind:
            _fail(f"--output {path}: end the name with one of {', '.join(kinds)}")
        if path.exists() and not force:
            _fail(f"{path} exists already: choose another name, or add --force to overwrite it")
        if not path.parent.is_dir():
            _fail(f"{path} cannot be written: there is no folder {path.parent}")
    return paths


def _range(option: str, texts: tuple[str, str] | None, density: float) -> tuple[float, float] | None:
    """Read the ends of a range of rates [m3/s] or strokes [s]."""
    from surge.units import QuantityError, read

    if texts is None:
        return None
    dimension, least, most = ("time", 0.05, 3600.0) if option == "--strokes" else ("flow", 1e-6, 100.0)
    ends = []
    for text in texts:
        try:
            reading = read(text, dimension=dimension)
        except QuantityError as error:
            _fail(f"{option} {error}")
        ends.append(reading.value / density if reading.kind == "mass flow" else reading.value)
    low, high = ends
    if not least <= low < high <= most:
        example = '"2 s" "60 s"' if dimension == "time" else '"200 m3/h" "900 m3/h"'
        _fail(
            f'{option} "{texts[0]}" "{texts[1]}": write the smaller first, both above zero, such as {example}'
        )
    return low, high


@main.command(name="list")
@click.argument("kind", type=click.Choice(["liquids", "pipes", "hoses", "valves", "rules"]))
@click.argument("words", nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of text.")
@click.option("--temperature", default="15 degC", help="At which liquids are shown, such as '30 degC'.")
@click.option("--rules", "rules_file", type=click.Path(), help="A file of rules to list with the program's.")
def list_(kind: str, words: tuple[str, ...], as_json: bool, temperature: str, rules_file: str | None) -> None:
    """List what the program knows by name, with sources; only rows that have all WORDS.

    KIND is liquids, pipes (sizes, walls, roughness, flanges, fittings), hoses, valves or rules.
    """
    from surge.catalogue import searched, sections_of
    from surge.errors import CaseError
    from surge.report_list import list_document, list_lines
    from surge.rulebook_read import built_in
    from surge.rulefile import load_rules
    from surge.units import QuantityError, read

    try:
        kelvin = read(temperature, dimension="temperature").value
        book = built_in() if rules_file is None else load_rules(rules_file)
    except QuantityError as error:
        _fail(f"--temperature {error}")
    except CaseError as error:
        _refuse(str(rules_file), error, as_json=False)
    if not COLDEST <= kelvin <= HOTTEST:
        _fail(f"--temperature {temperature}: no cargo is carried at that; write one from -200 to 300 degC")
    found = searched(sections_of(kind, book=book, temperature=kelvin), " ".join(words))
    if as_json:
        _document(list_document(found, kind=kind, words=words, version=__version__))
    elif found:
        _say("\n".join(list_lines(found)))
    else:
        click.echo(f'surge: no {kind} with all of "{" ".join(words)}"', err=True)


@main.command()
@click.argument("which", type=click.Choice(["case", "result", "list", "window", "chart"]))
def schema(which: str) -> None:
    """Print the JSON Schema of case files, of results, of lists or of charts."""
    from importlib.resources import files

    _say((files("surge") / "schema" / f"{which}.schema.json").read_text(encoding="utf-8"), nl=False)


def _say(text: str, *, nl: bool = True) -> None:
    """Write to standard output; when it takes nothing more, say so instead of crashing."""
    try:
        click.echo(text, nl=nl)
    except OSError as error:
        if error.errno == errno.EPIPE:
            raise  # click ends quietly: the reader has gone
        _fail(f"standard output cannot be written: {error.strerror}")


def _fail(message: str) -> None:
    click.echo(f"surge: {message}", err=True)
    sys.exit(2)


def _units(wanted: dict[str, str | None]) -> Any:
    """Check the unit options now; give a function that lays them over a case's own."""
    from dataclasses import replace

    from surge.units import SHOWN

    given = {k: v for k, v in wanted.items() if v is not None}
    for kind, unit in given.items():
        if unit not in SHOWN[kind]:
            _fail(f"--{kind} {unit}: no such unit; write one of {', '.join(SHOWN[kind])}")

    def over(own: ShowUnits) -> ShowUnits:
        return replace(own, **given)

    return over


@contextmanager
def _lighter_start() -> Iterator[None]:
    """Do without what nothing here needs, while the solver loads.

    The compiler's runtime asks for scipy's linear algebra wherever scipy is installed (0.14 s), the
    case reader's library looks for plugins, and the collector walks over modules that stay.
    """
    import gc

    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "1")
    hidden = "scipy" not in sys.modules
    if hidden:
        sys.modules["scipy"] = None  # type: ignore[assignment]
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()  # else the first collection walks over all of the modules
        gc.enable()
        if hidden and sys.modules.get("scipy", 0) is None:
            del sys.modules["scipy"]


class _Progress:
    """Tells on standard error how long the work goes on; called from several threads.

    Only on a terminal, and only when it takes longer than ``after`` seconds.
    """

    def __init__(self, *, after: float = 1.0, every: float = 0.2) -> None:
        self.start = time.monotonic()
        self.next, self.every = self.start + after, every
        self.width = 0
        self.on = sys.stderr.isatty()
        self.lock = threading.Lock()

    def __call__(self, word: str) -> None:
        now = time.monotonic()
        with self.lock:
            if not self.on or now < self.next:
                return
            self.next = now + self.every
            text = f"surge: {now - self.start:.0f} s, {word}"
            click.echo("\r" + text.ljust(self.width), nl=False, err=True)
            self.width = len(text)

    def done(self) -> None:
        """Clear the line."""
        if self.width:
            click.echo("\r" + " " * self.width + "\r", nl=False, err=True)


def _assess(case: Case) -> Assessment:
    """Run the case, with a word on standard error when the solver must be compiled first."""
    from surge.checks import check as check_case
    from surge.checks import rules_of_case
    from surge.kernel import march

    book = rules_of_case(case)
    if not _compiled_before(march):
        click.echo("surge: compiling the solver for this machine, once; some ten seconds ...", err=True)
    progress = _Progress()
    try:
        return check_case(case, book=book, tell=progress)
    finally:
        progress.done()


def _compiled_before(function: Any) -> bool:
    """Whether the compiler's cache holds the march; when in doubt, no."""
    cache = getattr(getattr(function, "_cache", None), "cache_path", None)
    return cache is not None and any(Path(cache).glob("kernel.march*.nbi"))


def _read_again(path: str) -> tuple[str, str]:
    """Text of a case file and its hash; empty when it cannot be read."""
    import hashlib

    from surge.casefile import read_text
    from surge.errors import CaseError

    try:
        text = read_text(path)
    except CaseError:
        text = ""
    return text, hashlib.sha256(text.encode()).hexdigest()


def _refuse(path: str, error: Any, as_json: bool) -> None:
    """Print all faults and leave with 2."""
    from surge.casefile import describe, format_faults

    text, digest = _read_again(path)
    click.echo(format_faults(error.faults, filename=path, text=text), err=True)
    if as_json:
        from surge.report_json import refusal

        records = describe(error.faults, filename=path, text=text)
        _document(refusal(records, version=__version__, filename=path, sha256=digest))
    sys.exit(2)


def _undecided(path: str, error: SurgeError, as_json: bool) -> None:
    """Say why nothing could be computed and leave with 4."""
    click.echo(f"surge: {path}: cannot be decided: {error}", err=True)
    if as_json:
        from surge.report_json import no_answer

        _, digest = _read_again(path)
        _document(no_answer(str(error), version=__version__, filename=path, sha256=digest))
    sys.exit(error.exit_code)


def _document(document: dict[str, Any]) -> None:
    """Print one JSON document, in ASCII: whatever the terminal's coding, it stays whole."""
    import json

    _say(json.dumps(document, allow_nan=False, indent=1))


def _print(
    case: Case, assessment: Assessment, units: ShowUnits, as_json: bool, histories: bool, details: bool
) -> None:
    """Print the answer."""
    from surge.words import CAUTIONS, Shown, run_of, sentence

    say = Shown(units=units, density=case.lineup.liquid.density)
    if as_json:
        from surge.advice import advice
        from surge.report_json import answer

        worst = assessment.weakest
        document = answer(
            case,
            assessment,
            version=__version__,
            sentence=sentence(worst, run_of(assessment, worst), say) if worst else "",
            advice=advice(assessment, say),
            cautions=CAUTIONS,
            histories=histories,
        )
        _document(document)
        return
    from surge.report_text import TextReport, plain

    bare = bool(os.environ.get("NO_COLOR")) or not sys.stdout.isatty()
    report = TextReport(assessment, say, details=details, style=plain if bare else _coloured)
    _say("\n".join([*report.lines(), "", _signature(case)]))


def _signature(case: Case) -> str:
    return f"surge {__version__}, case {case.filename}, sha256 {case.sha256[:16]}"


def _coloured(text: str, verdict: str) -> str:
    return click.style(text, fg=COLOURS[verdict], bold=True)
