"""What breaks on other systems, Windows above all: looked for in the code, and simulated."""

from __future__ import annotations

import ast
import os
import random
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from support.inputs.case_text import STARTER, changed

import surge
from surge import outputs
from surge.cli import files
from surge.cli.main import main
from surge.errors import CaseError
from surge.inputs import no_name_on_windows

ROOT = Path(__file__).parents[1]
CASES = ROOT / "cases"
SOURCE = Path(surge.__file__).parent
SEED = 20261128
# Names of the library that Windows, or one of its Pythons, does not have.
MISSING = {
    "os": {
        "fork",
        "forkpty",
        "getuid",
        "geteuid",
        "getgid",
        "getegid",
        "getgroups",
        "getpgid",
        "setsid",
        "killpg",
    }
    | {
        "mkfifo",
        "mknod",
        "chown",
        "lchown",
        "fchown",
        "fchmod",
        "chroot",
        "nice",
        "uname",
        "getloadavg",
        "sync",
    }
    | {
        "sched_getaffinity",
        "sched_setaffinity",
        "posix_spawn",
        "wait",
        "wait3",
        "wait4",
        "WIFEXITED",
        "O_NOFOLLOW",
    }
    | {"O_NONBLOCK", "O_DIRECTORY", "O_CLOEXEC", "statvfs", "pipe2", "pread", "pwrite", "sysconf", "ttyname"},
    "signal": {
        "SIGHUP",
        "SIGKILL",
        "SIGALRM",
        "SIGUSR1",
        "SIGUSR2",
        "SIGPIPE",
        "SIGCHLD",
        "SIGQUIT",
        "SIGTSTP",
    }
    | {
        "SIGCONT",
        "SIGSTOP",
        "SIGWINCH",
        "alarm",
        "setitimer",
        "pause",
        "pthread_sigmask",
        "sigwait",
        "pthread_kill",
    },
    "time": {"tzset", "clock_gettime", "clock_settime"},
}
MODULES = {
    "fcntl",
    "grp",
    "pwd",
    "pty",
    "resource",
    "termios",
    "tty",
    "syslog",
    "readline",
    "curses",
    "posix",
    "spwd",
}

NAMES = re.compile(rf"\b({'|'.join({*MODULES}.union(*MISSING.values()))})\b")  # most modules have none: quick


def foreign(tree: ast.AST) -> Iterator[str]:
    """Names in a module that Windows does not have, where nothing asks for them with hasattr or getattr.

    What stands behind ``if sys.platform == "win32": ... else:`` is not for Windows.
    """
    elsewhere = {
        inner
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and ast.unparse(node.test) == "sys.platform == 'win32'"
        for part in node.orelse
        for inner in ast.walk(part)
    }
    asked = {
        node.args[1].value
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in ("hasattr", "getattr")
        and len(node.args) > 1
        and isinstance(node.args[1], ast.Constant)
    }
    for node in ast.walk(tree):
        if node in elsewhere:
            continue
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            if node.attr in MISSING.get(node.value.id, set()) - asked:
                yield f"{node.value.id}.{node.attr} in line {node.lineno}"
        elif isinstance(node, ast.ImportFrom):
            names = {alias.name for alias in node.names} & MISSING.get(node.module or "", set())
            yield from (f"{node.module}.{name} in line {node.lineno}" for name in names)
            yield from [f"{node.module} in line {node.lineno}"] if node.module in MODULES else []
        elif isinstance(node, ast.Import):
            yield from (f"{a.name} in line {node.lineno}" for a in node.names if a.name in MODULES)


def test_nothing_is_used_that_windows_does_not_have() -> None:
    found = {
        str(path.relative_to(SOURCE)): wrong
        for path in SOURCE.rglob("*.py")
        if NAMES.search(text := path.read_text(encoding="utf-8"))
        and (wrong := list(foreign(ast.parse(text))))
    }
    assert found == {}


