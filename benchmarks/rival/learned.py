"""What rehearsals teach of the summaries: what a healthy car shows, how far cars stray, what each cause does to them.

The healthy value of each summary is linear in what is known of car and day. What a cause does is its shift: a smooth
function of its size, moved by induction and metering, learnt from rehearsals of the same car with and without it. What
is left over, of healthy cars and of shifts, are covariances. All of it is one data file (`learned.npz`), made by
learn_summaries.py, which states seeds and numbers in it; how far makers differ beyond the rehearsals is
judged and stands in `makers.toml`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from summaries import NAMES

from airproof.diagnosis.case import Case
from airproof.engine.profile import EngineProfile
from airproof.knowledge.load import knowledge

HERE = Path(__file__).resolve().parent
Floats = NDArray[np.float64]

INDUCTIONS = ("naturally-aspirated", "turbocharged", "supercharged")
METERINGS = ("air-flow sensor", "speed-density", "both")
USUAL_BOOST_KPA = {"naturally-aspirated": 0.0, "turbocharged": 90.0, "supercharged": 60.0}

LEAST = np.array([-0.7, -1.2, -1.2, 0.0, -3.5, -2.0, -1.9, 0.0])
MOST = np.array([0.7, 1.5, 1.2, 1.0, 1.2, 1.8, 2.2, 1.0])
"""The rehearsed range of a context's numbers: beyond it the nearest rehearsed car stands in."""

KNOTS = np.array([0.0, 0.3, 0.55, 0.8, 1.1])
"""Of the size of a cause, its logarithm from low (0) to high (1); shifts are linear in between."""

STRAY_BINS = (0.4, 0.65)
"""Where, on the same scale, small, middling and large sizes part, whose shifts stray differently."""

UNSIZED = {"map-circuit": (1.0, 2.0), "valve-timing": (4.0, 50.0), "ignition": (2.0, 20.0), "control-unit": (4.0, 30.0)}
BOTH_WAYS = ("control-unit",)
MOST_STUCK_KPA = 300.0


@dataclass(frozen=True)
class Context:
    """What is known of a car and its day: `numbers` (8,), scaled to about one, and places in INDUCTIONS, METERINGS."""

    numbers: Floats
    induction: int
    metering: int


def context_of(profile: EngineProfile, day_kpa: float, ambient_c: float | None, spacing_s: float) -> Context:
    """The context; `spacing_s` is the usual time between two samples of the manifold pressure."""
    boost = profile.rated_boost_kpa if profile.rated_boost_kpa is not None else USUAL_BOOST_KPA[profile.induction]
    numbers = np.array(
        [
            np.log(profile.displacement_l / 1.8),
            (profile.compression_ratio - 10.0) / 1.5,
            ((profile.idle_rpm or 750.0) - 750.0) / 100.0,
            np.log1p(boost / 100.0),
            (day_kpa - 98.0) / 5.0,
            (0.0 if ambient_c is None else ambient_c - 15.0) / 12.0,
            np.log(max(spacing_s, 1e-3) / 0.3),
            float(profile.fuel != "petrol"),
        ]
    )
    return Context(
        np.clip(numbers, LEAST, MOST), INDUCTIONS.index(profile.induction), METERINGS.index(profile.air_metering)
    )


def context_of_case(case: Case, day_kpa: float) -> Context:
    """The context of a case."""
    signal = case.recording.get("manifold_pressure") or case.recording.get("engine_speed")
    spacing = float(np.median(np.diff(signal.time))) if signal is not None and len(signal) > 2 else 1.0
    return context_of(case.profile, day_kpa, case.ambient_c, spacing)


def healthy_design(context: Context) -> Floats:
    """What the healthy values are linear in."""
    z, boosted = context.numbers, float(context.induction > 0)
    density, both = float(context.metering == 1), float(context.metering == 2)
    kind = [1.0, boosted, float(context.induction == 2), density, both, boosted * density, boosted * both]
    return np.concatenate([kind, z, boosted * z[[0, 3, 4, 6]], np.square(z[[4, 5, 6]])])


def signed(cause: str) -> bool:
    """Whether the cause goes both ways."""
    size = knowledge().causes[cause].size
    return cause in BOTH_WAYS or (size is not None and size.signed)


def scaled(cause: str, sizes: Floats) -> Floats:
    """Sizes (S,) on the logarithmic scale from low (0) to high (1), without sign."""
    sizes = np.abs(np.asarray(sizes, dtype=np.float64))
    if cause == "map-stuck":  # any pressure alike
        return np.asarray(sizes / MOST_STUCK_KPA)
    size = knowledge().causes[cause].size
    low, high = UNSIZED[cause] if size is None or cause in UNSIZED else (size.low, size.high)
    return np.asarray(np.clip(np.log(np.maximum(sizes, 1e-9) / low) / np.log(high / low), -0.1, 1.15))


