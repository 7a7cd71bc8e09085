"""The static air-path relations of a healthy engine, each with what is not known about it.

Every relation is a difference of logarithms that is zero when it holds. What the engine's maker knows and we do not
(volumetric efficiency, throttle area, the injectors' constant, the car's habitual trim) is a smooth table; a
known-good recording of the same engine narrows it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from airproof.engine.bend import Truth, as_seen, undo
from airproof.engine.operating_points import OperatingPoints
from airproof.engine.profile import EngineProfile
from airproof.engine.shared import shared
from airproof.engine.smooth_table import EngineBelief, Grid
from airproof.quantities.constants import R_AIR
from airproof.quantities.gas_flow import DISCHARGE, flow_function, hole_area
from airproof.recording.regimes import Regime

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

IDLE_OPENING = 0.02
"""Of the throttle above its stop: common practice, no source; shared with the reading of the stop."""

OPENING_ROUNDING = 0.004  # of full opening: the data item has steps of 1/255
AT_REST = 0.45  # manifold over barometer below which the flow drives no compressor much; judged: Airproof authors


def generic_belief(profile: EngineProfile) -> EngineBelief:
    """What engines of this kind share, before anything is known of this one."""
    share = shared()
    by_pressure_and_speed = Grid((share.log_pressures, share.log_speeds))
    by_opening = Grid((share.log_openings,))
    by_pressure = Grid((share.log_pressures,))
    ends = Grid((share.log_pressures[[0, -1]],))
    area = np.log(share.full_area * profile.displacement_m3) + share.area_power * share.log_openings
    spread = share.spread
    return EngineBelief.of(
        {
            "efficiency": (
                by_pressure_and_speed,
                np.repeat(share.log_efficiency, share.log_speeds.size),
                spread["efficiency"],
            ),
            "area": (by_opening, area, spread["area"]),
            "mixture": (by_pressure_and_speed, np.zeros(by_pressure_and_speed.size), spread["mixture"]),
            "trim": (by_pressure, np.zeros(by_pressure.size), spread["trim"]),
            "rest": (ends, np.full(ends.size, share.rest), spread["rest"]),
        }
    )


def another_day(belief: EngineBelief) -> EngineBelief:
    """What is believed of a learnt engine on another day: a healthy engine strays a little from itself."""
    return belief.loosened(shared().another_day)


def learn_type(belief: EngineBelief, sisters: Sequence[OnePath]) -> EngineBelief:
    """What is believed of one more engine of a type, after known-good recordings of others of it, each another car."""
    for sister in sisters:
        one = belief.loosened(shared().another_car)
        belief = belief.through(one, learn_engine(one, sister.believing(one)))
    return belief.loosened(shared().another_car) if sisters else belief


@dataclass(frozen=True)
class OnePath:
    """The points of one recording, with the engine they came from.

    What no supposed cause changes is found once and kept: every cause is asked for at every size. `stop_by_idle`: the
    closed stop was read off this recording's own idle, so that a cause which feeds idle beside the throttle moved it.
    """

    points: OperatingPoints
    barometer_pa: float
    profile: EngineProfile
    belief: EngineBelief
    closed_stop: float = 0.0
    stop_by_idle: bool = False

    @cached_property
    def seen(self) -> Truth:
        """The measured values taken at their word."""
        return as_seen(self.points, self.barometer_pa, self.profile)

    def without(self, cause: str, sizes: Floats) -> Truth:
        """What was really so if the cause acted with each of the sizes."""
        truth = undo(cause, sizes, self.points, self.barometer_pa, self.profile, self.seen)
        return replace(truth, shut=self._shut_by(sizes)) if cause == "vacuum-leak" and self.stop_by_idle else truth

    def without_both(self, first: tuple[str, Floats], second: tuple[str, Floats]) -> Truth:
        """What was really so if two causes acted at once, each with its sizes (S,), undone one after the other.

        A sensor that lies is to be the first: the other then sees what was really there.
        """
        truth = self.without(*first)
        wide = {
            f.name: np.broadcast_to(getattr(truth, f.name), (first[1].size, len(self.points))) for f in fields(truth)
        }
        both = undo(*second, self.points, self.barometer_pa, self.profile, replace(truth, **wide))
        leak = next((sizes for cause, sizes in (first, second) if cause == "vacuum-leak"), None)
        return both if leak is None or not self.stop_by_idle else replace(both, shut=self._shut_by(leak))

    def only(self, chosen: Bools) -> OnePath:
        """The same engine and day, only the chosen points."""
        return replace(self, points=self.points.where(chosen))

    def believing(self, belief: EngineBelief) -> OnePath:
        """The same points under another belief."""
        return replace(self, belief=belief)

    @cached_property
    def flow_known(self) -> Bools:
        """Where the recording has a usable air flow."""
        return np.nan_to_num(self.points.air_flow) > 3e-4

    @cached_property
    def log_speed(self) -> Floats:
        """ln of the speed, 1/s."""
        return np.asarray(np.log(self.points.speed))

    @cached_property
    def log_manifold(self) -> Floats:
        """ln of the manifold pressure as measured, Pa."""
        return np.asarray(np.log(self.points.manifold))

    @cached_property
    def opening(self) -> Floats:
        """ln(opening above the closed stop + the table's shift)."""
        shut = np.maximum(self.points.throttle - self.closed_stop, 0.0)
        return np.asarray(np.log(shut + shared().opening_shift))

    @cached_property
    def idle_area(self) -> float:
        """What is open at idle as the recorded flow shows it, m2; NaN where nothing tells."""
        seen = self.seen
        before = _pressure_before_throttle(self, seen)
        drive = before / np.sqrt(R_AIR * seen.temperature) * flow_function(np.clip(seen.manifold / before, 0.0, 0.995))
        flow = np.where(self.flow_known, seen.air_flow, np.exp(_log_by_density(self, seen)))
        with np.errstate(invalid="ignore", divide="ignore"):
            areas = flow / drive / self.points.area_over_idle
        known = areas[np.isfinite(areas) & (areas > 0.0)]
        return float(np.median(known)) if known.size else float("nan")

    def _shut_by(self, sizes: Floats) -> Floats:
        """How much further the throttle is shut at idle beside leaks of some sizes (S, 1), mm: idle takes the same air
        whichever way it comes.
        """
        hole = DISCHARGE * hole_area(np.asarray(sizes, dtype=np.float64)[:, None] * 1e-3)
        metered = bool(self.flow_known.all())
        left = self.idle_area / (self.idle_area + hole) if metered else 1.0 - hole / self.idle_area
        shift = shared().opening_shift
        opening = (IDLE_OPENING + shift) * np.clip(left, 0.0, 1.0) ** (1.0 / shared().area_power) - shift
        return np.asarray(np.nan_to_num(IDLE_OPENING - np.clip(opening, 0.0, IDLE_OPENING)))

    @cached_property
    def efficiency(self) -> Floats:
        """Mean of the efficiency's table at the pressures as measured."""
        return self.belief.at("efficiency", self.log_manifold, self.log_speed)

    @cached_property
    def area(self) -> Floats:
        """Mean of the throttle area's table."""
        return self.belief.at("area", self.opening)

    @cached_property
    def mixture(self) -> Floats:
        """Mean of the table of what the logged fuel rate means."""
        return self.belief.at("mixture", self.log_manifold, self.log_speed)

    @cached_property
    def trim(self) -> Floats:
        """Mean of the table of the car's habitual trim."""
        return self.belief.at("trim", self.log_manifold)

    @cached_property
    def rest(self) -> Floats:
        """Mean of the table of what two good sensors differ by."""
        return self.belief.at("rest", self.log_manifold)


def closed_stop_of(points: OperatingPoints) -> float:
    """What the throttle reads when shut, as a fraction: many cars report 10 to 18 % there, others 0.

    The lowest reading less what idle air needs, where that lowest is far from 0. judged: Airproof authors.
    """
    known = points.throttle[np.isfinite(points.throttle)]
    lowest = float(np.quantile(known, 0.01)) if known.size else 0.0
    return lowest - IDLE_OPENING if lowest > 0.07 else 0.0


@dataclass(frozen=True)
class Relation:
    """One relation: where it may be asked, its residual on supposed truths, and how the unknowns enter it.

    `residual(path, truth)` has the truth's shape, natural logarithm; `weights` (n, K) say how far the residual as seen
    moves with each unknown of the belief; `sd` (n,) is what one point scatters on a healthy engine.
    """

    id: str
    usable: Callable[[OnePath], Bools]
    residual: Callable[[OnePath, Truth], Floats]
    weights: Callable[[OnePath], Floats]
    sd: Callable[[OnePath], Floats]


def _scatter(path: OnePath, relation: str) -> Floats:
    return np.full(len(path.points), shared().scatter[relation])


def _efficiency(path: OnePath, truth: Truth) -> Floats:
    if truth.manifold is path.seen.manifold:  # the cause does not touch it
        return path.efficiency
    return path.belief.at("efficiency", np.log(truth.manifold), path.log_speed)


def _log_by_density(path: OnePath, truth: Truth) -> Floats:
    """ln of the fresh air the cylinders take, kg/s, from pressure, temperature and speed."""
    swept = path.profile.displacement_m3 * path.points.speed / 2.0
    filled = np.log(truth.manifold * swept / (R_AIR * truth.temperature) * truth.filling) + _efficiency(path, truth)
    return np.asarray(np.log(np.maximum(np.exp(filled) - truth.recirculated, 0.02 * np.exp(filled))))


def _log(flow: Floats) -> Floats:
    return np.asarray(np.log(np.maximum(flow, 1e-5)))


def _log_into_cylinders(path: OnePath, truth: Truth) -> Floats:
    by_sensor = _log(truth.air_flow + truth.leak - truth.lost)
    measured = path.flow_known
    return by_sensor if measured.all() else np.where(measured, by_sensor, _log_by_density(path, truth))


def _pressure_before_throttle(path: OnePath, truth: Truth) -> Floats:
    charge = np.where(np.isfinite(truth.charge), truth.charge, path.barometer_pa)
    return np.where(np.isfinite(path.points.charge), charge, charge - truth.drop)


def _air_residual(path: OnePath, truth: Truth) -> Floats:
    return _log(truth.air_flow + truth.leak - truth.lost) - _log_by_density(path, truth)


def _throttle_residual(path: OnePath, truth: Truth) -> Floats:
    before = _pressure_before_throttle(path, truth)
    ratio = np.clip(truth.manifold / before, 0.0, 0.995)
    drive = np.log(before / np.sqrt(R_AIR * truth.temperature) * flow_function(ratio) * truth.area)
    measured = path.flow_known
    through = truth.air_flow - truth.lost
    if not measured.all():
        through = np.where(measured, through, np.exp(_log_by_density(path, truth)) - truth.leak)
    if truth.shut is path.seen.shut:
        return np.asarray(_log(through) - drive - path.area)
    opening = np.maximum(path.points.throttle - path.closed_stop - truth.shut, 0.0) + shared().opening_shift
    return np.asarray(_log(through) - drive - path.belief.at("area", np.log(opening)))


def _throttle_weights(path: OnePath) -> Floats:
    weights = path.belief.weights("area", path.opening)
    by_density = path.belief.weights("efficiency", path.log_manifold, path.log_speed)
    return np.where(path.flow_known[:, None], weights, weights - by_density)


def _throttle_sd(path: OnePath) -> Floats:
    seen = path.seen
    ratio = np.clip(seen.manifold / _pressure_before_throttle(path, seen), 0.0, 0.97)
    nudged = np.log(flow_function(ratio)) - np.log(flow_function(np.minimum(ratio * 1.01, 0.99)))
    opening = np.exp(path.opening)
    rounding = shared().area_power * OPENING_ROUNDING / opening
    return np.asarray(np.sqrt(shared().scatter["throttle_flow"] ** 2 + np.square(nudged) + np.square(rounding)))


def _throttle_usable(path: OnePath) -> Bools:
    seen = path.seen
    with np.errstate(invalid="ignore"):
        ratio = seen.manifold / _pressure_before_throttle(path, seen)
        usable = path.points.has("throttle", "manifold", "speed") & (ratio < 0.93)
        if path.profile.boosted:
            # Without a sensor before the throttle the pressure there is only known while nothing compresses much.
            usable &= np.isfinite(path.points.charge) | (ratio < 0.6)
    return np.asarray(usable)


def _mixture_residual(path: OnePath, truth: Truth) -> Floats:
    return (
        np.log(path.points.fuel_rate * path.profile.stoichiometric * truth.delivered)
        - _log_into_cylinders(path, truth)
        - path.mixture
    )


def _asked_by_flow(path: OnePath, truth: Truth) -> Floats:
    needed = _log_into_cylinders(path, truth)
    return needed - _log((np.exp(needed) - truth.leak + truth.lost) * truth.metering)


def _asked_by_density(path: OnePath, truth: Truth) -> Floats:
    """A leak or recirculated gas shows in the pressure itself: a car that meters by pressure has counted it already."""
    return _log_by_density(path, truth) - _log_by_density(path, path.seen) + truth.misread


def _trim_residual(path: OnePath, truth: Truth) -> Floats:
    """What the loop added, less what it had to add because the metering was wrong.

    A car that meters by both goes by the flow while it runs steadily, and by the pressure while the throttle moves:
    common practice, no source.
    """
    by_density = path.profile.air_metering == "speed-density"
    asked = _asked_by_density(path, truth) if by_density else _asked_by_flow(path, truth)
    expected = asked - np.log(truth.delivered)
    return np.log(path.points.trim) - expected - path.trim


def _rest_residual(path: OnePath, truth: Truth) -> Floats:
    return np.log(truth.charge / truth.barometer) - path.rest


def _rest_usable(path: OnePath) -> Bools:
    with np.errstate(invalid="ignore"):
        quiet = path.points.manifold < AT_REST * path.barometer_pa
    return np.asarray(path.points.has("charge", "manifold") & quiet) & path.profile.boosted


AIR_AGAINST_PRESSURE = Relation(
    id="air-flow",
    usable=lambda path: path.points.has("manifold", "speed") & path.flow_known,
    residual=_air_residual,
    weights=lambda path: path.belief.weights("efficiency", path.log_manifold, path.log_speed),
    sd=lambda path: _scatter(path, "air_flow"),
)
AIR_THROUGH_THROTTLE = Relation(
    id="throttle-flow",
    usable=_throttle_usable,
    residual=_throttle_residual,
    weights=_throttle_weights,
    sd=_throttle_sd,
)
FUEL_AGAINST_AIR = Relation(
    id="fuel",
    usable=lambda path: (
        path.points.has("fuel_rate", "manifold", "speed")
        & path.flow_known
        & (np.nan_to_num(path.points.fuel_rate) > 1e-5)
        & (path.points.regime != Regime.OVERRUN.value)
    ),
    residual=_mixture_residual,
    weights=lambda path: path.belief.weights("mixture", path.log_manifold, path.log_speed),
    sd=lambda path: _scatter(path, "fuel"),
)
TRIMS = Relation(
    id="trim",
    usable=lambda path: path.points.has("trim", "manifold", "speed") & path.points.closed_loop,
    residual=_trim_residual,
    weights=lambda path: path.belief.weights("trim", path.log_manifold),
    sd=lambda path: _scatter(path, "trim"),
)
CHARGE_AT_REST = Relation(
    id="charge-at-rest",
    usable=_rest_usable,
    residual=_rest_residual,
    weights=lambda path: path.belief.weights("rest", path.log_manifold),
    sd=lambda path: _scatter(path, "charge_at_rest"),
)
RELATIONS = (AIR_AGAINST_PRESSURE, AIR_THROUGH_THROTTLE, FUEL_AGAINST_AIR, TRIMS, CHARGE_AT_REST)


def learn_engine(belief: EngineBelief, healthy: OnePath) -> EngineBelief:
    """Narrow the belief by one known-good recording of this engine."""
    for relation in RELATIONS:
        usable = relation.usable(healthy)
        if not usable.any():
            continue
        path = healthy.only(usable).believing(belief)
        sd = relation.sd(path) * np.sqrt(shared().points_that_repeat)
        belief = belief.learn(relation.weights(path), relation.residual(path, path.seen), sd)
    return belief
