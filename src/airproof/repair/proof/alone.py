"""The car after the repair, weighed by itself: what a verdict would say to somebody who knows nothing of before.

The reckoning of both sides starts from how seldom work lays something new bare. A verdict does not; where it would
hardly call the car healthy, handing it back as mended would stand against our own word.
"""

from __future__ import annotations

from collections.abc import Sequence

from airproof.diagnosis.weigh import weigh
from airproof.diagnosis.weighing import Barometer
from airproof.engine.profile import EngineProfile
from airproof.knowledge.model import NONE, Knowledge
from airproof.recording.recording import Recording
from airproof.repair.proof.judged import judged
from airproof.repair.proof.proof import Missing
from airproof.repair.proof.words import in_hundred


def doubt_alone(
    after: Sequence[Recording],
    profile: EngineProfile,
    barometer: Barometer | None,
    ambient_c: float | None,
    *,
    baselines: Sequence[Recording] = (),
    sisters: Sequence[Recording] = (),
    known: Knowledge,
) -> list[Missing]:
    """What the recordings after, by themselves, would rather be, if a healthy car is not far more probable."""
    verdict = weigh(
        after, profile, baselines=baselines, sisters=sisters, barometer=barometer, ambient_c=ambient_c, known=known
    ).verdict
    faulty = [one for one in verdict.causes if one.id != NONE]
    if verdict.refusal is not None or not faulty:
        return []
    first, healthy = faulty[0], verdict.probability(NONE)
    if healthy >= judged().healthy_over_faulty * first.probability:
        return []
    title = f"{first.title[:1].lower()}{first.title[1:]}"
    says = (
        f"weighed by itself, the recording after may show something else: {title} ({in_hundred(first.probability)}; "
        f"nothing wrong {in_hundred(healthy)}); look there, and record again"
    )
    return [Missing("odd", None, says)]
