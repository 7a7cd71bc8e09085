"""How verdicts fare on fresh rehearsals: right first, among three, how sure, sizes held, healthy cars left alone.

    python benchmarks/verdict_quality.py [NUMBER [SEED [WAY...]]]

Every case is a simulated car of our own invention; each signal is logged three times a second, codes are given, the
engine is known by what its profile states. The ways are: plain; bent (engines of another efficiency form, throttle law
and turbocharger than the simulator's); displacement (stated 10 % wrong); altitude (stated 100 m wrong); half (half of
the signals missing); good (with a known-good recording of the same car on another day); bare (no codes
given); sisters (good recordings of three other cars of the type).
Figures come with their standard error.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1] / "learning"))
from bent import BEND, bend_everything

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.verdict import Verdict
from airproof.diagnosis.weigh import weigh
from airproof.engine.rehearsal.compare import as_recording
from airproof.engine.rehearsal.faults import CAUSES, why_impossible
from airproof.engine.rehearsal.many import logged
from airproof.engine.rehearsal.rehearse import Request, rehearse
from airproof.engine.rehearsal.spread import _fault, draw
from airproof.knowledge.load import knowledge
from airproof.recording.recording import Recording

LOGGER = "grouped"
WAYS = ("plain", "bent", "displacement", "altitude", "half", "good", "bare", "sisters")
HEALTHY_SHARE = 0.25  # as many healthy cars beside the faulty ones
MORE_BENT = 2.0  # of the spread that was learnt from
ALWAYS = ("engine_speed", "manifold_pressure")
ACCUSED_FROM = 0.5
SENSOR = ("map-offset", "map-gain", "map-slow", "map-stuck", "map-intermittent", "map-circuit", "supply-reference",
          "boost-sensor-scale")  # fmt: skip


@dataclass(frozen=True)
class Judged:
    """One verdict beside the truth."""

    really: str
    size: float
    first: str
    first_p: float
    three: tuple[str, ...]
    truth_p: float
    size_held: bool | None


def request_of(seed: int, place: int, faulty: bool) -> Request:
    """The drawn case, with one fault by the weights of the causes, or none."""
    drawn = draw(seed, place, faults=()).request
    if not faulty:
        return drawn
    rng = np.random.default_rng([seed, place, 3])
    possible = [c for c in CAUSES if why_impossible(c, drawn.profile, drawn.details) is None]
    weight = np.array([knowledge().causes[c].weight for c in possible])
    return replace(drawn, faults=(_fault(rng, str(rng.choice(possible, p=weight / weight.sum()))),))


def recorded(request: Request) -> tuple[Recording, list[str]]:
    """What was logged, and the codes."""
    done = rehearse(request)
    return as_recording(logged(done, LOGGER), "rehearsed"), sorted({*done.codes.confirmed, *done.codes.pending})


def judge(place: int, *, seed: int, way: str, faulty: bool) -> Judged:
    """The verdict on the case at that place."""
    BEND.level, BEND.seed = (MORE_BENT if way == "bent" else 0.0), 1000 * seed + place
    if way == "bent":
        bend_everything()
    request = request_of(seed, place, faulty)
    rng = np.random.default_rng([seed, place, 4])
    recording, codes = recorded(request)
    profile, altitude_m = request.profile, request.scene.altitude_m
    baselines: list[Recording] = []
    sisters: list[Recording] = []
    match way:
        case "displacement":
            wrong = profile.displacement_l * float(rng.choice([0.9, 1.1]))
            profile = profile.model_copy(update={"displacement_l": wrong})
        case "altitude":
            altitude_m += float(rng.choice([-100.0, 100.0]))
        case "half":
            others = [name for name in recording if name not in ALWAYS]
            kept = {*ALWAYS, *rng.choice(others, size=len(others) // 2, replace=False)}
            recording = replace(recording, signals={n: s for n, s in recording.signals.items() if n in kept})
        case "good":
            baselines = [recorded(replace(request, faults=(), day=1))[0]]
        case "bare":
            codes = []
        case "sisters":
            sisters = [recorded(replace(request, faults=(), seed=request.seed + k))[0] for k in (1, 2, 3)]
        case _:
            pass
    verdict = weigh(
        [recording], profile, baselines=baselines, sisters=sisters, codes=codes,
        barometer=barometer_of(altitude_m=altitude_m), ambient_c=request.scene.ambient_c,
    ).verdict  # fmt: skip
    fault = request.faults[0] if request.faults else None
    return _beside("none" if fault is None else fault.cause, 0.0 if fault is None else fault.size, verdict)


def _beside(really: str, size: float, verdict: Verdict) -> Judged:
    found = next((c for c in verdict.causes if c.id == really), None)
    held = None
    if found is not None and found.size is not None and verdict.first.id == really:
        held = found.size.low <= size <= found.size.high
    three = tuple(c.id for c in verdict.causes[:3])
    return Judged(really, size, verdict.first.id, verdict.first.probability, three, verdict.probability(really), held)


def calibration_error(judged: Sequence[Judged]) -> float:
    """Mean distance, over tenths of confidence, between how sure the first cause was and how often it was right."""
    bins: dict[int, list[Judged]] = {}
    for one in judged:
        bins.setdefault(min(int(10 * one.first_p), 9), []).append(one)
    gaps = [abs(sum(o.first == o.really for o in some) - sum(o.first_p for o in some)) for some in bins.values()]
    return sum(gaps) / len(judged)


def percent(hits: int, of: int) -> str:
    """A share in percent with its standard error."""
    share = hits / max(of, 1)
    return f"{100 * share:.1f} +-{100 * np.sqrt(share * (1 - share) / max(of, 1)):.1f}"


HEAD = (
    "| way | right first % | among three % | mean p of the truth | calibration error | 90 % interval holds % | "
    "another above 0.5 % | manifold or charge sensor accused first when innocent % | healthy accused % |"
)


def line(way: str, faulty: Sequence[Judged], healthy: Sequence[Judged]) -> str:
    """One line of the table."""
    count = len(faulty)
    right = percent(sum(o.first == o.really for o in faulty), count)
    three = percent(sum(o.really in o.three for o in faulty), count)
    p = np.array([o.truth_p for o in faulty])
    mean = f"{p.mean():.3f} +-{p.std() / np.sqrt(count):.3f}"
    held = [o.size_held for o in faulty if o.size_held is not None]
    wrong = percent(sum(o.first not in (o.really, "none") and o.first_p > ACCUSED_FROM for o in faulty), count)
    innocent = [o for o in (*faulty, *healthy) if o.really not in SENSOR]
    sensor = percent(sum(o.first in SENSOR for o in innocent), len(innocent))
    accused = percent(sum(o.first != "none" for o in healthy), len(healthy))
    error = calibration_error([*faulty, *healthy])
    return (
        f"| {way} | {right} | {three} | {mean} | {error:.3f} | {percent(sum(held), len(held))} | {wrong} | {sensor} | "
        f"{accused} |"
    )


def by_cause(faulty: Sequence[Judged]) -> None:
    """A table of the causes."""
    print("\n| cause | cases | first | among three | mean p | what came first instead |\n|---|---|---|---|---|---|")
    for cause in sorted({one.really for one in faulty}):
        these = [one for one in faulty if one.really == cause]
        first = sum(one.first == cause for one in these)
        three = sum(cause in one.three for one in these)
        instead = Counter(one.first for one in these if one.first != cause).most_common(3)
        told = ", ".join(f"{name} {n}" for name, n in instead)
        mean = np.mean([one.truth_p for one in these])
        print(f"| {cause} | {len(these)} | {first} | {three} | {mean:.2f} | {told} |")


def judge_all(number: int, seed: int, way: str) -> tuple[list[Judged], list[Judged]]:
    """Faulty and healthy cases, on all cores; each way in processes of its own, as bending stays with a process."""
    with ProcessPoolExecutor() as pool:
        faulty = pool.map(partial(judge, seed=seed, way=way, faulty=True), range(number), chunksize=4)
        without = range(number, number + int(HEALTHY_SHARE * number))
        healthy = pool.map(partial(judge, seed=seed, way=way, faulty=False), without, chunksize=4)
        return list(faulty), list(healthy)


def main() -> None:
    words = sys.argv[1:]
    number, seed = int([*words, "1000"][0]), int(words[1]) if len(words) > 1 else 1
    for way in words[2:] or WAYS:
        faulty, healthy = judge_all(number, seed, way)
        print(f"\n{HEAD}\n{'|---' * 9}|")
        print(line(way, faulty, healthy), flush=True)
        if way in ("plain", "good"):
            by_cause(faulty)


if __name__ == "__main__":
    main()
