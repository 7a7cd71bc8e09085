"""Rows shaken as other makers, loggers and drivers would: what is learnt must not hang on how the simulator has it.

Four ways: each summary strays as far as is judged in makers.toml; now and then a whole quantity is another car's, as
where a maker means something else by it; what the profile, the place or the air outside would say is forgotten at
times; and values of like loads part further than simulated ones do.
"""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.picture.features import AGAIN, FIRST, NEEDS_THE_DAY, OF_CAR
from airproof.diagnosis.picture.summaries import NAMES

Floats = NDArray[np.float64]
Random = np.random.Generator

LOADS = ("idle", "light", "middle", "high", "full")
NEEDS_AMBIENT = tuple(NAMES.index(name) for name in ("idle_iat", "full_iat", "ko_iat", "cruise_iat"))
OVER_THE_DAY = tuple(
    NAMES.index(name)
    for name in (
        *(f"{load}_{what}" for load in LOADS for what in ("p", "charge")),
        "idle_charge0", "over_p", "snap_p", "p_top", "p_bottom",
    )
)  # fmt: skip
SPEEDS = tuple(NAMES.index(f"{load}_n") for load in ("idle", "light", "middle", "high"))
UNKNOWN_SHARE = (
    0.35  # of shaken rows know nothing of the place, as many nothing of the air outside, the idle speed, ...
)
OF_A_DAY = 0.3  # part of the makers' spread by which a car strays from itself, where nothing better is judged
ANOTHER_CARS = 0.06  # probability that a quantity means nothing here: then it is that of any other row
DAY_SD = 0.045  # of ln, by which the day differs from the usual one where nobody says the place
USUAL_IDLE = 750.0  # what the summaries take where the profile does not say
ANY_SPACING = 0.6  # nepers by which loggers are slower or faster


@cache
def _judged() -> dict[str, dict[str, float]]:
    tables = tomllib.loads((Path(__file__).parent / "makers.toml").read_text("utf-8"))
    return {name: {k: float(v) for k, v in table.items() if k != "source"} for name, table in tables.items()}


def _own_sd(name: str) -> float:
    judged = _judged()
    load, _, what = name.partition("_")
    if name in judged["own"]:
        return judged["own"][name]
    if "_over_" in name and name.rpartition("_")[2] in LOADS:
        return judged["kinds"]["between_loads"] * judged["each"][load]
    if name.endswith("_later") and name.removesuffix("_later") in judged["later"]:
        return judged["later"][name.removesuffix("_later")]
    for ending, sd in judged["kinds"].items():
        if name.endswith(ending):
            return sd
    return judged["each"][what]


@cache
def spreads() -> tuple[Floats, tuple[tuple[float, tuple[int, ...]], ...]]:
    """Standard deviations (P,) of each summary by itself, and those that several share, with their places."""
    judged = _judged()
    own = np.array([_own_sd(name) for name in NAMES])
    shared = [(sd, tuple(NAMES.index(f"{load}_{what}") for load in LOADS if f"{load}_{what}" in NAMES))
              for what, sd in judged["shared"].items()]  # fmt: skip
    shared += [(sd, (NAMES.index(f"idle_{what}"), NAMES.index(f"{what}_cruise")))
               for what, sd in judged["restless"].items()]  # fmt: skip
    return own, tuple(shared)


@cache
def of_a_day() -> Floats:
    """Standard deviations (P,) by which the summaries of one car stray from drive to drive."""
    judged, own = _judged(), spreads()[0]
    found = []
    for name, sd in zip(NAMES, own, strict=True):
        load, _, what = name.partition("_")
        each = judged["daily-each"].get(what, OF_A_DAY * sd) if load in LOADS else OF_A_DAY * sd
        found.append(judged["daily"].get(name, each))
    return np.array(found)


def quantity(name: str) -> str:
    """Which quantity a summary is of: those of one are taken from another car together."""
    for ending in ("_later", "_apart", "_lag", "_fit", "_tail"):
        if name.endswith(ending):
            return name if ending in ("_later", "_apart") else name.removesuffix(ending)
    load, _, what = name.partition("_")
    if "_over_" in name and name.rpartition("_")[2] in LOADS:
        return load
    return what if load in LOADS else name


