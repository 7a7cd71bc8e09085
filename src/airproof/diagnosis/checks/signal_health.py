"""The pressure signal itself: frozen, out of range, or dropping out while nothing else moves."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from airproof.diagnosis.case import Case
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.testimony import Testimony, log_t
from airproof.recording.recording import Bools, Floats, Interval, Signal

RUNNING = 400.0  # 1/min
FEWEST_SAMPLES = 30
RAIL_LOW_KPA = 7.0  # below what a running engine can draw
RAIL_STILL_KPA = (
    13.0  # published sensor lines read 1 to 11 kPa at no volts; no engine stands still there, key on or running
)
RAIL_ABOVE_KPA = 12.0  # above the barometer, without a compressor: the line's upper end (makers' data sheets: 115 kPa)
JUMP_KPA = 22.0  # from one sample to the next and back; larger than a snap does between samples that return
JUMP_SHARE = 0.30
SEEN_SHARES = np.geomspace(0.15, 1.5, 7)  # of the breaks a polled recording catches so many, or counts one twice
HELD_SD_KPA = 1.5  # of the value a frozen signal is held at, grid and rounding together
DRIVING_KM_H = 15.0  # a diesel that is driven makes some boost; judged: Airproof authors
MISLED = 0.01  # the probability that a count is caused by something nobody thought of

# How probable it is to see what was seen; all judged: Airproof authors.
THROTTLE_MOVES = 20.0  # % of throttle that move the pressure as much as a speed e times as high
STILL_IF_LIVE, LESS_IF_MOVED, STILL_AT_LEAST = 0.5, 6.0, 1e-4  # a live signal stands still: an engine left alone may
STILL_IF_STUCK, STILL_IF_BROKEN = 0.97, 0.60  # a broken wire's reading may still wander
REACHED_IF_LIVE, REACHED_IF_BROKEN, REACHED_IF_STUCK = 0.999, 0.15, 0.98  # it lies within what an engine can make
MOSTLY = 0.5  # of the running time


@dataclass(frozen=True)
class RunningPart:
    """The pressure while the engine runs, with speed and throttle at its samples; `step` is its rounding, kPa."""

    time: Floats
    pressure: Floats
    speed: Floats
    throttle: Floats
    step: float
    signal: Signal


def running_part(case: Case) -> RunningPart | None:
    """The running part of the recording; None where it is too short or lacks a signal."""
    signal = case.recording.get("manifold_pressure")
    speed = case.recording.get("engine_speed")
    if signal is None or speed is None or len(signal) < FEWEST_SAMPLES:
        return None
    rpm = speed.at(signal.time)
    with np.errstate(invalid="ignore"):
        turning = rpm > RUNNING
    if np.count_nonzero(turning) < FEWEST_SAMPLES:
        return None
    asking = ("throttle", "pedal") if case.profile.throttled else ("pedal", "throttle")
    lead = next((one for name in asking if (one := case.recording.get(name)) is not None), None)
    throttle = lead.at(signal.time) if lead is not None else np.full(signal.time.size, np.nan)
    step = signal.resolution or 0.1
    return RunningPart(signal.time[turning], signal.values[turning], rpm[turning], throttle[turning], step, signal)


def check(case: Case) -> Sequence[Testimony]:
    """Testimonies about the manifold pressure signal."""
    running = running_part(case)
    if running is None:
        return []
    railed = out_of_reach(case, running)
    return [_stillness(case, running), _out_of_range(case, running, railed), _dropouts(case, running, railed)]


def _stillness(case: Case, run: RunningPart) -> Testimony:
    """A live signal moves with the engine; a frozen one stays within its rounding whatever the engine does."""
    low, high = np.quantile(run.pressure, (0.02, 0.98))
    moved = float(high - low)
    speeds = np.quantile(run.speed, (0.02, 0.98))
    asked = float(np.log(speeds[1] / speeds[0]))  # how much the engine was moved about
    throttle = run.throttle[np.isfinite(run.throttle)]
    if throttle.size:
        spread = np.quantile(throttle, (0.02, 0.98))
        asked += float(spread[1] - spread[0]) / THROTTLE_MOVES
    if not case.profile.throttled:
        asked *= _driven(case)  # standing, a diesel revs without moving its pressure by much
    frozen = moved <= 2.0 * run.step
    # The more the engine was moved, the less a live sensor can have stood still.
    live_still = STILL_IF_LIVE * float(np.exp(-LESS_IF_MOVED * asked)) + STILL_AT_LEAST
    chance = live_still if frozen else 1.0 - live_still
    log_likelihood = {c: np.full(s.size, np.log(chance)) for c, s in case.sizes.items()}
    if "map-stuck" in case.sizes:
        sizes = case.sizes["map-stuck"]
        held = float(np.median(run.pressure))
        at_size = log_t((held - sizes) / HELD_SD_KPA, HELD_SD_KPA) if sizes.size > 1 else np.zeros(1)
        at_size = at_size - np.log(np.mean(np.exp(at_size)))
        log_likelihood["map-stuck"] = np.log(STILL_IF_STUCK if frozen else 1.0 - STILL_IF_STUCK) + at_size * frozen
    if "map-circuit" in case.sizes:
        broken = STILL_IF_BROKEN if frozen else 1.0 - STILL_IF_BROKEN
        log_likelihood["map-circuit"] = np.full(case.sizes["map-circuit"].size, np.log(broken))
    says = (
        f"the pressure stands still at {np.median(run.pressure):.0f} kPa absolute while the engine is moved about"
        if frozen
        else f"the pressure moves over {moved:.0f} kPa as the engine is moved about"
    )
    finding = Finding("pressure-moves", moved, run.step, "kPa", (2.0 * run.step, 300.0), _whole(run), says)
    return Testimony(finding, log_likelihood)


def _driven(case: Case) -> float:
    """The share of the recording in which the car drove; 0 where nobody knows."""
    road = case.recording.get("vehicle_speed")
    return 0.0 if road is None or not len(road) else float(np.mean(road.values > DRIVING_KM_H))


def out_of_reach(case: Case, run: RunningPart) -> Bools:
    """Where the pressure is none that an engine can make."""
    ceiling = 400.0 if case.profile.boosted else 130.0
    top, bottom = float(run.pressure.max()), float(run.pressure.min())
    if top - bottom <= 2.0 * run.step:  # it never moves: at an end of the sensor's line, that is the wire
        above = not case.profile.boosted and bottom > case.barometer.kpa + RAIL_ABOVE_KPA
        if top < RAIL_STILL_KPA or above:
            return np.ones(run.pressure.size, dtype=bool)
    # An item of one byte ends at 255 kPa: standing there on a boosted car is a rail of the wire or of the item.
    return np.asarray(
        (run.pressure < RAIL_LOW_KPA) | (run.pressure > ceiling) | ((run.pressure >= 255.0) & (top == 255.0))
    )


def _out_of_range(case: Case, run: RunningPart, railed: Bools) -> Testimony:
    share = float(np.mean(railed))
    reached = {"map-circuit": REACHED_IF_BROKEN, "map-stuck": REACHED_IF_STUCK}
    log_likelihood = {}
    for cause, sizes in case.sizes.items():
        within = reached.get(cause, REACHED_IF_LIVE)
        log_likelihood[cause] = np.full(sizes.size, np.log(within if share < MOSTLY else 1.0 - within))
    says = f"the pressure lies outside anything an engine can make for {100 * share:.0f} % of the running time"
    finding = Finding("pressure-in-range", 100 * share, 0.1, "%", (0.0, 0.5), _at(run, railed), says)
    return Testimony(finding, log_likelihood)


def _dropouts(case: Case, run: RunningPart, railed: Bools) -> Testimony:
    """Jumps that come back within a few samples with speed and throttle at rest, by the minute."""
    breaks = breaks_of(run) | _rises(railed & (np.mean(railed) < MOSTLY))
    count = int(np.count_nonzero(breaks))
    minutes = max(_time_covered(run) / 60.0, 0.1)
    by_chance = expected("dropouts").mean
    log_likelihood = {}
    for cause, sizes in case.sizes.items():
        rates = np.full((1, sizes.size), by_chance)
        if cause == "map-intermittent":
            rates = np.abs(sizes)[None, :] * 60.0 * SEEN_SHARES[:, None]
        to_come = rates * minutes
        poisson = count * np.log(to_come) - to_come - math.lgamma(count + 1)
        averaged = np.logaddexp.reduce(poisson, axis=0) - np.log(len(poisson))
        # Anything may spoil a recording: a count that fits nothing keeps this much probability.
        log_likelihood[cause] = np.logaddexp(np.log1p(-MISLED) + averaged, np.log(MISLED) - np.log(count + 1.0) - 1.0)
    says = (
        f"the pressure jumps away and comes back {count} times in {minutes:.0f} min with nothing else moving"
        if count
        else f"no dropout of the pressure signal in {minutes:.0f} min"
    )
    finding = Finding("dropouts", count / minutes, 0.0, "1/min", (0.0, 0.1), _at(run, breaks), says)
    return Testimony(finding, log_likelihood)


def breaks_of(run: RunningPart) -> Bools:
    """First samples of excursions of one to three samples that start and end with a jump, far from both neighbours."""
    found = np.zeros(run.pressure.size, dtype=bool)
    if run.pressure.size < 8:
        return found
    jump = np.maximum(JUMP_KPA, JUMP_SHARE * run.pressure)
    for width in (1, 2, 3):
        before, first, after = run.pressure[: -width - 1], run.pressure[1:-width], run.pressure[width + 1 :]
        last = run.pressure[width:-1]
        needed = jump[: -width - 1]
        out = (first - before) * (last - after) > 0
        away = (np.abs(first - before) > needed) & (np.abs(last - after) > needed)
        level = np.abs(before - after) < 0.4 * np.minimum(np.abs(first - before), np.abs(last - after))
        near = run.time[width + 1 :] - run.time[: -width - 1] < 2.0 * (width + 1)
        calm = np.abs(run.speed[width + 1 :] - run.speed[: -width - 1]) < 0.04 * run.speed[: -width - 1]
        with np.errstate(invalid="ignore"):
            moved = np.max(
                [
                    np.abs(run.throttle[k : run.throttle.size - width - 1 + k] - run.throttle[: -width - 1])
                    for k in range(width + 2)
                ],
                axis=0,
            )
            calm &= ~(moved > 2.5)
        found[1:-width] |= out & away & level & near & calm
    return found


def _rises(mask: Bools) -> Bools:
    return np.asarray(mask & ~np.concatenate([[False], mask[:-1]]))


def _time_covered(run: RunningPart) -> float:
    gaps = np.diff(run.time)
    return float(np.sum(gaps[gaps < 10.0]))


def _whole(run: RunningPart) -> tuple[Interval, ...]:
    return ((float(run.time[0]), float(run.time[-1])),)


def _at(run: RunningPart, mask: Bools) -> tuple[Interval, ...]:
    times = run.time[mask]
    return tuple((float(t), float(t) + 1.0) for t in times[:50])
