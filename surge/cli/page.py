"""``surge page``: the page in the browser."""

from __future__ import annotations

from pathlib import Path

import click

from surge.cli.files import InputPath
from surge.cli.shared import answering, fail, print_text, tell
from surge.outputs import write_whole

NEEDS = ("starlette", "uvicorn")


@click.command()
@click.argument("case", type=InputPath(), required=False, default="")
@click.option("--no-browser", is_flag=True, help="Print the address only.")
def page(case: str, no_browser: bool) -> None:
    """Open the page on CASE, or on the cases of this folder, in the browser.

    Draw the line-up, set its figures, drag strokes and rate, watch the wave, print the sheet. The page is for
    this machine only: it listens to nothing else, asks nothing of any other, and reads and writes cases of
    the folder that it was started in, and below. It needs the extra "page".
    """
    _refuse_missing()
    with answering(case):
        from surge.page.server import serve

        serve(case, browser=not no_browser, say=_say, tell=tell, write=_write)


def _refuse_missing() -> None:
    from importlib.util import find_spec

    if lacking := [name for name in NEEDS if find_spec(name) is None]:
        fail(f'the page needs {" and ".join(lacking)}: pip install "surge[page]"')


def _say(text: str) -> None:
    print_text(text)


def _write(path: Path, text: str) -> None:
    write_whole(path, text)
