"""The verdicts on the real recordings, as a table: what was really wrong, what came first, how probable, how large.

    python benchmarks/verdicts.py [FOLDER OF REAL RECORDINGS]

Recordings: LiU-ICE benchmark (arXiv:2408.13269), carOBD (IEEE 8891367), KIT automotive OBD-II (10.35097/1130).
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from airproof.diagnosis.verdict import CauseVerdict, Verdict
from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import EngineProfile
from airproof.recording.readers import read_recording

BENCH = EngineProfile(
    displacement_l=1.953,
    cylinders=4,
    compression_ratio=10.8,
    induction="turbocharged",
    air_metering="air-flow sensor",
)
ROAD = EngineProfile(displacement_l=1.5, cylinders=4, induction="naturally-aspirated", air_metering="speed-density")
FAULTS = {
    "f_pim_090": "map-gain -10 %",
    "f_waf_110": "maf-scale +10 %",
    "f_pic_110": "boost-sensor-scale +10 %",
    "f_iml_6mm": "vacuum-leak, 6 mm valve",
}


def told(cause: CauseVerdict) -> str:
    size = cause.size
    sizes = f" {size.value:.1f} ({size.low:.1f} to {size.high:.1f}) {size.unit}" if size else ""
    return f"{cause.id} {cause.probability:.3f}{sizes}"


def first_three(verdict: Verdict) -> str:
    return "; ".join(f"{c.id} {c.probability:.2f}" for c in verdict.causes[:3])


def main() -> None:
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else os.environ.get("AIRPROOF_REALDATA", "../shared/data"))
    bench = {name: read_recording(folder / "bench_turbo_petrol" / f"wltp_{name}.csv.gz") for name in ("NF", *FAULTS)}
    good = bench["NF"]
    print("| recording | really | with the good recording as baseline | without |")
    print("|---|---|---|---|")
    for name, really in FAULTS.items():
        with_baseline = weigh([bench[name]], BENCH, baselines=[good]).verdict
        alone = weigh([bench[name]], BENCH).verdict
        print(f"| {name} | {really} | {told(with_baseline.first)} | {first_three(alone)} |")
    half = weigh([good.between(900.0, 2000.0)], BENCH, baselines=[good.between(0.0, 900.0)]).verdict
    print(f"| NF from 900 s against NF before | nothing | {told(half.first)} | |")
    print(f"| NF | nothing | | {first_three(weigh([good], BENCH).verdict)} |")

    print("\n| road_na_petrol | first | next |\n|---|---|---|")
    for path in sorted((folder / "road_na_petrol").glob("*.csv.gz")):
        causes = weigh([read_recording(path)], ROAD).verdict.causes
        print(f"| {path.name} | {told(causes[0])} | {causes[1].id} {causes[1].probability:.3f} |")

    as_diesel = {"fuel": "diesel", "induction": "turbocharged", "air_metering": "air-flow sensor"}
    diesel = ROAD.model_copy(update=as_diesel)
    print("\n| road_turbo_diesel | refusal |\n|---|---|")
    for path in sorted((folder / "road_turbo_diesel").glob("*.csv.gz")):
        print(f"| {path.name} | {weigh([read_recording(path)], diesel).verdict.refusal} |")


if __name__ == "__main__":
    main()