@cache
def quantities() -> tuple[tuple[int, ...], ...]:
    """Places of the summaries of each quantity."""
    found: dict[str, list[int]] = {}
    for k, name in enumerate(NAMES):
        found.setdefault(quantity(name), []).append(k)
    return tuple(tuple(places) for places in found.values())


def shaken(rows: Floats, rng: Random, *, since_known_good: bool, forget: bool, strength: float = 1.0) -> Floats:
    """Rows (n, F) with their summaries shaken, as far as is judged times `strength`; with `forget`, some know neither
    profile nor place nor air outside. What lies beside at like operating points is not heard where rows are shaken: how
    far it strays in cars unlike the rehearsed is not known.
    """
    out = np.array(rows, dtype=np.float32)
    count = len(NAMES)
    first = len(AGAIN) - len(FIRST) if since_known_good else 0
    now = slice(first, first + count)

    def stray(where: slice, sd: Floats) -> None:
        out[:, where] += (strength * sd * rng.standard_normal((len(out), count))).astype(np.float32)

    if since_known_good:
        stray(slice(0, count), of_a_day())
        if strength > 0.0:
            out[:, count:first] = np.nan
    own, shared = spreads()
    stray(now, own)
    for sd, places in shared:
        out[:, [first + k for k in places]] += (strength * sd * rng.standard_normal((len(out), 1))).astype(np.float32)
    for name, sd in _judged()["more_apart"].items():
        further = np.abs(rng.standard_normal(len(out))) * rng.random(len(out)) * 1.5 * strength * sd
        place = NAMES.index(f"{name}_apart")
        out[:, first + place] += further.astype(np.float32)
        if since_known_good:
            again = np.abs(rng.standard_normal(len(out))) * rng.random(len(out)) * 1.5 * strength * sd
            out[:, place] += (further - again).astype(np.float32)
    _another_cars(out, rng, [0, first] if since_known_good else [0], ANOTHER_CARS * strength)
    out[:, now.stop + OF_CAR.index("spacing")] += (strength * ANY_SPACING * rng.standard_normal(len(out))).astype(
        np.float32
    )
    if forget:
        _forgotten(out, rng, first)
    return out


def _another_cars(out: NDArray[np.float32], rng: Random, starts: list[int], chance: float) -> None:
    """Some quantities of some rows taken from any other row."""
    for places in quantities():
        chosen = np.flatnonzero(rng.random(len(out)) < chance)
        others = rng.integers(0, len(out), size=chosen.size)
        columns = [start + k for start in starts for k in places]
        out[np.ix_(chosen, columns)] = out[np.ix_(others, columns)]


def _forgotten(out: NDArray[np.float32], rng: Random, first: int) -> None:
    """What nobody said: the place, the air outside, the idle speed, the rated boost, the compression."""

    def some() -> NDArray[np.intp]:
        return np.flatnonzero(rng.random(len(out)) < UNKNOWN_SHARE)

    out[np.ix_(some(), [first + k for k in NEEDS_AMBIENT])] = np.nan
    unsaid = some()
    out[np.ix_(unsaid, [first + k for k in NEEDS_THE_DAY])] = np.nan
    # Nobody said where the car was: its pressures are set against the usual pressure of the day.
    error = (DAY_SD * rng.standard_normal(unsaid.size)).astype(np.float32)
    out[np.ix_(unsaid, [first + k for k in OVER_THE_DAY])] += error[:, None]
    of_car = {name: first + len(NAMES) + k for k, name in enumerate(OF_CAR)}
    unsaid = some()
    idle = out[unsaid, of_car["idle"]]
    out[np.ix_(unsaid, [first + k for k in SPEEDS])] += np.log(idle / USUAL_IDLE)[:, None]
    out[unsaid, of_car["idle"]] = np.nan
    unsaid = some()
    boosted = out[unsaid, of_car["boost"]] != 0.0
    out[unsaid[boosted], of_car["boost"]] = np.nan
    out[some(), of_car["ambient"]] = np.nan
    out[some(), of_car["compression"]] = 10.0
