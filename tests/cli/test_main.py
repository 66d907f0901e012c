"""The commands as a user meets them: arguments, streams, exit codes."""

from __future__ import annotations

import io
import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result

import surge.__main__
import surge.cli.shared
from surge import __version__
from surge.case.file import load_case
from surge.cli.main import main
from surge.errors import GridError
from surge.kernel import objects
from surge.kernel.compiled import PLAIN
from surge.kernel.march import march
from surge.reports.words import CAUTIONS

ROOT = Path(__file__).parents[2]
CASES = ROOT / "cases"
KEPT, OVER = CASES / "gasoline-drop-lines.toml", CASES / "crude-sea-line.toml"


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def schema(which: str) -> dict[str, object]:
    return json.loads((ROOT / "surge" / "schema" / f"{which}.schema.json").read_text(encoding="utf-8"))


def mutated(folder: Path, old: str, new: str, source: Path = KEPT) -> Path:
    """A copy of a demo with one text changed everywhere."""
    text = source.read_text(encoding="utf-8")
    assert old in text
    path = folder / "case.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["check", KEPT], 0),
        (["check", OVER, "--no-remedies"], 3),
        (["check", "no-such-file.toml"], 2),
        (["check"], 2),
        (["check", KEPT, "--pressure", "furlong"], 2),
        (["frobnicate"], 2),
        (["--version"], 0),
        (["schema", "case"], 0),
        (["schema", "result"], 0),
    ],
)
def test_exit_codes(arguments: list[str | Path], code: int) -> None:
    assert run(*arguments).exit_code == code


def test_a_supply_without_its_shut_off_pressure_cannot_be_decided(tmp_path: Path) -> None:
    source = CASES / "shore-line-of-unknown-length.toml"
    lines = source.read_text(encoding="utf-8").splitlines()
    path = tmp_path / "case.toml"
    path.write_text("\n".join(x for x in lines if not x.startswith("shut_off_pressure")), encoding="utf-8")
    got = run("check", path)
    assert got.exit_code == 4
    assert "CANNOT BE DECIDED" in got.stdout
    assert "shut_off_pressure" in got.stdout


def test_text_begins_with_the_verdict_and_always_has_the_cautions() -> None:
    for case, words in ((KEPT, "VERDICT: LIMITS KEPT"), (OVER, "VERDICT: LIMIT EXCEEDED")):
        short, long = (run("check", case, "--no-remedies", *more).stdout for more in ((), ("--details",)))
        for text in (short, long):
            assert text.splitlines()[2] == words
            assert "Weakest is" in text
            assert "\x1b" not in text
            assert max(map(len, text.splitlines())) <= 100
        assert short.splitlines()[-1] == words
        assert "not a permit: local codes and qualified persons decide." in " ".join(short.split())
        assert all(" ".join(c.split()) in " ".join(long.split()) for c in CAUTIONS)


def test_details_show_every_element_and_place_and_the_sources() -> None:
    source = CASES / "methanol-closed-branches.toml"
    short, long = (run("check", source, "--no-remedies", *more).stdout for more in ((), ("--details",)))
    assert "--details" in short
    assert "--details" not in long
    for word in ("Where figures come from", "How it was computed", "dead end", "Shut-off pressure"):
        assert word in long
        assert word not in short
    lineup = load_case(source).lineup
    for named in (*lineup.elements, *lineup.points):
        assert named.name in long


@pytest.mark.parametrize("case", sorted(CASES.glob("*.toml")), ids=lambda p: p.stem)
def test_json_is_one_document_that_its_schema_knows(case: Path) -> None:
    tried = () if case.stem == "gas-oil-release-coupling" else ("--no-remedies",)  # they take their time
    got = run("check", case, "--json", *tried)
    document = json.loads(got.stdout)
    jsonschema.validate(document, schema("result"))
    assert document["exit_code"] == got.exit_code
    assert document["program"]["version"] == __version__
    assert len(document["case"]["sha256"]) == 64


def test_histories_are_there_when_asked_for() -> None:
    document = json.loads(run("check", OVER, "--no-remedies", "--json", "--histories").stdout)
    jsonschema.validate(document, schema("result"))
    first = document["scenarios"][0]
    hose = next(e for e in first["elements"] if e["name"] == "hose string")
    assert max(first["envelopes"]["hose string"]["highest_pa_gauge"]) == pytest.approx(
        hose["highest"]["pressure_pa_gauge"]
    )
    assert len(first["history"]["time_s"]) == len(first["history"]["pressure_pa_gauge"]["deck line inlet"])


def test_the_same_case_gives_the_same_bytes() -> None:
    assert run("check", KEPT, "--json").stdout == run("check", KEPT, "--json").stdout


def test_a_bad_case_is_refused_with_file_line_key_and_remedy(tmp_path: Path) -> None:
    path = mutated(tmp_path, 'density = "740 kg/m3"', 'density = "0,74 kg/L"')
    got = run("check", path)
    assert got.exit_code == 2
    assert got.stdout == ""
    assert f"{path}:" in got.stderr
    assert "0.74 kg/L" in got.stderr
    assert "Traceback" not in got.stderr
    document = json.loads(run("check", path, "--json").stdout)
    jsonschema.validate(document, schema("result"))
    assert document["faults"][0]["line"] > 1


