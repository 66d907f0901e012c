"""The command line: one module for each command, put together here.

Decisions
---------
* SIGTERM and SIGHUP do as Ctrl-C: exit code 1, which is never an answer.
"""

from __future__ import annotations

import os
import shutil
import signal
import sys

import click

from surge import __version__
from surge.cli.chart import chart
from surge.cli.check import check
from surge.cli.filling import filling
from surge.cli.fit import fit
from surge.cli.forces import forces
from surge.cli.offline import offline
from surge.cli.page import page
from surge.cli.pictures import animate, compare_, picture
from surge.cli.records import records
from surge.cli.shared import tell
from surge.cli.sheet import sheet
from surge.cli.streams import FULL, sound_streams
from surge.cli.study import study
from surge.cli.tables import list_, new, schema, verify
from surge.cli.window import window
from surge.inputs import start_reading
from surge.reports.layout import fit as fit_layout

CODES = """\b
Exit codes, for scripts:
  0  every limit kept
  2  bad input: usage, case file, a path that cannot be read or written
  3  a limit exceeded
  4  cannot be decided
  1  the program crashed or was interrupted: never an answer
"""


class InOrder(click.Group):
    """Commands in the order of the work, not of the alphabet."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 (the base class asks for it)
        """Names as they were added."""
        return list(self.commands)


@click.group(cls=InOrder, epilog=CODES, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="surge")
def main() -> None:
    """Check a tanker's loading line-up against pressure surge.

    Begin with "surge new berth.toml", put in your own figures, then "surge check berth.toml".
    A calculation, not a permit: local codes, procedures and qualified persons decide.
    """
    start_reading()
    if sys.stdout.isatty():
        fit_layout(shutil.get_terminal_size().columns)


for _command, _short in (
    (new, "Write a commented case: the starter, or so many arms and tanks."),
    (check, "Check every scenario and print the verdict."),
    (window, "How fast and how slowly valves may close; the greatest rate."),
    (study, "Many line-ups, uncertain figures: how sure it is."),
    (chart, "Draw rate against stroke time, with the window."),
    (picture, "Draw pressures in time, along the line, or both."),
    (animate, "Film of the pressure travelling along the line."),
    (forces, "Forces along straight legs of pipe, for the supports."),
    (filling, "Lines that hold gas at first, and fill."),
    (fit, "Figures of a case from a recorded pressure."),
    (compare_, "Two cases side by side."),
    (sheet, "The sheet that ship and terminal sign, PDF or HTML."),
    (page, "All of it as a page in the browser."),
    (records, "Judge stroke-time tests of valves."),
    (list_, "What the program knows by name, with sources."),
    (verify, "Hold the program against published figures."),
    (offline, "A folder for a computer without internet."),
    (schema, "JSON Schemas of files and of answers."),
):
    _command.short_help = _short
    main.add_command(_command)


def _refuse_undecodable(words: list[str]) -> None:
    """A name that is no text cannot stand in a document, and every document names its case."""
    for word in words:
        try:
            word.encode()
        except UnicodeEncodeError:
            shown = word.encode("ascii", "backslashreplace").decode()
            click.echo(f"surge: {shown} is no text in UTF-8: rename the file or folder", err=True)
            os._exit(2)


def entry() -> None:
    """Run the command of the shell: as ``main``, without the tidying-up at the end.

    Everything is written by then; taking the compiler's library down would cost a tenth of a second.
    """
    code = 0
    for name in ("SIGTERM", "SIGHUP"):  # as an interrupt: what was begun is tidied up
        if hasattr(signal, name) and signal.getsignal(getattr(signal, name)) is signal.SIG_DFL:
            signal.signal(getattr(signal, name), signal.default_int_handler)
    sound_streams()
    _refuse_undecodable(sys.argv[1:])
    try:
        if signal.getsignal(signal.SIGINT) not in (signal.SIG_IGN, None):
            signal.signal(signal.SIGINT, signal.default_int_handler)  # from here on click tidies up
        main(prog_name="surge")
    except KeyboardInterrupt:
        tell("Aborted!")
        code = 1
    except SystemExit as error:
        code = error.code if isinstance(error.code, int) else 1
    except OSError as error:  # of click's own printing, such as help; ours says it itself
        if error.errno not in FULL or error.filename is not None:
            raise
        click.echo(f"surge: standard output cannot be written: {error.strerror}", err=True)
        os._exit(2)
    try:
        sys.stderr.flush()
        sys.stdout.flush()
    except BrokenPipeError:
        pass  # the reader has gone: nothing is left to tell anyone
    except OSError:
        code = 2  # a full disk: what was written is not the whole answer
    os._exit(code)
