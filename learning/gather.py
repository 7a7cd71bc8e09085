"""Rehearsals to learn from: each drawn car healthy on two days and with a few faults, as the weighing would see it.

    python learning/gather.py FOLDER CARS SEED [kept]

With `kept` they are not to be learnt from, but to find how loudly forest and net are heard (`hear.py`): then all are
judged by the checks too, and nearly all with a known-good recording.

Writes one file of rows for every 20 cars, on all cores; files that are there are kept, so that it can be stopped and
taken up again. What stands in a file depends on seed and places alone.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
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
CHECKED_EVERY = 3  # only every so manieth car is also judged by the checks, which takes its time: to find the shares
WITH_GOOD_SHARE = 0.45  # of whole recordings are also judged with another healthy day as known good
WITH_GOOD_KEPT = 0.9  # of those of cars that are kept back
ALL = tuple(knowledge().causes)


@dataclass(frozen=True)
class Row:
    """One recording as it is learnt from. Evidence is ln of the marginal likelihood by cause, against `none`; `reduced`
    are excerpts and recordings that lack signals.
    """

    first: Floats
    again: Floats | None
    checks: Floats
    codes: Floats
    cause: str
    size: float
    car: int
    day: int
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


def rows_of_car(seed: int, place: int, *, kept: bool) -> list[Row]:
    """All rows of the car at that place of that seed's row, to be learnt from or kept back."""
    BEND.level, BEND.seed = 1.0, 1000 * seed + place
    rng = np.random.default_rng([seed, place, 5])
    drawn = draw(seed, place, faults=())
    request = untidy(drawn.request, rng)
    checked, with_good = kept or place % CHECKED_EVERY == 0, WITH_GOOD_KEPT if kept else WITH_GOOD_SHARE
    logger = USUAL_LOGGER if rng.random() < USUAL_SHARE else drawn.logger
    possible = [c for c in CAUSES if why_impossible(c, request.profile, request.details) is None]
    weight = np.sqrt([knowledge().causes[c].weight for c in possible])
    chosen = rng.choice(possible, size=FAULTS_A_CAR, replace=False, p=weight / weight.sum())
    altitude_off_m = float(rng.normal(0.0, ALTITUDE_SD_M))
    jobs: list[tuple[tuple[Fault, ...], int]] = [((), 0), ((), 1)]
    jobs += [((_fault(rng, str(cause)),), 0) for cause in chosen]
    driven = [rehearse(replace(request, faults=faults, day=day)) for faults, day in jobs]
    recordings = [as_recording(logged(one, logger), "rehearsed") for one in driven]
    rows = []
    good = recordings[1]
    for one, recording in zip(driven, recordings, strict=True):
        fault = one.request.faults[0] if one.request.faults else None
        told = Row(
            NOTHING, None, NOTHING, NOTHING, fault.cause if fault else NONE, fault.size if fault else 0.0, place,
            one.request.day, False, logger,
        )  # fmt: skip
        can_compare = one.request.day == 0
        thin = bool(rng.random() < THINNED_SHARE)
        seen = thinned(recording, rng) if thin else recording
        rows.append(row(one, seen, None, altitude_off_m, replace(told, reduced=thin), checked=checked))
        if can_compare and rng.random() < with_good:
            rows.append(row(one, seen, alike(good, seen), altitude_off_m, replace(told, reduced=thin), checked=checked))
        if rng.random() < EXCERPT_SHARE:
            times = int(rng.choice(SLOWER))
            part = slower(excerpt(recording, rng), times)
            part = thinned(part, rng) if rng.random() < THINNED_SHARE else part
            if not all(name in part for name in ALWAYS):
                continue
            rows.append(row(one, part, None, altitude_off_m, replace(told, reduced=True), checked=checked))
            if can_compare and rng.random() < 2.0 * with_good:
                other = slower(excerpt(good, rng) if rng.random() < 0.7 else good, times)
                rows.append(
                    row(one, part, alike(other, part), altitude_off_m, replace(told, reduced=True), checked=checked)
                )
    return rows


def gather(folder: Path, seed: int, first: int, last: int, kept: bool) -> Path:
    """Write the rows of the cars at these places, unless they are there."""
    path = folder / f"rows_{seed}_{first:05d}.npz"
    if path.exists():
        return path
    bend_everything()
    rows = [one for place in range(first, last) for one in rows_of_car(seed, place, kept=kept)]
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
    folder, cars, seed, kept = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), sys.argv[4:] == ["kept"]
    folder.mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor() as pool:
        starts = range(0, cars, CARS_A_FILE)
        todo = [pool.submit(gather, folder, seed, a, min(a + CARS_A_FILE, cars), kept) for a in starts]
        for number, one in enumerate(todo):
            one.result()
            print(f"\r{CARS_A_FILE * (number + 1)} of {cars} cars", end="", flush=True)
    print()


if __name__ == "__main__":
    main()
