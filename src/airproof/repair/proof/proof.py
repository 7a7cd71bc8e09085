"""The proof as a value: what was judged, on what, and what is missing. Nothing here is reckoned.

Every interval holds 90 % unless it says otherwise. Times are seconds of recording; pressures in kPa absolute. Sentences
(`says`) are whole and plain, without a full stop at the end, and hold the numbers they speak of.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Judgement = Literal["proved", "not proved yet", "not fixed", "fixed, but something else shows", "nothing to prove"]
"""`proved`: it was there, it is gone, and nothing else shows. `nothing to prove`: it was not there before either."""

Outcome = Literal["fixed", "same", "partly", "something else", "nothing before"]
"""What may be so after the repair: gone; as before; smaller; gone with another cause in its place; never there."""
OUTCOMES: tuple[Outcome, ...] = ("fixed", "same", "partly", "something else", "nothing before")

CodeStanding = Literal["gone", "came back", "new", "permanent", "not yet looked", "not read"]
"""How a code stands after the repair: `permanent`: erased, but kept by the car until its monitor has passed."""


@dataclass(frozen=True)
class Amount:
    """A value with its 90 % interval; `low` or `high` None where it is open on that side."""

    value: float
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Change:
    """One quantity before and after, with the change between them.

    `id` is "size CAUSE" for the size of the cause that was mended, else the id of a finding; `title` names the quantity
    in plain words. `healthy` is where a healthy engine of this kind lies, None where that is not known. `place` is the
    regime or load it was compared at, "" for the whole. `moved`: whether the change is more than noise and weather.
    """

    id: str
    title: str
    unit: str
    before: Amount
    after: Amount
    change: Amount
    healthy: tuple[float, float] | None
    place: str
    moved: bool
    says: str


@dataclass(frozen=True)
class Compared:
    """One regime: how long it was recorded before and after, and how long of it a proof needs after (0: not at all).

    A fault may keep the engine from a regime (a leak from its idle speed): only the recording after must have it.
    """

    regime: str
    before_s: float
    after_s: float
    needed_s: float

    @property
    def enough(self) -> bool:
        """Whether the recording after holds as much of it as is needed."""
        return self.after_s >= self.needed_s


LOST = "lost"


@dataclass(frozen=True)
class Missing:
    """What stands between this and a proof. `what`: a regime, or "barometer", "codes", "signals", "sharper" (what the
    recordings cannot resolve), "evidence" (all is there, and it is short), "odd" (what stands against a healthy car),
    LOST (the signal that would show it is lost after).

    `seconds`: how much more of it to record, None where that is no question of time. `needed`: whether the proof waits
    for it; what is not needed would make it surer.
    """

    what: str
    seconds: float | None
    says: str
    needed: bool = True


@dataclass(frozen=True)
class CodeAfter:
    """One code before and after; a status is None where the code was not there."""

    id: str
    title: str
    before: str | None
    after: str | None
    standing: CodeStanding
    says: str


@dataclass(frozen=True)
class MonitorAfter:
    """One readiness monitor: `complete` None where nobody told; `needs`: what it waits for, in words."""

    id: str
    title: str
    complete: bool | None
    concerns: tuple[str, ...]
    needs: tuple[str, ...]
    says: str


@dataclass(frozen=True)
class CodesAfter:
    """What the car itself says after the repair.

    `read`: whether codes were read at all afterwards; `cleared`: whether they were cleared before that. `looked`: how
    probable it is that the car has had its look at this cause since then, so that "no code" means something.
    """

    read: bool
    cleared: bool | None
    warm_ups: int | None
    distance_km: float | None
    codes: tuple[CodeAfter, ...]
    monitors: tuple[MonitorAfter, ...]
    looked: float
    says: tuple[str, ...]


@dataclass(frozen=True)
class Holding:
    """How probable it is that the repair holds: `held_days` without return so far, `at_days`: (days, probability)
    that a repair which does not hold would have shown by then.

    `rests_on` names where prior and rate come from.
    """

    probability: float
    held_days: float
    returned: bool
    at_days: tuple[tuple[float, float], ...]
    says: str
    rests_on: tuple[str, ...]


@dataclass(frozen=True)
class DriveStretch:
    """One stretch of the drive that would complete the proof, in the order in which they are driven."""

    id: str
    title: str
    seconds: float
    how: str
    why: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Proof:
    """The before/after judgement on a repair.

    `says` is the judgement in one sentence with its numbers. `cause` is the id of what was to be mended (None where
    nothing was wrong), `steps` the ids of the steps that mended it. `probabilities` of all OUTCOMES sum to 1;
    `even_probability` is that of `fixed` if the repair had been as likely to fail as to help: a proof stands on it, so
    that no hope proves anything. `something_else`: causes that may show now, with their probabilities. `taken_out`:
    what differed between the two days and was reckoned with, in words.
    """

    judgement: Judgement
    says: str
    cause: str | None
    cause_title: str
    steps: tuple[str, ...]
    probabilities: Mapping[Outcome, float]
    even_probability: float
    changes: tuple[Change, ...]
    regimes: tuple[Compared, ...]
    missing: tuple[Missing, ...]
    codes: CodesAfter | None
    holding: Holding | None
    drive: tuple[DriveStretch, ...]
    something_else: Mapping[str, float] = field(default_factory=dict)
    taken_out: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    before: tuple[str, ...] = ()
    after: tuple[str, ...] = ()

    @property
    def first_change(self) -> Change | None:
        """The change of the size of what was mended, None where it has no size."""
        return next((one for one in self.changes if one.id.startswith("size ")), None)
