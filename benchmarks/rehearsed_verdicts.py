"""How the verdict fares on rehearsals: healthy cars accused, faults found first or among the first three, sizes held.

    python benchmarks/rehearsed_verdicts.py [NUMBER [SEED [LOGGER]]]

Every case is a simulated car of our own invention, so the figures say how well the checks work where the model is
right, and nothing about cars. Written to files and read back, as a user would.
"""

from __future__ import annotations

import json
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import load_profile
from airproof.engine.rehearsal.many import Plan, rehearse_many
from airproof.recording.readers import read_recording

ACCUSED_FROM = 0.5  # a mechanic acts on a cause that is more probable than not


@dataclass(frozen=True)
class Judged:
    name: str
    causes: tuple[str, ...]
    first: str
    first_p: float
    three: tuple[str, ...]
    truth_p: float
    size_held: bool | None
    refused: bool


def judge(truth_file: Path) -> Judged:
    truth = json.loads(truth_file.read_text("utf-8"))
    folder = truth_file.parent
    recording = read_recording(folder / truth["recording"])
    profile = load_profile(folder / truth["recording"].replace(".csv.gz", ".engine.toml"))
    codes = sorted({*truth["codes"]["confirmed"], *truth["codes"]["pending"]})
    place = barometer_of(altitude_m=truth["scene"]["altitude_m"])
    verdict = weigh([recording], profile, codes=codes, barometer=place, ambient_c=truth["scene"]["ambient_c"]).verdict
    really = tuple(cause["id"] for cause in truth["causes"])
    found = next((c for c in verdict.causes if c.id == really[0]), None)
    held = None
    if found is not None and found.size is not None and verdict.first.id == really[0]:
        held = found.size.low <= truth["causes"][0]["size"] <= found.size.high
    three = tuple(c.id for c in verdict.causes[:3])
    truth_p = sum(c.probability for c in verdict.causes if c.id in really)
    refused = verdict.refusal is not None
    return Judged(
        truth["recording"], really, verdict.first.id, verdict.first.probability, three, truth_p, held, refused
    )


def judge_all(folder: Path, prepare: Callable[[], None] | None = None) -> list[Judged]:
    with ProcessPoolExecutor(initializer=prepare) as pool:
        return list(pool.map(judge, sorted(folder.glob("*.truth.json")), chunksize=4))


def calibration_error(judged: list[Judged]) -> float:
    """Mean distance, over tenths of confidence, between how sure the first cause was and how often it was right."""
    bins: dict[int, list[Judged]] = {}
    for one in judged:
        bins.setdefault(min(int(10 * one.first_p), 9), []).append(one)
    gaps = [abs(sum(o.first in o.causes for o in some) - sum(o.first_p for o in some)) for some in bins.values()]
    return sum(gaps) / len(judged)


def share(part: int, whole: int) -> str:
    return f"{part} of {whole} ({100 * part / max(whole, 1):.0f} %)"


def cases(number: int, seed: int, logger: str | None, folder: Path) -> tuple[Path, Path]:
    """Folders of so many healthy and so many drawn cases."""
    healthy, faulty = folder / "healthy", folder / "faulty"
    rehearse_many(Plan(number, seed, healthy, None, (), None, logger, None))
    rehearse_many(Plan(number, seed + 1, faulty, None, None, None, logger, None))
    return healthy, faulty


def with_one_fault(judged: list[Judged]) -> list[Judged]:
    return [one for one in judged if len(one.causes) == 1 and one.causes != ("none",)]


def tell(healthy: list[Judged], faulty: list[Judged]) -> None:
    accused = [one for one in healthy if one.first != "none"]
    sure = [one for one in accused if one.first_p > ACCUSED_FROM]
    first, above = share(len(accused), len(healthy)), share(len(sure), len(healthy))
    print(f"healthy: another cause first in {first}, above 0.5 in {above}")
    for one in accused:
        print(f"  {one.name}: {one.first} {one.first_p:.2f}")
    right = [one for one in faulty if one.first in one.causes]
    among = [one for one in faulty if set(one.three) & set(one.causes)]
    wrong = [one for one in faulty if one.first not in (*one.causes, "none") and one.first_p > ACCUSED_FROM]
    first, three, other = (share(len(these), len(faulty)) for these in (right, among, wrong))
    print("faulty, one cause, codes given, no baseline:", end=" ")
    print(f"first {first}, among three {three}, another above 0.5 {other}")
    mean = sum(one.truth_p for one in faulty) / len(faulty)
    error = calibration_error(faulty + healthy)
    print(f"mean probability on the truth {mean:.2f}; expected calibration error {error:.3f}")
    held = [one.size_held for one in faulty if one.size_held is not None]
    print(f"size interval (90 %) holds the truth: {share(sum(held), len(held))}")
    print("| cause | cases | first | among three | what came first instead |\n|---|---|---|---|---|")
    for cause in sorted({one.causes[0] for one in faulty}):
        these = [one for one in faulty if one.causes[0] == cause]
        first = sum(one.first == cause for one in these)
        three = sum(cause in one.three for one in these)
        instead = Counter(one.first for one in these if one.first != cause).most_common(3)
        told = ", ".join(f"{name} {n}" for name, n in instead)
        print(f"| {cause} | {len(these)} | {first} | {three} | {told} |")


def asked() -> tuple[int, int, str | None]:
    """Number, seed and logger from the command line; "grouped" gives each signal three samples a second."""
    words = sys.argv[1:]
    number, seed = (int(word) for word in [*words, "200", "1"][:1] + [*words[1:], "1"][:1])
    return number, seed, words[2] if len(words) > 2 else None


def main() -> None:
    number, seed, logger = asked()
    with tempfile.TemporaryDirectory() as folder:
        healthy, faulty = cases(number, seed, logger, Path(folder))
        tell(judge_all(healthy), with_one_fault(judge_all(faulty)))


if __name__ == "__main__":
    main()
