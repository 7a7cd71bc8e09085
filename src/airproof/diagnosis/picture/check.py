"""The whole picture as testimonies: what forests and net add for each cause, by where in the drive it was seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.picture.features import AGAIN, FIRST, again, first_time
from airproof.diagnosis.picture.learned import REINSTALL, Learned, learned
from airproof.diagnosis.picture.words import CAR, NAMED, NOT_TOLD, PLACES, named, place_of
from airproof.diagnosis.testimony import Testimony
from airproof.errors import BrokenKnowledge
from airproof.knowledge.model import NONE

Floats = NDArray[np.float64]

FEWEST = 12  # summaries; with fewer there is no picture; judged: Airproof authors
TOLD = 3  # summaries named in a sentence
LEAST_TOLD = 0.05  # nepers that a summary must have moved to be named; judged: Airproof authors

_HEADS = {
    "engine-off": "engine off", "idle": "idle", "part-load": "part load", "full-load": "full load",
    "in-motion": "in motion", "over-time": "from beginning to end",
    CAR: "what kind of car this is, and what was recorded of it",
}  # fmt: skip


@dataclass(frozen=True)
class Picture:
    """What the picture says, place by place, and how strange the recording is to it (`Forest.strangeness`)."""

    testimonies: tuple[Testimony, ...]
    strangeness: float


def strangeness_of(case: Case) -> float:
    """How strange the recording is to the picture, 0 to 1."""
    kind, features, _ = _asked(case)
    return learned(kind).forest.strangeness(features)


def _asked(case: Case) -> tuple[str, Floats, tuple[str, ...]]:
    return ("again", again(case), AGAIN) if case.baselines else ("first", first_time(case), FIRST)


def check(case: Case) -> Picture:
    """One testimony for each place that the recording shows; none where it shows too little."""
    kind, features, names = _asked(case)
    if np.count_nonzero(np.isfinite(features[: len(NAMED)])) < FEWEST:
        return Picture((), 0.0)
    known = learned(kind)
    if known.forest.features != names:
        raise BrokenKnowledge(f"learned_{kind}.npz: other summaries", "the summaries of this version", REINSTALL)
    # A strange car's drive may show a part that is like the rehearsals by what little it shows: it stays a strange car.
    strangeness = max(known.forest.strangeness(features), case.strange_at_least)
    added, before = known.contributions(features, strangeness)
    heard = known.forest.heard(features)
    seen = np.isfinite(heard)
    # What is asked of a summary that is not there is no evidence of a place: it belongs to such a car and recording.
    where_seen = np.array([place_of(name) if there else CAR for name, there in zip(names, seen, strict=True)])
    testimonies = []
    for place in (*PLACES, CAR):
        these = np.flatnonzero(where_seen == place)
        if not these.size:
            continue
        total = added[these].sum(axis=0) + (before if place == CAR else 0.0)
        nepers = dict(zip(known.forest.causes, total - total[known.forest.causes.index(NONE)], strict=True))
        rows = {cause: np.full(sizes.size, nepers.get(cause, 0.0)) for cause, sizes in case.sizes.items()}
        testimonies.append(Testimony(_finding(case, place, these, added, heard, known), rows))
    return Picture(tuple(testimonies), strangeness)


def _finding(case: Case, place: str, these: NDArray[np.intp], added: Floats, heard: Floats, known: Learned) -> Finding:
    """The place in a sentence: what moved most, of what healthy cars do not show if there is any."""
    name, whole = f"picture-{place}", ((case.recording.start_s, case.recording.end_s),)
    if place == CAR:
        return Finding(name, 0.0, 0.0, "usual ranges", (0.0, 1.0), whole, _HEADS[CAR])
    low, middle, high = known.usual[case.profile.induction][:, these]
    values, moved = heard[these], np.ptp(added[these], axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        off = np.abs(values - middle) / np.where(values >= middle, high - middle, middle - low)
    told = [
        (off[k] > 1.0, words)
        for k in np.argsort(-moved)
        if moved[k] > LEAST_TOLD
        and np.isfinite([low[k], high[k]]).all()
        and (words := in_words(known.forest.features[these[k]], values[k], low[k], high[k]))
    ]
    unusual = [words for is_unusual, words in told if is_unusual]
    named = unusual or [words for _, words in told]
    off = off[np.isfinite(off)]
    usual = "each as usual" if off.size and np.max(off) <= 1.0 else "nothing that weighs"
    value = float(np.sqrt(np.mean(np.square(off)))) if off.size else 0.0
    says = f"{_HEADS[place]}: {'; '.join(named[:TOLD]) or usual}"
    return Finding(name, value, 0.0, "usual ranges", (0.0, 1.0), whole, says)


def in_words(feature: str, value: float, low: float, high: float) -> str | None:
    """A summary with its number and what nine in ten healthy rehearsed cars show; None where it has no number."""
    way, _, name = feature.rpartition(" ")
    called = named(feature)
    if called is None or name in NOT_TOLD:
        return None
    shown = called.scale.changed(value, low, high) if way else called.scale.shown(value, low, high)
    if shown is None or not way:
        return shown and f"{called.title} {shown}"
    alike = f" and {called.alike}" if called.alike else ""
    return f"since it was known good{alike}, {called.title} {shown}"
