"""How verdicts fare on faults that grow, or that come and go within seconds, beside those that stay and healthy cars.

    python benchmarks/fault_courses.py [NUMBER OF EACH KIND [SEED]]

Every case is a simulated car of our own invention, drawn as for `verdict_quality.py`, its fault with a course as
`rehearse --many --spread` draws it: there all along, growing during the drive, or there and away again and again.
Each is weighed without and with a known-good recording of another day. "Said to come and go" counts verdicts that say
so. Figures come with their standard error.
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parent))
from verdict_quality import percent, recorded, request_of

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.gaps import part_or_plug
from airproof.diagnosis.weigh import weigh
from airproof.engine.rehearsal.rehearse import Request
from airproof.engine.rehearsal.tables import tables

KINDS = ("stays", "grows", "comes and goes", "healthy")
SPANS = tables("spread")["faults"]


@dataclass(frozen=True)
class Judged:
    """What one verdict made of a case."""

    right: bool
    truth_p: float
    held: bool | None
    comes_and_goes: bool


def drawn(place: int, seed: int, kind: str) -> Request:
    """The case at that place, its fault with the course of its kind."""
    request = request_of(seed, place, faulty=kind != "healthy")
    rng = np.random.default_rng([seed, place, 5])
    from_s, over_s, on_s, off_s = (
        float(rng.uniform(*SPANS[f"{name}_s"])) for name in ("ramp_from", "ramp_over", "on", "off")
    )
    courses = {"grows": {"from_s": from_s, "over_s": over_s}, "comes and goes": {"on_s": on_s, "off_s": off_s}}
    still = {"from_s": 0.0, "over_s": 0.0, "on_s": 0.0, "off_s": 0.0}
    return replace(request, faults=tuple(replace(f, **{**still, **courses.get(kind, {})}) for f in request.faults))


def judge(place: int, *, seed: int, kind: str) -> tuple[Judged, Judged]:
    """The verdicts without and with the known-good recording."""
    request = drawn(place, seed, kind)
    recording, codes = recorded(request)
    good = recorded(replace(request, faults=(), day=1))[0]
    really, size = next(((f.cause, f.size) for f in request.faults), ("none", 0.0))
    judged = []
    for baselines in ((), (good,)):
        verdict = weigh(
            [recording], request.profile, baselines=baselines, codes=codes,
            barometer=barometer_of(altitude_m=request.scene.altitude_m), ambient_c=request.scene.ambient_c,
        ).verdict  # fmt: skip
        first = verdict.first
        right = first.id == really
        held = first.size.low <= size <= first.size.high if right and first.size is not None else None
        judged.append(Judged(right, verdict.probability(really), held, part_or_plug() in verdict.cannot_tell))
    without, with_good = judged
    return without, with_good


def main() -> None:
    words = sys.argv[1:]
    number, seed = int([*words, "100"][0]), int(words[1]) if len(words) > 1 else 1
    print("| kind | known-good | right first % | mean p of the truth | 90 % interval holds % | said to come and go % |")
    print("|---|---|---|---|---|---|")
    with ProcessPoolExecutor() as pool:
        for k, kind in enumerate(KINDS):
            places = range(k * number, (k + 1) * number)
            cases = list(pool.map(partial(judge, seed=seed, kind=kind), places, chunksize=4))
            for way, judged in zip(("", "yes"), zip(*cases, strict=True), strict=True):
                p = np.array([one.truth_p for one in judged])
                held = [one.held for one in judged if one.held is not None]
                print(
                    f"| {kind} | {way} | {percent(sum(o.right for o in judged), number)} | {p.mean():.2f} | "
                    f"{percent(sum(held), len(held)) if held else ''} | "
                    f"{percent(sum(o.comes_and_goes for o in judged), number)} |",
                    flush=True,
                )


if __name__ == "__main__":
    main()
