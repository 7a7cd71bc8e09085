"""Where the reckoning stands: what both sides make probable, and what a verdict of the recording after changes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from airproof.knowledge.model import Cause, Knowledge
from airproof.repair.proof.alone import ByItself
from airproof.repair.proof.judged import judged
from airproof.repair.proof.judgement import judge
from airproof.repair.proof.proof import Judgement, Missing, Outcome


@dataclass(frozen=True)
class Standing:
    """Probabilities of the outcomes after what was done and at even odds, of what else may be wrong, what is missing,
    and why something was believed against what both sides say together.
    """

    outcomes: Mapping[Outcome, float]
    evens: Mapping[Outcome, float]
    others: Mapping[str, float]
    missing: tuple[Missing, ...]
    believed: tuple[str, ...] = ()

    @property
    def judgement(self) -> Judgement:
        """The answer, as it stands."""
        return judge(self.outcomes, self.evens, self.missing, judged())

    @property
    def else_is_open(self) -> bool:
        """Whether something else may be wrong."""
        return max(self.outcomes["something else"], self.evens["something else"]) > judged().nothing_else

    def asked_alone(
        self, by_itself: ByItself | None, mended: Cause | None, known: Knowledge, *, believe: bool
    ) -> Standing:
        """The same once a verdict of the recording after by itself was asked whether something else is wrong; its "no"
        counts where it is to be believed.
        """
        if by_itself is None:
            return self
        name = "" if mended is None else mended.id
        missing = self.missing if by_itself.calls_it_healthy else (by_itself.doubt(name), *self.missing)
        if not believe or not by_itself.finds_nothing_but(name):
            return replace(self, missing=missing)
        accused = next(iter(self.others.items()), None) if self.else_is_open else None
        return Standing(
            _with_something_new(self.outcomes, by_itself.something_new),
            _with_something_new(self.evens, by_itself.something_new),
            {},
            missing,
            () if accused is None else (by_itself.instead_of(known.causes[accused[0]].title, accused[1]),),
        )


def _with_something_new(outcomes: Mapping[Outcome, float], share: float) -> dict[Outcome, float]:
    """The same, where something else is as probable as that once what was to be mended is gone."""
    whole = sum(p for outcome, p in outcomes.items() if outcome != "something else")  # not 1 - p: it may be next to 1
    if whole <= 0.0:
        return dict(outcomes)
    left = {outcome: p / whole for outcome, p in outcomes.items()}
    return left | {"fixed": left["fixed"] * (1.0 - share), "something else": left["fixed"] * share}
