"""The car after the repair, weighed by itself: what a verdict would say to somebody who knows nothing of before.

Whether the fault is gone is asked of both sides; whether something else is wrong now, of the recording after alone.
Held against the recording before, a healthy car may look wrong, as what is expected of it rests on how well the fault
before was undone; and a new fault may hide behind how seldom work lays one bare.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from airproof.diagnosis.examine import HEALTHY_WITHOUT_COMPLAINT
from airproof.diagnosis.facts import Facts
from airproof.diagnosis.weigh import weigh
from airproof.diagnosis.weighing import Barometer
from airproof.engine.profile import EngineProfile
from airproof.knowledge.model import NONE, Knowledge
from airproof.recording.recording import Recording
from airproof.repair.proof.judged import judged
from airproof.repair.proof.proof import Missing
from airproof.repair.proof.words import in_hundred, in_small


@dataclass(frozen=True)
class ByItself:
    """The verdict on the recordings after: the probability that nothing is wrong, and the likeliest fault with its."""

    healthy: float
    cause: str
    fault: str
    probability: float

    @property
    def calls_it_healthy(self) -> bool:
        """Whether a healthy car is far enough more probable than any fault."""
        return self.healthy >= judged().healthy_over_faulty * self.probability

    def finds_nothing_but(self, cause: str) -> bool:
        """Whether it calls the car healthy, or what was to be mended is what it would rather have wrong."""
        return self.calls_it_healthy or self.cause == cause

    @property
    def something_new(self) -> float:
        """The probability that the work left something new, where it calls the car healthy: as seldom as work does, by
        what the recording says for it.
        """
        said = (1.0 - self.healthy) / self.healthy * HEALTHY_WITHOUT_COMPLAINT / (1.0 - HEALTHY_WITHOUT_COMPLAINT)
        odds = judged().new / (1.0 - judged().new) * said
        return odds / (1.0 + odds) if self.calls_it_healthy else 0.0

    def doubt(self, mended: str) -> Missing:
        """What stands between this and a proof where it does not call the car healthy; `mended`: what was to be."""
        shows = "still shows it" if self.cause == mended else "may show something else"
        says = (
            f"weighed by itself, the recording after {shows}: {in_small(self.fault)} ({in_hundred(self.probability)}; "
            f"nothing wrong {in_hundred(self.healthy)}); look there, and record again"
        )
        return Missing("odd", None, says)

    def instead_of(self, title: str, probability: float) -> str:
        """Why it is believed, where both sides together would have something else wrong."""
        shows = (
            f"a healthy car ({in_hundred(self.healthy)})"
            if self.calls_it_healthy
            else f"{in_small(self.fault)} ({in_hundred(self.probability)})"
        )
        return (
            f"by itself the recording after shows {shows}, and that counts; held against the one before it would seem "
            f"that {in_small(title)} ({in_hundred(probability)}), which rests on how well the fault before was taken "
            "out"
        )


def weighed_by_itself(
    after: Sequence[Recording],
    profile: EngineProfile,
    barometer: Barometer | None,
    ambient_c: float | None,
    *,
    baselines: Sequence[Recording] = (),
    sisters: Sequence[Recording] = (),
    facts: Facts | None = None,
    known: Knowledge,
) -> ByItself | None:
    """What the recordings after say by themselves, with the codes and readiness of after (`facts`); None where no
    verdict can be given on them.
    """
    verdict = weigh(
        after, profile, baselines=baselines, sisters=sisters, barometer=barometer, ambient_c=ambient_c, facts=facts,
        known=known,
    ).verdict  # fmt: skip
    faulty = [one for one in verdict.causes if one.id != NONE]
    if verdict.refusal is not None or not faulty:
        return None
    return ByItself(verdict.probability(NONE), faulty[0].id, faulty[0].title, faulty[0].probability)
