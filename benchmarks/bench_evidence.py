"""How long the discrete layer takes, beside a Bayesian network library (pyAgrum) on the same network in the same run.

    python benchmarks/bench_evidence.py [RUNS]

The network is the whole shipped catalogue, single causes and plausible pairs, each at its typical size, with evidence
of every kind and families with hidden parents among it. Both are asked for the posterior of all of them, from the
evidence to the numbers; the library's network is made beforehand, which is not counted; ours is linked anew each time.
Then ours alone with every size of every cause, single and in pairs.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

sys.path.append(str(Path(__file__).resolve().parents[1] / "tests" / "diagnosis"))
import test_network_outside as outside
from reference_networks import asked
from small_cases import TURBO

from airproof.diagnosis.facts import Facts, Noted, Readiness, StoredCode
from airproof.diagnosis.pair_network import posterior_with_pairs
from airproof.diagnosis.readings import Outcome
from airproof.diagnosis.told import told_of
from airproof.knowledge.load import knowledge

SAID = Facts(
    (
        StoredCode("P0106", order=1),
        StoredCode("P0107", "pending", 2),
        StoredCode("P0171", order=3),
        StoredCode("P0174"),
    ),
    (
        Noted("symptom", "rough-idle"),
        Noted("symptom", "stalling"),
        Noted("look", "hose-split"),
        Noted("look", "clamp-loose", found=False),
        Noted("look", "hissing"),
        Noted("history", "intake-work"),
        Noted("condition", "only-at-idle"),
    ),
    (Outcome("look-throttle", False), Outcome("compare-barometer", False)),
    (),
    Readiness({"misfire": True, "fuel-system": True}, codes_read=True),
)


def timed(work: Callable[[], object], runs: int) -> float:
    """Median seconds."""
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return median(taken)


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    known = knowledge()
    own = outside.hypotheses(TURBO, sizes=False)
    network, evidence, keys = outside.network_of(own, SAID, {}, pairs=True)

    def ours() -> dict[tuple[str, ...], float]:
        return posterior_with_pairs(own.log_prior, told_of(SAID, known, own.sizes))

    found, wanted = ours(), asked(network, evidence, "which")
    apart = max(
        abs(found[(key[0],) if isinstance(key[1], int) else key] - p) for key, p in zip(keys, wanted, strict=True)
    )
    here, there = timed(ours, runs), timed(lambda: asked(network, evidence, "which"), runs)
    every = outside.hypotheses(TURBO, sizes=True)
    sized = timed(lambda: posterior_with_pairs(every.log_prior, told_of(SAID, known, every.sizes)), runs)
    print(f"{len(keys)} hypotheses, {len(evidence)} facts, apart by {apart:.1e}")
    print(f"ours {1e3 * here:8.2f} ms   pyAgrum {1e3 * there:8.2f} ms   ratio {there / here:.1f}")
    print(f"ours with every size, {sum(s.size for s in every.sizes.values())} single hypotheses: {1e3 * sized:.0f} ms")


if __name__ == "__main__":
    main()
