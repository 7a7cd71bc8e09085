"""How the summaries are called and shown, in plain words and units of the trade."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from airproof.diagnosis.picture import answers, beside, loads, over_time, pulls, unsteadiness
from airproof.diagnosis.picture.summaries import ACROSS, NAMES

PLACES = ("engine-off", "idle", "part-load", "full-load", "in-motion", "over-time")
"""Where a summary is taken, in the order they are told."""

_TITLES = {
    "n": "engine speed as a share of the idle speed",
    "p": "manifold pressure as a share of the barometer",
    "thr": "throttle opening",
    "ve": "volumetric efficiency by metered air",
    "fve": "volumetric efficiency by burnt fuel",
    "area": "effective throttle area",
    "bite": "effective throttle area for its opening",
    "trim": "total fuel correction",
    "load": "calculated load",
    "lam": "lambda over wanted lambda",
    "charge": "charge pressure as a share of the barometer",
    "charge0": "charge pressure as a share of the barometer",
    "gate": "wastegate command",
    "rich": "wanted lambda",
    "adv": "ignition advance",
    "drop": "manifold pressure as a share of the charge pressure",
    "short": "charge pressure over its target",
    "iat": "intake air warmer than outside by",
    "over": "overshoot of the pressure",
    "fall": "pressure at the end of the pull over its middle",
    "pull": "speed gained each second of the pull",
    "spool": "pressure up, after the pull begins",
    "p_slope": "growth of the pressure with speed",
    "ve_slope": "growth of metered air with speed",
    "fve_slope": "growth of burnt fuel with speed",
    "load_slope": "growth of calculated load with speed",
    "rest_n": "unsteadiness of engine speed from sample to sample",
    "rest_p": "unsteadiness of manifold pressure from sample to sample",
    "rest_lam": "unsteadiness of lambda from sample to sample",
    "slow": "lowest over usual engine speed",
    "ko_map": "manifold pressure against the day",
    "ko_charge": "charge pressure against the day",
    "baro": "the car's barometer against the day",
    "ko_map_charge": "manifold pressure against charge pressure",
    "ko_map_baro": "manifold pressure against the car's barometer",
    "ko_iat": "intake air warmer than outside by",
    "cruise_iat": "intake air at cruise warmer than outside by",
    "over_p": "overrun pressure as a share of the barometer",
    "over_n": "engine speed in overrun",
    "over_thr": "throttle opening in overrun",
    "over_rest": "unsteadiness of the pressure in overrun from sample to sample",
    "snap_p": "highest pressure of a throttle snap as a share of the barometer",
    "delay": "delay of the pressure behind the throttle",
    "breaks": "dropouts of the pressure in 13 minutes at most",
    "railed": "share of time at the end of the sensor's range",
    "swing": "range over which the pressure moved as a share of the barometer",
    "rest_n_cruise": "unsteadiness of engine speed at cruise from sample to sample",
    "rest_p_cruise": "unsteadiness of the pressure at cruise from sample to sample",
    "rest_lam_cruise": "unsteadiness of lambda at cruise from sample to sample",
    "p_top": "highest pressure as a share of the barometer",
    "p_bottom": "lowest pressure as a share of the barometer",
    "lag_excess": "delay of the pressure behind the air flow, both behind the throttle",
}
_TITLES_BESIDE = {
    "open_p": "manifold pressure", "open_flow": "air flow", "open_fuel": "fuel burnt",
    "gain": "speed gained each second of the pull",
}  # fmt: skip
_PAIRS = {
    "thr_map": "the pressure behind the throttle", "flow_map": "the pressure behind the air flow",
    "load_map": "the pressure behind calculated load", "thr_flow": "the air flow behind the throttle",
    "map_charge": "the charge pressure behind the manifold pressure",
}  # fmt: skip
_ANSWERS = {"lag": "delay of", "fit": "agreement of", "tail": "trailing of"}
_LOADS = {"idle": "at idle", "light": "at light load", "middle": "at part load", "high": "at high load"}
_WAYS = {
    "low": "the lowest tenth of", "high": "the highest tenth of", "later": "change from beginning to end in",
    "grows": "growth with the flow of",
}  # fmt: skip
_TIMES = {"later": "change from beginning to end in", "apart": "spread at like load of"}


@dataclass(frozen=True)
class Scale:
    """How a summary turns into a number with a unit, and its change since another day into one, where it can.

    `unit` follows the number. A change is that of a plain logarithm in percent, of a linear scale in its own unit; of
    any other (`bent`) it has no meaning of its own, and is not told.
    """

    number: Callable[[float], float]
    digits: int
    unit: str
    signed: bool = False
    change: Literal["logarithm", "linear", "bent"] = "bent"

    def shown(self, value: float, low: float, high: float) -> str:
        """The value beside what is usual: "+64 % (healthy: -4 to +4 %)", "0.35 s (healthy: 0.02 to 0.11 s)"."""
        return _beside([self.number(x) for x in (value, low, high)], self.digits, self.unit, signed=self.signed)

    def changed(self, by: float, low: float, high: float) -> str | None:
        """The change in the same form; None where the scale has none."""
        if self.change == "logarithm":
            return _beside([100.0 * math.expm1(min(x, MOST)) for x in (by, low, high)], 0, "%", signed=True)
        if self.change == "linear":
            steps = [self.number(x) - self.number(0.0) for x in (by, low, high)]
            return _beside(steps, self.digits, self.unit, signed=True)
        return None


MORE_DIGITS = 3
MOST = 9.0  # of a logarithm, so that no odd recording overflows


def _beside(numbers: Sequence[float], digits: int, unit: str, *, signed: bool) -> str:
    _, least, most = numbers
    telling = (more for more in range(digits, digits + MORE_DIGITS) if round(least, more) != round(most, more))
    digits = next(telling, digits)  # a narrow band has a width, too
    # Nothing is never called minus nothing.
    value, low, high = (f"{round(number, digits) + 0.0:{'+' if signed else ''}.{digits}f}" for number in numbers)
    unit = f" {unit}".rstrip()
    if low == high:
        return f"{value}{unit} (healthy: hardly anything but {low})"
    return f"{value}{unit} (healthy: {low} to {high}{unit})"


def _log(per_unit: float, digits: int, unit: str, floor: float = 0.0) -> Scale:
    """A logarithm of a positive number, to which `floor` was added."""
    return Scale(
        lambda value: per_unit * max(math.exp(min(value, MOST)) - floor, 0.0), digits, unit,
        change="logarithm" if floor == 0.0 else "bent",
    )  # fmt: skip


def _linear(per_unit: float, digits: int, unit: str, *, signed: bool = False) -> Scale:
    return Scale(lambda value: per_unit * value, digits, unit, signed, "linear")


_PERCENT_MORE = Scale(lambda value: 100.0 * math.expm1(min(value, MOST)), 0, "%", signed=True, change="logarithm")
_PERCENT_OF = _log(100.0, 0, "%")
_OPENING = _log(100.0, 1, "%", loads.OPENING_SHIFT)
_SECONDS = Scale(lambda value: answers.FINEST_TOLD_S * math.sinh(max(min(value, MOST), -MOST)), 2, "s")
_KPA = _linear(unsteadiness.KPA, 1, "kPa", signed=True)
_KELVIN = _linear(unsteadiness.TENS, 0, "K")
_NO_SPREAD_N = _log(100.0, 1, "%", unsteadiness.FLOOR_OF_LOG)
_NO_SPREAD_KPA = _log(1.0, 1, "kPa", unsteadiness.FLOOR_KPA)

_BY_NAME = {
    **dict.fromkeys(("ko_map", "ko_charge", "baro", "ko_map_charge", "ko_map_baro"), _KPA),
    **dict.fromkeys(("idle_iat", "full_iat", "ko_iat", "cruise_iat"), _KELVIN),
    "full_n": _log(pulls.USUAL_RPM, 0, "1/min"),
    "over_n": _log(unsteadiness.USUAL_RPM, 0, "1/min"),
    "full_gate": _linear(100.0, 0, "%"),
    "breaks": Scale(lambda value: math.expm1(min(value, MOST)), 0, "times"),
    "railed": _log(100.0, 1, "%", unsteadiness.RAILED_FLOOR),
    "swing": _log(100.0, 0, "%", unsteadiness.SWING_FLOOR),
    "over_thr": _OPENING,
    "over_rest": _NO_SPREAD_KPA,
    "delay": _SECONDS,
}
_BY_WHAT = {
    **dict.fromkeys(("trim", "lam", "fall", "over", "short", "slow", "ve", "fve"), _PERCENT_MORE),
    "thr": _OPENING,
    "area": _log(1.0, 3, "m2/m3"),
    "bite": _log(1.0, 2, "m2/m3"),
    "adv": _linear(unsteadiness.TENS, 0, "degrees"),
    "gate": _linear(100.0, 0, "%"),
    "rich": _log(1.0, 2, ""),  # lambda has no unit
    "pull": _log(100.0, 0, "%/s"),
    "spool": _log(1.0, 1, "s", pulls.SPOOL_SHIFT_S),
    "rest_n": _NO_SPREAD_N,
    "rest_lam": _NO_SPREAD_N,
    "rest_p": _NO_SPREAD_KPA,
}
_BY_ENDING = {
    "_lag": _SECONDS,
    "_tail": _SECONDS,
    "_fit": _linear(100.0, 0, "%"),
    "_slope": _linear(1.0, 2, "% for each % of speed"),
    "_later": _PERCENT_MORE,
    "_apart": _log(100.0, 1, "%", over_time.FLOOR),
    "_cruise": _NO_SPREAD_N,
}

NOT_TOLD = ("lag_excess", *(f"thr_full_over_{load}" for what, load in ACROSS if what == "thr"))
"""Differences of two bent scales: they help the forest, and have no number with a unit."""


@dataclass(frozen=True)
class Named:
    """A summary's title, where it is taken, and on what scale it is told; `alike` is what is alike where it is set
    beside a known-good recording.
    """

    title: str
    place: str
    scale: Scale
    alike: str = ""


def _scale_of(name: str, what: str) -> Scale:
    if name in _BY_NAME:
        return _BY_NAME[name]
    if name == "rest_p_cruise":
        return _NO_SPREAD_KPA
    if what in _BY_WHAT:
        return _BY_WHAT[what]
    return next((scale for ending, scale in _BY_ENDING.items() if name.endswith(ending)), _PERCENT_OF)


def _named(name: str) -> Named:
    if name.endswith(tuple(f"_{way}" for way in _TIMES)):
        stem, _, way = name.rpartition("_")
        what, where = (stem.removeprefix("idle_"), " at idle") if stem.startswith("idle_") else (stem, "")
        return Named(f"{_TIMES[way]} {_TITLES[what]}{where}", "over-time", _BY_ENDING[f"_{way}"])
    for pair, title in _PAIRS.items():
        if name.startswith(f"{pair}_") and name.rpartition("_")[2] in _ANSWERS:
            way = name.rpartition("_")[2]
            return Named(f"{_ANSWERS[way]} {title}", "in-motion", _scale_of(name, way))
    for what, one, other in (*loads.DIFFERENCES, *((what, "full", load) for what, load in ACROSS)):
        if name == f"{what}_{one}_over_{other}":
            there = {"full": "at full load", **_LOADS}
            place = {"idle": "idle", "full": "full-load"}.get(one, "part-load")
            return Named(f"{_TITLES[what]} {there[one]} against {there[other]}", place, _PERCENT_MORE)
    if name in pulls.NAMES:
        what = name.removeprefix("full_")
        title = "engine speed" if what == "n" else _TITLES[what]
        return Named(title, "full-load", _scale_of(name, what))
    first, _, what = name.partition("_")
    if first in _LOADS and what in _TITLES:
        if first == "idle":
            return Named(_TITLES[what], "idle", _scale_of(name, what))
        return Named(f"{_TITLES[what]} {_LOADS[first]}", "part-load", _scale_of(name, what))
    place = "engine-off" if name.startswith("ko_") or name == "baro" else "in-motion"
    return Named(_TITLES[name], place, _scale_of(name, name))


NAMED: dict[str, Named] = {name: _named(name) for name in NAMES}


def _named_beside(name: str) -> Named:
    """A summary that is set beside a known-good recording: the engine in the same state, so far as two axes tell it."""
    first, _, rest = name.partition("_")
    if first == "full":
        what, grows, _ = rest.partition("_grows")
        title, scale = _titled_beside(what)
        if grows:
            title, scale = f"growth with speed of {title}", _BY_ENDING["_slope"]
        return Named(title, "full-load", scale, "at like speed")
    stem, _, way = name.rpartition("_")
    if way in _WAYS and stem in beside.ALL_OVER:
        title, scale = _titled_beside(stem)
        return Named(f"{_WAYS[way]} {title}", "part-load" if way == "grows" else "over-time", scale, _alike(stem))
    title, scale = _titled_beside(rest)
    if first == "idle":
        return Named(title, "idle", scale, _alike(rest))
    where = {**_LOADS, beside.BOOST: "above part load"}[first]
    return Named(f"{title} {where}", "part-load", scale, _alike(rest))


def _alike(what: str) -> str:
    return "at like speed and opening" if what.startswith("open_") else "at like speed and pressure"


def _titled_beside(what: str) -> tuple[str, Scale]:
    title = _TITLES_BESIDE.get(what) or _TITLES[what]
    return title, _BY_WHAT.get(what, _PERCENT_MORE)


BESIDE: dict[str, Named] = {name: _named_beside(name) for name in beside.NAMES}

CAR = "car"
"""The place of what is known of car and day, rather than seen in the recording."""


def place_of(feature: str) -> str:
    """The place that a feature of a forest belongs to, one of PLACES or CAR."""
    called = named(feature)
    return CAR if called is None else called.place


def named(feature: str) -> Named | None:
    """How a feature of a forest is called and shown; None for what is known of car and day."""
    way, _, name = feature.partition(" ")
    return BESIDE.get(name) if way == "beside" else NAMED.get(name if way == "since" else feature)
