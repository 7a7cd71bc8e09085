"""The bench recordings in windows of ten seconds: from when on a fault is seen, how surely, and how large.

    python benchmarks/bench_windows.py [FOLDER OF REAL RECORDINGS]

Recordings: LiU-ICE benchmark (arXiv:2408.13269); the healthy run is the baseline, no faulty one sets anything. A
window is judged in the light of the whole recording. Published best on that benchmark (Coursey et al., DX 2025): 87 %
of faulty samples detected, 0 % false alarms, 73.8 % mean probability on the right fault.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np

from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import EngineProfile
from airproof.recording.readers import read_recording

BENCH = EngineProfile(
    displacement_l=1.953, cylinders=4, compression_ratio=10.8, induction="turbocharged", air_metering="air-flow sensor"
)
FAULTS = {
    "f_pim_090": ("map-gain", -10.0, 190.0),
    "f_waf_110": ("maf-scale", 10.0, 120.0),
    "f_pic_110": ("boost-sensor-scale", 10.0, 123.0),
    "f_iml_6mm": ("vacuum-leak", 6.0, 120.0),
}
DETECTED = 0.5


def main() -> None:
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else os.environ.get("AIRPROOF_REALDATA", "../shared/data"))
    bench = {name: read_recording(folder / "bench_turbo_petrol" / f"wltp_{name}.csv.gz") for name in ("NF", *FAULTS)}
    good = bench["NF"]
    print("| recording | windows with the fault | detected | mean p of the right cause | size | before it: alarms |")
    print("|---|---|---|---|---|---|")
    for name, (cause, size, begins) in FAULTS.items():
        verdict = weigh([bench[name]], BENCH, baselines=[good]).verdict
        after = [m for m in verdict.timeline if m.from_s >= begins]
        before = [m for m in verdict.timeline if m.to_s <= begins]
        seen = np.mean([m.p_wrong > DETECTED for m in after])
        right = np.mean([m.causes.get(cause, 0.0) for m in after])
        alarms = sum(m.p_wrong > DETECTED for m in before)
        found = next(c.size for c in verdict.causes if c.id == cause)
        told = "" if found is None else f"{found.value:.1f} ({found.low:.1f} to {found.high:.1f}), really {size:g}"
        print(f"| {name} | {len(after)} | {100 * seen:.1f} % | {right:.3f} | {told} | {alarms} of {len(before)} |")
    half = weigh([good.between(900.0, 2000.0)], BENCH, baselines=[good.between(0.0, 900.0)]).verdict
    false = sum(m.p_wrong > DETECTED for m in half.timeline)
    print(f"\nhealthy, second half against the first: {false} false alarms in {len(half.timeline)} windows")


if __name__ == "__main__":
    main()