def test_a_rate_out_of_reach_is_refused_with_what_can_be_reached(tmp_path: Path) -> None:
    path = mutated(tmp_path, 'agreed = "600 m3/h"', 'agreed = "6000 m3/h"')
    got = run("check", path)
    assert got.exit_code == 2
    assert got.stdout == ""
    assert "cannot be reached" in got.stderr


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--pressure", "psi"), "psi(g)"),
        (("--flow", "bbl/h"), "bbl/h"),
        (("--flow", "t/h"), "t/h"),
        (("--length", "ft"), " ft "),
        (("--pressure", "kg/cm2"), "kg/cm2(g)"),
    ],
)
def test_units_of_the_readers_choice(options: tuple[str, str], words: str) -> None:
    assert words in run("check", OVER, "--no-remedies", "--details", *options).stdout


def test_new_writes_a_case_that_can_be_checked_and_never_overwrites(tmp_path: Path) -> None:
    path = tmp_path / "berth.toml"
    assert run("new", path).exit_code == 0
    assert run("check", path).exit_code == 0
    path.write_text("mine", encoding="utf-8")
    got = run("new", path)
    assert got.exit_code == 2
    assert "--force" in got.stderr
    assert path.read_text(encoding="utf-8") == "mine"
    assert run("new", path, "--force").exit_code == 0
    assert [p.name for p in tmp_path.iterdir()] == ["berth.toml"]


def test_new_to_standard_output_and_to_nowhere(tmp_path: Path) -> None:
    assert "schema = 1" in run("new", "-").stdout
    got = run("new", tmp_path / "no" / "such" / "folder.toml")
    assert got.exit_code == 2
    assert "cannot be written" in got.stderr