def test_the_search_finds_what_it_looks_for() -> None:
    assert list(foreign(ast.parse("import fcntl\nos.fork()\nfrom signal import SIGHUP"))) == [
        "fcntl in line 1",
        "signal.SIGHUP in line 3",
        "os.fork in line 2",
    ]
    assert not list(foreign(ast.parse("if hasattr(os, 'fork'): os.fork()")))
    parted = "if sys.platform == 'win32':\n    {}\nelse:\n    {}"
    assert not list(foreign(ast.parse(parted.format("import msvcrt", "import fcntl"))))
    assert list(foreign(ast.parse(parted.format("import fcntl", "pass")))) == ["fcntl in line 2"]


# --- names of files ---


def test_names_that_windows_takes_for_something_else() -> None:
    draw = random.Random(SEED)
    devices = [
        "con",
        "prn",
        "aux",
        "nul",
        "conin$",
        *(f"com{n}" for n in "0123456789²"),
        *(f"lpt{n}" for n in "19³"),
    ]
    for _ in range(2000):
        name = (
            "".join(draw.choice("abcxyzäß字 -_.1") for _ in range(draw.randrange(1, 12))).strip(". ") or "a"
        )
        device = draw.choice(devices)
        folder = draw.choice(["", "C:\\", "C:/berth/", "D:", "berth\\", "../", "./", "\\\\server\\share\\"])
        good = f"{folder}x{name}.png"
        assert no_name_on_windows(good) == "", good
        bad = draw.choice(
            [
                "".join(draw.choice([c.upper(), c]) for c in device)
                + draw.choice(["", ".png", ".a.b", " .svg"]),
                f"x{name}{draw.choice('<>:|?*')}{name}",
                f"x{name}{draw.choice(['.', ' ', '...'])}",
                f"x{name}.png:stream",
            ]
        )
        assert no_name_on_windows(folder + bad), folder + bad


@pytest.mark.parametrize("name", ["nul.svg", "con.svg", "ab:b.svg", "8 s?.svg"])
def test_such_a_name_is_written_nowhere_on_windows(
    name: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(files, "WINDOWS", True)
    told = CliRunner().invoke(main, ["picture", "no-such-case.toml", "-o", name])
    assert told.exit_code == 2
    assert "Windows" in told.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "name",
    [
        "C:\\\\rules.toml",
        "C:rules.toml",
        "\\\\\\\\server\\\\share\\\\rules.toml",
        "..\\\\rules.toml",
        "NUL",
        "aux.toml",
    ],
)
def test_a_case_names_no_file_that_only_one_system_finds(name: str) -> None:
    with pytest.raises(CaseError) as caught:
        surge.read_case(f'{STARTER}\n[rules]\nfile = "{name}"\n', filename="case.toml")
    assert [fault.path for fault in caught.value.faults] == [("rules", "file")]


