"""Studies run: against closed forms, the same bits whoever runs them, on and on after any end."""

from __future__ import annotations

import errno
import hashlib
import json
import math
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner, Result
from scipy import stats
from scipy.integrate import trapezoid
from support.studies import HEAD, RATE, SAMPLES, SPEED, STOP, written

import surge
from surge.api.study import StudyAnswer, run_study
from surge.cli.main import main
from surge.errors import RequestError, SolveError
from surge.rules.reading import built_in
from surge.schemas import schema_of
from surge.search.rates import greatest_rate
from surge.studies import cluster, engines, store
from surge.studies.chances import clopper_pearson
from surge.studies.lock import LOCK, locked

FLOW = """
[[uncertain]]
name = "rate"
key = "rate: agreed"
distribution = "normal"
mean = "300 m3/h"
standard_deviation = "15 m3/h"
"""
WHOLE = HEAD + SAMPLES + RATE + SPEED
DENSITY, DEPTH, LIMIT, AREA = 1000.0, 80.0, 15e5, math.pi * 0.2**2


def files(folder: Path) -> dict[str, str]:
    """Every file of results with its hash."""
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.rglob("*") if p.is_file()}


def rows(answer: StudyAnswer) -> dict[str, list[Any]]:
    """The runs of an answer, read as a user would."""
    found: dict[str, list[Any]] = pq.read_table(answer.into / "runs").sort_by("run").to_pydict()
    return found


