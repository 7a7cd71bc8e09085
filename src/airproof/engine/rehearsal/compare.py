"""A healthy and a faulty drive of the same car side by side: what moves, by how much, where, and what stays as it was.

Both cars are driven alike, so the healthy one tells what was being done at each moment. Four things are looked at: the
level of a signal, its highest value where that is what one remembers, how far it swings within three seconds (a loose
plug or a misfire moves no level), and how late it answers the foot. What nobody would notice is left out; the steps are
data (data/noticeable.toml).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from airproof.engine.rehearsal.tables import tables
from airproof.engine.rehearsal.trace import Floats
from airproof.engine.rehearsal.written.logger import Log, data_items, entries
from airproof.recording.moments import runs, settled
from airproof.recording.recording import Bools, Interval, Recording, Signal
from airproof.recording.regimes import Regime, find_regimes
from airproof.recording.signals import signal_kind

Stretches = tuple[Interval, ...]
Kind = Literal["level", "highest", "swing", "delay", "state"]

COMPARED = (Regime.KEY_ON, Regime.IDLE, Regime.SNAP, Regime.CRUISE, Regime.FULL_LOAD, Regime.OVERRUN)
STEADY = (Regime.KEY_ON, Regime.IDLE, Regime.CRUISE)  # where a swing is not the driver's own doing
OPENED = (Regime.SNAP, Regime.FULL_LOAD)  # where the throttle is thrown open: highest values and delays

# All judged: Airproof authors; the reason stands beside each.
STEP_S = 0.1  # between moments at which both are read: finer than most loggers answer
STALE_S = 2.0  # a value older than this says nothing of the moment
IN_STEP_KMH = 5.0  # as close as two drivers hold the same road speed
LEAST_SHARE = 0.25  # of the healthy stretches that must be in step, or they stand for too little
TURNING_RPM = 50.0  # as for the regimes
SETTLED_S = 3.0  # an intake fills, and idle control comes to rest, within 1 to 3 s
NEXT_S = 0.5  # what comes next may have begun before it is polled
READ_S = 2.0  # what takes less time at full load is read by nobody
SWING_S = 3.0  # as long as an eye rests on one number
USUAL, RARE = 0.5, 0.9  # the swing of most moments; the swing that comes every half minute
LATE_S = 0.2  # what an eye makes out between two traces
ROUNDINGS = 1.5  # a change of one step, or by what lies between two samples, may be chance; twice as much is none
AFTER_S = 2.5  # an intake empties within a second of the foot coming off; a fouled sensor takes longer
STATE_CLEARNESS = 2.0  # another word in the place of a number is seen at once
FALLS = 5.0  # times the least that is noticed: less of a way down has no middle to speak of
AFTER_START_S = 5.0  # the flare of a start is no snap


class Noticeable(BaseModel):
    """What of one signal a person with a scan tool would notice; what each part means stands in the data."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    signal: str
    words: Annotated[str, Field(min_length=1)]
    step: Annotated[float, Field(gt=0.0)]
    share: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.0
    decimals: Annotated[int, Field(ge=0, le=3)]
    running: bool = False
    telling: bool = False
    highest: bool = False
    delay: bool = False
    goes_with: str = ""
    states: Mapping[str, str] = {}
    source: Annotated[str, Field(min_length=1)]

    @property
    def unit(self) -> str:
        """The unit of the signals' table."""
        return "%" if self.signal.startswith("total_trim") else signal_kind(self.signal).unit

    def least(self, healthy: float, resolution: float | None) -> float:
        """The smallest change that is noticed at that value, of an item so coarse; in the signal's unit."""
        return max(self.step, self.share * abs(healthy), ROUNDINGS * (resolution or 0.0))


@dataclass(frozen=True)
class Move:
    """One signal that moves in one regime.

    `healthy` and `faulty` are its level, its highest value or its swing within three seconds, in its own `unit`, or its
    delay behind the foot, s, or the code of a state. `clearness` is the change over the least that is noticed: the step
    of the data, what the item's resolution shows, the healthy one's own wander. From 1 on it is noticed.
    """

    regime: Regime
    signal: str
    kind: Kind
    healthy: float
    faulty: float
    unit: str
    clearness: float

    @property
    def change(self) -> float:
        """Faulty less healthy, in `unit`."""
        return self.faulty - self.healthy


