"""What stands between the two recordings and a proof: regimes with seconds, signals, the day's pressure, codes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from airproof.diagnosis.case import Case
from airproof.knowledge.model import Cause
from airproof.recording.recording import Interval
from airproof.recording.regimes import Regime
from airproof.repair.proof.after import Said
from airproof.repair.proof.courses import REMAINING, neutral
from airproof.repair.proof.levels import levels_of
from airproof.repair.proof.proof import Change, CodesAfter, Compared, Missing
from airproof.repair.proof.sides import Sides
from airproof.repair.proof.spells import SELDOM, running_s, still_comes, time_to_come
from airproof.repair.proof.stretches import SOAK, Needs, drive
from airproof.repair.proof.words import amount_in_words, in_small, plain

PRESSURE_SENSORS = frozenset({"map-offset", "map-gain", "supply-reference", "boost-sensor-scale", "baro-sensor"})
WELL_KNOWN_KPA = 1.0  # a day's pressure known to this is no hindrance
TELLING = (
    "air_flow", "short_trim_1", "long_trim_1", "throttle", "charge_pressure", "barometric_pressure", "fuel_rate",
    "intake_temperature",
)  # fmt: skip
"""Signals by which checks tell causes apart: one that was recorded before and not after is missed."""
NOT_OF_A_DIESEL = ("air_flow", "short_trim_1", "long_trim_1", "throttle", "fuel_rate")
"""Signals that no check asks of a diesel."""
HALF = 0.5  # the commonest way of not being mended: so much of it is left, and must show
CAUGHT = 0.6  # of its breaks so many are caught by an ordinary recording; judged: Airproof authors


def compared(sides: Sides, needs: Needs | None) -> tuple[Compared, ...]:
    """The regimes that either side holds, or that are needed."""
    before, after = seconds_of(sides.before), seconds_of(sides.after)
    wanted = needs.needs if needs is not None else {}
    return tuple(
        Compared(name, before.get(name, 0.0), after.get(name, 0.0), wanted.get(name, 0.0))
        for name in (str(one) for one in before)
        if wanted.get(name, 0.0) > 0.0 or max(before[name], after[name]) >= 0.5
    )


def seconds_of(case: Case) -> dict[str, float]:
    """How long each regime lasted, s; of cruise, all steady running that is neither idle nor overrun.

    On hilly roads and in traffic hardly any speed is held for long, and the checks need less: steady points.
    """
    seconds = case.regimes.seconds()
    points = case.points
    moving = ~np.isin(points.regime, [Regime.IDLE.value, Regime.OVERRUN.value])
    steady = float(np.sum((points.end_s - points.start_s)[moving]))
    return seconds | {"cruise": max(seconds["cruise"], steady)}


def missing_of(
    cause: Cause | None,
    needs: Needs | None,
    sides: Sides,
    size: Change | None,
    resolves: float | None,
    said: Said,
    there: Sequence[Interval] | None = None,
    still: Sequence[Interval] | None = None,
) -> tuple[Missing, ...]:
    """What is missing, what the proof waits for first; `there`: the stretches in which it was there before, `still`:
    those in which it comes and goes after.
    """
    if cause is None or needs is None:
        return ()
    found = [
        *_regimes(needs.needs, sides, needed=True),
        *_answer(needs, sides),
        *_time_to_come(cause, size, sides),
        *time_to_come(needs, there, sides.after),
        *still_comes(needs, still),
        *_signals(sides),
        *_too_small(cause, needs, sides, size, resolves),
        *_still_there(cause, needs, size),
        *_regimes(needs.helps, sides, needed=False),
        *_barometer(cause, sides),
    ]
    if not said.codes_read:
        found.append(
            Missing("codes", None, "codes and readiness were not read after the repair: read them", needed=False)
        )
    return tuple(found)


def evidence_short() -> Missing:
    """Every regime is there, and the evidence is short all the same."""
    says = (
        "nothing is missing from the recording after, only the evidence is short: record the same drive once more and "
        "give both recordings, with codes and readiness as they are then"
    )
    return Missing("evidence", None, says)


def codes_back(codes: CodesAfter | None) -> tuple[Missing, ...]:
    """A code that came back keeps a repair from being proved, whatever the recordings say."""
    back = [one for one in codes.codes if one.standing in ("came back", "new")] if codes is not None else []
    return tuple(Missing("codes", None, f"{one.says}; find out what set it, and drive and read again") for one in back)


def _regimes(wanted: Mapping[str, float], sides: Sides, *, needed: bool) -> list[Missing]:
    seconds = seconds_of(sides.after)
    found = []
    for name, least in wanted.items():
        there = seconds.get(name, 0.0)
        if name == SOAK:
            continue
        if there >= least:
            continue
        stretch = drive().stretches[name]
        what = in_small(stretch.title)
        record = math.ceil(max(least - there, min(stretch.seconds, least)))
        if there < 0.5:
            says = f"no {name} interval after the repair: record {record} s or more ({what})"
        else:
            says = f"only {there:.0f} s of {name} after the repair: record {record} s more ({what})"
        found.append(Missing(name, float(record), says, needed=needed))
    return found


def _answer(needs: Needs, sides: Sides) -> list[Missing]:
    if not needs.findings:
        return []
    if not sides.after.profile.throttled:
        says = (
            "how soon the pressure answers cannot be seen on a diesel here: only that the trouble stays away can show "
            "that it is gone"
        )
        return [Missing("answer", None, says)]
    wanted = [level for level in levels_of(sides.after.profile) if level.id in needs.findings]
    if any(level.measure(sides.after) is not None for level in wanted):
        return []
    seconds = drive().stretches["snap"].seconds
    says = (
        "the recording after does not show how the pressure answers the throttle: record four quick snaps of the "
        "throttle, and a drive with changes of load, several samples a second"
    )
    return [Missing("snap", seconds, says)]


def _time_to_come(cause: Cause, size: Change | None, sides: Sides) -> list[Missing]:
    """A cause that comes and goes at a rate must have had the time to come."""
    if cause.unit != "1/s" or size is None:
        return []
    rate = max(size.before.low or size.before.value, 1e-4)
    wanted = -math.log(SELDOM) / (rate * CAUGHT)
    ran = running_s(sides.after)
    if ran >= wanted:
        return []
    more = math.ceil((wanted - ran) / 10.0) * 10.0
    says = (
        f"what comes about {60.0 * rate:.1f} times a minute needs {wanted / 60.0:.0f} min of running to be missed: "
        f"record {more / 60.0:.0f} min more, on the same roads"
    )
    return [Missing("cruise", more, says)]


def _signals(sides: Sides) -> list[Missing]:
    lost = [name for name in TELLING if name in sides.before.recording and name not in sides.after.recording]
    if not lost:
        return []
    says = f"recorded before and not after: {_in_words(lost)}; is it the same car? Then record the same again"
    return [Missing("signals", None, says, needed=False)]


def _too_small(cause: Cause, needs: Needs, sides: Sides, size: Change | None, resolves: float | None) -> list[Missing]:
    if size is None or cause.unit == "1/s":  # what comes and goes is a question of time, not of size
        return []
    none = neutral(cause)
    was = abs(size.before.value - none)
    if resolves is not None and resolves <= HALF * was:
        return []
    least = "" if resolves is None else plain(resolves + none, resolves / 10.0)
    told = f"only {least} {cause.unit} or more" if least else "no size of it"
    says = (
        f"{needs.called} was {plain(was + none, was / 10.0)} {cause.unit}: if half of it were left, that should show, "
        f"and the recording after could show {told}; record longer, with the same signals, and give a recording known "
        "to be good or a measurement by meter"
    )
    return [Missing("sharper", None, says), *_would_show(needs, sides)]


def _still_there(cause: Cause, needs: Needs, size: Change | None) -> list[Missing]:
    """A size after that surely is more than what counts as gone, whether or not a driver would notice it."""
    if size is None or size.after.low is None or size.after.high is None:
        return []
    none = neutral(cause)
    ends = (size.after.low - none, size.after.high - none)
    was = size.before.value - none
    if min(end * math.copysign(1.0, was) for end in ends) <= REMAINING[0] * abs(was):
        return []
    left = amount_in_words(size.after, cause.unit, cause.size is not None and cause.size.signed)
    return [Missing("odd", None, f"of {needs.called} {left} still shows: look there, and record again")]


def _would_show(needs: Needs, sides: Sides) -> list[Missing]:
    """What to record so that the next recording can tell."""
    blind = () if sides.after.profile.throttled else NOT_OF_A_DIESEL
    lacking = [name for name in needs.shows_in if name not in sides.after.recording and name not in blind]
    if not lacking:
        return []
    says = f"not recorded: {_in_words(lacking)}; {needs.called} would show there: record it too"
    return [Missing("signals", None, says, needed=False)]


def _in_words(signals: Sequence[str]) -> str:
    return ", ".join(name.replace("_", " ").removesuffix(" 1") for name in signals)


def _barometer(cause: Cause, sides: Sides) -> list[Missing]:
    if cause.id not in PRESSURE_SENSORS:
        return []
    loose: Sequence[str] = [
        word
        for word, case in (("before", sides.before), ("after", sides.after))
        if case.weather.sd_kpa > WELL_KNOWN_KPA
    ]
    if not loose:
        return []
    says = (
        f"the air's pressure of the day {' and '.join(loose)} is known loosely: a stated barometer would make it surer"
    )
    return [Missing("barometer", None, says, needed=False)]
