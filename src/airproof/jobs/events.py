"""Events: what was said of a job, when and by whom. They are added and never changed."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

from airproof.errors import UnusableRequest
from airproof.jobs.kinds import UNREADABLE, WITHDRAWAL, Payload, Withdrawal

STAMP = "%Y-%m-%dT%H:%M:%S.%fZ"
"""Times are written in UTC to the microsecond, so that their order as text is their order in time."""

EARLIEST, LATEST = datetime(1970, 1, 1, tzinfo=UTC), datetime(2200, 1, 1, tzinfo=UTC)
"""No fact is said outside; judged: Airproof authors: a computer that has lost its time begins anew in 1970."""

LONGEST_AUTHOR = 100


@dataclass(frozen=True)
class Draft:
    """An event that is to be added. `corrects` and `withdraws` are numbers of earlier events of the same job."""

    kind: str
    payload: Payload
    corrects: int | None = None
    withdraws: int | None = None


@dataclass(frozen=True)
class Event:
    """One fact of a job, or the taking back of one; `number` counts the job's events from 1."""

    number: int
    uid: str
    at: datetime
    author: str
    kind: str
    version: int
    payload: Payload
    corrects: int | None = None
    withdraws: int | None = None


def withdrawal(of: int, why: str = "") -> Draft:
    """The draft that takes an event back."""
    return Draft(WITHDRAWAL, Withdrawal(why=why) if why else Withdrawal(), withdraws=of)


def now() -> datetime:
    """The time in UTC. Raises UnusableRequest where the computer's clock is absurd."""
    time = datetime.now(UTC)
    if not EARLIEST <= time < LATEST:
        raise UnusableRequest(
            f"the computer's clock says {time:%d.%m.%Y}", "the time of today", "Set it, and try again."
        )
    return time


def new_uid() -> str:
    """A name that no other job or event anywhere has."""
    return uuid.uuid4().hex


def stamp_of(at: datetime) -> str:
    """The time as text."""
    return at.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")  # strftime pads no year


def time_of(stamp: str) -> datetime:
    """The time from its text; ValueError for anything else, also for a time at which nobody can have said a thing."""
    at = datetime.strptime(stamp, STAMP).replace(tzinfo=UTC)
    if stamp_of(at) != stamp or not EARLIEST <= at < LATEST:
        raise ValueError(stamp)
    return at


def tidy_author(text: str) -> str:
    """The author's name on one line."""
    return " ".join("".join(sign for sign in text if sign.isprintable()).split())[:LONGEST_AUTHOR] or "unnamed"


@dataclass
class Rules:
    """What an event may point to, held over the events of one job in their order."""

    kinds: list[str] = field(default_factory=list)

    @classmethod
    def after(cls, events: Sequence[Event]) -> Rules:
        """The rules as they stand after those events."""
        return cls([event.kind for event in events])

    def admit(self, kind: str, corrects: int | None, withdraws: int | None) -> None:
        """Take one more event in.

        Raises UnusableRequest where it points to nothing, or to something it cannot correct or take back.
        """
        if (kind == WITHDRAWAL) != (withdraws is not None) or (kind == WITHDRAWAL and corrects is not None):
            raise UnusableRequest(
                f"a {kind} that takes back {withdraws}", "a withdrawal with the one event it takes back", "Correct it."
            )
        for target in (corrects, withdraws):
            if target is not None and not 1 <= target <= len(self.kinds):
                raise UnusableRequest(
                    f"there is no event {target} yet",
                    f"an earlier event, 1 to {len(self.kinds)}" if self.kinds else "an earlier event",
                    'Take one of the history. "airproof job show NUMBER --history" prints it.',
                )
        # What an unreadable one was nobody can tell: anything may be said in its place.
        if corrects is not None and self.kinds[corrects - 1] not in (kind, UNREADABLE):
            raise UnusableRequest(
                f"event {corrects} is a {self.kinds[corrects - 1]}, the correction a {kind}",
                "a correction of the same kind",
                "Take the wrong one back, and add the right one.",
            )
        self.kinds.append(kind)