def test_names_that_the_program_gives_are_names_everywhere() -> None:
    given = [
        *(f"{of}.png" for of in ("time", "line", "map")),
        "chart.png",
        "sheet.pdf",
        "animation.gif",
        "case.toml",
    ]
    assert [no_name_on_windows(name) for name in given] == [""] * len(given)
    tracked = (
        [str(p.relative_to(ROOT)) for top in ("surge", "cases") for p in (ROOT / top).rglob("*")]
        if (ROOT / "surge").exists()
        else []
    )
    assert not [name for name in tracked if no_name_on_windows(name)]


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="no list of open files")
def test_a_file_is_closed_before_it_takes_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows renames and deletes no open file."""
    replace, unlink, seen = Path.replace, Path.unlink, []

    def closed(path: Path) -> None:
        there = [str(fd.readlink()) for fd in Path("/proc/self/fd").iterdir() if fd.is_symlink()]
        seen.append(str(path) in there)

    monkeypatch.setattr(Path, "replace", lambda self, to: (closed(self), replace(self, to))[1])
    monkeypatch.setattr(Path, "unlink", lambda self, **how: (closed(self), unlink(self, **how))[1])
    outputs.write_whole(tmp_path / "a", "text")

    def broken() -> Iterator[str]:
        yield "x" * 10**6
        raise OSError("no more")

    with pytest.raises(OSError, match="no more"):
        outputs.write_whole(tmp_path / "a", broken())
    assert seen == [False, False]
    assert [(p.name, p.read_text(encoding="utf-8")) for p in tmp_path.iterdir()] == [("a", "text")]


# --- ends of lines, codings ---


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words), catch_exceptions=False)


RULES = '[[rule]]\nid = "total-shutdown-time"\nrequirement = "off"\nreason = "this berth\nhas its own"\n'
RULES = RULES.replace('"this berth\nhas its own"', '"""this berth\nhas its own"""')


@pytest.mark.usefixtures("compiled")
def test_lines_may_end_as_on_windows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    records = (CASES / "records" / "stroke-tests.csv").read_bytes().replace(b"\r\n", b"\n")
    texts = {
        "case.toml": (STARTER + '\n[rules]\nfile = "ours.toml"\n').encode(),
        "bad.toml": changed(('level = "14 m"', 'level = "14,5 m"')).encode(),
        "ours.toml": RULES.encode(),
        "tests.csv": records,
        "limits.toml": (CASES / "records" / "limits.toml").read_bytes().replace(b"\r\n", b"\n"),
    }
    said = []
    for end in (b"\n", b"\r\n"):
        for name, text in texts.items():
            Path(name).write_bytes(text.replace(b"\n", end))
        judged = ["records", "tests.csv", "--limits", "limits.toml", "--today", "2026-02-20", "--details"]
        told = [run("check", "case.toml", "--details"), run("check", "bad.toml"), run(*judged)]
        said.append([(t.exit_code, without_hashes(t.stdout), t.stderr) for t in told])
    assert said[0] == said[1]


def without_hashes(text: str) -> str:
    return "\n".join(
        line for line in text.splitlines() if "sha256" not in line and not line.startswith("surge ")
    )


AS_ON_WINDOWS = """
import os, signal, sys
for module, names in {"os": %r, "signal": %r}.items():
    for name in names:
        if hasattr(sys.modules[module], name):
            delattr(sys.modules[module], name)
from surge.cli.main import entry
sys.argv = ["surge", *sys.argv[1:]]
entry()
"""
# What our libraries themselves look up by the name of the system, which here is not Windows.
THEIRS = {
    "uname",
    "fork",
    "getuid",
    "geteuid",
    "SIGCHLD",
    "O_NONBLOCK",
    "O_CLOEXEC",
    "wait",
    "waitpid",
    "pread",
}


@pytest.fixture(scope="module")
def elsewhere(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., subprocess.CompletedProcess[bytes]]:
    """Run a command with what Windows has, in a code page of it."""
    gone = tuple(sorted(names - THEIRS) for names in (MISSING["os"], MISSING["signal"]))
    folder = tmp_path_factory.mktemp("elsewhere")
    name = changed(('title = "Starter case: ', 'title = "船 Порт é '))
    (folder / "case.toml").write_text(name, encoding="utf-8")

    def call(coding: str, *words: str) -> subprocess.CompletedProcess[bytes]:
        command = [sys.executable, "-c", AS_ON_WINDOWS % gone, *words]
        env = os.environ | {"PYTHONIOENCODING": coding, "PYTHONUTF8": "0"}
        return subprocess.run(command, cwd=folder, env=env, capture_output=True, check=False, timeout=300)

    return call


@pytest.mark.parametrize("coding", ["cp1252", "cp437"])
def test_words_come_through_in_every_code_page(coding: str, elsewhere: Any) -> None:
    words = elsewhere(coding, "list", "hoses")
    assert (words.returncode, words.stderr) == (0, b"")
    assert words.stdout.decode(coding)


def test_what_is_printed_to_be_kept_is_ascii(elsewhere: Any) -> None:
    """A shell that sends it into a file writes it in the code page; a case is read as UTF-8."""
    assert tomllib.loads(elsewhere("cp437", "new", "-").stdout.decode("ascii")) == tomllib.loads(STARTER)
    assert all(p.read_bytes().isascii() for p in (SOURCE / "schema").glob("*.json"))


def test_a_check_in_a_code_page_is_whole(elsewhere: Any) -> None:
    printed = elsewhere("cp437", "check", "case.toml")
    said = printed.stderr.splitlines()  # where nothing is compiled yet, one line says so
    assert (printed.returncode, [s for s in said if b"compiling the solver" not in s]) == (0, [])
    assert "VERDICT" in printed.stdout.decode("cp437")
