"""Rehearsals to learn from: each drawn car healthy on two days and with a few faults, as the weighing would see it.

    python learning/gather.py FOLDER CARS SEED [good | kept]

With `good` they are all judged with a known-good recording, of one healthy day and of another, and never without. With
`kept` they are not to be learnt from, but to find how loudly forest and net are heard (`grow.py`): then all are judged
by the checks too, and nearly all with a known-good recording.

Writes one file of rows for every 20 cars, on all cores; files that are there are kept, so that it can be stopped and
taken up again. What stands in a file depends on seed and places alone.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
from bent import BEND, bend_everything
from numpy.typing import NDArray
from untidy import untidy

from airproof.diagnosis import examine
from airproof.diagnosis.case import Case
from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.hypotheses import Hypotheses, hypotheses_for
from airproof.diagnosis.picture.features import AGAIN, again, first_time
from airproof.diagnosis.testimony import Testimony
from airproof.diagnosis.told import from_codes
from airproof.engine.air_path import another_day, generic_belief, learn_engine
from airproof.engine.rehearsal.compare import as_recording
from airproof.engine.rehearsal.faults import CAUSES, Fault, why_impossible
from airproof.engine.rehearsal.many import logged
from airproof.engine.rehearsal.rehearse import Rehearsal, rehearse
from airproof.engine.rehearsal.spread import _fault, draw
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE
from airproof.recording.recording import Recording

Floats = NDArray[np.float64]
Random = np.random.Generator
NOTHING: Floats = np.empty(0)

CARS_A_FILE = 20
FAULTS_A_CAR = 4
USUAL_LOGGER, USUAL_SHARE = "grouped", 0.7  # three samples a second of each signal; the others are drawn
ALTITUDE_SD_M = 40.0  # by which the altitude told is wrong
THINNED_SHARE, MOST_LEFT_OUT = 0.25, 0.7  # of the recordings; of their signals
EXCERPT_SHARE, EXCERPT_S = 0.6, (50.0, 320.0)  # of the recordings are also judged from a part of the drive, so long
SLOWER = (1, 1, 2, 4, 6)  # excerpts keep every so manieth sample, as a slow logger would
ALWAYS = ("engine_speed", "manifold_pressure")
WITH_GOOD_SHARE = 0.9  # of the recordings of cars kept are also judged with another healthy day as known good
GOOD_DAYS = (1, 2)  # those that are known good, where all are judged so
FAULTS_COMPARED = 6  # of a car, then: a change is much alike in all cars, so that fewer cars do
ALL = tuple(knowledge().causes)


@dataclass(frozen=True)
class Row:
    """One recording as it is learnt from. Evidence is ln of the marginal likelihood by cause, against `none`; `good` is
    the day of the known-good recording, 0 without; `reduced` are excerpts and recordings that lack signals.
    """

    first: Floats
    again: Floats | None
    checks: Floats
    codes: Floats
    cause: str
    size: float
    car: int
    day: int
    good: int
    reduced: bool
    logger: str


def evidence(hypotheses: Hypotheses, testimonies: Sequence[Testimony]) -> Floats:
    """ln evidence (ALL,) of each cause against none, its sizes integrated out; NaN for what the engine cannot have."""
    found = np.full(len(ALL), np.nan)
    for cause, prior in hypotheses.log_prior.items():
        row = prior - np.logaddexp.reduce(prior)
        for testimony in testimonies:
            row = row + testimony.log_likelihood[cause]
        found[ALL.index(cause)] = np.logaddexp.reduce(row)
    return found - found[ALL.index(NONE)]


def thinned(recording: Recording, rng: Random) -> Recording:
    """The recording with some signals left out."""
    out = rng.uniform(0.0, MOST_LEFT_OUT)
    kept = {n: s for n, s in recording.signals.items() if n in ALWAYS or rng.random() > out}
    return replace(recording, signals=kept)


def excerpt(recording: Recording, rng: Random) -> Recording:
    """A part of the recording: somebody began late, stopped early, or never got out of town."""
    start, end = recording.start_s, recording.end_s
    length = float(np.exp(rng.uniform(*np.log(EXCERPT_S))))
    begin = float(rng.uniform(start, max(end - length, start)))
    part = recording.between(begin, begin + length)
    return replace(part, signals={n: s for n, s in part.signals.items() if len(s)})


def slower(recording: Recording, times: int) -> Recording:
    """Every so manieth sample of each signal, not all of the same moment."""
    kept = {
        name: replace(s, time=s.time[k % times :: times], values=s.values[k % times :: times])
        for k, (name, s) in enumerate(recording.signals.items())
    }
    return replace(recording, signals={name: s for name, s in kept.items() if len(s)})


def alike(good: Recording, seen: Recording) -> Recording:
    """The known-good recording with no other signals than the one at hand."""
    return replace(good, signals={n: s for n, s in good.signals.items() if n in seen.signals})


def row(
    done: Rehearsal, recording: Recording, good: Recording | None, altitude_off_m: float, told: Row, *, checked: bool
) -> Row:  # fmt: skip
    """`told` with everything that is seen filled in; what the checks say only where `checked`."""
    request = done.request
    weather = barometer_of(altitude_m=request.scene.altitude_m + altitude_off_m)
    hypotheses = hypotheses_for(knowledge(), request.profile, frozenset(recording), healthy_share=0.2)
    belief, ambient_c = generic_belief(request.profile), request.scene.ambient_c

    def case_of(one: Recording, goods: Sequence[Case] = ()) -> Case:
        return examine.case_of(one, request.profile, weather, belief, hypotheses, ambient_c, goods)

    goods = [] if good is None else [case_of(good)]
    for known in goods if checked else ():
        belief = another_day(learn_engine(belief, known.path))
    case = replace(case_of(recording, goods), baselines=tuple(goods))
    singles = [testimony for check in examine.CHECKS for testimony in check(case)] if checked else []
    codes = sorted({*done.codes.confirmed, *done.codes.pending})
    return replace(
        told,
        first=first_time(case),
        again=again(case) if goods else None,
        checks=evidence(hypotheses, singles) if checked else np.full(len(ALL), np.nan),
        codes=evidence(hypotheses, from_codes(codes, knowledge(), hypotheses.sizes)),
    )


@dataclass(frozen=True)
class Driven:
    """One drawn car: its rehearsals of some days, with faults and without, and what was logged of each."""

    place: int
    rehearsals: Sequence[Rehearsal]
    logger: str
    altitude_off_m: float

    def recordings(self) -> list[Recording]:
        return [as_recording(logged(one, self.logger), "rehearsed") for one in self.rehearsals]

    def told(self, one: Rehearsal) -> Row:
        """What is known of any row of that rehearsal, before anything is seen."""
        fault = one.request.faults[0] if one.request.faults else None
        return Row(
            NOTHING, None, NOTHING, NOTHING, fault.cause if fault else NONE, fault.size if fault else 0.0, self.place,
            one.request.day, 0, False, self.logger,
        )  # fmt: skip


def drive_car(seed: int, place: int, rng: Random, healthy_days: Sequence[int], faults: int) -> Driven:
    """The car at that place of that seed's row, healthy on those days and with so many faults on day 0."""
    BEND.level, BEND.seed = 1.0, 1000 * seed + place
    drawn = draw(seed, place, faults=())
    request = untidy(drawn.request, rng)
    logger = USUAL_LOGGER if rng.random() < USUAL_SHARE else drawn.logger
    possible = [c for c in CAUSES if why_impossible(c, request.profile, request.details) is None]
    weight = np.sqrt([knowledge().causes[c].weight for c in possible])
    chosen = rng.choice(possible, size=min(faults, len(possible)), replace=False, p=weight / weight.sum())
    altitude_off_m = float(rng.normal(0.0, ALTITUDE_SD_M))
    jobs: list[tuple[tuple[Fault, ...], int]] = [((), day) for day in healthy_days]
    jobs += [((_fault(rng, str(cause)),), 0) for cause in chosen]
    driven = [rehearse(replace(request, faults=faults, day=day)) for faults, day in jobs]
    return Driven(place, driven, logger, altitude_off_m)