@pytest.mark.usefixtures("compiled")
def test_a_closed_pipe_and_a_bare_start(tmp_path: Path) -> None:
    env = {**os.environ, "NO_COLOR": "1"}
    script = "import sys; from surge.cli.main import main\ntry: main(['--help'])\nexcept SystemExit: pass\n"
    script += "print(sorted(m for m in ('numpy', 'numba', 'pydantic', 'scipy') if m in sys.modules))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, env=env, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
    script = "import sys; from surge.cli.main import main\n"
    script += f"try: main(['check', {str(KEPT)!r}])\nexcept SystemExit as e: code = e.code\n"
    script += (
        "print(code, sorted(m for m in ('pint', 'matplotlib', 'numba', 'scipy', 'rich') if m in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, env=env, check=True)
    assert done.stdout.splitlines()[-1] == "0 []"


@pytest.mark.usefixtures("compiled")
def test_the_installed_command_ends_with_its_code_and_whole_output(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "surge"]
    done = subprocess.run(
        [*command, "check", str(OVER), "--no-remedies"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 3
    assert done.stdout.splitlines()[-2].startswith("surge ")
    assert done.stdout.splitlines()[-1] == "VERDICT: LIMIT EXCEEDED"
    done = subprocess.run([*command, "check", str(tmp_path / "no.toml")], capture_output=True, check=False)
    assert (done.returncode, done.stdout) == (2, b"")
    done = subprocess.run([*command, "--help"], capture_output=True, text=True, check=True)
    assert "Exit codes" in done.stdout
    reader = f"{sys.executable} -m surge check {KEPT} --details | head -1"
    done = subprocess.run(reader, shell=True, capture_output=True, text=True, check=False)
    assert done.stderr == ""


@pytest.mark.slow
def test_remedies_are_printed_unless_they_are_left_out() -> None:
    case = CASES / "kerosene-shutdown-linked-and-not.toml"
    text, document = run("check", case).stdout, json.loads(run("check", case, "--json").stdout)
    remedies = document["remedies"]["found"]
    strokes = [c for r in remedies for c in r["changes"] if c["kind"] == "stroke"]
    assert f'close "manifold valve" in {strokes[0]["value"]:.1f} s or more' in " ".join(text.split())
    left_out = run("check", case, "--no-remedies", "--json")
    assert json.loads(left_out.stdout)["remedies"] is None
    assert left_out.exit_code == 3


def test_what_cannot_be_computed_at_all_ends_with_4_and_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object, **__: object) -> None:
        raise GridError("no grid within bounds")

    monkeypatch.setattr("surge.api.check.check", fails)
    got = run("check", OVER, "--no-remedies")
    assert (got.exit_code, got.stdout) == (4, "")
    assert "no grid within bounds" in got.stderr
    got = run("check", OVER, "--no-remedies", "--json")
    document = json.loads(got.stdout)
    jsonschema.validate(document, schema("result"))
    assert (document["exit_code"], document["reason"]) == (4, "no grid within bounds")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize(
    "arguments", [["new", "-"], ["schema", "result"], ["check", str(OVER), "--no-remedies"]]
)
def test_a_full_disk_is_an_unwritable_path_and_no_crash(arguments: list[str]) -> None:
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        command = [sys.executable, "-m", "surge", *arguments]
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2
    assert "cannot be written" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.usefixtures("compiled")
@pytest.mark.parametrize("options", [[], ["--json"]])
def test_a_terminal_that_knows_only_ascii(tmp_path: Path, options: list[str]) -> None:
    path = mutated(tmp_path, "cargo hose", "slangen på kai", CASES / "shore-line-of-unknown-length.toml")
    env = {**os.environ, "PYTHONIOENCODING": "ascii"}
    command = [sys.executable, "-m", "surge", "check", str(path), *options]
    done = subprocess.run(command, capture_output=True, env=env, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
    if options:
        names = [e["name"] for e in json.loads(done.stdout)["scenarios"][0]["elements"]]
        assert "slangen på kai" in names


def on_a_terminal(*arguments: str, **environment: str) -> str:
    """What a command prints when its standard output is a terminal."""
    ours, theirs = pty.openpty()
    env = {k: v for k, v in os.environ.items() if k != "NO_COLOR"} | environment
    command = [sys.executable, "-m", "surge", *arguments]
    with subprocess.Popen(command, stdout=theirs, stderr=subprocess.DEVNULL, env=env) as child:
        os.close(theirs)
        said = b""
        while True:
            try:
                part = os.read(ours, 65536)
            except OSError:  # Linux says so when the other side is closed
                break
            if not part:
                break
            said += part
        child.wait()
    os.close(ours)
    return said.decode()


def test_colour_on_a_terminal_only_and_never_with_no_color() -> None:
    coloured, plain = (
        on_a_terminal("check", str(OVER), "--no-remedies", **env) for env in ({}, {"NO_COLOR": "1"})
    )
    assert "\x1b[" in coloured
    assert "\x1b" not in plain
    for text in (coloured, plain):
        assert "VERDICT: LIMIT EXCEEDED" in text


@pytest.mark.skipif(PLAIN, reason="nothing is compiled")
def test_what_is_compiled_is_said_and_nothing_else_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    words = "compiling the solver"
    run("check", KEPT)  # compiled by now, whichever test came first
    warm = run("check", KEPT)
    assert words not in warm.stderr
    found = objects.find("march")
    assert found is not None
    monkeypatch.setattr(objects, "find", lambda _: None)
    monkeypatch.setattr(objects, "_keep", lambda *_: None)
    monkeypatch.setattr(objects, "compiled", lambda *_, **__: found.partition(b"\n")[2])
    monkeypatch.setattr(march, "native", None)
    cold = run("check", KEPT)
    assert [line for line in cold.stderr.splitlines() if words in line] == [
        "surge: compiling the solver for this machine, once; ten seconds to half a minute ..."
    ]
    assert cold.stdout == warm.stdout


def test_a_second_part_is_said_in_other_words(capsys: pytest.CaptureFixture[str]) -> None:
    progress = surge.cli.shared.ProgressLine()
    progress.compiling()
    progress.compiling()
    first, second = capsys.readouterr().err.splitlines()
    assert first.startswith("surge: compiling the solver for this machine")
    assert second == "surge: compiling another part of the solver, once; as long again ..."


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("stream", "told"), [(Terminal(), True), (io.StringIO(), False)])
def test_progress_on_a_terminal_when_it_takes_long(
    stream: io.StringIO, told: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = iter([0.0, 0.5, 1.5, 1.6, 2.5])
    monkeypatch.setattr(sys, "stderr", stream)
    monkeypatch.setattr(surge.cli.shared.time, "monotonic", lambda: next(clock))
    progress = surge.cli.shared.ProgressLine(after=1.0, every=0.2)
    for word in ("early", "first march", "too soon after", "step"):
        progress(word)
    progress.done()
    said = stream.getvalue()
    assert ("first march" in said and "step" in said) == told
    assert "early" not in said
    assert "too soon" not in said
    assert said == "" or said.endswith("\r")


def test_importing_the_package_loads_nothing_heavy() -> None:
    script = "import sys, surge; surge.__version__; "
    script += "print([m for m in ('numpy', 'numba', 'pydantic', 'click') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_a_file_gets_the_usual_rights(tmp_path: Path) -> None:
    path, plain = tmp_path / "case.toml", tmp_path / "plain"
    plain.touch()
    assert CliRunner().invoke(main, ["new", str(path)]).exit_code == 0
    assert path.stat().st_mode == plain.stat().st_mode


@pytest.mark.parametrize("own", [None, "4"])
def test_linear_algebra_takes_one_thread_unless_asked(
    own: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its threads fight those of the marches; what the user has set stays."""
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    if own is not None:
        monkeypatch.setenv("OPENBLAS_NUM_THREADS", own)
    monkeypatch.setattr("surge.__main__.signal.signal", lambda *_: None)
    monkeypatch.setattr("surge.cli.main.entry", lambda: None)
    surge.__main__.entry()
    assert os.environ.pop("OPENBLAS_NUM_THREADS") == (own or "1")
