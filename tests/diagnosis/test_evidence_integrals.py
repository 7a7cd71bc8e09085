"""Evidence is an integral: over what is not known of the engine, and over how large a cause is.

The first is taken in closed form and the second on a grid; here both are integrated by brute force with SciPy, from the
formulas of docs/weighing.md sections 1, 3 and 4. Student's t, which stands in for the Gaussian in a verdict, has no
closed form for what findings share, so the first kind is checked with the Gaussian put back in its place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import cubature, quad
from scipy.optimize import brentq
from small_cases import DAY, NATURAL, TURBO, case_of, changed, without, workshop_round

from airproof.diagnosis.bayes import interval, posterior_of
from airproof.diagnosis.case import Case
from airproof.diagnosis.checks import engine_off, relations
from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.hypotheses import SIZES_A_SIDE, Hypotheses, hypotheses_for
from airproof.diagnosis.testimony import Testimony as Told  # under its own name it would be collected as a test
from airproof.diagnosis.testimony import group
from airproof.engine.shared import shared
from airproof.engine.smooth_table import EngineBelief, Grid, Smoothness
from airproof.knowledge.load import knowledge
from airproof.recording.regimes import Regime

REACH = 8.0  # standard deviations on each side; what lies beyond is 1e-15
KEPT_APART = 1e-9  # what smooth_table adds to the variance of each knot, so that no two of them are quite the same
Floats = np.ndarray


@pytest.fixture
def gaussian(monkeypatch: pytest.MonkeyPatch) -> None:
    def log_normal(z: Floats, scale: Floats | float = 1.0) -> Floats:
        return np.asarray(-0.5 * np.square(z) - 0.5 * np.log(2 * np.pi) - np.log(scale))

    monkeypatch.setattr("airproof.diagnosis.testimony.log_t", log_normal)


def brute_force(seen: Floats, weights: Floats, sds: Floats, mean: Floats, covariance: Floats) -> float:
    """ln of the integral, over unknowns x ~ N(mean, covariance), of the product of N(seen_i; weights_i . x, sds_i).

    In coordinates in which the unknowns are independent with standard deviation 1.
    """
    root = np.linalg.cholesky(covariance)

    def integrand(z: Floats) -> Floats:
        expected = (mean + z @ root.T) @ weights.T
        return np.asarray(np.prod(stats.norm.pdf(z), axis=1) * np.prod(stats.norm.pdf(seen, expected, sds), axis=1))

    found = cubature(integrand, np.full(mean.size, -REACH), np.full(mean.size, REACH), rtol=1e-8, atol=0.0)
    assert found.status == "converged"
    return float(np.log(found.estimate))


def hats(knots: Floats, places: Floats) -> Floats:
    """Weights (places, knots) of interpolation on a line, constant beyond its ends."""
    return np.column_stack([np.interp(places, knots, one) for one in np.eye(knots.size)])


def of_relation(case: Case, name: str) -> list[Told]:
    return [told for told in relations.check(case) if told.finding.id.startswith(name)]


def joint(told: list[Told], cause: str) -> Floats:
    return np.sum([one.log_likelihood[cause] for one in told], axis=0)


def at(case: Case, cause: str, size: float) -> int:
    return int(np.argmin(np.abs(case.sizes[cause] - size)))


def reads_high(factor: float) -> Case:
    """A boosted engine whose charge sensor reads true times that factor."""
    return case_of(changed(workshop_round(TURBO), "charge_pressure", lambda v: factor * v), TURBO)


def mean_weights(case: Case, told: list[Told], knots: Floats, usable: Floats) -> Floats:
    """Weights (findings, knots) of a table over ln p: the mean over the points of each load.

    The plain mean: the points of one load lie so near each other in these cases that none counts less.
    """
    load, idle = case.points.manifold / case.barometer_pa, case.points.regime == Regime.IDLE.value
    places = {
        "idle": idle,
        "light-load": ~idle & (load < 0.40),
        "part-load": ~idle & (load >= 0.40) & (load < 0.65),
        "high-load": ~idle & (load >= 0.65) & (load < 0.92),
    }
    rows = []
    for one in told:
        place = next(place for place in places if one.finding.id.endswith(place))
        rows.append(hats(knots, np.log(case.points.manifold[places[place] & usable])).mean(axis=0))
    return np.array(rows)


def at_rest(case: Case) -> Floats:
    """Points at which the charge pressure is held against the barometer: below 0.45 of it in the manifold."""
    return np.asarray(case.points.manifold < 0.45 * case.barometer_pa)


def rest_unknowns() -> tuple[Floats, Floats, Floats]:
    """Knots, mean and covariance of the table of the charge pressure at rest, by section 3 of the document."""
    knots, spread = shared().log_pressures[[0, -1]], shared().spread["rest"]
    apart = (knots[:, None] - knots) / spread.reach[0]
    covariance = spread.level_sd**2 + spread.bend_sd**2 * np.exp(-0.5 * apart**2) + KEPT_APART * np.eye(2)
    return knots, np.full(2, shared().rest), covariance


@pytest.mark.usefixtures("gaussian")
class TestWhatTheEngineKeepsToItself:
    @pytest.mark.parametrize(
        ("cause", "size"), [("none", 0.0), ("boost-sensor-scale", 3.0), ("boost-sensor-scale", -8.0)]
    )
    def test_charge_pressure_at_rest_over_two_unknowns(self, cause: str, size: float) -> None:
        case = reads_high(1.03)
        told = of_relation(case, "charge-at-rest")
        assert [one.finding.id[15:] for one in told] == ["idle", "light-load", "part-load"]
        knots, mean, covariance = rest_unknowns()
        weights = mean_weights(case, told, knots, at_rest(case))
        sds = np.array([one.finding.sd / 100.0 for one in told])
        k = at(case, cause, size)
        true = 1.03 * np.exp(0.003) / (1.0 + case.sizes[cause][k] / 100.0)
        seen = np.full(3, np.log(true))
        for count in (1, 2, 3):  # each finding given those before it
            ours = joint(told[:count], cause)[k]
            wanted = brute_force(seen[:count], weights[:count], sds[:count], mean, covariance)
            assert ours == pytest.approx(wanted, abs=1e-6)

    @pytest.mark.parametrize(("cause", "size"), [("none", 0.0), ("fuel-delivery", -8.0), ("fuel-delivery", 15.0)])
    def test_trims_over_three_unknowns(self, cause: str, size: float) -> None:
        """A car that meters by air flow: fuel delivered short by a share is answered by that share of trim."""
        case = case_of(changed(workshop_round(TURBO), "long_trim_1", lambda v: np.full_like(v, 7.0)), TURBO)
        knots, mean = np.log(np.array([25e3, 50e3, 110e3])), np.array([0.01, -0.01, 0.02])
        spread = Smoothness(0.035, 0.025, (0.6,))
        old = case.path.belief
        tables = {name: (grid, old.mean[old.part(name)], shared().spread[name]) for name, grid in old.grids.items()}
        case = replace(
            case, path=case.path.believing(EngineBelief.of({**tables, "trim": (Grid((knots,)), mean, spread)}))
        )
        told = of_relation(case, "trim")
        assert [one.finding.id[5:] for one in told] == ["idle", "light-load", "part-load", "high-load"]
        k = at(case, cause, size)
        seen = np.full(4, np.log(1.07) + np.log1p(case.sizes[cause][k] / 100.0))
        weights = mean_weights(case, told, knots, case.points.closed_loop)
        apart = (knots[:, None] - knots) / 0.6
        covariance = 0.035**2 + 0.025**2 * np.exp(-0.5 * apart**2) + KEPT_APART * np.eye(3)
        sds = np.array([one.finding.sd / 100.0 for one in told])
        wanted = brute_force(seen, weights, sds, mean, covariance)
        assert joint(told, cause)[k] == pytest.approx(wanted, abs=1e-6)

    def test_a_known_good_recording_and_then_another(self) -> None:
        """Learning and judging in turn is one integral over both days, divided by that over the first."""
        knots = np.log(np.array([20e3, 100e3]))
        mean, spread = np.array([0.02, -0.01]), Smoothness(0.03, 0.04, (0.8,))
        belief = EngineBelief.of({"trim": (Grid((knots,)), mean, spread)})
        apart = (knots[:, None] - knots) / 0.8
        prior = spread.level_sd**2 + 0.04**2 * np.exp(-0.5 * apart**2) + KEPT_APART * np.eye(2)
        good, now = np.log(np.array([30e3, 45e3, 80e3])), np.log(np.array([35e3, 70e3]))
        seen_good, seen_now = np.array([0.03, 0.05, 0.00]), np.array([0.09, 0.02])
        sd_good, sd_now = np.array([0.03, 0.02, 0.03]), np.array([0.02, 0.015])

        first = belief.weights("trim", good)
        learnt = belief.learn(first, seen_good - first @ belief.mean, sd_good)
        second = learnt.weights("trim", now)
        off = {"none": (seen_now - second @ learnt.mean)[None, :]}
        findings = [Finding(f"f{k}", 0.0, 1.0, "%", (-1.0, 1.0), (), "so.") for k in range(2)]
        told = group(findings, off, second @ learnt.covariance @ second.T + np.diag(sd_now**2))

        at_good, at_now = hats(knots, good), hats(knots, now)
        both = brute_force(
            np.concatenate([seen_good, seen_now]),
            np.concatenate([at_good, at_now]),
            np.concatenate([sd_good, sd_now]),
            mean,
            prior,
        )
        wanted = both - brute_force(seen_good, at_good, sd_good, mean, prior)
        assert joint(told, "none")[0] == pytest.approx(wanted, abs=1e-6)

    def test_a_blur_is_an_unknown_shift_of_all_and_one_of_each(self) -> None:
        sds, whole, own = np.array([0.5, 0.8]), 0.7, 0.4
        off = np.array([1.3, -0.4])
        findings = [Finding(f"f{k}", 0.0, 1.0, "%", (-1.0, 1.0), (), "so.") for k in range(2)]
        told = group(findings, {"ignition": off[None, :]}, np.diag(sds**2), {"ignition": (whole, own)})
        shifts = np.array([[1.0, 1.0, 0.0], [1.0, 0.0, 1.0]])
        wanted = brute_force(off, shifts, sds, np.zeros(3), np.diag([whole**2, own**2, own**2]))
        assert joint(told, "ignition")[0] == pytest.approx(wanted, abs=1e-8)


def prior_density(cause: str, extra_steps: float) -> tuple[Callable[[Floats | float], Floats], float, float]:
    """Density over u = ln of the size (one side of zero), and the ends of its range, by section 1 of the document.

    Half is even from `low` to `high`, half a Gaussian round `typical`, a fifth of the range wide (the width is that of
    the code: the document does not say). A knot of the grid stands for all that is nearer to it than to its
    neighbours, so the grid's range reaches half a step beyond its ends: `extra_steps` = 0.5.
    """
    size = knowledge().causes[cause].size
    assert size is not None
    low, typical, high = np.log([size.low, size.typical, size.high])
    extra = extra_steps * (high - low) / (SIZES_A_SIDE - 1)
    near = stats.norm(typical, (high - low) / 5.0)
    inside = near.cdf(high + extra) - near.cdf(low - extra)
    span = high - low + 2 * extra
    return lambda u: np.asarray(0.5 / span + 0.5 * near.pdf(u) / inside), low - extra, high + extra


def over_sizes(cause: str, likelihood: Callable[[float], float], extra_steps: float = 0.5) -> float:
    """The integral of prior times likelihood over all sizes of the cause, both signs."""
    density, low, high = prior_density(cause, extra_steps)
    sides = [quad(lambda u, s=s: density(u) * likelihood(s * np.exp(u)), low, high, limit=400)[0] for s in (-1.0, 1.0)]
    return 0.5 * sum(sides)


NATURAL_HYPOTHESES = hypotheses_for(knowledge(), NATURAL, frozenset({"manifold_pressure"}), healthy_share=0.3)
DAY_SD = barometer_of(barometer_kpa=DAY).sd_kpa


@pytest.fixture(scope="module")
def quiet() -> Case:
    """Nothing but the manifold sensor tells the pressure with the engine off."""
    return case_of(without(workshop_round(NATURAL), "barometric_pressure"), NATURAL)


def against_none(hypotheses: Hypotheses, told: list[Told], cause: str) -> float:
    """Likelihood ratio of a cause, all its sizes, against `none`, from the posterior odds."""
    posterior = posterior_of(hypotheses.log_prior, told)
    p, q = posterior.probability, posterior.prior
    return p[cause] / p["none"] * q["none"] / q[cause]


class TestSizesOnTheGrid:
    """Reading of a manifold sensor by hand with the engine off: Student's t, as in a verdict."""

    # 1.5 kPa between good sensors, 0.5 kPa of a reading by hand, and the day's: docs/weighing.md section 5, and
    # diagnosis/data/expectations.toml
    SD = float(np.sqrt(1.5**2 + 0.5**2 + DAY_SD**2))

    def undone(self, cause: str, read: float) -> Callable[[float], float]:
        """Likelihood of a reading under a size."""
        if cause == "map-offset":
            return lambda size: float(stats.t.pdf(read - size - DAY, 4, scale=self.SD))
        return lambda size: float(stats.t.pdf(read / (1.0 + size / 100.0) - DAY, 4, scale=self.SD))

    def told(self, quiet: Case, read: float) -> list[Told]:
        told = list(engine_off.check(replace(quiet, engine_off_kpa={"manifold_pressure": read})))
        assert [one.finding.id for one in told] == ["key-on-baro"]
        return told

    @pytest.mark.parametrize("cause", ["map-offset", "map-gain"])
    @pytest.mark.parametrize("read", [78.0, 95.0, 98.0, 99.5, 102.0, 106.0, 116.0])
    def test_the_sum_over_the_grid_is_the_integral(self, quiet: Case, cause: str, read: float) -> None:
        likelihood = self.undone(cause, read)
        ours = against_none(NATURAL_HYPOTHESES, self.told(quiet, read), cause)
        healthy = float(stats.t.pdf(read - DAY, 4, scale=self.SD))
        # A sum over even steps is the midpoint rule: its error comes from the ends of the range, where the density is
        # cut off, and is of second order in the step. Measured: 2.3e-4 at most.
        assert ours == pytest.approx(over_sizes(cause, likelihood) / healthy, rel=1e-3)
        # Over the range as the knowledge states it, without the half steps beyond its ends: 0.17 decibans. Measured:
        # 3.5 %, where only the least sizes fit.
        assert ours == pytest.approx(over_sizes(cause, likelihood, 0.0) / healthy, rel=0.04)

    @pytest.mark.parametrize("read", [90.0, 102.0, 106.0, 116.0])
    def test_median_and_interval_are_those_of_the_integral(self, quiet: Case, read: float) -> None:
        posterior = posterior_of(NATURAL_HYPOTHESES.log_prior, self.told(quiet, read))
        sizes = NATURAL_HYPOTHESES.sizes["map-offset"]
        value, low, high = interval(sizes, posterior.sizes["map-offset"])
        density, bottom, top = prior_density("map-offset", 0.5)
        likelihood = self.undone("map-offset", read)

        def mass(sign: float, end: float) -> float:
            """Of sizes of that sign up to that far from zero."""
            return 0.5 * quad(lambda u: density(u) * likelihood(sign * np.exp(u)), bottom, end, limit=400)[0]

        whole = {sign: mass(sign, top) for sign in (-1.0, 1.0)}
        total = sum(whole.values())

        def below(size: float) -> float:
            if size < 0:
                return (whole[-1.0] - mass(-1.0, np.log(-size))) / total
            return (whole[-1.0] + mass(1.0, np.log(size))) / total

        def quantile(share: float) -> float:
            sign = -1.0 if share < whole[-1.0] / total else 1.0
            return sign * float(np.exp(brentq(lambda u: below(sign * np.exp(u)) - share, bottom, top)))

        likelier = 1.0 if whole[1.0] > whole[-1.0] else -1.0
        own = whole[-1.0] / total
        middle = own + (1.0 - own) / 2.0 if likelier > 0 else own / 2.0
        step = float(np.exp((top - bottom) / SIZES_A_SIDE) - 1.0)
        for ours, share in ((low, 0.05), (value, middle), (high, 0.95)):
            # the grid spreads each knot's mass evenly: right to a tenth of the distance between knots
            assert ours == pytest.approx(quantile(share), abs=0.1 * step * abs(ours) + 1e-6)


