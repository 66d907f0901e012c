"""What is drawn: distributions against scipy's own, designs, correlations, and intervals of probabilities."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from support.studies import HEAD, RATE, SAMPLES, SPEED, loaded

from surge.studies.chances import by_replicates, chance_of, clopper_pearson
from surge.studies.designs import DESIGNS, PIECE, Design, Samples
from surge.studies.distributions import LEAST, Distribution
from surge.studies.indices import indices_of, sampled
from surge.studies.lineups import as_written, number_text
from surge.studies.plan import plan_of
from surge.units import read

SHARES = np.array([1e-12, 1e-6, 0.01, 0.3, 0.5, 0.77, 0.999, 1.0 - 1e-9])
LOW, HIGH = 950.0, 1080.0
# A distribution of ours and scipy's of the same figures: a general reference library.
PAIRS = {
    "uniform": (Distribution(kind="uniform", values={"low": 2.0, "high": 5.0}), stats.uniform(2.0, 3.0)),
    "triangular": (
        Distribution(kind="triangular", values={"low": 1.0, "mode": 1.5, "high": 4.0}),
        stats.triang(0.5 / 3.0, 1.0, 3.0),
    ),
    "triangular-from-its-mode": (
        Distribution(kind="triangular", values={"low": 1.0, "mode": 1.0, "high": 4.0}),
        stats.triang(0.0, 1.0, 3.0),
    ),
    "normal": (
        Distribution(kind="normal", values={"mean": 1000.0, "standard_deviation": 30.0}),
        stats.norm(1000.0, 30.0),
    ),
    "normal-truncated": (
        Distribution(
            kind="normal", values={"mean": 1000.0, "standard_deviation": 30.0, "low": LOW, "high": HIGH}
        ),
        stats.truncnorm((LOW - 1000.0) / 30.0, (HIGH - 1000.0) / 30.0, 1000.0, 30.0),
    ),
    "lognormal": (
        Distribution(kind="lognormal", values={"median": 0.1, "log_standard_deviation": 0.4}),
        stats.lognorm(0.4, scale=0.1),
    ),
}


@pytest.mark.parametrize("name", PAIRS)
def test_a_distribution_is_that_of_scipy(name: str) -> None:
    ours, theirs = PAIRS[name]
    assert ours.at(SHARES) == pytest.approx(theirs.ppf(SHARES), rel=1e-9)
    low, high = ours.ends
    assert low <= ours.at(np.array([LEAST]))[0]
    assert high >= ours.at(np.array([1.0 - LEAST]))[0]
    assert np.isfinite([low, high]).all()
    assert ours.middle == pytest.approx(theirs.median())


def test_a_truncated_distribution_reaches_its_ends_and_nothing_beyond() -> None:
    ours = PAIRS["normal-truncated"][0]
    assert ours.ends == pytest.approx((LOW, HIGH))
    assert ours.at(np.array([0.0, 1.0])).min() >= LOW


@pytest.mark.parametrize("value", [1.125, 12.345, 1000.0, 0.1, 1e-7, -3.25, 123456.789, 3.0])
def test_a_number_is_written_so_that_it_is_read_in_one_way(value: float) -> None:
    """ "1.125 m" is refused in a case, since it may be 1125 m: what is drawn is written otherwise."""
    assert read(f"{number_text(value)} m", dimension="length").value == pytest.approx(value, rel=1e-8)
    assert as_written(as_written(value)) == as_written(value)


# --- designs -------------------------------------------------------------------------------------------


def design(kind: str, count: int = 64, **more: int) -> Design:
    return Design(kind=kind, count=count, seed=5, replicates=more.get("replicates", 1), figures=3)


@pytest.mark.parametrize("kind", DESIGNS)
def test_any_rows_of_a_design_are_those_of_the_whole(kind: str) -> None:
    """A study that goes on draws from the middle: it must draw what it would have drawn."""
    count = 2 * PIECE if kind != "saltelli" else 512
    one = design(kind, count)
    whole = np.vstack(list(one.pieces()))
    assert whole.shape == (one.size, 3)
    assert ((whole >= 0.0) & (whole < 1.0)).all()
    for first, some in ((0, 7), (PIECE - 3, 11), (one.size - 5, 5)):
        assert np.array_equal(Samples(one).rows(first, some), whole[first : first + some])
    following = Samples(one)
    assert np.array_equal(np.vstack([following.rows(k, 100) for k in range(0, 1000, 100)]), whole[:1000])


def test_a_seed_is_a_design_and_another_is_another() -> None:
    for kind in DESIGNS:
        one = np.vstack(list(design(kind).pieces()))
        assert np.array_equal(one, np.vstack(list(design(kind).pieces())))
        assert not np.array_equal(one, np.vstack(list(replace(design(kind), seed=6).pieces())))


def test_a_latin_hypercube_has_one_sample_in_each_class() -> None:
    whole = np.vstack(list(design("latin hypercube").pieces()))
    for column in whole.T:
        assert sorted((column * 64).astype(int)) == list(range(64))


def test_replicates_are_scrambled_by_themselves() -> None:
    one = design("sobol", 16, replicates=3)
    whole = np.vstack(list(one.pieces()))
    assert len({row.tobytes() for row in whole}) == 48
    assert [one.replicate_of(k) for k in (0, 15, 16, 47)] == [0, 0, 1, 2]
    for k in range(3):  # a power of two of a Sobol sequence has one point in each class
        column = whole[16 * k : 16 * k + 16, 0]
        assert sorted((column * 16).astype(int)) == list(range(16))


def test_correlated_figures_keep_their_distributions(tmp_path: Path) -> None:
    """Normal scores correlate as stated, within four standard errors of Fisher's z; each stays normal."""
    more = SPEED.replace('"wave speed"', '"b"').replace('pipe "line"', 'pipe "spool"')
    pair = '[[correlation]]\nbetween = ["wave speed", "b"]\ncoefficient = 0.7\n'
    study = loaded(tmp_path, HEAD + SAMPLES.replace("12", "4000") + SPEED + more + pair)
    plan = plan_of(study)
    drawn = np.vstack([chunk.figures for chunk in plan.some(iter(range(plan.chunks)))])
    assert drawn.shape == (4000, 2)
    found = np.corrcoef(drawn.T)[0, 1]
    assert abs(np.arctanh(found) - np.arctanh(0.7)) < 4.0 / np.sqrt(4000 - 3)
    for column in drawn.T:
        assert stats.kstest(column, stats.norm(1000.0, 60.0).cdf).pvalue > 1e-4