@dataclass(frozen=True)
class Still:
    """A signal of mixture, air or pressure that stays; its levels and highest values move by `most` at most, `unit`."""

    signal: str
    most: float
    unit: str


@dataclass(frozen=True)
class Comparison:
    """What moves and what does not.

    `moves` are those that are noticed, clearest first; `still` what stays; `stretches` where in the healthy drive (s)
    each regime was looked at; `apart` the regimes in which the two cars never did the same, so that nothing is said.
    """

    moves: tuple[Move, ...]
    still: tuple[Still, ...]
    stretches: Mapping[Regime, Stretches]
    apart: tuple[Regime, ...] = ()

    def in_regime(self, regime: Regime | str) -> tuple[Move, ...]:
        """The moves in that regime, clearest first."""
        return tuple(move for move in self.moves if move.regime == regime)


@cache
def noticeable() -> Mapping[str, Noticeable]:
    """What is noticed, by signal. Raises BrokenKnowledge for an entry that is unsound or has no source."""
    raw = [{"signal": name, **table} for name, table in tables("noticeable").items()]
    return {entry.signal: entry for entry in entries("signal", Noticeable, raw)}


def as_recording(log: Log, label: str) -> Recording:
    """What a logger stored as a recording: empty cells dropped, each signal with the step it was coded in."""
    signals = {}
    for name, cells in log.columns.items():
        known = ~np.isnan(cells)
        values = cells[known]
        signals[name] = Signal(name, signal_kind(name).unit, log.time[known], values, _coded_step(name, values))
    return Recording(signals, label)


def _coded_step(name: str, values: Floats) -> float:
    """The coarsest step of the standard that these values fit, else the smallest between any two of them."""
    items = [item for item in data_items() if item.signal == name]
    fitting = [item.step for item in items if np.allclose(item.coded(values), values, rtol=0.0, atol=1e-6)]
    between = np.diff(np.unique(values))
    return max(fitting, default=float(between.min()) if between.size else items[0].step)


def compare(healthy: Recording, faulty: Recording, *, idle_rpm: float | None = None) -> Comparison:
    """Compare two recordings of the same car on the same drive, both in time from its beginning.

    `idle_rpm` is the engine's warm idle speed (1/min) where it is known. Signals that only one of them has are passed
    over. A recording against itself moves nothing.
    """
    one, other = with_totals(healthy), with_totals(faulty)
    there = [
        seen for name, seen in noticeable().items() if all(name in each and len(each[name]) for each in (one, other))
    ]
    shares, apart = _shares(one, other, idle_rpm)
    found = [
        move
        for seen in there
        for share in shares
        if not (seen.running and share.regime == Regime.KEY_ON)
        for move in _moves(seen, one[seen.signal], other[seen.signal], share)
    ]
    # Of equals the one that is read most at leisure comes first, so tenths decide and then the order of the regimes.
    moves = sorted((move for move in found if move.clearness >= 1.0), key=lambda move: -round(move.clearness, 1))
    moved = {move.signal for move in moves}
    quiet = [seen for seen in there if shares and seen.telling and seen.signal not in moved]
    still = tuple(filter(None, (_still(seen, found) for seen in quiet)))
    return Comparison(tuple(moves), still, {share.regime: share.healthy for share in shares}, apart)


def _still(seen: Noticeable, found: list[Move]) -> Still | None:
    """None where it would move but for its own wander, or a peak that was hardly caught: nobody can tell."""
    told = [move for move in found if move.signal == seen.signal and move.kind in ("level", "highest")]
    if any(abs(move.change) >= seen.least(move.healthy, None) for move in told):
        return None
    return Still(seen.signal, max((abs(move.change) for move in told), default=0.0), seen.unit)


def with_totals(recording: Recording) -> Recording:
    """The recording, and for each bank both trims added up at each short one."""
    signals = dict(recording.signals)
    for bank in "12":
        short, long = recording.get(f"short_trim_{bank}"), recording.get(f"long_trim_{bank}")
        if short is not None and long is not None:
            total, name = short.values + long.at(short.time), f"total_trim_{bank}"
            known = np.isfinite(total)
            signals[name] = Signal(name, "%", short.time[known], total[known], short.resolution)
    return replace(recording, signals=signals)


@dataclass(frozen=True)
class _Share:
    """Where one regime is looked at in each recording; `paired` where moment can be held against moment.

    `feet` are the pedals, else the throttles, of both.
    """

    regime: Regime
    healthy: Stretches
    faulty: Stretches
    feet: tuple[Signal, Signal] | None
    paired: bool = True


