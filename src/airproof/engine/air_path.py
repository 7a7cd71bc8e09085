"""The static air-path relations of a healthy engine, each with what is not known about it.

Every relation is a difference of logarithms that is zero when it holds. What the engine's maker knows and we do not
(volumetric efficiency, throttle area, the injectors' constant, the car's habitual trim) is a smooth table; a
known-good recording of the same engine narrows it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airproof.engine.bend import Truth, as_seen
from airproof.engine.operating_points import OperatingPoints
from airproof.engine.profile import EngineProfile
from airproof.engine.smooth_table import EngineBelief, Grid, Smoothness
from airproof.quantities.constants import R_AIR
from airproof.quantities.gas_flow import flow_function
from airproof.recording.regimes import Regime

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Knots: ln(pressure / 1 Pa), ln(speed / 1 1/s), ln(throttle opening + OPENING_SHIFT).
_PRESSURES = np.log(np.array([15e3, 25e3, 35e3, 48e3, 65e3, 85e3, 105e3, 140e3, 190e3, 260e3]))
_SPEEDS = np.log(np.array([600.0, 900.0, 1400.0, 2000.0, 2800.0, 4000.0, 6000.0]) / 60.0)
OPENING_SHIFT = 0.02
_OPENINGS = np.log(
    np.array([0.0, 0.01, 0.02, 0.03, 0.045, 0.065, 0.09, 0.13, 0.18, 0.25, 0.35, 0.5, 0.7, 1.0]) + OPENING_SHIFT
)

# Volumetric efficiency of petrol engines on manifold conditions: full load 0.70 to 1.0 and about 0.5 to 0.8 at part
# load. Check values: published full-load ranges, and the published table of one 2.0 L engine, 0.81 at 30 kPa to 0.89
# at 100 kPa; phased cams keep more residual gas at part load. judged: Airproof authors, from those.
_EFFICIENCY = np.array([0.62, 0.66, 0.68, 0.70, 0.73, 0.79, 0.86, 0.91, 0.94, 0.96])
_EFFICIENCY_BEND = np.array([0.20, 0.16, 0.15, 0.15, 0.15, 0.12, 0.08, 0.07, 0.07, 0.07])
_EFFICIENCY_SPREAD = Smoothness(0.07, _EFFICIENCY_BEND, (0.5, 0.7))

# Effective area over displacement at full opening, m2/m3: a published set has 1.1e-3 m2 on 1.95e-3 m3, others half
# and twice that; growing about as opening^1.4. judged: Airproof authors; wide on purpose.
_FULL_AREA_PER_DISPLACEMENT = 0.6
_AREA_SPREAD = Smoothness(0.8, 0.5, (0.9,))
_MIXTURE_SPREAD = Smoothness(0.15, 0.40, (0.6, 0.45))
_TRIM_SPREAD = Smoothness(0.035, 0.025, (0.6,))

# Charge pressure over barometer while the flow drives no compressor: the filter's drop against what a freely turning
# compressor adds, and two sensors' tolerance. judged: Airproof authors, from sensors agreeing to 2 to 4 kPa.
_REST, _REST_SPREAD = 0.003, Smoothness(0.016, 0.004, (9.0,))
AT_REST = 0.45  # manifold over barometer below which that holds; judged: Airproof authors

SAME_ENGINE_ANOTHER_DAY = {
    "efficiency": Smoothness(0.012, 0.012, (0.5, 0.7)),
    "area": Smoothness(0.04, 0.05, (0.6,)),
    "mixture": Smoothness(0.02, 0.02, (0.6, 0.7)),
    "trim": Smoothness(0.02, 0.015, (0.6,)),
    "rest": Smoothness(0.005, 0.002, (9.0,)),
}
"""How far one healthy engine strays from itself; judged: Airproof authors, from healthy recordings of one car."""


def generic_belief(profile: EngineProfile) -> EngineBelief:
    """What engines of this kind share, before anything is known of this one."""
    by_pressure_and_speed = Grid((_PRESSURES, _SPEEDS))
    flat = np.zeros(by_pressure_and_speed.size)
    area = np.log(_FULL_AREA_PER_DISPLACEMENT * profile.displacement_m3) + 1.4 * _OPENINGS
    return EngineBelief.of(
        {
            "efficiency": (by_pressure_and_speed, np.repeat(np.log(_EFFICIENCY), _SPEEDS.size), _EFFICIENCY_SPREAD),
            "area": (Grid((_OPENINGS,)), area, _AREA_SPREAD),
            "mixture": (by_pressure_and_speed, flat, _MIXTURE_SPREAD),
            "trim": (Grid((_PRESSURES,)), np.zeros(_PRESSURES.size), _TRIM_SPREAD),
            "rest": (Grid((_PRESSURES[[0, -1]],)), np.full(2, _REST), _REST_SPREAD),
        }
    )


def closed_stop_of(points: OperatingPoints) -> float:
    """What the throttle reads when shut, as a fraction: many cars report 10 to 18 % there, others 0.

    The lowest reading less what idle air needs, where that lowest is far from 0. judged: Airproof authors.
    """
    known = points.throttle[np.isfinite(points.throttle)]
    lowest = float(np.quantile(known, 0.01)) if known.size else 0.0
    return lowest - 0.02 if lowest > 0.07 else 0.0


@dataclass(frozen=True)
class Relation:
    """One relation: where it may be asked, its residual on supposed truths, and how the unknowns enter it.

    `residual(engine, truth)` has the truth's shape, natural logarithm; `weights` (n, K) say how far the
    residual as seen moves with each unknown of the belief; `sd` (n,) is what one point scatters on a healthy engine.
    """

    id: str
    usable: Callable[[OnePath], Bools]
    residual: Callable[[OnePath, Truth], Floats]
    weights: Callable[[OnePath], Floats]
    sd: Callable[[OnePath], Floats]


@dataclass(frozen=True)
class OnePath:
    """The points of one recording, with the engine they came from."""

    points: OperatingPoints
    barometer_pa: float
    profile: EngineProfile
    belief: EngineBelief
    closed_stop: float = 0.0

    @property
    def seen(self) -> Truth:
        """The measured values taken at their word."""
        return as_seen(self.points, self.barometer_pa, self.profile)

    def only(self, chosen: Bools) -> OnePath:
        """The same engine and day, only the chosen points."""
        return replace(self, points=self.points.where(chosen))

    def believing(self, belief: EngineBelief) -> OnePath:
        """The same points under another belief."""
        return replace(self, belief=belief)

    @property
    def flow_known(self) -> Bools:
        """Where the recording has a usable air flow."""
        return np.nan_to_num(self.points.air_flow) > 3e-4


def _efficiency(path: OnePath, truth: Truth) -> Floats:
    return path.belief.at("efficiency", np.log(truth.manifold), np.log(path.points.speed))


def _log_by_density(path: OnePath, truth: Truth) -> Floats:
    """ln of the fresh air the cylinders take, kg/s, from pressure, temperature and speed."""
    swept = path.profile.displacement_m3 * path.points.speed / 2.0
    filled = np.log(truth.manifold * swept / (R_AIR * truth.temperature) * truth.filling) + _efficiency(path, truth)
    return np.asarray(np.log(np.maximum(np.exp(filled) - truth.recirculated, 0.02 * np.exp(filled))))


def _log(flow: Floats) -> Floats:
    return np.log(np.maximum(flow, 1e-5))


def _log_into_cylinders(path: OnePath, truth: Truth) -> Floats:
    by_sensor = _log(truth.air_flow + truth.leak - truth.lost)
    return np.where(path.flow_known, by_sensor, _log_by_density(path, truth))


def _pressure_before_throttle(path: OnePath, truth: Truth) -> Floats:
    charge = np.where(np.isfinite(truth.charge), truth.charge, path.barometer_pa)
    return np.where(np.isfinite(path.points.charge), charge, charge - truth.drop)


def _opening(path: OnePath) -> Floats:
    """ln(opening above the closed stop + OPENING_SHIFT)."""
    return np.log(np.maximum(path.points.throttle - path.closed_stop, 0.0) + OPENING_SHIFT)


def _air_residual(path: OnePath, truth: Truth) -> Floats:
    return _log(truth.air_flow + truth.leak - truth.lost) - _log_by_density(path, truth)


def _throttle_residual(path: OnePath, truth: Truth) -> Floats:
    before = _pressure_before_throttle(path, truth)
    ratio = np.clip(truth.manifold / before, 0.0, 0.995)
    drive = np.log(before / np.sqrt(R_AIR * truth.temperature) * flow_function(ratio) * truth.area)
    by_density = np.exp(_log_by_density(path, truth)) - truth.leak
    through = np.where(path.flow_known, truth.air_flow - truth.lost, by_density)
    return _log(through) - drive - path.belief.at("area", _opening(path))


def _throttle_weights(path: OnePath) -> Floats:
    weights = path.belief.weights("area", _opening(path))
    by_density = path.belief.weights("efficiency", np.log(path.points.manifold), np.log(path.points.speed))
    return np.where(path.flow_known[:, None], weights, weights - by_density)


def _throttle_sd(path: OnePath) -> Floats:
    seen = path.seen
    ratio = np.clip(seen.manifold / _pressure_before_throttle(path, seen), 0.0, 0.97)
    nudged = np.log(flow_function(ratio)) - np.log(flow_function(np.minimum(ratio * 1.01, 0.99)))
    opening = np.exp(_opening(path))
    return np.sqrt(0.06**2 + np.square(nudged) + np.square(1.4 * 0.004 / opening))


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
        np.log(path.points.fuel_rate * STOICHIOMETRIC * truth.delivered)
        - _log_into_cylinders(path, truth)
        - path.belief.at("mixture", np.log(path.points.manifold), np.log(path.points.speed))
    )


def _trim_residual(path: OnePath, truth: Truth) -> Floats:
    """What the loop added, less what it had to add because the metering was wrong."""
    needed = _log_into_cylinders(path, truth)
    by_flow = _log((np.exp(needed) - truth.leak + truth.lost) * truth.metering)
    seen = path.seen
    fresh = _log_by_density(path, truth) - _log_by_density(path, seen)
    asked_by_flow = needed - by_flow
    # A leak or recirculated gas shows in the pressure itself: a car that meters by pressure has counted it already.
    asked_by_density = fresh
    match path.profile.air_metering:
        case "air-flow sensor":
            asked = asked_by_flow
        case "speed-density":
            asked = asked_by_density
        case _:
            asked = 0.5 * (asked_by_flow + asked_by_density)
    expected = asked - np.log(truth.delivered)
    return np.log(path.points.trim) - expected - path.belief.at("trim", np.log(path.points.manifold))


def _rest_residual(path: OnePath, truth: Truth) -> Floats:
    return np.log(truth.charge / truth.barometer) - path.belief.at("rest", np.log(path.points.manifold))


def _rest_usable(path: OnePath) -> Bools:
    with np.errstate(invalid="ignore"):
        quiet = path.points.manifold < AT_REST * path.barometer_pa
    return np.asarray(path.points.has("charge", "manifold") & quiet) & path.profile.boosted


STOICHIOMETRIC = 14.6  # only a reference: the mixture table carries the fuel's own ratio

AIR_AGAINST_PRESSURE = Relation(
    id="air-flow",
    usable=lambda path: path.points.has("manifold", "speed") & path.flow_known,
    residual=_air_residual,
    weights=lambda path: path.belief.weights("efficiency", np.log(path.points.manifold), np.log(path.points.speed)),
    sd=lambda path: np.full(len(path.points), 0.05),
)
AIR_THROUGH_THROTTLE = Relation(
    id="throttle-flow", usable=_throttle_usable, residual=_throttle_residual, weights=_throttle_weights, sd=_throttle_sd
)
FUEL_AGAINST_AIR = Relation(
    id="fuel",
    usable=lambda path: path.points.has("fuel_rate", "manifold", "speed")
    & path.flow_known
    & (np.nan_to_num(path.points.fuel_rate) > 1e-5)
    & (path.points.regime != Regime.OVERRUN.value),
    residual=_mixture_residual,
    weights=lambda path: path.belief.weights("mixture", np.log(path.points.manifold), np.log(path.points.speed)),
    sd=lambda path: np.full(len(path.points), 0.06),
)
TRIMS = Relation(
    id="trim",
    usable=lambda path: path.points.has("trim", "manifold", "speed") & path.points.closed_loop,
    residual=_trim_residual,
    weights=lambda path: path.belief.weights("trim", np.log(path.points.manifold)),
    sd=lambda path: np.full(len(path.points), 0.035),
)
CHARGE_AT_REST = Relation(
    id="charge-at-rest",
    usable=_rest_usable,
    residual=_rest_residual,
    weights=lambda path: path.belief.weights("rest", np.log(path.points.manifold)),
    sd=lambda path: np.full(len(path.points), 0.008),
)
RELATIONS = (AIR_AGAINST_PRESSURE, AIR_THROUGH_THROTTLE, FUEL_AGAINST_AIR, TRIMS, CHARGE_AT_REST)

POINTS_THAT_REPEAT = 4.0
"""Neighbouring points say nearly the same: so many count as one; judged: Airproof authors, correlation over some s."""


def learn_engine(belief: EngineBelief, healthy: OnePath) -> EngineBelief:
    """Narrow the belief by one known-good recording of this engine."""
    for relation in RELATIONS:
        usable = relation.usable(healthy)
        if not usable.any():
            continue
        path = healthy.only(usable).believing(belief)
        sd = relation.sd(path) * np.sqrt(POINTS_THAT_REPEAT)
        belief = belief.learn(relation.weights(path), relation.residual(path, path.seen), sd)
    return belief
