"""Many rehearsals, no two alike: engines, places, weather, drivers, loggers and faults drawn by seed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.air.build import Details
from airproof.engine.rehearsal.faults import CAUSES, UNSIZED, Fault, why_impossible
from airproof.engine.rehearsal.rehearse import Request, Scene
from airproof.engine.rehearsal.road.drives import Drive, named_drive
from airproof.engine.rehearsal.tables import tables
from airproof.engine.rehearsal.written.logger import logger_names
from airproof.engine.rehearsal.written.recording_file import dialect_names
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE

Random = np.random.Generator


@dataclass(frozen=True)
class Case:
    """One drawn rehearsal: what is driven, and how it is logged and written."""

    request: Request
    logger: str
    dialect: str


def draw(
    seed: int,
    place: int,
    *,
    faults: Sequence[Fault] | None = None,
    drive: Drive | None = None,
    logger: str | None = None,
    dialect: str | None = None,
) -> Case:
    """The case at that place of that seed's row: always the same, whichever others are drawn.

    `faults`, `drive`, `logger`, `dialect` hold where they are given; the rest is drawn. Where the drawn engine cannot
    have a given fault, another one is drawn.
    """
    rng = np.random.default_rng([seed, place])
    for _ in range(200):
        profile, details = _engine(rng)
        if all(why_impossible(fault.cause, profile, details) is None for fault in faults or ()):
            break
    drivers = tables("spread")["drivers"]
    scene = _scene(rng, float(rng.uniform(*drivers["brisk"])))
    drawn = _faults(rng, profile, details)
    driven = named_drive(_pick(rng, drivers["drives"]))
    own_logger, own_dialect = str(rng.choice(logger_names())), str(rng.choice(dialect_names()))
    request = Request(
        profile,
        details,
        drawn if faults is None else tuple(faults),
        drive or driven,
        scene,
        int(rng.integers(1, 2**31)),
    )
    return Case(request, logger or own_logger, dialect or own_dialect)


def _pick(rng: Random, shares: Mapping[str, float]) -> str:
    weights = np.array(list(shares.values()))
    return str(rng.choice(list(shares), p=weights / weights.sum()))


def _engine(rng: Random) -> tuple[EngineProfile, Details]:
    known = tables("spread")["engines"]
    kinds = known["kinds"]
    kind = kinds[int(rng.choice(len(kinds), p=[k["share"] for k in kinds]))]
    litres = round(float(rng.uniform(*kind["litres"])), 2)
    boosted = kind["induction"] != "naturally-aspirated"
    compression = known["compression_boosted"] if boosted else known["compression"]
    boost = round(float(rng.uniform(*kind["boost_kpa"])), 0)
    profile = EngineProfile(
        displacement_l=litres,
        cylinders=3 if litres < 1.25 else 4 if litres < 2.4 else 6,
        induction=kind["induction"],
        air_metering=_pick(rng, known["air_metering"]),  # type: ignore[arg-type]
        fuel=_pick(rng, known["fuel"]),  # type: ignore[arg-type]
        compression_ratio=round(float(rng.uniform(*compression)), 1),
        idle_rpm=round(float(rng.uniform(*known["idle_rpm"])), -1),
        rated_boost_kpa=boost if boosted else None,
    )
    mass = 600.0 + known["mass_per_litre"] * litres + 100.0 * float(rng.standard_normal())
    details = Details(
        injection=_pick(rng, known["injection"]),  # type: ignore[arg-type]
        barometer=_pick(rng, known["barometer"]),  # type: ignore[arg-type]
        egr=bool(rng.random() < known["egr_share"]),
        cams=_pick(rng, known["cams"]),  # type: ignore[arg-type]
        car_mass_kg=round(float(np.clip(mass, known["mass_least"], known["mass_most"])), 0),
    )
    return profile, details


def _scene(rng: Random, brisk: float) -> Scene:
    known = tables("spread")["places"]
    most = known["weather_most_kpa"]
    altitude = known["altitude_median_m"] * math.exp(0.9 * float(rng.standard_normal()))
    return Scene(
        altitude_m=round(min(altitude, known["altitude_most_m"]), 0),
        weather_kpa=round(float(np.clip(rng.standard_normal() * known["weather_kpa"], -most, most)), 2),
        ambient_c=round(float(rng.uniform(*known["ambient_c"])), 0),
        brisk=round(brisk, 2),
    )


def _faults(rng: Random, profile: EngineProfile, details: Details) -> tuple[Fault, ...]:
    known = tables("spread")["faults"]
    weights = {NONE: knowledge().causes[NONE].weight}
    weights |= {c: knowledge().causes[c].weight for c in CAUSES if why_impossible(c, profile, details) is None}
    first = _pick(rng, weights)
    names = [] if first == NONE else [first]
    if names and rng.random() < known["two_share"]:
        others = {c: w for c, w in weights.items() if c not in (NONE, first)}
        names.append(_pick(rng, others))
    return tuple(_fault(rng, name) for name in names)


def _fault(rng: Random, cause: str) -> Fault:
    known = tables("spread")["faults"]
    course: dict[Literal["from_s", "over_s", "on_s", "off_s"], float] = {}
    way = rng.random()
    drawn = {name: round(float(rng.uniform(*known[f"{where}_s"])), 1) for name, where in _COURSES.items()}
    if way < known["ramp_share"]:
        course = {"from_s": drawn["from_s"], "over_s": drawn["over_s"]}
    elif way < known["ramp_share"] + known["on_off_share"]:
        course = {"on_s": drawn["on_s"], "off_s": drawn["off_s"]}
    return Fault(cause, _size(rng, cause), **course)


_COURSES = {"from_s": "ramp_from", "over_s": "ramp_over", "on_s": "on", "off_s": "off"}


def _size(rng: Random, cause: str) -> float:
    """A size a driver notices: spread in the logarithm, most often near the typical one."""
    sizes = knowledge().causes[cause].size
    if sizes is None:
        _, usual, least, most = UNSIZED[cause]
        if cause == "map-circuit":
            return float(rng.integers(1, 3))
        sign = float(rng.choice([-1.0, 1.0])) if least < 0.0 else 1.0
        return round(sign * float(rng.uniform(max(0.4 * usual, least), min(1.8 * usual, most))), 1)
    value = math.exp(float(rng.triangular(math.log(sizes.low), math.log(sizes.typical), math.log(sizes.high))))
    return float(f"{value * (float(rng.choice([-1.0, 1.0])) if sizes.signed else 1.0):.3g}")
