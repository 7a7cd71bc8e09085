"""How the summaries are called and shown, in plain words and units of the trade."""

from __future__ import annotations

import math
from dataclasses import dataclass

from airproof.diagnosis.picture import loads, pulls
from airproof.diagnosis.picture.summaries import ACROSS, NAMES

PLACES = ("engine-off", "idle", "part-load", "full-load", "in-motion", "over-time")
"""Where a summary is taken, in the order they are told."""

_TITLES = {
    "n": "engine speed",
    "p": "manifold pressure over the barometer",
    "thr": "throttle",
    "ve": "metered air over displaced air",
    "fve": "air that the fuel burns over displaced air",
    "area": "effective throttle area",
    "trim": "total fuel correction",
    "load": "calculated load",
    "lam": "lambda over wanted lambda",
    "charge": "charge pressure over the barometer",
    "charge0": "charge pressure over the barometer",
    "gate": "wastegate command",
    "rich": "wanted lambda",
    "adv": "ignition advance",
    "drop": "manifold over charge pressure",
    "short": "charge pressure over its target",
    "iat": "intake air warmer than outside by",
    "over": "overshoot of the pressure",
    "fall": "pressure at the end of the pull over its middle",
    "pull": "speed gained in a second",
    "spool": "time for the pressure to come up",
    "p_slope": "growth of the pressure over speed",
    "ve_slope": "growth of metered air over speed",
    "fve_slope": "growth of fuel over speed",
    "load_slope": "growth of calculated load over speed",
    "rest_n": "unsteadiness of engine speed",
    "rest_p": "unsteadiness of manifold pressure",
    "rest_lam": "unsteadiness of lambda",
    "slow": "lowest over usual engine speed",
    "ko_map": "manifold pressure against the day",
    "ko_charge": "charge pressure against the day",
    "baro": "the car's barometer against the day",
    "ko_map_charge": "manifold pressure against charge pressure",
    "ko_map_baro": "manifold pressure against the car's barometer",
    "ko_iat": "intake air warmer than outside by",
    "cruise_iat": "intake air at cruise warmer than outside by",
    "over_p": "overrun pressure over the barometer",
    "over_n": "engine speed in overrun",
    "over_thr": "throttle in overrun",
    "over_rest": "unsteadiness of the pressure in overrun",
    "snap_p": "highest pressure of a throttle snap over the barometer",
    "delay": "delay of the pressure behind the throttle",
    "breaks": "dropouts of the pressure",
    "railed": "share of time at the end of the sensor's range",
    "swing": "range over which the pressure moved, over the barometer",
    "rest_n_cruise": "unsteadiness of engine speed at cruise",
    "rest_p_cruise": "unsteadiness of the pressure at cruise",
    "rest_lam_cruise": "unsteadiness of lambda at cruise",
    "p_top": "highest pressure over the barometer",
    "p_bottom": "lowest pressure over the barometer",
    "lag_excess": "delay of the pressure behind the air flow, both behind the throttle",
}
_PAIRS = {
    "thr_map": "the pressure behind the throttle", "flow_map": "the pressure behind the air flow",
    "load_map": "the pressure behind calculated load", "thr_flow": "the air flow behind the throttle",
    "map_charge": "the charge pressure behind the manifold pressure",
}  # fmt: skip
_ANSWERS = {"lag": "delay of", "fit": "agreement of", "tail": "trailing of"}
_LOADS = {"idle": "at idle", "light": "at light load", "middle": "at part load", "high": "at high load"}
_TIMES = {"later": "change from beginning to end in", "apart": "spread at like load of"}

_KPA = ("ko_map", "ko_charge", "baro", "ko_map_charge", "ko_map_baro")
_KELVIN = ("idle_iat", "full_iat", "ko_iat", "cruise_iat")


@dataclass(frozen=True)
class Named:
    """A summary's title, where it is taken, and how its value is shown: factor, kind of scale, unit."""

    title: str
    place: str
    scale: str

    def shown(self, value: float) -> str:
        """The value in its own unit: "+12 %", "0.35 s", "8.1 kPa"."""
        match self.scale:
            case "kPa":
                return f"{5.0 * value:+.1f} kPa"
            case "K":
                return f"{10.0 * value:.0f} K"
            case "degrees":
                return f"{10.0 * value:.0f} degrees"
            case "percent":
                return f"{100.0 * value:.0f} %"
            case "seconds":
                return f"{0.2 * math.sinh(value):.2f} s"
            case "change":
                return f"{100.0 * math.expm1(min(value, 5.0)):+.0f} %"
            case "count":
                return f"{math.expm1(min(value, 12.0)):.0f}"
            case "plain":
                return f"{value:.2f}"
            case _:
                return f"{math.exp(min(value, 9.0)):.3g}"


def _scale_of(name: str, what: str) -> str:
    if name in _KPA:
        return "kPa"
    if name in _KELVIN:
        return "K"
    if what == "adv":
        return "degrees"
    if what == "gate":
        return "percent"
    if name.endswith(("_lag", "_tail")) or name in ("delay", "lag_excess"):
        return "seconds"
    if name.endswith(("_fit", "_slope")):
        return "plain"
    if name == "breaks":
        return "count"
    changes = ("trim", "lam", "fall", "over", "short", "slow", "ve", "fve")
    return "change" if what in changes or "_over_" in name or name.endswith("_later") else "ratio"


def _named(name: str) -> Named:
    if name.endswith(tuple(f"_{way}" for way in _TIMES)):
        stem, _, way = name.rpartition("_")
        what, where = (stem.removeprefix("idle_"), " at idle") if stem.startswith("idle_") else (stem, "")
        scale = "change" if way == "later" else "ratio"
        return Named(f"{_TIMES[way]} {_TITLES[what]}{where}", "over-time", scale)
    for pair, title in _PAIRS.items():
        if name.startswith(f"{pair}_") and name.rpartition("_")[2] in _ANSWERS:
            way = name.rpartition("_")[2]
            return Named(f"{_ANSWERS[way]} {title}", "in-motion", _scale_of(name, way))
    for what, one, other in (*loads.DIFFERENCES, *((what, "full", load) for what, load in ACROSS)):
        if name == f"{what}_{one}_over_{other}":
            there = {"full": "at full load", **_LOADS}
            place = {"idle": "idle", "full": "full-load"}.get(one, "part-load")
            return Named(f"{_TITLES[what]} {there[one]} against {there[other]}", place, "change")
    if name in pulls.NAMES:
        what = name.removeprefix("full_")
        return Named(f"{_TITLES[what]} at full load" if what in pulls.LEVELS else _TITLES[what], "full-load",
                     _scale_of(name, what))  # fmt: skip
    first, _, what = name.partition("_")
    if first in _LOADS and what in _TITLES:
        return Named(f"{_TITLES[what]} {_LOADS[first]}", "idle" if first == "idle" else "part-load",
                     _scale_of(name, what))  # fmt: skip
    place = "engine-off" if name.startswith("ko_") or name == "baro" else "in-motion"
    return Named(_TITLES[name], place, _scale_of(name, name))


NAMED: dict[str, Named] = {name: _named(name) for name in NAMES}

CAR = "car"
"""The place of what is known of car and day, rather than seen in the recording."""


def place_of(feature: str) -> str:
    """The place that a feature of a forest belongs to, one of PLACES or CAR."""
    name = feature.removeprefix("since ")
    return NAMED[name].place if name in NAMED else CAR
