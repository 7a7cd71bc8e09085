"""Repairs of one simulated car of our own invention, before and after, each made once."""

from __future__ import annotations

from functools import cache

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.compare import as_recording
from airproof.engine.rehearsal.faults import Fault
from airproof.engine.rehearsal.many import logged
from airproof.engine.rehearsal.rehearse import Request, Scene, rehearse
from airproof.recording.recording import Recording
from airproof.repair.proof.after import Said
from airproof.repair.proof.proof import Proof
from airproof.repair.proof.prove import AfterRepair, Before, Done, prove

CAR = EngineProfile(
    displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="air-flow sensor", rated_boost_kpa=110.0
)
ALTITUDE_M = 350.0
HERE = barometer_of(altitude_m=ALTITUDE_M)


@cache
def drive(
    cause: str = "", size: float = 0.0, *, day: int = 1, weather_kpa: float = 0.0, ambient_c: float = 18.0
) -> Recording:
    """The workshop round."""
    faults = (Fault(cause, size),) if cause else ()
    scene = Scene(altitude_m=ALTITUDE_M, weather_kpa=weather_kpa, ambient_c=ambient_c)
    return as_recording(logged(rehearse(Request(CAR, faults=faults, scene=scene, day=day)), "two-first"), f"day {day}")


@cache
def before(cause: str, size: float) -> Before:
    """That car weighed with the fault."""
    weighing = weigh([drive(cause, size)], CAR, barometer=HERE, ambient_c=18.0)
    return Before.weighed(weighing, HERE, 18.0, {"P0106": "stored"})


def judged(
    cause: str, size: float, after: Recording, *steps: str, said: Said | None = None, ambient_c: float = 18.0
) -> Proof:
    """The proof of a repair after which the car recorded that."""
    return prove(before(cause, size), AfterRepair((after,), HERE, ambient_c, said or Said()), Done(steps), CAR)