@pytest.fixture
def small_chunks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Chunks of some runs, so that a short study has several."""
    monkeypatch.setattr("surge.studies.plan.MOST_CHUNK", 5)


def test_what_a_study_reads_is_not_written_over_among_its_results(tmp_path: Path) -> None:
    """Not with --force, and by no link: a case that is a result of another study, or linked to from there."""
    path = written(tmp_path, WHOLE)
    case = tmp_path / "stop.toml"
    into = run_study(path, into=tmp_path / "results", workers=1).into
    worst = into / "worst.toml"
    before = worst.read_bytes()
    (tmp_path / "again.toml").write_text(WHOLE.replace("stop.toml", "results/worst.toml"), encoding="utf-8")
    with pytest.raises(RequestError, match="which the study reads, is in"):
        run_study(tmp_path / "again.toml", into=into, workers=1, afresh=True)
    assert worst.read_bytes() == before
    worst.unlink()
    worst.symlink_to(case)
    before = case.read_bytes()
    with pytest.raises(RequestError, match="which the study reads, is in"):
        run_study(path, into=into, workers=1)
    assert case.read_bytes() == before


def test_results_go_into_a_folder(tmp_path: Path) -> None:
    path = written(tmp_path, WHOLE)
    with pytest.raises(RequestError, match="is no folder: name another one with --into"):
        run_study(path, into=path, workers=1)


# --- against closed forms --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def instant_stop(tmp_path_factory: pytest.TempPathFactory) -> StudyAnswer:
    """An instant stop of a line without friction, with normal wave speed and velocity."""
    text = HEAD + SAMPLES.replace("12", "400") + SPEED + FLOW
    return run_study(written(tmp_path_factory.mktemp("stop"), text))


def test_every_rise_is_that_of_joukowsky(instant_stop: StudyAnswer) -> None:
    """Rho a v on the pressure of the tank, within 0.1 % for the losses that are left (closed form)."""
    got = rows(instant_stop)
    speed = np.array(got["figure wave speed (m/s)"])
    velocity = np.array(got["figure rate (m3/s)"]) / AREA
    peak = DENSITY * surge_gravity() * DEPTH + DENSITY * speed * velocity
    assert np.array(got["peak_pa_gauge"]) == pytest.approx(peak, rel=1e-3)
    assert set(got["peak_at"]) == {"line"}


def surge_gravity() -> float:
    """Standard gravity (CGPM 1901) [m/s2]."""
    return 9.80665


def exact_probability() -> float:
    """Of a rise above the limit: the product of two independent normal figures, by quadrature."""
    level = (LIMIT - DENSITY * surge_gravity() * DEPTH) / DENSITY
    v = np.linspace(200.0, 400.0, 200_001) / 3600 / AREA
    density = stats.norm(300 / 3600 / AREA, 15 / 3600 / AREA).pdf(v)
    return float(trapezoid(density * stats.norm(1000.0, 60.0).sf(level / v), v))


def test_the_probability_is_that_of_the_closed_form(instant_stop: StudyAnswer) -> None:
    exact = exact_probability()
    assert 0.1 < exact < 0.3
    cell = instant_stop.summary.cells[0]
    assert cell.chance is not None
    assert cell.count.exceeded == cell.count.unsafe  # nothing boils
    low, high = clopper_pearson(cell.count.unsafe, cell.count.runs, 0.999)
    assert low < exact < high
    # And nothing else is counted: of the figures that were drawn, those above the limit, one by one.
    got = rows(instant_stop)
    speed, flow = np.array(got["figure wave speed (m/s)"]), np.array(got["figure rate (m3/s)"])
    rise = DENSITY * speed * flow / AREA
    beyond = DENSITY * surge_gravity() * DEPTH + rise > LIMIT
    close = abs(DENSITY * surge_gravity() * DEPTH + rise - LIMIT) < 1e-3 * LIMIT
    looks = np.array([look == "beyond a limit" for look in got["look"]])
    assert (looks == beyond)[~close].all()


def test_quick_looks_are_never_called_a_verdict(instant_stop: StudyAnswer) -> None:
    assert instant_stop.exit_code == 4
    assert "NO VERDICT" in instant_stop.text()
    assert "verdict" not in rows(instant_stop)
    assert instant_stop.document()["decides"] is False


def test_the_spread_is_told_from_above(instant_stop: StudyAnswer) -> None:
    whole = instant_stop.summary.spreads[0]
    peaks = np.sort(rows(instant_stop)["peak_pa_gauge"])
    assert whole.limit == LIMIT
    assert whole.highest == peaks[-1]
    for share in (0.5, 0.95):
        true = float(peaks[math.ceil(share * 400) - 1])
        assert true <= whole.below(share) <= true + (peaks[-1] - peaks[0]) / 1000


def test_indices_of_a_product(tmp_path: Path) -> None:
    """Of a product of two independent figures the variance is in closed form: rho a v is one."""
    text = HEAD + SAMPLES.replace("independent", "saltelli").replace("12", "64") + SPEED + FLOW
    answer = run_study(written(tmp_path, text))
    speed, flow = 0.06, 0.05  # coefficients of variation
    whole = speed**2 + flow**2 + speed**2 * flow**2
    assert answer.summary.count.runs == 64 * 4
    by_name = {i.name: i for i in answer.summary.matters[0].indices}
    for name, own in (("wave speed", speed), ("rate", flow)):
        found = by_name[name]
        assert abs(found.first - own**2 / whole) < 2.0 * found.first_half
        assert found.first_half < 0.4
        assert abs(found.total - (own**2 + speed**2 * flow**2) / whole) < 2.0 * found.total_half
    assert "Which figure matters" in answer.text()


# --- verdicts ----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def verdicts(tmp_path_factory: pytest.TempPathFactory) -> StudyAnswer:
    text = (HEAD + SAMPLES + RATE + SPEED).replace("quick look", "verdict").replace("12", "6")
    text = text.replace('"300 m3/h"]', '"300 m3/h", "340 m3/h"]').replace(
        "[samples]", 'places = ["line"]\n[samples]'
    )
    return run_study(written(tmp_path_factory.mktemp("verdicts"), text))


def test_the_worst_case_gives_the_same_answer_to_the_last_bit(verdicts: StudyAnswer) -> None:
    worst = verdicts.summary.worst
    assert worst is not None
    path = verdicts.into / "worst.toml"
    assert hashlib.sha256(path.read_bytes()).hexdigest() == worst.sha256
    got, again = rows(verdicts), surge.check(path, remedies=False)
    assert again.verdict == got["verdict"][worst.run] == worst.verdict == "limit exceeded"
    assert again.weakest is not None
    assert again.weakest.value == got["peak_pa_gauge"][worst.run]
    assert again.weakest.error == got["peak_error_pa"][worst.run]
    assert again.weakest.load == got["used"][worst.run]
    exceeded = [k for k, v in enumerate(got["verdict"]) if v == "limit exceeded"]
    assert got["used"][worst.run] == max(got["used"][k] for k in exceeded)


def test_counts_are_those_of_the_rows(verdicts: StudyAnswer) -> None:
    got, count = rows(verdicts), verdicts.summary.count
    assert got["run"] == list(range(18))
    assert got["verdict"].count("limit exceeded") == count.exceeded > 0
    assert got["verdict"].count("limit kept") == count.kept > 0
    assert verdicts.exit_code == 3
    for cell in verdicts.summary.cells:
        own = got["verdict"][6 * cell.cell : 6 * cell.cell + 6]
        assert cell.count.unsafe == 6 - own.count("limit kept")
        assert cell.chance is not None
        assert (cell.chance.low, cell.chance.high) == clopper_pearson(cell.count.unsafe, 6)
    assert got["highest at line (Pa gauge)"] == got["peak_pa_gauge"]


def test_files_say_what_they_are_and_in_which_unit(verdicts: StudyAnswer) -> None:
    schema = pq.read_schema(next((verdicts.into / "runs").iterdir()))
    said = {key.decode(): value.decode() for key, value in schema.metadata.items()}
    assert json.loads(said["surge.program"])["version"] == surge.__version__
    assert [f["file"] for f in json.loads(said["surge.files"])] == ["study.toml", "stop.toml"]
    assert json.loads(said["surge.files"])[0]["sha256"] == verdicts.study.file.sha256
    units = {field.name: field.metadata[b"unit"].decode() for field in schema}
    assert units["peak_pa_gauge"] == "Pa gauge"
    assert units["axis rate (m3/s)"] == "m3/s"
    assert units["figure wave speed (m/s)"] == "m/s"
    assert all(field.metadata[b"description"] for field in schema)


def test_the_document_fits_its_schema(verdicts: StudyAnswer, instant_stop: StudyAnswer) -> None:
    for answer in (verdicts, instant_stop):
        jsonschema.validate(json.loads(answer.json()), schema_of("study-result"))


def test_it_says_how_sure_a_line_up_is(verdicts: StudyAnswer) -> None:
    text = " ".join(verdicts.text().split())
    assert "How sure:" in text
    assert "rate 280 m3/h: kept in" in text
    assert "exact for independent samples" in text


def test_runs_that_cannot_be_read_count_as_not_kept(tmp_path: Path) -> None:
    """A rate that the low tank cannot give at its level: told, counted, and never the worst case."""
    level = '[[axis]]\nname = "level"\nkey = \'tank "shore tank": level\'\nvalues = ["76 m", "80 m"]\n'
    rate = RATE.replace('"280 m3/h", "300 m3/h"', '"100 m3/h", "2600 m3/h"')
    answer = run_study(written(tmp_path, HEAD.replace("quick look", "verdict") + level + rate))
    got = rows(answer)
    bad = [k for k, sha in enumerate(got["verdict"]) if sha == "cannot be decided"]
    assert bad
    assert all(got["reason"][k] for k in bad)
    assert answer.summary.count.undecided == len(bad)


# --- windows ------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_windows_are_those_of_the_command(tmp_path: Path) -> None:
    stroke = STOP.replace('law = "step"', 'stroke = "4 s"')
    axis = RATE.replace('"280 m3/h", "300 m3/h"', '"300 m3/h", "400 m3/h"')
    text = HEAD.replace("quick look", "window") + axis
    answer = run_study(written(tmp_path, text, case=stroke))
    got = rows(answer)
    for k, rate in enumerate(("300 m3/h", "400 m3/h")):
        case = surge.read_case(stroke.replace('"300 m3/h"', f'"{rate}"'), filename="one.toml")
        alone = surge.find_windows(case)
        assert got["verdict"][k] == alone.verdict
        (window,) = got["windows"][k]
        assert (window["shortest_s"], window["longest_s"]) == alone.bounds("throttle")
        assert [r["greatest_m3_s"] for r in got["rates"][k]] == [r.greatest for r in alone.rates]
    assert "throttle" in answer.text()
    jsonschema.validate(json.loads(answer.json()), schema_of("study-result"))


def test_greatest_rates_are_those_of_the_search(tmp_path: Path) -> None:
    axis = '[[axis]]\nname = "level"\nkey = \'tank "shore tank": level\'\nvalues = ["80 m"]\n'
    answer = run_study(written(tmp_path, HEAD.replace("quick look", "greatest rate") + axis))
    case = surge.load_case(tmp_path / "stop.toml")
    alone = greatest_rate(case.lineup, case.lineup.scenarios[0], book=built_in())
    assert alone is not None
    got = rows(answer)
    assert [r["greatest_m3_s"] for r in got["rates"][0]] == [alone.greatest]
    assert got["verdict"] == [surge.check(case, remedies=False).verdict]
    assert re.search(r"level 80 m\s+stop\s+300.0 m3/h\s+[0-9.]+ m3/h\s+kept", answer.text())
    jsonschema.validate(json.loads(answer.json()), schema_of("study-result"))


# --- the same bits, whoever runs it -----------------------------------------------------------------------


@pytest.mark.usefixtures("small_chunks")
def test_other_processes_make_the_same_files(tmp_path: Path) -> None:
    path = written(tmp_path, WHOLE)
    one = run_study(path, into=tmp_path / "one", workers=1)
    two = run_study(path, into=tmp_path / "two", workers=2)
    assert files(one.into) == files(two.into)
    assert one.text() == two.text()
    assert len(list((one.into / "runs").iterdir())) == 5


@pytest.mark.usefixtures("small_chunks")
def test_a_process_that_dies_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = written(tmp_path, WHOLE)
    one = run_study(path, into=tmp_path / "one", workers=1)
    send, died = engines.send, []

    def killed(to: Any, what: Any) -> None:
        """The first process that is given the chunk 2 dies over it."""
        send(to, what)
        if getattr(what, "number", None) == 2 and not died:
            died.append(what.number)
            process = next(p for p in begun if p.stdin is to)
            process.kill()

    begun: list[Any] = []
    popen = subprocess.Popen

    def begin(*arguments: Any, **more: Any) -> Any:
        begun.append(popen(*arguments, **more))
        return begun[-1]

    monkeypatch.setattr(engines, "send", killed)
    monkeypatch.setattr(engines.subprocess, "Popen", begin)
    two = run_study(path, into=tmp_path / "two", workers=2)
    assert died == [2]
    assert len(begun) == 3
    assert files(one.into) == files(two.into)
    assert all(p.poll() is not None for p in begun)  # and none is left behind


@pytest.mark.usefixtures("small_chunks")
def test_processes_that_die_again_and_again_end_the_study(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engines.sys, "executable", "/bin/false")
    with pytest.raises(SolveError, match="died 3 times"):
        run_study(written(tmp_path, WHOLE), workers=2)


@pytest.fixture
def dask_cluster() -> Any:
    """A scheduler and two workers of one thread, as processes of this computer; gone at the end."""
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, processes=True, host="127.0.0.1"
    ) as made:
        yield made


@pytest.mark.slow
@pytest.mark.filterwarnings("default")
@pytest.mark.usefixtures("small_chunks")
def test_a_cluster_of_which_a_worker_is_killed_makes_the_same_files(
    tmp_path: Path, dask_cluster: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(tmp_path, WHOLE)
    one = run_study(path, into=tmp_path / "one", workers=1)
    kept = store.Store.write
    seen: list[int] = []

    def write(self: store.Store, number: int, table: Any) -> None:
        kept(self, number, table)
        if not seen:  # in mid-run: chunks are under way on both
            nanny = next(iter(dask_cluster.workers.values()))
            nanny.process.process.kill()
        seen.append(number)

    monkeypatch.setattr(store.Store, "write", write)
    two = run_study(path, into=tmp_path / "two", cluster=dask_cluster.scheduler_address)
    assert sorted(seen) == list(range(5))
    assert files(one.into) == files(two.into)


def test_a_cluster_that_does_not_answer_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "CONNECT", 1)
    with pytest.raises(RequestError, match="no answer from there"):
        run_study(written(tmp_path, WHOLE), into=tmp_path / "results", cluster="tcp://127.0.0.1:9")
    assert not (tmp_path / "results").exists()


# --- on and on --------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("small_chunks")
def test_what_is_there_is_not_run_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = written(tmp_path, WHOLE)
    first = run_study(path, into=tmp_path / "one")
    kept = files(first.into)
    gone = sorted((first.into / "runs").iterdir())[2]
    gone.unlink()
    (first.into / "runs" / ".surge-half").write_bytes(b"half of a file")
    seen: list[int] = []
    run = engines.run_chunk
    monkeypatch.setattr(engines, "run_chunk", lambda s, c: (seen.append(c.number), run(s, c))[1])
    again = run_study(path, into=tmp_path / "one")
    assert seen == [2]
    assert files(again.into) == kept


@pytest.mark.usefixtures("small_chunks")
def test_a_full_disk_keeps_what_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = written(tmp_path, WHOLE)
    kept = files(run_study(path, into=tmp_path / "one").into)
    whole = store.write_whole
    count = 0

    def full(to: Path, content: Any) -> None:
        nonlocal count
        count += 1
        if count > 3:
            raise OSError(errno.ENOSPC, "No space left on device")
        whole(to, content)

    monkeypatch.setattr(store, "write_whole", full)
    found = study(path, "--into", str(tmp_path / "two"))
    assert found.exit_code == 2
    assert "No space left on device; what is written is kept" in found.stderr
    assert len(list((tmp_path / "two" / "runs").iterdir())) == 2
    monkeypatch.setattr(store, "write_whole", whole)
    assert files(run_study(path, into=tmp_path / "two").into) == kept


@pytest.mark.slow
def test_killed_and_interrupted_it_goes_on_to_the_same_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The command, with ten chunks of a quarter of a second."""
    path = written(tmp_path, (HEAD + SAMPLES + RATE + SPEED).replace("12", "100"))
    monkeypatch.setattr("surge.studies.plan.MOST_CHUNK", 20)
    surge_study = (
        "import surge.studies.plan; surge.studies.plan.MOST_CHUNK = 20; "
        "from surge.__main__ import entry; entry()"
    )
    command = [sys.executable, "-c", surge_study, "study", str(path), "--into", str(tmp_path / "two")]
    for how in (signal.SIGKILL, signal.SIGINT):
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        before = chunks(tmp_path / "two")
        while chunks(tmp_path / "two") <= before and process.poll() is None:
            time.sleep(0.02)
        process.send_signal(how)
        _, told = process.communicate()
        assert process.returncode == (-9 if how == signal.SIGKILL else 1)
    assert "what is written is kept; the same command goes on" in told
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 4, done.stderr
    whole = run_study(path, into=tmp_path / "one")
    assert files(tmp_path / "one" / "runs") == files(tmp_path / "two" / "runs")
    assert whole.summary.complete