def _shares(healthy: Recording, faulty: Recording, idle_rpm: float | None) -> tuple[list[_Share], tuple[Regime, ...]]:
    """Where each regime is looked at, and the regimes in which the two are apart.

    Where they are in step, what the healthy one did was asked of the faulty one too, whatever its sensors make of it.
    Else each one's own regimes are taken. At full load the car that falls behind is the point: nothing is left out, and
    its pull may last longer.
    """
    done, done_faulty = (find_regimes(each, idle_rpm=idle_rpm) for each in (healthy, faulty))
    moments = np.arange(max(healthy.start_s, faulty.start_s), min(healthy.end_s, faulty.end_s), STEP_S)
    in_step = _in_step(healthy, faulty, moments)
    feet = next(
        ((healthy[name], faulty[name]) for name in ("pedal", "throttle") if name in healthy and name in faulty), None
    )
    shares, apart = [], []
    for regime in COMPARED:
        whole, own, mask = done.intervals(regime), done_faulty.intervals(regime), done.mask(moments, regime)
        if regime == Regime.SNAP:
            mask &= settled(_turning(healthy, moments), STEP_S, AFTER_START_S, 0.0, least_s=STEP_S)
        if not mask.any():
            continue
        inside = runs(settled(mask & in_step, STEP_S, 0.0, NEXT_S, least_s=NEXT_S))
        common = tuple((float(moments[a]), float(moments[b - 1])) for a, b in inside)
        if regime == Regime.FULL_LOAD:
            whole = tuple((a, b) for a, b in whole if b - a >= READ_S) or whole
            longer = tuple((a, max([b, *(d for c, d in own if c < b and d > a)])) for a, b in whole)
            shares.append(_Share(regime, whole, longer, feet))
        elif sum(b - a for a, b in common) >= LEAST_SHARE * STEP_S * mask.sum():
            shares.append(_Share(regime, common, common, feet))
        elif own and regime != Regime.SNAP:
            shares.append(_Share(regime, whole, own, feet, paired=False))
        else:
            apart.append(regime)
    return shares, tuple(apart)


def _in_step(healthy: Recording, faulty: Recording, moments: Floats) -> Bools:
    """At which moments both have for some seconds been at one road speed, the engine turning in both or in neither.

    They part after a pull that takes longer, or at a speed that one of them cannot reach.
    """
    out = _turning(healthy, moments) == _turning(faulty, moments)
    if "vehicle_speed" in healthy and "vehicle_speed" in faulty:
        one, other = (each["vehicle_speed"].at(moments, max_gap_s=STALE_S) for each in (healthy, faulty))
        with np.errstate(invalid="ignore"):
            out &= np.abs(other - one) <= IN_STEP_KMH
    return settled(out, STEP_S, SETTLED_S, 0.0, least_s=STEP_S)


