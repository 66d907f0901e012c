"""The world around: interrupts, full disks, closed outputs, no cache, odd names. One line, nothing lost."""

from __future__ import annotations

import errno
import os
import signal
import stat
import subprocess
import sys
import threading
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from support.inputs.case_text import STARTER

from surge.cli.main import main
from surge.kernel import compiled
from surge.outputs import write_whole
from surge.workers import processors, workers

ROOT = Path(__file__).parents[1]
LINUX = pytest.mark.skipif(sys.platform != "linux", reason="signals, /dev/full")
HANGS = 600.0  # [s] what takes so long never ends: a bound for a test that fails, for none that passes
CODE = "import sys; sys.argv[0] = 'surge'; from surge.cli.main import entry; entry()"


def surge(*arguments: str | bytes | Path, **options: Any) -> subprocess.CompletedProcess[bytes]:
    """Run the command as the shell does."""
    known = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "timeout": HANGS} | options
    return subprocess.run([sys.executable, "-c", CODE, *arguments], check=False, **known)


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "case.toml"
    path.write_text(STARTER, encoding="utf-8")
    return path


def one_line(said: bytes, words: str) -> None:
    text = said.decode()
    assert words in text
    assert text.count("\n") == 1, text
    assert "Traceback" not in text


# Full disks and closed outputs


@LINUX
@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize(
    "arguments", [("list", "rules"), ("--help",), ("new", "-"), ("list", "liquids", "--json")]
)
def test_a_full_disk_is_told(arguments: tuple[str, ...], unbuffered: str) -> None:
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        got = surge(*arguments, stdout=full, env=os.environ | {"PYTHONUNBUFFERED": unbuffered})
    assert got.returncode == 2
    one_line(got.stderr, "standard output cannot be written: No space left on device")


LIMITED = """
import resource, signal, sys
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))
sys.argv[0] = "surge"
from surge.cli.main import entry
entry()
"""


@LINUX
@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_half_an_answer_is_no_answer(unbuffered: str, tmp_path: Path) -> None:
    """Python's unbuffered output takes a short write for a whole one: the end was lost, with exit code 0."""
    out = tmp_path / "out.txt"
    with out.open("w") as file:
        got = subprocess.run(
            [sys.executable, "-c", LIMITED, "list", "rules"],
            stdout=file,
            stderr=subprocess.PIPE,
            env=os.environ | {"PYTHONUNBUFFERED": unbuffered},
            check=False,
        )
    assert out.stat().st_size == 4096
    assert got.returncode == 2
    one_line(got.stderr, "standard output cannot be written")


@LINUX
def test_closed_outputs(case: Path) -> None:
    close_out = {"preexec_fn": lambda: os.close(1), "stdout": None}
    got = surge("check", case, **close_out)
    assert got.returncode == 2
    one_line(got.stderr, "standard output is closed")
    got = surge("list", "rules", preexec_fn=lambda: os.close(2), stderr=None)
    assert got.returncode == 0
    assert got.stdout


@LINUX
def test_a_reader_that_goes_away() -> None:
    command = [sys.executable, "-c", CODE, "list", "liquids", "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.read(1)
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait() in (0, 1)


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EACCES, errno.EIO])
@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_what_cannot_be_written_leaves_all_as_it_was(
    number: int, call: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: Any) -> None:
        raise OSError(number, os.strerror(number))

    old = tmp_path / "old.toml"
    old.write_text("old", encoding="utf-8")
    monkeypatch.setattr(os, call, fails)
    for path in (old, tmp_path / "new.toml"):
        got = CliRunner().invoke(main, ["new", str(path), "--force"])
        assert got.exit_code == 2
        assert got.stderr == f"surge: {path} cannot be written: {os.strerror(number)}\n"
    monkeypatch.undo()
    assert [p.name for p in tmp_path.iterdir()] == ["old.toml"]
    assert old.read_text(encoding="utf-8") == "old"


def test_an_interrupt_while_writing_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "x.txt", "x" * 100_000)
    assert not list(tmp_path.iterdir())


@LINUX
def test_files_have_the_rights_that_the_user_gives(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        write_whole(tmp_path / "new.txt", "x")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "new.txt").stat().st_mode) == 0o640
    (tmp_path / "new.txt").chmod(0o604)
    (tmp_path / "link.txt").symlink_to("new.txt")
    write_whole(tmp_path / "link.txt", "y")
    assert (tmp_path / "link.txt").is_symlink()
    assert (tmp_path / "new.txt").read_text(encoding="utf-8") == "y"
    assert stat.S_IMODE((tmp_path / "new.txt").stat().st_mode) == 0o604


