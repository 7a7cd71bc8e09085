"""How verdicts fare on what the control unit itself tells: codes, their status, freeze frames, readiness; no recording.

    python benchmarks/told_quality.py [NUMBER [SEED]]

Every case is a simulated car of our own invention with one fault (a quarter as many healthy ones beside them), whose
simulated control unit stored at least one code. Each is weighed by its codes alone; with readiness and the status of
each code; with the freeze frames as well; by the frames without their codes; and by a recording without and with the
frames. Figures come with their standard error; "truth" is the mean ln of the probability given to what is really wrong.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parent))
from verdict_quality import percent, request_of

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.facts import Facts, FreezeFrame, Readiness, StoredCode
from airproof.diagnosis.weigh import weigh
from airproof.engine.rehearsal.compare import as_recording
from airproof.engine.rehearsal.control.trips import Store
from airproof.engine.rehearsal.many import logged
from airproof.engine.rehearsal.rehearse import rehearse
from airproof.knowledge.load import knowledge

ALSO_HEALTHY = 4
IN_A_FRAME = (
    "load", "engine_speed", "vehicle_speed", "coolant_temperature", "short_trim_1", "long_trim_1", "manifold_pressure",
    "air_flow", "intake_temperature", "throttle", "barometric_pressure", "fuel_system_status",
)  # fmt: skip


def told(store: Store, recorded: frozenset[str]) -> Facts:
    """All that a reader gets from the control unit; a frame holds what the car has a sensor for."""
    known = knowledge()
    codes = tuple(
        StoredCode(code, "permanent" if code in store.permanent else "stored" if code in store.confirmed else "pending")
        for code in sorted(store.pending | store.confirmed)
    )
    frames = tuple(
        FreezeFrame(code, {n: v for n, v in frame.items() if n in IN_A_FRAME and (n in recorded or n == "load")})
        for code, frame in sorted(store.frames.items())
    )
    groups = {known.codes[code].family for code in store.looked if code in known.codes}
    complete = {known.families[family].monitor or "": True for family in groups}
    return Facts(codes, (), (), frames, Readiness({name: True for name in complete if name}, codes_read=True))


WAYS: dict[str, Callable[[Facts], Facts]] = {
    "codes alone": lambda said: Facts(tuple(StoredCode(one.id) for one in said.codes)),
    "with status": lambda said: Facts(said.codes),
    "and readiness": lambda said: replace(said, frames=()),
    "and freeze frames": lambda said: said,
    "frames alone": lambda said: Facts(frames=said.frames),
}


def judge(place: int, *, seed: int) -> list[tuple[str, bool, bool, float, float]]:
    """By way: whether the truth is first, among three, its ln probability, and that of the first if it is wrong."""
    request = request_of(seed, place, place % (ALSO_HEALTHY + 1) != 0)
    done = rehearse(request)
    if not done.codes.pending | done.codes.confirmed:
        return []
    really = request.faults[0].cause if request.faults else "none"
    recording = as_recording(logged(done, "grouped"), "rehearsed")
    said = told(done.codes, frozenset(recording))
    place_known = barometer_of(altitude_m=request.scene.altitude_m)
    out = []
    for way, chosen in WAYS.items():
        out.append((way, [], chosen(said)))
    out.append(("recording and codes", [recording], replace(said, frames=(), readiness=None)))
    out.append(("and freeze frames beside it", [recording], replace(said, readiness=None)))
    results = []
    for way, recordings, facts in out:
        verdict = weigh(recordings, request.profile, facts=facts, barometer=place_known).verdict
        p = verdict.probability(really)
        three = {one.id for one in verdict.causes[:3]}
        wrong = 0.0 if verdict.first.id == really else verdict.first.probability
        results.append((way, verdict.first.id == really, really in three, float(np.log(max(p, 1e-9))), wrong))
    return results


def main() -> None:
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 31
    with ProcessPoolExecutor() as workers:
        judged = [case for case in workers.map(partial(judge, seed=seed), range(number), chunksize=4) if case]
    print(f"{len(judged)} of {number} cars had a code; seed {seed}")
    print(f"{'':30} {'first':>12} {'of three':>12} {'ln truth':>14} {'wrong and sure':>15}")
    for k, (way, *_) in enumerate(judged[0]):
        rows = [case[k] for case in judged]
        ln = np.array([row[3] for row in rows])
        first, three, sure = (sum(hits) for hits in zip(*((r[1], r[2], r[4] > 0.5) for r in rows), strict=True))
        print(
            f"{way:30} {percent(first, len(rows)):>12} {percent(three, len(rows)):>12} "
            f"{ln.mean():7.2f} +-{ln.std() / np.sqrt(ln.size):.2f} {percent(sure, len(rows)):>15}"
        )


if __name__ == "__main__":
    main()
