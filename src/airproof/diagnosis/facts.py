"""Everything told or seen of a car: codes, freeze frames, readiness, symptoms, looks, history, conditions, readings.

Each fact has an identity: what it is of (a code, a look, a step), or the `id` it was given. A later one with the same
identity takes the earlier one's place, and one that is withdrawn was never said.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, TypeVar

from airproof.diagnosis.readings import EngineOffReading, Outcome, Reading
from airproof.knowledge.model import Knowledge, Noticed

Kind = Literal["symptom", "look", "history", "condition"]
KINDS: tuple[Kind, ...] = ("symptom", "look", "history", "condition")
STORED = "stored"


@dataclass(frozen=True)
class StoredCode:
    """A code that the control unit holds. `order`: 1 for the one that came first; None where nobody knows."""

    id: str
    status: str = STORED
    order: int | None = None


@dataclass(frozen=True)
class Noted:
    """A symptom, look, history or condition that is so, or was asked after and is not."""

    kind: Kind
    id: str
    found: bool = True


@dataclass(frozen=True)
class FreezeFrame:
    """What the control unit saw when it stored a code; `values` by signal, in the signal's own unit."""

    code: str
    values: Mapping[str, float]


@dataclass(frozen=True)
class Readiness:
    """Which monitors are complete, by id: one that is not named has not told.

    `codes_read`: whether all codes were read, so that those not given are not there.
    """

    complete: Mapping[str, bool] = field(default_factory=dict)
    codes_read: bool = False


@dataclass(frozen=True)
class Facts:
    """All facts of one car, each once."""

    codes: tuple[StoredCode, ...] = ()
    noted: tuple[Noted, ...] = ()
    readings: tuple[Reading, ...] = ()
    frames: tuple[FreezeFrame, ...] = ()
    readiness: Readiness | None = None

    @property
    def anything(self) -> bool:
        """Whether there is anything to weigh."""
        absent = self.readiness is not None and self.readiness.codes_read
        return bool(self.codes or self.noted or self.readings or self.frames or absent)

    @property
    def complaint(self) -> bool:
        """Whether somebody or the car itself complains: then nothing wrong is less likely to begin with."""
        felt = any(one.found and one.kind in ("symptom", "condition") for one in self.noted)
        return bool(self.codes or self.frames or felt)

    def known_to(self, knowledge: Knowledge) -> Facts:
        """Only what the knowledge has an entry for: anything else carries no weight."""
        return replace(
            self,
            codes=tuple(one for one in self.codes if one.id in knowledge.codes),
            noted=tuple(one for one in self.noted if one.id in entries_of(one.kind, knowledge)),
        )

    def without_steps(self, steps: Collection[str]) -> Facts:
        """Without the outcomes of those steps."""
        kept = [one for one in self.readings if not (isinstance(one, Outcome) and one.step in steps)]
        return replace(self, readings=tuple(kept))

    def of(self, kind: Kind, *, found: bool = True) -> list[str]:
        """Ids of that kind that were found, or that were looked for and not found."""
        return [one.id for one in self.noted if one.kind == kind and one.found == found]

    @property
    def outcomes(self) -> list[Outcome]:
        """Outcomes of steps among the readings."""
        return [one for one in self.readings if isinstance(one, Outcome)]

    @property
    def engine_off_kpa(self) -> dict[str, float]:
        """Pressures read by hand with the engine off, kPa absolute, by signal."""
        return {one.signal: one.kpa for one in self.readings if isinstance(one, EngineOffReading)}


def entries_of(kind: Kind, knowledge: Knowledge) -> Mapping[str, Noticed]:
    """What is known of that kind, by id."""
    kinds: dict[Kind, Mapping[str, Noticed]] = {
        "symptom": knowledge.symptoms,
        "look": knowledge.looks,
        "history": knowledge.history,
        "condition": knowledge.conditions,
    }
    return kinds[kind]


def facts_of(
    codes: Sequence[str | StoredCode] = (),
    symptoms: Sequence[str] = (),
    readings: Sequence[Reading] = (),
    more: Facts | None = None,
) -> Facts:
    """Facts from lists of ids, and `more` said after them: the later of two on the same thing counts."""
    more = more or Facts()
    first = [StoredCode(code) if isinstance(code, str) else code for code in dict.fromkeys(codes)]
    felt = [Noted("symptom", symptom) for symptom in dict.fromkeys(symptoms)]
    return replace(
        more,
        codes=_latest([*first, *more.codes], lambda one: one.id),
        noted=_latest([*felt, *more.noted], lambda one: (one.kind, one.id)),
        readings=_latest([*readings, *more.readings], about),
    )


def about(reading: Reading) -> Hashable:
    """What a reading is of."""
    return ("step", reading.step) if isinstance(reading, Outcome) else ("signal", reading.signal)


Fact = TypeVar("Fact")


def _latest(facts: Iterable[Fact], identity: Callable[[Fact], Hashable]) -> tuple[Fact, ...]:
    return tuple({identity(one): one for one in facts}.values())
