"""The verdict: probabilities and sizes of the causes, with the evidence behind each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from airproof.diagnosis.finding import Finding


@dataclass(frozen=True)
class Size:
    """How large a cause is, with a 90 % interval, in the unit of its cause.

    `told` is whether the evidence narrowed it at all: if not, it is only what is usual. `beyond`: the interval ends at
    the largest size that is reckoned with, so that `high` (`low` of a negative one) is not where it ends.
    """

    value: float
    low: float
    high: float
    unit: str
    told: bool = True
    beyond: bool = False


@dataclass(frozen=True)
class Evidence:
    """How strongly one piece of evidence speaks for one cause against all the others together.

    `finding` is the id of a Finding, "code P0106", "symptom rough-idle", ... or "before" for the prior odds, so that
    a cause's decibans add up to 10 log10 of its posterior odds. Evidence shares its weight with others that say the
    same; `alone` is its weight against nothing being wrong as if it were the only one, None where that has no meaning.
    """

    finding: str
    decibans: float
    says: str
    alone: float | None = None


@dataclass(frozen=True)
class CauseVerdict:
    """One cause: its probability, its size where it has one, and the evidence, strongest first."""

    id: str
    title: str
    probability: float
    size: Size | None
    evidence: tuple[Evidence, ...]


@dataclass(frozen=True)
class Moment:
    """A stretch of the recording: the probability that something was wrong then, and what."""

    from_s: float
    to_s: float
    p_wrong: float
    causes: Mapping[str, float]


@dataclass(frozen=True)
class Pair:
    """Two causes, and how probable both at once are against either of them alone."""

    causes: tuple[str, str]
    probability: float


ALL_BUT_SURE = 1.0 - 1e-9
"""Of a pair: odds beyond a thousand million to one are no odds."""


@dataclass(frozen=True)
class Clash:
    """Facts that no cause, nor two together, explains: at least one of them is old or wrong.

    `facts` are the ids of their evidence; `decibans`: how much more probable they are apart than under the best of all
    explanations.
    """

    facts: tuple[str, ...]
    decibans: float
    says: str


@dataclass(frozen=True)
class Verdict:
    """The outcome of weighing: causes most probable first, probabilities summing to 1 over all that apply.

    `refusal` is set when the engine or the recording is outside what the models cover: then `causes` is the prior
    and no finding counts. `doubts` are about what was given, and are to be cleared before the verdict is trusted.
    """

    causes: tuple[CauseVerdict, ...]
    findings: tuple[Finding, ...]
    timeline: tuple[Moment, ...] = ()
    cannot_tell: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    refusal: str | None = None
    doubts: tuple[str, ...] = ()
    pairs: tuple[Pair, ...] = ()
    clashes: tuple[Clash, ...] = ()
    regimes_s: Mapping[str, float] = field(default_factory=dict)

    def probability(self, cause: str) -> float:
        """Probability of that cause; 0 where it does not apply."""
        return next((c.probability for c in self.causes if c.id == cause), 0.0)

    def pair_weights(self) -> dict[tuple[str, ...], float]:
        """The weight of each pair beside the probabilities of single causes, with which it sums to more than 1."""
        return {
            pair.causes: min(pair.probability, ALL_BUT_SURE)
            / (1.0 - min(pair.probability, ALL_BUT_SURE))
            * sum(map(self.probability, pair.causes))
            for pair in self.pairs
        }

    @property
    def first(self) -> CauseVerdict:
        """The most probable cause."""
        return self.causes[0]