@pytest.mark.usefixtures("gaussian")
@pytest.mark.parametrize("read_high", [1.03, 0.93])
def test_size_and_unknowns_together(read_high: float) -> None:
    """All at once: a charge sensor wrong by an unknown share, on an engine two of whose numbers are unknown."""
    case = reads_high(read_high)
    told = of_relation(case, "charge-at-rest")
    hypotheses = hypotheses_for(knowledge(), TURBO, frozenset(case.recording), healthy_share=1 / 3)
    knots, mean, covariance = rest_unknowns()
    weights = mean_weights(case, told, knots, at_rest(case))
    sds = np.array([one.finding.sd / 100.0 for one in told])
    seen = np.full(len(told), np.log(read_high) + 0.003)
    root = np.linalg.cholesky(covariance)
    density, low, high = prior_density("boost-sensor-scale", 0.5)

    def integrand(place: Floats) -> Floats:
        size, z = np.exp(place[:, 0]), place[:, 1:]
        expected = (mean + z @ root.T) @ weights.T
        total = np.zeros(size.size)
        for sign in (-1.0, 1.0):
            off = seen - np.log1p(sign * size / 100.0)[:, None] - expected
            total += 0.5 * np.prod(stats.norm.pdf(off, 0.0, sds), axis=1)
        return np.asarray(total * density(place[:, 0]) * np.prod(stats.norm.pdf(z), axis=1))

    found = cubature(integrand, [low, -REACH, -REACH], [high, REACH, REACH], rtol=1e-5, atol=0.0)
    assert found.status == "converged"
    healthy = brute_force(seen, weights, sds, mean, covariance)
    ours = against_none(hypotheses, told, "boost-sensor-scale")
    assert ours == pytest.approx(float(found.estimate) / np.exp(healthy), rel=1e-3)  # as for the grid alone