def test_every_line_up_gets_the_same_samples(tmp_path: Path) -> None:
    study = loaded(tmp_path, HEAD + SAMPLES + RATE + SPEED)
    chunks = list(plan_of(study).some(iter([0])))
    assert np.array_equal(chunks[0].figures[:12], chunks[0].figures[12:24])


# --- intervals -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("unsafe", "runs"), [(0, 10), (1, 10), (3, 40), (40, 40), (17, 1000), (0, 100_000)])
def test_the_interval_is_that_of_clopper_and_pearson(unsafe: int, runs: int) -> None:
    """Against scipy's exact interval; at none and at all also against the closed form."""
    low, high = clopper_pearson(unsafe, runs)
    theirs = stats.binomtest(unsafe, runs).proportion_ci(0.95, method="exact")
    assert (low, high) == pytest.approx((theirs.low, theirs.high), rel=1e-9, abs=1e-12)
    if unsafe == 0:
        assert (low, high) == pytest.approx((0.0, 1.0 - 0.025 ** (1.0 / runs)))
    if unsafe == runs:
        assert (low, high) == pytest.approx((0.025 ** (1.0 / runs), 1.0))


def test_the_interval_covers_what_it_says_at_small_counts() -> None:
    """Over all outcomes of 15 runs, by their exact probabilities."""
    for p in (0.001, 0.02, 0.2, 0.5):
        inside = [k for k in range(16) if clopper_pearson(k, 15)[0] <= p <= clopper_pearson(k, 15)[1]]
        assert sum(stats.binom.pmf(k, 15, p) for k in inside) >= 0.95


@pytest.mark.parametrize("kind", ["latin hypercube", "saltelli", "sobol"])
def test_no_interval_where_samples_are_not_independent(kind: str) -> None:
    found = chance_of([3], [64], design(kind))
    assert (found.low, found.high) == (None, None)
    assert found.share == 3 / 64
    assert "not independent" in found.why


def test_replicates_give_an_interval_by_student() -> None:
    shares = [0.1, 0.14, 0.12, 0.08]
    low, high = by_replicates(shares) or (0.0, 0.0)
    theirs = stats.t.interval(0.95, 3, np.mean(shares), stats.sem(shares))
    assert (low, high) == pytest.approx(theirs)
    found = chance_of([0, 0, 0], [16] * 3, design("sobol", 16, replicates=3))
    assert found.high is None  # three times none is no proof of never
    assert "do not differ" in found.why


# --- which figure matters -------------------------------------------------------------------------------


def test_sobol_indices_of_the_ishigami_function() -> None:
    """Ishigami and Homma 1990, IEEE ISUMA; a = 7, b = 0.1; indices by their closed form.

    Each within its own 95 % half-width times 1.5, and 0.03: the half-widths are estimates themselves.
    """
    a, b, pi = 7.0, 0.1, np.pi
    x = (2.0 * sampled(3, 2048, seed=2) - 1.0) * pi
    y = np.sin(x[:, 0]) + a * np.sin(x[:, 1]) ** 2 + b * x[:, 2] ** 4 * np.sin(x[:, 0])
    d1, d2 = b * pi**4 / 5 + b**2 * pi**8 / 50 + 0.5, a**2 / 8
    d13 = 8 * b**2 * pi**8 / 225
    whole = d1 + d2 + d13
    first = [d1 / whole, d2 / whole, 0.0]
    total = [(d1 + d13) / whole, d2 / whole, d13 / whole]
    found = indices_of(y, ["x1", "x2", "x3"], seed=2)
    assert [i.name for i in found] == ["x1", "x2", "x3"]
    for i, s, t in zip(found, first, total, strict=True):
        assert 0.0 < i.first_half < 0.15
        assert abs(i.first - s) < max(1.5 * i.first_half, 0.03)
        assert abs(i.total - t) < max(1.5 * i.total_half, 0.03)
    assert [f"{s:.3f}" for s in (*first, *total)] == ["0.314", "0.442", "0.000", "0.558", "0.442", "0.244"]


def test_no_indices_of_what_is_missing_or_does_not_vary() -> None:
    assert indices_of(np.full(40, 3.0), ["a", "b"], seed=1) == ()
    assert indices_of(np.array([1.0, np.nan] * 20), ["a", "b"], seed=1) == ()
