"""How the summaries are called, and how far off one is, in plain words."""

from __future__ import annotations

import numpy as np
from summaries import NAMES

_OFF = ("ko_map", "ko_charge", "baro", "ko_iat")
_FIRST = {"engine off": _OFF, "idle": (), "light load": (), "middle load": (), "high load": (), "full load": ()}
_PREFIX = {
    "idle_": "idle",
    "light_": "light load",
    "middle_": "middle load",
    "high_": "high load",
    "full_": "full load",
}


def _places() -> dict[str, tuple[int, ...]]:
    found: dict[str, list[int]] = {place: [NAMES.index(name) for name in names] for place, names in _FIRST.items()}
    found["in motion"] = []
    for k, name in enumerate(NAMES):
        if name not in _OFF:
            place = next((where for start, where in _PREFIX.items() if name.startswith(start)), "in motion")
            found[place].append(k)
    return {place: tuple(names) for place, names in found.items()}


PLACES: dict[str, tuple[int, ...]] = _places()
"""Which summaries belong together, in the order they are judged; places in NAMES."""

_TITLES = {
    "n": "engine speed",
    "p": "manifold pressure",
    "thr": "throttle opening",
    "ve": "metered air for that pressure and speed",
    "fve": "fuel for that pressure and speed",
    "area": "effective throttle area",
    "trim": "total fuel trim",
    "load": "calculated load",
    "lam": "lambda over what is wanted",
    "rich": "wanted lambda",
    "adv": "ignition advance",
    "charge": "charge pressure",
    "drop": "manifold over charge pressure",
    "short": "charge pressure over its target",
    "gate": "wastegate command",
    "over": "overshoot of the pressure",
    "fall": "pressure towards the end of the pull",
    "pull": "how fast the engine gains speed",
    "iat": "intake temperature over the air outside",
    "slow": "lowest engine speed",
    "rest_n": "unsteadiness of engine speed",
    "rest_p": "unsteadiness of manifold pressure",
    "rest_lam": "unsteadiness of lambda",
    "ko_map": "manifold pressure against the day",
    "ko_charge": "charge pressure against the day",
    "baro": "the car's barometer against the day",
    "ko_iat": "intake temperature over the air outside",
    "cruise_iat": "intake temperature over the air outside",
    "over_p": "overrun pressure",
    "over_n": "overrun speed",
    "over_rest": "unsteadiness of overrun pressure",
    "snap_p": "highest pressure of a throttle snap",
    "delay": "delay of the pressure behind the throttle",
    "breaks": "dropouts of the pressure",
    "railed": "time at the end of the pressure's range",
    "swing": "range over which the pressure moved",
    "rest_n_cruise": "unsteadiness of engine speed at cruise",
    "rest_p_cruise": "unsteadiness of pressure at cruise",
    "rest_lam_cruise": "unsteadiness of lambda at cruise",
}
_SCALES = {
    "ko_map": (5.0, "kPa"),
    "ko_charge": (5.0, "kPa"),
    "baro": (5.0, "kPa"),
    "adv": (10.0, "degrees"),
    "iat": (10.0, "K"),
    "ko_iat": (10.0, "K"),
    "cruise_iat": (10.0, "K"),
    "gate": (100.0, "points"),
}


def in_words(name: str, off: float, deviation: float) -> str:
    """ "total fuel trim 18 % above the usual (within 5 % on nine cars in ten)"."""
    what = name if name in _TITLES else name.partition("_")[2]
    where = "above" if off > 0 else "below"
    if what in _SCALES:
        times, unit = _SCALES[what]
        amount, band = times * abs(off), times * 1.645 * deviation
        return f"{_TITLES[what]} {amount:.1f} {unit} {where} the usual (within {band:.1f} {unit} on nine cars in ten)"
    amount, band = 100.0 * abs(float(np.expm1(off))), 100.0 * float(np.expm1(1.645 * deviation))
    return f"{_TITLES[what]} {amount:.0f} % {where} the usual (within {band:.0f} % on nine cars in ten)"