def rows_of_car(seed: int, place: int, *, kept: bool) -> list[Row]:
    """All rows of the car at that place of that seed's row, to be learnt from or kept back."""
    rng = np.random.default_rng([seed, place, 5])
    driven = drive_car(seed, place, rng, (0, 1), FAULTS_A_CAR)
    return usual_rows(driven, driven.recordings(), rng, kept=kept)


def usual_rows(driven: Driven, recordings: Sequence[Recording], rng: Random, *, kept: bool) -> list[Row]:
    """Rows of a car met for the first time; of one that is kept, most also with its known-good recording."""
    with_good = WITH_GOOD_SHARE if kept else 0.0
    off, good = driven.altitude_off_m, recordings[1]
    rows = []
    for one, recording in zip(driven.rehearsals, recordings, strict=True):
        told = driven.told(one)
        compared = replace(told, good=1)
        can_compare = one.request.day == 0
        thin = bool(rng.random() < THINNED_SHARE)
        seen = thinned(recording, rng) if thin else recording
        rows.append(row(one, seen, None, off, replace(told, reduced=thin), checked=kept))
        if can_compare and rng.random() < with_good:
            rows.append(row(one, seen, alike(good, seen), off, replace(compared, reduced=thin), checked=kept))
        if rng.random() < EXCERPT_SHARE:
            part, times = some_of(recording, rng)
            if part is None:
                continue
            rows.append(row(one, part, None, off, replace(told, reduced=True), checked=kept))
            if can_compare and rng.random() < 2.0 * with_good:
                other = some_of_good(good, part, times, rng)
                rows.append(row(one, part, other, off, replace(compared, reduced=True), checked=kept))
    return rows


