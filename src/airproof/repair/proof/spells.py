"""A fault that came and went: it must have had the time to come again, and must not still come and go."""

from __future__ import annotations

import math
from collections.abc import Sequence

from airproof.diagnosis.case import Case
from airproof.diagnosis.comes_and_goes import comes_and_goes
from airproof.diagnosis.course import OFTEN
from airproof.knowledge.model import Cause
from airproof.recording.recording import Interval
from airproof.repair.proof.proof import Missing
from airproof.repair.proof.stretches import Needs

SELDOM = 0.05
"""Judged: Airproof authors. What comes and goes must have had the time to come with all but this probability."""


def time_to_come(needs: Needs, there: Sequence[Interval] | None, after: Case) -> list[Missing]:
    """The running time that is missing for a fault that was there in spells (s, before) to have come again.

    Spells come at random: from one's beginning to the next as long on average as they did before.
    """
    if there is None or len(there) < OFTEN:
        return []
    every = (there[-1][0] - there[0][0]) / (len(there) - 1)
    wanted, ran = -math.log(SELDOM) * every, running_s(after)
    if ran >= wanted:
        return []
    minutes, more = math.ceil(wanted / 60.0), math.ceil((wanted - ran) / 60.0)
    says = (
        f"{needs.called} came and went, about every {every:.0f} s: to be missed it needs {minutes} min of running; "
        f"record {more} min more, on the same roads"
    )
    return [Missing("cruise", wanted - ran, says)]


def spells_after(cause: Cause | None, after: Case) -> tuple[Interval, ...] | None:
    """When a cause comes and goes in the recording after, s; None where it does not.

    Over the drive it may be thinned to what healthy cars show: held against a fault seen in its spells before, it would
    look gone.
    """
    found = None if cause is None else comes_and_goes(after, {cause.id}).get(cause.id)
    return found.there if found is not None and len(found.there) >= OFTEN else None


def still_comes(needs: Needs, spells: Sequence[Interval] | None) -> list[Missing]:
    """That it comes and goes in the recording after."""
    if spells is None:
        return []
    says = f"{needs.called} still comes and goes, seen about {len(spells)} times: look there, and record again"
    return [Missing("odd", None, says)]


def running_s(case: Case) -> float:
    """How long the engine ran in a recording, s; nothing where no engine speed was recorded."""
    speed = case.recording.get("engine_speed")
    if speed is None or len(speed) < 2:
        return 0.0
    return case.recording.duration_s - case.regimes.seconds().get("key-on", 0.0)