@pytest.mark.parametrize("name", ["n" * 300 + ".toml", "no/such/folder/x.toml", "d" * 5000 + "/x.toml"])
def test_names_that_cannot_be(name: str, tmp_path: Path) -> None:
    for arguments in (["new", str(tmp_path / name)], ["check", str(tmp_path / name)]):
        got = CliRunner().invoke(main, arguments)
        assert got.exit_code == 2
        assert got.exception is None or isinstance(got.exception, SystemExit)
        assert "cannot be" in got.stderr


@pytest.mark.parametrize("length", [240, 250])
def test_a_long_name_that_can_be_is_written(length: int, tmp_path: Path) -> None:
    path = tmp_path / ("n" * (length - 5) + ".toml")
    assert CliRunner().invoke(main, ["new", str(path)]).exit_code == 0
    assert path.exists()


# Names, locales, no home


@LINUX
@pytest.mark.parametrize("locale", ["C", "POSIX", "de_DE.ISO-8859-1"])
def test_odd_names_in_any_locale(locale: str, tmp_path: Path) -> None:
    folder = tmp_path / "Fälle für 船"
    folder.mkdir()
    path = folder / "ein fall ü.toml"
    path.write_text(STARTER.replace("shore line", "Landleitung ø 船"), encoding="utf-8")
    bare = {"PATH": os.environ["PATH"], "LC_ALL": locale}  # no HOME either
    path.write_text(path.read_text(encoding="utf-8") + "\n[[valve]]\n", encoding="utf-8")
    got = surge("check", path, env=bare)
    assert got.returncode == 2
    assert b"Traceback" not in got.stderr
    assert b"1 fault" in got.stderr or b"faults" in got.stderr


@LINUX
def test_a_name_that_is_no_text(tmp_path: Path) -> None:
    path = os.fsencode(tmp_path) + b"/b\xff.toml"
    Path(os.fsdecode(path)).write_text(STARTER, encoding="utf-8")
    got = surge("check", path)
    assert got.returncode == 2
    one_line(got.stderr, "b\\udcff.toml is no text in UTF-8: rename the file or folder")


# Interrupts


def test_an_interrupt_does_not_wait_for_the_work() -> None:
    free, begun = threading.Event(), threading.Barrier(3)
    jobs: list[Future[bool]] = []

    def work() -> bool:
        begun.wait()
        return free.wait(HANGS)

    def interrupted() -> None:
        with workers(2) as pool:
            jobs.extend(pool.submit(work) for _ in range(3))
            begun.wait()
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    states = [(job.running(), job.cancelled()) for job in jobs]
    free.set()
    assert states == [(True, False), (True, False), (False, True)]


def test_threads_are_as_many_as_processors_that_may_be_used() -> None:
    assert 1 <= processors() <= (os.cpu_count() or 1)


ENDLESS = """
import sys
from dataclasses import replace
from surge.search import scan

march_batch, told = scan.march_batch, []

def tell(share):
    if share > 0.0 and not told:
        told.append(print("at work", file=sys.stderr, flush=True))

def endless(lanes, **options):
    return march_batch([replace(lane, steps=10**9) for lane in lanes], **options | {"progress": tell})

scan.march_batch = endless
sys.argv[0] = "surge"
from surge.cli.main import entry
entry()
"""


@LINUX
@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM"])
@pytest.mark.parametrize("command", ["window", "chart"])
def test_an_interrupted_command_leaves_nothing(name: str, command: str, case: Path, tmp_path: Path) -> None:
    """The marches would take days: that the command ends at all is the interrupt's doing."""
    process = subprocess.Popen(
        [sys.executable, "-c", ENDLESS, command, "--patient", case],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        bufsize=0,
        cwd=tmp_path,
        env=os.environ | {"TMPDIR": str(tmp_path)},
    )
    assert process.stderr is not None
    said = b""
    while not said.endswith(b"at work\n"):
        line = process.stderr.readline()
        assert line, said
        said += line
    process.send_signal(getattr(signal, name))
    try:
        out, more = process.communicate(timeout=HANGS)
    finally:
        process.kill()
    assert process.returncode == 1
    assert b"Aborted!" in more
    assert b"Traceback" not in said + more
    assert out == b""
    assert [p.name for p in tmp_path.iterdir()] == ["case.toml"]


# The compiled solver


def test_the_trouble_is_told_once_and_in_one_line(
    case: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(compiled, "TROUBLE", ["the disk is full"])
    case.write_text("x = 1", encoding="utf-8")
    got = CliRunner().invoke(main, ["check", str(case)])
    assert got.exit_code == 2
    (line,) = [one for one in got.stderr.splitlines() if "compiled solver" in one]
    assert "(the disk is full)" in line
    assert "NUMBA_CACHE_DIR" in line
    assert compiled.TROUBLE == []
