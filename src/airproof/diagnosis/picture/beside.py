"""A recording beside a known-good one of the same car, at like operating points.

No two drives are alike: what a load shows in the middle also differs by where in it the driver stayed. So each steady
point, and each moment of a pull, is set against what the known-good recording shows at that very speed and pressure (or
speed and opening): a straight line through what lies near there. What is left is of the car, hardly of the drive.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.picture import loads, pulls
from airproof.diagnosis.picture.over_time import end_less_beginning
from airproof.recording.regimes import Regime

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Judged: Airproof authors. What the summaries so defined mean is learnt, so that these decide how sharp they are, not
# what they say.
NEAR_SPEED, NEAR_LOAD = 0.12, 0.08  # nepers of speed, and of pressure or opening: what lies so far off counts 0.6
STIFFNESS = 3.0  # points, one step to a side, that it takes for a straight line to tilt half as far as they do
LEAST_NEAR = 0.7  # points
MOST = 300  # points of a side at most, evenly out of all
FEWEST, FEWEST_IN_ALL = 2, 8
TAIL, PART = 0.1, 0.35  # of the points: at either end of what they show; of the time, at beginning and end
STRAIGHT = 2.0  # typical distances from the middle, up to which a point pulls a slope nearly in full
LEAST_REACH = 0.15  # spread of what a slope is over, below which it is drawn to nothing
LEAST_FLOW = 1e-3  # of the idle's at the pressure of the day
HALF_S = 0.5  # about a moment, over which speed is gained

AT_PRESSURE = ("thr", "ve", "fve", "load", "lam", "trim", "adv")
OF_THE_CHARGE = ("charge", "gate", "short")  # at pressure too, above light load
AT_OPENING = ("p", "flow", "fuel")
BOOST = "boost"  # all above part load that is no pull
PLACES = ("idle", *loads.BINS, BOOST)
ALL_OVER = ("thr", "ve", "fve", "load", "lam", "trim", "charge", "gate", "open_p", "open_flow", "open_fuel")
WAYS = ("low", "high", "later", "grows")
OF_A_PULL = ("p", "thr", "ve", "fve", "load", "lam", "adv", "charge", "drop", "gate", "gain")
GROWING_IN_A_PULL = ("p", "ve", "fve", "charge", "drop", "gain")
NAMES = (
    *(f"{place}_{what}" for place in PLACES for what in (*AT_PRESSURE, *(f"open_{what}" for what in AT_OPENING))),
    *(f"{place}_{what}" for place in ("high", BOOST) for what in OF_THE_CHARGE),
    *(f"{what}_{way}" for what in ALL_OVER for way in WAYS),
    *(f"full_{what}" for what in OF_A_PULL),
    *(f"full_{what}_grows" for what in GROWING_IN_A_PULL),
)


def beside(case: Case, goods: Sequence[Case]) -> Floats:
    """The summaries, in the order of NAMES, of a case beside known-good ones; NaN where they show nothing alike."""
    found: dict[str, float] = {}
    if len(case.points) and (goods_at := [one for one in goods if len(one.points)]):
        _at_points(case, goods_at, found)
    now, then = _of_pulls([case]), _of_pulls(goods)
    if now and then:
        _in_pulls(now, then, found)
    return np.array([found.get(name, np.nan) for name in NAMES])


def _at_points(case: Case, goods: Sequence[Case], found: dict[str, float]) -> None:
    (now, where), sides = _of_points(case), [_of_points(one) for one in goods]
    then = {name: np.concatenate([of[name] for of, _ in sides]) for name in now}
    good_idle = np.concatenate([places["idle"] for _, places in sides])
    off: dict[str, Floats] = {}
    for axis, names, called in (("p", (*AT_PRESSURE, *OF_THE_CHARGE), "{}"), ("opening", AT_OPENING, "open_{}")):
        values = np.full((len(names), now["n"].size), np.nan)
        for mine, its in ((where["idle"], good_idle), (~where["idle"], ~good_idle)):
            at, of = ({k: v[part] for k, v in side.items()} for side, part in ((now, mine), (then, its)))
            values[:, mine] = less_expected(_axes(at, axis), _axes(of, axis), at, of, names)
        off |= {called.format(name): row for name, row in zip(names, values, strict=True)}
    for what, values_of in off.items():
        for place, there in where.items():
            known = values_of[there & np.isfinite(values_of)]
            if known.size >= FEWEST:
                found[f"{place}_{what}"] = float(np.median(known))
    flow = np.exp(now["p"] + now["n"])
    flow /= np.max(flow, where=np.isfinite(flow), initial=LEAST_FLOW)
    for what in ALL_OVER:
        known = np.isfinite(off[what])
        if np.count_nonzero(known) >= FEWEST_IN_ALL:
            _all_over(what, off[what][known], now["time"][known], flow[known], found)


def _all_over(what: str, off: Floats, time: Floats, flow: Floats, found: dict[str, float]) -> None:
    """At whatever load: the ends of what the points show, the end less the beginning, and how it grows with flow."""
    low, high = np.quantile(off, (TAIL, 1.0 - TAIL))
    later = end_less_beginning(off, time, PART)
    for way, value in zip(WAYS, (low, high, later, _slope(flow, off)), strict=True):
        found[f"{what}_{way}"] = float(value)


def _in_pulls(now: Mapping[str, Floats], then: Mapping[str, Floats], found: dict[str, float]) -> None:
    at, of = (side["n"][:, None] / NEAR_SPEED for side in (now, then))
    for what, off in zip(OF_A_PULL, less_expected(at, of, now, then, OF_A_PULL), strict=True):
        known = np.isfinite(off)
        if np.count_nonzero(known) >= pulls.FEWEST:
            found[f"full_{what}"] = float(np.median(off[known]))
        if what in GROWING_IN_A_PULL and np.count_nonzero(known) >= FEWEST_IN_ALL:
            found[f"full_{what}_grows"] = _slope(now["n"][known], off[known])


def _of_points(case: Case) -> tuple[dict[str, Floats], dict[str, Bools]]:
    """What is asked of each point, and which points belong to each place; not all of them, where there are many."""
    chosen = np.zeros(len(case.points), dtype=bool)
    chosen[np.unique(np.linspace(0, len(case.points) - 1, min(len(case.points), MOST)).astype(int))] = True
    points, day_kpa = case.points, case.weather.kpa
    time = (points.start_s + points.end_s) / 2
    of = loads.quantities(case, day_kpa)
    of["time"] = time
    of["opening"] = loads.logarithm(np.maximum(points.throttle - case.path.closed_stop, 0.0) + loads.LEAST_OPENING)
    of["flow"], of["fuel"] = loads.logarithm(points.air_flow), loads.logarithm(points.fuel_rate)
    of["short"] = loads.logarithm(points.charge / points.charge_target)
    of["adv"] = loads.item(case, "ignition_advance", time) / 10.0
    where = loads.places(points, day_kpa)
    with np.errstate(invalid="ignore"):
        full = points.manifold >= loads.BINS["high"][1] * 1e3 * day_kpa
    where[BOOST] = full & (points.regime != Regime.FULL_LOAD.value) & ~where["idle"]
    return {k: v[chosen] for k, v in of.items()}, {k: v[chosen] for k, v in where.items()}


def _axes(of: Mapping[str, Floats], load: str) -> Floats:
    return np.column_stack([of["n"] / NEAR_SPEED, of[load] / NEAR_LOAD])


def _of_pulls(cases: Sequence[Case]) -> dict[str, Floats]:
    """What is asked of each moment of the late parts of all pulls; nothing where there are none."""
    sides = []
    for case in cases:
        late = pulls.late_moments(case)
        speed = case.recording.get("engine_speed")
        if late.size and speed is not None:
            of = pulls.quantities(case, case.weather.kpa, late)
            before, at, after = (speed.at(late + by, "linear", 6.0) for by in (-HALF_S, 0.0, HALF_S))
            # The lower the gear, the faster speed is gained for the same pull, and by the square of it.
            geared = loads.logarithm(loads.item(case, "vehicle_speed", late)) - loads.logarithm(at)
            of["gain"] = loads.logarithm((after - before) / np.maximum(at, 1.0)) + 2.0 * np.nan_to_num(geared)
            sides.append(of)
    return {name: np.concatenate([of[name] for of in sides]) for name in sides[0]} if sides else {}


def less_expected(
    at: Floats, of: Floats, now: Mapping[str, Floats], then: Mapping[str, Floats], names: Sequence[str]
) -> Floats:
    """(len(names), n): what was found at places (n, A), less what was found near there, at places (m, A), as a straight
    line through that has it; NaN where too little lies near. Places in steps within which things are near.
    """
    step = of[None, :, :] - at[:, None, :]
    near = np.exp(-0.5 * np.square(step).sum(axis=2))
    step, near = np.nan_to_num(step), np.nan_to_num(near)
    left = np.full((len(names), len(at)), np.nan)
    for known in {np.isfinite(then[name]).tobytes() for name in names}:
        chosen = np.frombuffer(known, dtype=bool)
        these = [k for k, name in enumerate(names) if np.isfinite(then[name]).tobytes() == known]
        if not chosen.any():
            continue
        weight, x = near[:, chosen], step[:, chosen]
        y = np.array([then[names[k]][chosen] for k in these]).T
        total = weight.sum(axis=1)
        share = weight / np.maximum(total, 1e-12)[:, None]
        middle, level = np.einsum("nm,nma->na", share, x), share @ y
        off = x - middle[:, None, :]
        weighted = weight[:, :, None] * off
        square = np.einsum("nma,nmb->nab", weighted, off) + STIFFNESS * np.eye(x.shape[2])
        slope = np.linalg.solve(square, np.einsum("nma,mk->nak", weighted, y))
        expected = level - np.einsum("na,nak->nk", middle, slope)
        expected[total < LEAST_NEAR] = np.nan
        left[these] = np.array([now[names[k]] for k in these]) - expected.T
    return left


def _slope(x: Floats, values: Floats) -> float:
    """Of the values over x, those far off the others heard less."""
    off = values - np.median(values)
    scale = STRAIGHT * float(np.median(np.abs(off))) + 1e-6
    away = x - x.mean()
    return float(away @ (scale * np.tanh(off / scale)) / max(float(away @ away), LEAST_REACH**2 * x.size))
