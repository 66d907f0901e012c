"""Every march is watched: planted faults end it, sound marches pass."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from support.lineups.generated import generated
from support.lineups.lines import KeptMarch, dead_legged, start, step_at

from surge.cli.main import main
from surge.errors import SolveError
from surge.kernel import columns
from surge.transient.march import Marched, keep_still
from surge.transient.run import simulate

DT = 0.01
MOVES = 2.0  # [s]


def begun(steps: int = 0, *, moves: float = MOVES) -> KeptMarch:
    """The berth's march after some steps; its valve shuts at once at ``moves`` [s]."""
    made = start(dead_legged(80.0), DT, ratio={"valve": step_at(moves)})
    made.marched.advance(steps)
    return made


def index(made: KeptMarch, *, point: str = "", link: str = "", end: tuple[str, bool] = ("", False)) -> int:
    grid = made.marched.grid
    if point:
        return grid.points.index(point)
    return grid.links.index(link) if link else grid.ends.index(end)


# What is planted, before the first step or after the valve has shut; what the watch then says.


def _friction(made: KeptMarch) -> None:
    made.marched.grid.net.law[:] *= 1.02


def _gain(made: KeptMarch) -> None:
    made.marched.grid.net.law[:] *= -1.0


def _impedance(made: KeptMarch) -> None:
    made.marched.grid.net.ef[index(made, end=("main", True)), columns.E_Y] *= 1.0 + 1e-5


def _junction(made: KeptMarch) -> None:
    pf = made.marched.grid.net.pf
    pf[index(made, point="tee"), columns.P_Z] *= 1.001
    pf[index(made, point="tee"), columns.P_Y] /= 1.001  # a tree of links goes by this one


def _storage(made: KeptMarch) -> None:
    made.marched.grid.net.pf[index(made, point="tee"), columns.P_STUB_Y] *= 1.01


def _valve(made: KeptMarch) -> None:
    made.marched.grid.net.lf[index(made, link="valve"), [columns.L_C, columns.L_C2]] *= 0.98


def _pump(made: KeptMarch) -> None:
    made.marched.grid.net.coef[0, 0] += 30.0


def _loss_of_hose(made: KeptMarch) -> None:
    made.marched.grid.net.lump_table[:] = 0.0


def _wave(made: KeptMarch) -> None:
    net = made.marched.grid.net
    net.p[net.window[0] + made.marched.grid.nodes[0][5]] += 1.0


def _inertia_of_hose(made: KeptMarch) -> None:
    net = made.marched.grid.net
    net.lf[index(made, link="hose"), columns.L_MEMORY] += 40.0


BEFORE = {
    "friction of one pipe 2 % too great": (_friction, "before anything moves"),
    "impedance of one end 1e-5 too small": (
        _impedance,
        "does not flow out|before anything moves|lost or made",
    ),
    "junction off by a thousandth": (_junction, "before anything moves"),
    "conductance 2 % too small": (_valve, "before anything moves"),
    "pump lifts 30 m more": (_pump, "before anything moves"),
    "hose without loss": (_loss_of_hose, "before anything moves"),
}
LATER = {
    "friction that drives": (_gain, "energy comes from nowhere in (main|dead leg|deck line)"),
    "impedance of one end 1e-5 too small": (_impedance, "does not flow out|lost or made"),
    "junction off by a thousandth": (_junction, "at tee what flows in does not flow out"),
    "storage of the hose 1 % off": (_storage, "at tee what flows in does not flow out"),
    "a wave from nowhere": (_wave, "lost or made in main"),
    "a push inside the hose": (_inertia_of_hose, "energy comes from nowhere in hose"),
}


@pytest.mark.parametrize("name", BEFORE)
def test_a_fault_planted_at_the_start_ends_the_march(name: str) -> None:
    plant, words = BEFORE[name]
    made = begun()
    plant(made)
    with pytest.raises(SolveError, match=words):
        made.marched.advance(round(1.5 / DT))


@pytest.mark.parametrize("name", BEFORE)
def test_a_fault_is_found_though_something_moves_at_once(name: str) -> None:
    """Then a copy in which nothing moves is marched first."""
    plant, words = BEFORE[name]
    made = begun(moves=0.0)
    assert made.marched.watch.until == 0.0
    plant(made)
    with pytest.raises(SolveError, match=words):
        keep_still(made.marched)


@pytest.mark.parametrize("name", LATER)
def test_a_fault_planted_during_the_march_ends_it(name: str) -> None:
    plant, words = LATER[name]
    made = begun(round((MOVES + 0.3) / DT))
    plant(made)
    with pytest.raises(SolveError, match=words):
        made.marched.advance(round(2.0 / DT))


def test_without_a_fault_the_same_marches_pass() -> None:
    begun(round((MOVES + 3.0) / DT))
    keep_still(begun(moves=0.0).marched)


def test_the_message_is_one_sentence_for_the_reader() -> None:
    made = begun()
    _valve(made)
    with pytest.raises(SolveError) as caught:
        made.marched.advance(150)
    assert re.fullmatch(
        r"the calculation is at fault between 0\.000 s and 1\.500 s: before anything moves the head at "
        r"\w+( \w+)? changes by [\d.e-]+ m\. "
        r"Nothing that it gave can be used; please report it with the case file",
        str(caught.value),
    )
    assert caught.value.exit_code == 4


def test_a_pump_gives_no_more_than_at_no_flow() -> None:
    made = start(dead_legged(80.0), DT, ratio={"valve": step_at(1.0, 1.0, 0.5)})
    made.marched.advance(110)
    _pump(made)
    with pytest.raises(SolveError, match="pump gives more head than at no flow"):
        made.marched.advance(100)


def test_the_command_answers_with_4(monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault in the arrays reaches the shell as "cannot be decided", never as a pressure."""
    whole = Marched.__post_init__

    def faulty(self: Marched) -> None:
        whole(self)
        self.grid.net.pf[:, columns.P_Z] *= 1.001

    monkeypatch.setattr(Marched, "__post_init__", faulty)
    case = Path(__file__).parents[2] / "cases" / "gasoline-drop-lines.toml"
    told = CliRunner().invoke(main, ["check", str(case)])
    assert told.exit_code == 4
    assert "the calculation is at fault between" in told.stderr
    assert told.stdout == ""


@settings(max_examples=15, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10**6))
def test_sound_marches_pass_whatever_the_line_up(seed: int) -> None:
    lineup, scenario = generated(seed, size=0.3)
    assert simulate(lineup, scenario, quick=True).elements


def test_the_thinned_history_holds_the_instants_it_says() -> None:
    fine, thin = begun(500), start(dead_legged(80.0), DT, ratio={"valve": step_at(MOVES)})
    thin.marched.stride = 7
    for steps in (3, 11, 200, 286):
        thin.marched.advance(steps)
    thin.refresh()
    fine.refresh()
    assert thin.time == pytest.approx(np.arange(0, 501, 7) * DT, abs=1e-12)
    np.testing.assert_array_equal(thin.heads, fine.heads[::7])
    np.testing.assert_array_equal(thin.flows, fine.flows[::7])