def _turning(recording: Recording, moments: Floats) -> Bools:
    """At which moments the engine turns; throughout where nothing tells."""
    speed = recording.get("engine_speed")
    if speed is None:
        return np.ones(moments.size, dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        return np.asarray(speed.at(moments, max_gap_s=STALE_S) > TURNING_RPM, dtype=np.bool_)


def _moves(seen: Noticeable, one: Signal, other: Signal, share: _Share) -> Iterator[Move]:
    """All that can be said of one signal in one regime, noticed or not."""

    def move(kind: Kind, healthy: float, faulty: float, least: float, unit: str = seen.unit) -> Move:
        return Move(share.regime, seen.signal, kind, healthy, faulty, unit, abs(faulty - healthy) / least)

    was, now = _values(one, share.healthy), _values(other, share.faulty)
    if not (was.size and now.size):
        return
    if seen.states:
        if share.regime != Regime.SNAP:
            state, state_now = _commonest(was), _commonest(now)
            yield move("state", state, state_now, abs(state_now - state) / STATE_CLEARNESS or 1.0)
        return
    least = partial(seen.least, resolution=max(one.resolution or 0.0, other.resolution or 0.0))
    steady = share.regime in STEADY
    swings, swings_now = _swings(one, share.healthy), _swings(other, share.faulty)
    if share.regime in OPENED and seen.highest:
        (top, doubt), (top_now, doubt_now) = _highest(was), _highest(now)
        yield move("highest", top, top_now, max(least(top), ROUNDINGS * max(doubt, doubt_now)))
    elif share.regime != Regime.SNAP:  # so short that no median holds
        level, level_now = _levels(one, other, share)
        wander = np.quantile(swings, USUAL) if steady and swings.size else 0.0
        yield move("level", level, level_now, max(least(level), wander))
    if steady and swings.size and swings_now.size:
        swing, swing_now = np.quantile(swings, RARE), np.quantile(swings_now, RARE)
        yield move("swing", swing, swing_now, max(least(0.0), swing))
    if share.regime in OPENED and seen.delay and share.feet is not None:
        late, late_now = _delay(one, share.feet[0], share.healthy), _delay(other, share.feet[1], share.faulty)
        if np.isfinite(late) and np.isfinite(late_now):
            gap = max(np.median(np.diff(each.time)) for each in (one, other, *share.feet))
            yield move("delay", late, late_now, max(LATE_S, ROUNDINGS * gap), "s")


def _values(signal: Signal, stretches: Stretches) -> Floats:
    return np.concatenate([signal.between(a, b).values for a, b in stretches] or [np.empty(0)])


def _highest(values: Floats) -> tuple[float, float]:
    """The highest value, and by how much the nearer of its neighbours in time is lower: a peak is known no closer."""
    at = int(np.argmax(values))
    beside = np.delete(values[max(at - 1, 0) : at + 2], min(at, 1))
    return float(values[at]), float(values[at] - beside.max()) if beside.size else 0.0


def _commonest(codes: Floats) -> float:
    different, counts = np.unique(codes, return_counts=True)
    return float(different[np.argmax(counts)])


def _levels(one: Signal, other: Signal, share: _Share) -> tuple[float, float]:
    """Healthy and faulty level: medians, of those moments at which the change is nearest its own median if they pair.

    A cruise at two speeds has two levels, and the medians of each might lie on either side of the gap.
    """
    if share.paired:
        moments = np.concatenate([np.arange(a, b, STEP_S) for a, b in share.healthy])
        both = np.array([signal.at(moments, max_gap_s=STALE_S) for signal in (one, other)])
        both = both[:, np.isfinite(both).all(axis=0)]
        if both.size:
            away = np.abs(both[1] - both[0] - np.median(both[1] - both[0]))
            level, level_now = np.median(both[:, away <= np.median(away)], axis=1)
            return float(level), float(level_now)
    return float(np.median(_values(one, share.healthy))), float(np.median(_values(other, share.faulty)))


def _swings(signal: Signal, stretches: Stretches) -> Floats:
    """Highest less lowest value in each three seconds of the stretches."""
    found = [np.empty(0)]
    for a, b in stretches:
        part = signal.between(a, a + SWING_S * max(int((b - a) / SWING_S), 1))
        if len(part) > 1:
            window = ((part.time - a) / SWING_S).astype(np.intp)
            first = np.flatnonzero(np.diff(window, prepend=-1))
            found.append(np.maximum.reduceat(part.values, first) - np.minimum.reduceat(part.values, first))
    return np.concatenate(found)


def _delay(signal: Signal, foot: Signal, stretches: Stretches) -> float:
    """By how much a signal comes half-way down later than the foot, s; the median over the stretches, or NaN.

    The way down, because the throttle then shuts whatever the control unit makes of its sensors.
    """
    lifted = [_half_way_down(foot, a, b + AFTER_S) for a, b in stretches]
    late = np.array([_half_way_down(signal, at - LATE_S, at + AFTER_S) - at for at in lifted])
    return float(np.median(late[np.isfinite(late)])) if np.isfinite(late).any() else np.nan


def _half_way_down(signal: Signal, start: float, end: float) -> float:
    """When the signal last leaves the middle between its highest value and its last, s; NaN where it hardly falls."""
    part = signal.between(start, end)
    if len(part) < 3:
        return np.nan
    low, top = float(part.values[-1]), float(part.values.max())
    if top - low < FALLS * noticeable()[signal.name].least(top, signal.resolution):
        return np.nan
    middle = 0.5 * (low + top)
    last = int(np.flatnonzero(part.values >= middle)[-1])
    (t0, t1), (above, below) = part.time[last : last + 2], part.values[last : last + 2]
    return float(t0 + (t1 - t0) * (above - middle) / (above - below))