def shift_design(cause: str, sizes: Floats, context: Context) -> Floats:
    """What the shifts of a cause are linear in, for each size: (S, K)."""
    sizes = np.asarray(sizes, dtype=np.float64)
    scale = scaled(cause, sizes)
    hats = np.stack([np.interp(scale, KNOTS, row) for row in np.eye(KNOTS.size)], axis=1)
    way = np.where((sizes < 0.0) & signed(cause), -1.0, 1.0)
    if signed(cause):
        hats = np.concatenate([hats * (way > 0)[:, None], hats * (way < 0)[:, None]], axis=1)
    boosted, density = float(context.induction > 0) - 0.55, float(context.metering == 1) - 0.35
    kinds = (
        1.0,
        boosted,
        density,
        float(context.metering == 2) - 0.2,
        density * boosted,
        float(context.induction == 2) - 0.1,
    )
    moved = [(way * scale * context.numbers[k])[:, None] for k in (0, 3, 4, 6)]
    return np.concatenate([*(hats * kind for kind in kinds), *moved], axis=1)


@dataclass(frozen=True)
class Learned:
    """`healthy` (H, P) and `shifts[c]` (K, P) are coefficients; `spread` (2, P, P) of healthy cars, without boost and
    with; `day` (P, P) of one car from day to day; `strays[c]` (3, P, 1 + R): by bin of size, standard deviations on
    their own and factors of what shifts leave over.
    """

    healthy: Floats
    spread: Floats
    day: Floats
    shifts: Mapping[str, Floats]
    strays: Mapping[str, Floats]

    def expected(self, context: Context) -> Floats:
        """Healthy values (P,)."""
        return np.asarray(healthy_design(context) @ self.healthy)

    def shift(self, cause: str, sizes: Floats, context: Context) -> Floats:
        """How far the cause moves each summary: (S, P)."""
        return np.asarray(shift_design(cause, sizes, context) @ self.shifts[cause])

    def stray(self, cause: str, which: int) -> Floats:
        """Covariance (P, P) of the shifts of small (0), middling (1) or large (2) sizes."""
        own, factors = self.strays[cause][which][:, 0], self.strays[cause][which][:, 1:]
        return np.asarray(np.diag(np.square(own)) + factors @ factors.T)


@cache
def learned() -> Learned:
    """What the data file holds."""
    with (HERE / "learned.npz").open("rb") as file:
        held = np.load(file)
        arrays = {name: held[name].astype(np.float64) for name in held.files if held[name].dtype.kind == "f"}
    causes = [name.removeprefix("shift ") for name in arrays if name.startswith("shift ")]
    return Learned(
        arrays["healthy"],
        arrays["spread"],
        arrays["day"],
        {cause: arrays[f"shift {cause}"] for cause in causes},
        {cause: arrays[f"stray {cause}"] for cause in causes},
    )


@cache
def _judged() -> dict[str, dict[str, float]]:
    found = tomllib.loads((HERE / "makers.toml").read_text("utf-8"))
    return {name: {k: float(v) for k, v in table.items() if k != "source"} for name, table in found.items()}


def _place(name: str) -> int:
    return NAMES.index(name)


@cache
def makers_spread(idle_stated: bool, boost_stated: bool) -> Floats:
    """Covariance (P, P) of how far makers differ beyond the rehearsals, by what the profile states."""
    judged = _judged()
    loads = ("idle", "light", "middle", "high", "full")
    own = np.array([judged["own"].get(name, judged["each"].get(name.partition("_")[2], np.nan)) for name in NAMES])
    total = np.zeros((own.size, own.size))
    for what, sd in judged["shared"].items():
        alike = [k for k, name in enumerate(NAMES) if name in {f"{load}_{what}" for load in loads}]
        total[np.ix_(alike, alike)] += sd**2
    for what, sd in judged["restless"].items():
        alike = [_place(f"idle_{what}"), _place(f"{what}_cruise")]
        total[np.ix_(alike, alike)] += sd**2
    for name, sd in judged["idle-not-stated"].items() if not idle_stated else ():
        own[_place(name)] = max(own[_place(name)], sd)
    if not boost_stated:
        alike = [_place(name) for name in ("full_p", "full_charge", "full_load")]
        total[np.ix_(alike, alike)] += judged["boost-not-stated"]["shared"] ** 2
        own[_place("full_gate")] = judged["boost-not-stated"]["full_gate"]
    return np.asarray(total + np.diag(np.square(own)))


@cache
def another_drive() -> Floats:
    """Covariance (P, P) of how far one car driven in another way strays beyond the rehearsals' other day."""
    judged = _judged()
    own = [
        judged["daily"].get(name, judged["daily-each"].get(name.partition("_")[2], 0.5 * judged["own"].get(name, 0.05)))
        for name in NAMES
    ]
    return np.diag(np.square(own))
