"""Links that branch: the laws have one solution, so that what satisfies all of them is it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from surge.kernel import columns
from surge.kernel import laws as b
from surge.kernel.trees import solve_tree
from surge.transient.clusters import group_links

TABLE = np.array([np.linspace(0, 1, 1025) ** 1.9 * 30.0])  # [m] lost up to 1 m3/s

branch = st.tuples(
    st.integers(0, 10**6),  # which point it hangs on
    st.booleans(),  # an orifice, or a lumped element
    st.booleans(),  # which way it was drawn
    st.one_of(st.just(0.0), st.floats(1e-8, 0.5)),  # c*c of an orifice
    st.floats(5.0, 5000.0),  # Z of its far point [s/m2]
    st.floats(-50.0, 150.0),  # head that waves bring there [m]
    st.floats(-0.4, 0.4),  # flow before [m3/s]
)


class Cluster:
    """A tree and its arrays."""

    def __init__(self, branches, *, root_head=40.0, root_z=300.0, tank=False):
        n = len(branches)
        self.li, self.lf = np.zeros((n, columns.L_INTS), dtype=np.int64), np.zeros((n, columns.L_FLOATS))
        self.pf = np.zeros((n + 1, columns.P_FLOATS))
        ends = []
        for e, (place, is_orifice, turned, c2, z, head, flow) in enumerate(branches):
            pair = (place % (e + 1), e + 1)
            ends.append(pair[::-1] if turned else pair)
            self.li[e, [columns.L_A, columns.L_B]] = ends[-1]
            self.li[e, columns.L_KIND] = columns.ORIFICE if is_orifice else columns.LUMPED
            self.lf[e, columns.L_C2], self.lf[e, columns.L_Q] = c2, flow if c2 > 0 or not is_orifice else 0.0
            self.lf[e, [columns.L_Z, columns.L_STEP, columns.L_MEMORY]] = 400.0, 1024.0, 3.0
            self.pf[e + 1, [columns.P_Z, columns.P_Y, columns.P_XY]] = z, 1 / z, head / z
        self.pf[0, [columns.P_Z, columns.P_Y, columns.P_XY]] = root_z, 1 / root_z, root_head / root_z
        self.pf[:, columns.P_H] = 10.0
        self.fixed = np.zeros(n + 1, dtype=bool)
        if tank and not branches[-1][1]:
            self.fixed[n] = True
            self.pf[n, [columns.P_Z, columns.P_Y, columns.P_XY, columns.P_FIXED]] = 0.0, 0.0, 0.0, 17.0
        orifice = [k[1] for k in branches]
        groups = group_links(
            ends=ends,
            orifice=orifice,
            branching=[True] * n,
            single=[False] * n,
            fixed=self.fixed,
            dry=np.zeros(n + 1, dtype=bool),
        )
        self.groups = groups

    def solve(self):
        work = np.zeros((2 * self.li.shape[0] + 5,) * 2)
        return all(
            solve_tree(c, self.groups.ci, self.groups.tree, self.pf, self.li, self.lf, TABLE, work)
            for c in range(self.groups.ci.shape[0])
        )

    def solve_as_the_march_does(self):
        """By sweeps; where their rounds do not close, Newton's method goes on from there."""
        n = 2 * self.li.shape[0] + 5
        work, room = np.zeros((n, n)), np.zeros(n)
        pi = np.full((self.pf.shape[0], columns.P_INTS), -1)
        groups, closed = self.groups, True
        for c in range(groups.ci.shape[0]):
            if not solve_tree(c, groups.ci, groups.tree, self.pf, self.li, self.lf, TABLE, work):
                curve = np.zeros(1), np.zeros((1, 4))
                arrays = pi, self.pf, self.li, self.lf, *curve, TABLE
                status = b.solve_cluster(c, groups.ci, groups.members, *arrays, work, room)
                closed = closed and status == columns.OK
        return closed

    def worst(self):
        """Greatest misfit: of a law [m], of a balance as the head that it stands for [m]."""
        brought = self.pf[:, columns.P_XY] - self.pf[:, columns.P_H] * self.pf[:, columns.P_Y]
        worst = 0.0
        for e in range(self.li.shape[0]):
            a, z, q = self.li[e, columns.L_A], self.li[e, columns.L_B], self.lf[e, columns.L_Q]
            brought[a] -= q
            brought[z] += q
            if self.li[e, columns.L_KIND] == columns.ORIFICE and self.lf[e, columns.L_C2] == 0.0:
                assert q == 0.0
                continue
            lost, _ = b.link_law(e, q, self.li, self.lf, np.zeros(1), np.zeros((1, 4)), TABLE)
            worst = max(worst, abs(self.pf[a, columns.P_H] - self.pf[z, columns.P_H] - lost))
        free = ~self.fixed
        return max(worst, float(np.abs(brought[free] * self.pf[free, columns.P_Z]).max()))


# Two wide valves behind one another, of which the sweeps need more than their rounds.
SLOW = [(0, True, False, 0.25, 702.0, 94.0, 0.0), (0, True, False, 0.0, 5.0, 0.0, 0.0)]
SLOW += [(1, True, False, 0.5, 5.0, 60.0, 0.0)]


@settings(max_examples=300, deadline=None, derandomize=True)
@example(branches=SLOW, tank=False)
@given(branches=st.lists(branch, min_size=2, max_size=8), tank=st.booleans())
def test_every_law_and_every_balance_holds(branches, tank):
    made = Cluster(branches, tank=tank)
    assert made.groups.ci.shape[0] == 1
    assert made.groups.tree.shape == (len(branches), columns.T_INTS)
    assert made.solve_as_the_march_does()
    assert made.worst() < 2e-7


def test_sweeps_that_do_not_close_say_so():
    assert not Cluster(SLOW).solve()


def test_a_star_of_valves_by_hand():
    """Three equal valves from a middle at 40 m to points at 0 m, all of impedance 300: q by one square root.

    40 - 300 Q = 300 q + q^2/c^2 with Q = 3 q, so q^2/c^2 + 1200 q - 40 = 0.
    """
    c2 = 1e-4
    made = Cluster([(0, True, False, c2, 300.0, 0.0, 0.0)] * 3)
    assert made.groups.tree.shape == (3, columns.T_INTS)
    assert made.solve()
    q = (-1200.0 + np.sqrt(1200.0**2 + 4 * 40.0 / c2)) * c2 / 2
    assert made.lf[:, columns.L_Q] == pytest.approx(q, rel=1e-9)


def test_what_is_no_number_is_not_taken_for_solved():
    made = Cluster([(0, True, False, 0.01, 300.0, 0.0, 0.1), (0, False, False, 0.0, 300.0, np.nan, 0.1)])
    assert not made.solve()


@pytest.mark.parametrize(
    ("ends", "dry", "fixed"),
    [
        ([(0, 1), (1, 2), (2, 0)], [], []),  # a loop
        ([(0, 1), (0, 1), (1, 2)], [], []),  # side by side
        ([(0, 1), (0, 2), (0, 3)], [2], []),  # a point where only links meet
        ([(0, 1), (0, 2)], [], [2]),  # an orifice at a tank has no slope where its flow turns
    ],
)
def test_what_is_left_to_the_general_solver(ends, dry, fixed):
    n = 1 + max(max(pair) for pair in ends)
    at = np.arange(n)
    groups = group_links(
        ends=ends,
        orifice=[True] * len(ends),
        branching=[True] * len(ends),
        single=[False] * len(ends),
        fixed=np.isin(at, fixed),
        dry=np.isin(at, dry),
    )
    assert groups.tree.shape[0] == 0