def compared_rows_of_car(seed: int, place: int) -> list[Row]:
    """All rows of the car at that place of that seed's row, each with a known-good recording, to be learnt from."""
    rng = np.random.default_rng([seed, place, 6])
    driven = drive_car(seed, place, rng, (*GOOD_DAYS, 0), FAULTS_COMPARED)
    return compared_rows(driven, driven.recordings(), rng)


def compared_rows(driven: Driven, recordings: Sequence[Recording], rng: Random) -> list[Row]:
    """Rows of a car, each with a known-good recording of it."""
    off = driven.altitude_off_m
    known_good = dict(zip(GOOD_DAYS, recordings, strict=False))
    rows = []
    for one, recording in zip(driven.rehearsals, recordings, strict=True):
        goods = [day for day in GOOD_DAYS if day > one.request.day]
        for day in goods:
            told = replace(driven.told(one), good=day)
            thin = bool(rng.random() < THINNED_SHARE)
            seen = thinned(recording, rng) if thin else recording
            rows.append(row(one, seen, alike(known_good[day], seen), off, replace(told, reduced=thin), checked=False))
        if goods and rng.random() < EXCERPT_SHARE:
            part, times = some_of(recording, rng)
            if part is None:
                continue
            day = int(rng.choice(goods))
            told = replace(driven.told(one), good=day, reduced=True)
            rows.append(row(one, part, some_of_good(known_good[day], part, times, rng), off, told, checked=False))
    return rows


def some_of(recording: Recording, rng: Random) -> tuple[Recording | None, int]:
    """A part of the recording as a slow logger would have it, and how slow; None where too little is left."""
    times = int(rng.choice(SLOWER))
    part = slower(excerpt(recording, rng), times)
    part = thinned(part, rng) if rng.random() < THINNED_SHARE else part
    return (part if all(name in part for name in ALWAYS) else None), times


def some_of_good(good: Recording, part: Recording, times: int, rng: Random) -> Recording:
    """What there may be of the known-good recording beside that part of another, by the same logger."""
    return alike(slower(excerpt(good, rng) if rng.random() < 0.7 else good, times), part)


def gather(folder: Path, seed: int, first: int, last: int, way: str) -> Path:
    """Write the rows of the cars at these places, unless they are there; `way` is as on the command line."""
    path = folder / f"rows_{seed}_{first:05d}.npz"
    if path.exists():
        return path
    bend_everything()
    rows_of = partial(rows_of_car, kept=way == "kept") if way != "good" else compared_rows_of_car
    rows = [one for place in range(first, last) for one in rows_of(seed, place)]
    unknown = np.full(len(AGAIN), np.nan)
    columns: dict[str, NDArray[np.generic]] = {
        "first": np.array([r.first for r in rows], dtype=np.float32),
        "again": np.array([unknown if r.again is None else r.again for r in rows], dtype=np.float32),
        "with_good": np.array([r.again is not None for r in rows]),
        **{name: np.array([getattr(r, name) for r in rows]) for name in Row.__annotations__ if name not in
           ("first", "again")},
    }  # fmt: skip
    unfinished = path.with_suffix(".part.npz")
    np.savez_compressed(unfinished, **columns)  # type: ignore[arg-type]
    unfinished.replace(path)
    return path


def main() -> None:
    folder, cars, seed, way = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), (sys.argv[4:] or [""])[0]
    folder.mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor() as pool:
        starts = range(0, cars, CARS_A_FILE)
        todo = [pool.submit(gather, folder, seed, a, min(a + CARS_A_FILE, cars), way) for a in starts]
        for number, one in enumerate(todo):
            one.result()
            print(f"\r{CARS_A_FILE * (number + 1)} of {cars} cars", end="", flush=True)
    print()


if __name__ == "__main__":
    main()
