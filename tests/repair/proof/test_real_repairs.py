"""Repairs of a real engine on the test bench: faulty then healthy, healthy twice, faulty twice.

Source: LiU-ICE benchmark (Jung, Frisk, Krysander, arXiv:2408.13269), each fault switched on in the control unit itself.
The answers wanted are those the project set itself before proofs were built.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import EngineProfile
from airproof.recording.readers import read_recording
from airproof.recording.recording import Recording
from airproof.repair.proof.proof import Proof
from airproof.repair.proof.prove import AfterRepair, Before, Done, prove

pytestmark = pytest.mark.realdata

BENCH = EngineProfile(
    displacement_l=1.953, cylinders=4, induction="turbocharged", air_metering="air-flow sensor", compression_ratio=10.8
)
# file, what mends it, the true size where one is known in the cause's own unit
FAULTS: dict[str, tuple[str, str, float | None]] = {
    "pim_090": ("replace-map-sensor", "map-gain", -10.0),
    "waf_110": ("replace-air-flow-sensor", "maf-scale", 10.0),
    "pic_110": ("replace-boost-sensor", "boost-sensor-scale", 10.0),
    "iml_6mm": ("mend-vacuum-leak", "vacuum-leak", None),
}
MIDDLE_S = 900.0


@pytest.fixture(scope="module")
def bench(realdata: Path) -> dict[str, Recording]:
    names = {"NF": "wltp_NF", **{name: f"wltp_f_{name}" for name in FAULTS}}
    return {name: read_recording(realdata / "bench_turbo_petrol" / f"{file}.csv.gz") for name, file in names.items()}


def halves(recording: Recording) -> tuple[Recording, Recording]:
    return recording.between(0.0, MIDDLE_S), recording.between(MIDDLE_S, 1e9)


def judged(before: Recording, after: Recording, *steps: str, good: tuple[Recording, ...] = ()) -> Proof:
    weighing = weigh([before], BENCH, baselines=good)
    return prove(Before.weighed(weighing), AfterRepair((after,)), Done(steps), BENCH, baselines=good)


@pytest.mark.parametrize("name", FAULTS)
def test_faulty_then_healthy_is_proved(bench: dict[str, Recording], name: str) -> None:
    """With a recording known to be good from another time: where no trims are recorded, scales are known by it only."""
    step, cause, size = FAULTS[name]
    good, healthy = halves(bench["NF"])
    proof = judged(bench[name], healthy, step, good=(good,))
    assert proof.judgement == "proved", proof.says
    assert proof.cause == cause
    change = proof.first_change
    assert change is not None
    if size is not None:
        assert change.before.low is not None
        assert change.before.high is not None
        assert change.before.low <= size <= change.before.high
    assert (change.after.low or 0.0) <= 0.0 <= (change.after.high or 0.0)


@pytest.mark.parametrize("name", FAULTS)
def test_without_a_good_recording_it_is_proved_or_says_what_is_missing(bench: dict[str, Recording], name: str) -> None:
    proof = judged(bench[name], bench["NF"], FAULTS[name][0])
    assert proof.judgement in ("proved", "not proved yet")
    assert proof.probabilities["fixed"] > 0.5
    if name in ("pim_090", "pic_110"):
        assert proof.judgement == "proved"
    else:
        assert any("short trim, long trim" in one.says for one in proof.missing)  # no trims are recorded there
        assert any("a recording known to be good" in one.says for one in proof.missing)


@pytest.mark.parametrize("name", FAULTS)
def test_faulty_twice_is_not_fixed(bench: dict[str, Recording], name: str) -> None:
    first, second = halves(bench[name])
    proof = judged(first, second, FAULTS[name][0], good=(bench["NF"],))
    assert proof.judgement == "not fixed", proof.says
    assert proof.cause == FAULTS[name][1]


@pytest.mark.parametrize("turned", [False, True])
def test_healthy_twice_is_nothing_to_prove(bench: dict[str, Recording], turned: bool) -> None:
    first, second = halves(bench["NF"])
    proof = judged(second, first, "replace-map-sensor") if turned else judged(first, second)
    assert proof.judgement == "nothing to prove", proof.says