def chunks(folder: Path) -> int:
    return len(list(folder.glob("runs/runs-*.parquet")))


def test_results_of_two_studies_are_not_mixed(tmp_path: Path) -> None:
    path = written(tmp_path, WHOLE)
    run_study(path)
    path.write_text(WHOLE.replace("seed = 3", "seed = 4"), encoding="utf-8")
    found = study(path)
    assert found.exit_code == 2
    assert "results of another study" in found.stderr
    assert "study.toml changed since" in found.stderr
    assert study(path, "--force").exit_code == 4
    assert study(path).exit_code == 4  # and by now they are its own


@pytest.mark.usefixtures("small_chunks")
def test_a_second_study_in_the_same_folder_is_refused(tmp_path: Path) -> None:
    """For as long as the process of the first lives; what that leaves behind keeps nobody out."""
    path, into = written(tmp_path, WHOLE), tmp_path / "study-results"
    into.mkdir()
    hold = (
        "import sys, time; from pathlib import Path; from surge.studies.lock import locked\n"
        f"with locked(Path({str(into / LOCK)!r})) as alone: print(alone, flush=True); time.sleep(600)"
    )
    first = subprocess.Popen([sys.executable, "-c", hold], stdout=subprocess.PIPE, text=True)
    try:
        assert first.stdout is not None
        assert first.stdout.readline() == "True\n"
        found = study(path, "--force")
        assert found.exit_code == 2
        assert found.stderr.startswith(f"surge: another study is at work in {into}: wait until it has ended,")
        assert found.stderr.count("\n") == 1
        assert [p.name for p in into.iterdir()] == [LOCK]
    finally:
        first.kill()
        first.communicate()
    assert study(path).exit_code == 4
    assert not (into / LOCK).exists()
    with locked(into / LOCK) as alone, locked(into / LOCK) as too:
        assert (alone, too) == (True, False)


