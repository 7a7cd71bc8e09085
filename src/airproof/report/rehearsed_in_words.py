"""What a rehearsal was and what came of it, in plain words."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from airproof.engine.rehearsal.faults import UNSIZED, Fault
from airproof.engine.rehearsal.rehearse import Rehearsal
from airproof.knowledge.load import knowledge
from airproof.report.in_words import Part


def rehearsed_in_words(rehearsal: Rehearsal, recording: Path, truth: Path) -> list[Part]:
    """What was driven with which faults, the codes it set, and where everything is."""
    request, codes = rehearsal.request, rehearsal.codes
    profile, scene = request.profile, request.scene
    car = f"{profile.displacement_l:g} L {profile.induction}, metered by {profile.metering}; seed {request.seed}"
    day = f"{scene.barometer_kpa:.1f} kPa absolute and {scene.ambient_c:.0f} degC outside"
    minutes, seconds = divmod(round(rehearsal.trace.duration_s), 60)
    wrong = [fault_in_words(fault) for fault in request.faults] or ["Nothing is wrong with it."]
    pending = codes.pending - codes.confirmed
    stored = [f"{code}: {_code(code)}" for code in sorted(codes.confirmed)]
    stored += [f"{code}, pending: {_code(code)}" for code in sorted(pending)]
    return [
        Part(
            "rehearsed", "Rehearsed: a simulated car, no real one is meant", (car, f"{minutes} min {seconds} s, {day}")
        ),
        Part("wrong", "What is wrong with it", tuple(wrong)),
        Part("codes", "Codes its control unit has stored", tuple(stored) or ("None.",)),
        Part("files", "Files", (f"recording: {recording}", f"truth: {truth}")),
    ]


def fault_in_words(fault: Fault) -> str:
    """One fault with its size and course."""
    entry = knowledge().causes[fault.cause]
    size = f"{fault.size:g} {UNSIZED[fault.cause][0] if fault.cause in UNSIZED else entry.unit}"
    return f"{entry.title}: {size}{''.join(_course(fault))}."


def _course(fault: Fault) -> Iterable[str]:
    if fault.from_s > 0.0:
        yield f", from {fault.from_s:g} s on"
    if fault.over_s > 0.0:
        yield f", growing for {fault.over_s:g} s"
    if fault.on_s > 0.0:
        yield f", {fault.on_s:g} s at a time with {fault.off_s:g} s between"


def _code(code: str) -> str:
    known = knowledge().codes.get(code)
    return known.title if known else "not among the codes that are explained here"
