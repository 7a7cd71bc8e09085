"""Which codes the simulated control unit stores: none on healthy cars of all kinds, and which for each fault.

    python benchmarks/rehearsed_codes.py [NUMBER OF HEALTHY CARS]

The second table is the one in docs/rehearsal.md.
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor

from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.air.build import Details
from airproof.engine.rehearsal.faults import CAUSES, parse_fault, why_impossible
from airproof.engine.rehearsal.rehearse import Request, rehearse
from airproof.engine.rehearsal.spread import draw

TURBO = EngineProfile(
    displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="air-flow sensor", rated_boost_kpa=110.0
)
CARS = {
    "turbo, air flow sensor": TURBO,
    "turbo, speed-density": TURBO.model_copy(update={"air_metering": "speed-density"}),
    "no boost, air flow sensor": EngineProfile(
        displacement_l=2.0, cylinders=4, induction="naturally-aspirated", air_metering="air-flow sensor"
    ),
    "no boost, speed-density": EngineProfile(
        displacement_l=1.6, cylinders=4, induction="naturally-aspirated", air_metering="speed-density"
    ),
}
DETAILS = Details(egr=True)
NOTICED = {
    "map-offset": ("12kPa", "-12kPa"),
    "map-gain": ("15%", "-15%"),
    "map-slow": ("0.5s", "3s"),
    "map-stuck": ("100kPa",),
    "map-intermittent": ("0.1",),
    "map-circuit": ("1", "2"),
    "supply-reference": ("0.6V", "-0.6V"),
    "boost-sensor-scale": ("12%", "-12%"),
    "baro-sensor": ("12kPa",),
    "iat-offset": ("45K", "-45K"),
    "maf-scale": ("-20%", "25%"),
    "vacuum-leak": ("3mm", "6mm"),
    "boost-leak": ("8mm", "25mm"),
    "wastegate-stuck-open": ("60%",),
    "wastegate-stuck-closed": ("5%",),
    "intake-restriction": ("8x", "20x"),
    "exhaust-restriction": ("6x", "15x"),
    "egr-stuck-open": ("6mm",),
    "throttle-deposits": ("40%",),
    "fuel-delivery": ("-25%", "25%"),
}


def healthy(place: int) -> tuple[int, str]:
    codes = rehearse(draw(20261126, place, faults=()).request).codes
    return place, " ".join(sorted(codes.pending | codes.confirmed))


def stored(case: tuple[str, str]) -> str:
    car, fault = case
    profile, cause = CARS[car], fault.partition("=")[0]
    if why_impossible(cause, profile, DETAILS) is not None:
        return "-"
    codes = rehearse(Request(profile, DETAILS, (parse_fault(fault, profile, DETAILS),), seed=3)).codes
    pending = codes.pending - codes.confirmed
    told = [*sorted(codes.confirmed), *(f"({code})" for code in sorted(pending))]
    return " ".join(told) or "none"


def main() -> None:
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    faults = [f"{cause}={size}" if size else cause for cause in CAUSES for size in NOTICED.get(cause, ("",))]
    rehearse(Request(TURBO, earlier_drives=0))  # compiled once, here
    with ProcessPoolExecutor() as pool:
        coded = [(place, codes) for place, codes in pool.map(healthy, range(number), chunksize=8) if codes]
        cells = list(pool.map(stored, [(car, fault) for fault in faults for car in CARS], chunksize=4))
    print(f"healthy cars across the spread: {len(coded)} of {number} set a code", *coded, sep="\n  ")
    print(f"\n| fault | {' | '.join(CARS)} |\n|---|{'---|' * len(CARS)}")
    for k, fault in enumerate(faults):
        print(f"| {fault} | {' | '.join(cells[k * len(CARS) : (k + 1) * len(CARS)])} |")


if __name__ == "__main__":
    main()