def test_a_folder_with_something_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear", encoding="utf-8")
    found = study(written(tmp_path, WHOLE), "--into", str(tmp_path / "mine"), "--force")
    assert found.exit_code == 2
    assert "no folder of results" in found.stderr
    assert [p.name for p in (tmp_path / "mine").iterdir()] == ["letter.txt"]


def test_nothing_of_another_study_is_left(tmp_path: Path) -> None:
    path = written(tmp_path, WHOLE)
    assert study(path).exit_code == 4
    there = {p.name for p in (tmp_path / "study-results").iterdir()}
    assert there == {"study.json", "runs", "worst.toml", "table.png", "peaks.png"}
    path.write_text(HEAD + SAMPLES + SPEED, encoding="utf-8")  # without an axis there is no table
    assert study(path, "--force", "--pictures", "svg").exit_code == 4
    there = {p.name for p in (tmp_path / "study-results").iterdir()}
    assert there == {"study.json", "runs", "worst.toml", "peaks.svg"}


@pytest.mark.usefixtures("small_chunks")
def test_a_damaged_file_is_named_before_anything_is_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(tmp_path, WHOLE)
    there = sorted((run_study(path).into / "runs").iterdir())
    whole = there[1].read_bytes()
    there[3].unlink()
    with monkeypatch.context() as patch:
        patch.setattr(engines, "run_chunk", lambda *_: pytest.fail("it is run"))
        for content in (b"", b"PAR1 and no more", whole[: len(whole) // 2], whole[:-8] + b"\0" * 8):
            there[1].write_bytes(content)
            found = study(path)
            assert found.exit_code == 2
            assert there[1].name in found.stderr
            assert "delete it, and run the study again" in found.stderr
    there[1].unlink()
    assert study(path).exit_code == 4
    assert there[1].read_bytes() == whole


# --- the command --------------------------------------------------------------------------------------------


def study(path: Path, *options: str) -> Result:
    return CliRunner().invoke(main, ["study", str(path), *options])


def test_the_command_prints_words_or_a_document(tmp_path: Path) -> None:
    path = written(tmp_path, WHOLE)
    words, document = study(path), study(path, "--json")
    assert words.exit_code == document.exit_code == 4
    assert "QUICK LOOKS, NO VERDICT" in words.stdout
    assert "Results in" in words.stderr
    jsonschema.validate(json.loads(document.stdout), schema_of("study-result"))
    assert "psi(g)" in study(path, "--pressure", "psi").stdout


def test_faults_are_printed_with_their_lines(tmp_path: Path) -> None:
    found = study(written(tmp_path, WHOLE.replace("rate: agreed", "rate: agred")))
    assert found.exit_code == 2
    line = WHOLE.splitlines().index('key = "rate: agreed"') + 1
    assert f'study.toml:{line}:7: axis "rate": key' in found.stderr
    assert 'did you mean "agreed"?' in found.stderr
    assert not (tmp_path / "study-results").exists()


@pytest.mark.parametrize(("options", "words"), [(("--workers", "0"), "from 1 to 512")])
def test_workers_are_counted(tmp_path: Path, options: tuple[str, ...], words: str) -> None:
    found = study(written(tmp_path, WHOLE), *options)
    assert found.exit_code == 2
    assert words in found.stderr


def test_a_missing_library_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    found = study(written(tmp_path, WHOLE))
    assert found.exit_code == 2
    assert found.stderr.strip() == (
        'surge: a study keeps its runs with the library pyarrow: pip install "surge[study]"'
    )


def test_of_many_line_ups_every_option_is_counted(tmp_path: Path) -> None:
    rates = ", ".join(f'"{rate} m3/h"' for rate in range(250, 350, 20))
    levels = ", ".join(f'"{level} m"' for level in range(77, 83))
    axes = RATE.replace('"280 m3/h", "300 m3/h"', rates)
    axes += f'[[axis]]\nname = "level"\nkey = \'tank "shore tank": level\'\nvalues = [{levels}]\n'
    answer = run_study(written(tmp_path, HEAD + axes))
    got = rows(answer)
    for axis, counts in zip(answer.study.axes, answer.summary.by_axis, strict=True):
        for option, count in zip(axis.options, counts, strict=True):
            here = [
                look
                for look, o in zip(got["look"], got[f"axis {axis.name}"], strict=True)
                if o == option.name
            ]
            assert (count.exceeded, count.kept) == (here.count("beyond a limit"), here.count("within limits"))
            assert count.runs == len(here)
    assert re.search(r"level\s+beyond\s+not decided\s+within", answer.text())
    assert "6 more line-ups: --details" in answer.text()
