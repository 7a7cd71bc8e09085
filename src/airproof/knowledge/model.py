"""The shape of what is known: causes, codes, symptoms, looks, history, steps, prices, each entry with its source.

Nothing here can be changed once loaded. Probabilities lie strictly between 0 and 1: nothing is impossible and
nothing is certain in a workshop.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

if TYPE_CHECKING:
    from airproof.knowledge.sensors import MeterTask, SensorKind, SensorLine, ThermistorTable

NONE = "none"
"""The cause that is no fault: nothing wrong that the evidence can see."""

JUDGED = re.compile(r"judged: \S[^,:]*[,:] \S.{9,}", re.DOTALL)
"""A number somebody judged: "judged: who, why"."""

LEARNED = re.compile(r"learned: [1-9]\d* closed jobs? over \S.*", re.DOTALL)
"""A number that a shop's own jobs have moved, and what it was before: "learned: 14 closed jobs over judged-step-odds".
No data file may say so: it is written where such numbers are made, and nowhere else."""


def learned_over(sources: tuple[str, ...], jobs: int) -> str:
    """The source of a number that so many closed jobs have moved from what these sources say."""
    return f"learned: {jobs} closed job{'s' if jobs != 1 else ''} over {'; '.join(sources)}"


Text = Annotated[str, Field(min_length=1)]
Probability = Annotated[float, Field(gt=0.0, lt=1.0)]
Id = Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")]
CodeId = Annotated[str, Field(pattern=r"^[PCBU][0-3][0-9A-F]{3}$")]

Induction = Literal["naturally-aspirated", "turbocharged", "supercharged"]
AirMetering = Literal["air-flow sensor", "speed-density", "both"]
Fuel = Literal["petrol", "e10", "e85", "diesel"]
Standing = Literal["read", "computed", "from memory", "common practice, no source", "judged"]
Skill = Literal["anyone", "mechanic", "specialist"]
FrameRelation = Literal["air-flow", "throttle-flow", "fuel", "trim", "charge-at-rest", "engine-off"]
StepKind = Literal["look", "measure", "record", "clean", "repair", "replace", "specialist", "watch"]


def _as_tuple(value: object) -> object:
    return (value,) if isinstance(value, str) else value


Sources = Annotated[tuple[Text, ...], BeforeValidator(_as_tuple), Field(min_length=1)]
"""Keys into the sources, or "judged: who, why"."""


class Known(BaseModel):
    """What every entry has: an id, and where it is from."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: Id
    source: Sources


class Source(BaseModel):
    """Where something is from: what was taken, and how far it can be relied on."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: Id
    title: Text
    taken: Text
    standing: Standing


class SizePrior(BaseModel):
    """Sizes of a cause that a driver notices, in the cause's unit, before any evidence.

    Spread in the logarithm from `low` to `high` (both positive), most often near `typical`; where `signed`,
    the same again below zero. `whole`: `high` is all there can be, not merely all that is reckoned with.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    low: Annotated[float, Field(gt=0.0)]
    typical: Annotated[float, Field(gt=0.0)]
    high: Annotated[float, Field(gt=0.0)]
    signed: bool
    whole: bool = False

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not self.low < self.typical < self.high:
            msg = f"low < typical < high does not hold: {self.low}, {self.typical}, {self.high}"
            raise ValueError(msg)
        return self


class Applies(BaseModel):
    """On which engines a cause can be: empty means on all; `needs` names equipment it cannot be without."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    induction: tuple[Induction, ...] = ()
    air_metering: tuple[AirMetering, ...] = ()
    fuel: tuple[Fuel, ...] = ()
    needs: tuple[Id, ...] = ()

    def to(self, induction: str, air_metering: str, fuel: str) -> bool:
        """Whether the cause can be on such an engine, its equipment left aside."""
        asked = ((induction, self.induction), (air_metering, self.air_metering), (fuel, self.fuel))
        return all(not allowed or given in allowed for given, allowed in asked)


class Equipment(Known):
    """Something an engine may or may not have; `shown_by` are the signals that prove it is there."""

    title: Text
    shown_by: tuple[Text, ...] = ()


class Cause(Known):
    """One thing that can be wrong.

    `weight` is how common it is among cars whose owner complains, relative to the others; `by_fuel` how many times as
    common on engines that burn that.
    `unit` of the size; empty with `size` None where the cause has none.
    """

    title: Text
    says: Text
    weight: Annotated[float, Field(gt=0.0)]
    by_fuel: Mapping[Fuel, Annotated[float, Field(gt=0.0)]] = {}
    unit: str = ""
    size: SizePrior | None = None
    applies: Applies = Applies()
    cautions: tuple[Text, ...] = ()

    @model_validator(mode="after")
    def _size_has_unit(self) -> Self:
        if (self.size is None) != (self.unit == ""):
            msg = "a size needs a unit, and a unit a size"
            raise ValueError(msg)
        return self


class Witness(Known):
    """Something that may be there or not, and how probable it is under each cause.

    `sets[c]` is the probability that it is there when c is, at a size a driver notices; `by_chance` the same
    when the cause is `none` or any that `sets` does not name.
    """

    title: Text
    sets: Mapping[Id, Probability] = {}
    by_chance: Probability

    @model_validator(mode="after")
    def _none_is_by_chance(self) -> Self:
        if NONE in self.sets:
            msg = f"`{NONE}` is what `by_chance` is for"
            raise ValueError(msg)
        return self

    def given(self, cause: str) -> float:
        """Probability that this is there, given that cause."""
        return self.sets.get(cause, self.by_chance)


class Noticed(Witness):
    """A witness that people tell of, in a sentence. `also_called` are other words for it.

    `family`: what is noticed or seen of one thing, so that two of them are hardly two witnesses.
    """

    says: Text
    also_called: tuple[Text, ...] = ()
    family: Id | None = None


class Symptom(Noticed):
    """What the driver or the mechanic notices."""


LATER = ConfigDict(frozen=True, extra="forbid", defer_build=True)
"""For what is read only when it is asked for: its model is built then, too."""


class Look(Noticed):
    """What can be seen or heard on the car. `step` is the step in the catalogue that it is a detail of.

    `says` words that it was seen, `if_not` that it was looked for and not seen.
    """

    model_config = LATER

    if_not: Text
    step: Id | None = None


class History(Noticed):
    """What was done to the car or happened to it before the trouble came."""

    model_config = LATER


class Condition(Noticed):
    """When the trouble is there: only cold, only wet, over bumps. Without a condition it comes whenever it likes."""

    model_config = LATER


class Family(Known):
    """Witnesses to one thing: codes that one look of the control unit stores together, looks at one place.

    `alike`: the share in which one common chance decides on all of them, so that the rarer comes only where the
    commoner does; in the rest each is by itself. For codes also `monitor`, who looks; `in_the_wake`: the probability
    that such a code is stored because another was there first; `frame_shows`: the share in which its decision rests on
    what a freeze frame holds, where the relations in `shown_by` can be asked of the frame; `displaces`: its freeze
    frame takes the place of any other; `fuel`: the engines that store such codes, empty for all: elsewhere it says
    nothing that there is none.
    """

    title: Text
    alike: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.0
    monitor: Id | None = None
    in_the_wake: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.0
    frame_shows: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.0
    shown_by: tuple[FrameRelation, ...] = ()
    displaces: bool = False
    fuel: tuple[Fuel, ...] = ()


class Monitor(Known):
    """A readiness monitor. `looked`: how probably it had its look at the fault, where it is told to be complete;
    `continuous`: it looks all the time, and most cars call it complete whatever has been driven.
    """

    model_config = LATER

    title: Text
    looked: Probability
    continuous: bool = False


class CodeStatus(Known):
    """How a code stands: `says` completes "P0106 ...".

    `chance_odds` multiplies the odds of its coming by chance; `weakens[c]` multiplies the strength with which c brings
    it: the trouble need not be there at that moment.
    """

    says: Text
    chance_odds: Annotated[float, Field(gt=0.0)]
    weakens: Mapping[Id, Probability] = {}


class CodeArea(Known):
    """What codes with these prefixes concern; `standard`: whether the standard fixes their meaning."""

    title: Text
    prefixes: tuple[Annotated[str, Field(pattern=r"^[PCBU][0-9A-F]{0,4}$")], ...] = Field(min_length=1)
    standard: bool | None = None


class Code(Witness):
    """One stored code: what the control unit claims to have seen, and what it must not be mistaken for.

    `by_voltage`: it claims a voltage out of range or a broken circuit, which no value of a freeze frame shows.
    """

    id: CodeId
    claims: Text
    family: Id
    by_voltage: bool = False
    says: tuple[Text, ...] = ()
    not_to_be_mistaken_for: tuple[Text, ...] = ()
    also_set_by: tuple[Text, ...] = ()
    check_first: tuple[Id, ...]


class SetUp(Known):
    """Something made ready once that several steps need: a sensor taken out, a meter at a plug.

    `minutes` are for making it ready and putting it back. It is put back before the engine runs, unless it
    `stands_running`.
    """

    title: Text
    minutes: Annotated[float, Field(gt=0.0)]
    stands_running: bool = False


class Risk(BaseModel):
    """What may go wrong in a step, and what it then costs on top, in the currency of the prices."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    says: Text
    chance: Annotated[float, Field(ge=0.0, lt=1.0)]
    money: Annotated[float, Field(ge=0.0)]

    @property
    def expected_money(self) -> float:
        """Chance times money."""
        return self.chance * self.money


NO_RISK = Risk(says="nothing out of the ordinary", chance=0.0, money=0.0)


class Step(Known):
    """Something the mechanic can do: it costs a part and minutes; it tells, cures, or ends the job.

    `minutes` include all it needs `set_up` and putting that back; where that stands already from the step before, they
    are fewer by it. Work on the engine ends with a check in which it runs (`runs`, or any kind that cures).

    `tells[c]` is the probability of the outcome worded `if_so`, given c; `otherwise` the same for all causes
    that `tells` does not name. `cures[c]` is the chance that c is gone afterwards; only watching "cures"
    `none`, by showing that nothing comes back. `ends`: whatever the cause, the job is over with it. `after`
    are steps that come first. `records[r]` is how many seconds of a regime a recording must hold to have done it.
    `fuel`: the engines that it tells of something, empty for all.
    """

    title: Text
    kind: StepKind
    minutes: Annotated[float, Field(ge=0.0)]
    part: Id | None = None
    how: tuple[Text, ...] = Field(min_length=1)
    tools: tuple[Text, ...] = ()
    tells: Mapping[Id, Probability] = {}
    otherwise: Probability | None = None
    if_so: str = ""
    if_not: str = ""
    cures: Mapping[Id, Annotated[float, Field(gt=0.0, le=1.0)]] = {}
    ends: bool = False
    records: Mapping[Id, Annotated[float, Field(gt=0.0)]] = {}
    fuel: tuple[Fuel, ...] = ()
    after: tuple[Id, ...] = ()
    set_up: tuple[Id, ...] = ()
    runs: bool = False
    skill: Skill = "anyone"
    risk: Risk = NO_RISK
    cautions: tuple[Text, ...] = ()

    @model_validator(mode="after")
    def _tells_or_cures(self) -> Self:
        if self.tells and (self.otherwise is None or not self.if_so or not self.if_not):
            msg = "a step that tells needs `otherwise`, `if_so` and `if_not`"
            raise ValueError(msg)
        if not self.tells and self.otherwise is not None:
            msg = "`otherwise` without `tells`"
            raise ValueError(msg)
        if (bool(self.tells), bool(self.cures), self.ends).count(True) != 1:
            msg = "a step must do one of three: tell, cure, or end the job"
            raise ValueError(msg)
        if NONE in self.cures and self.kind != "watch":
            msg = f"only watching can settle `{NONE}`"
            raise ValueError(msg)
        return self

    @property
    def engine_runs(self) -> bool:
        """Whether the engine runs in it or at its end, so that it must be whole by then."""
        return self.runs or bool(self.cures)

    def positive_given(self, cause: str) -> float:
        """Probability of the outcome `if_so`, given that cause; 0.5 where the step tells nothing."""
        return 0.5 if self.otherwise is None else self.tells.get(cause, self.otherwise)


class PartPrice(Known):
    """What a part costs, in the currency of the prices: the usual range and a typical price."""

    title: Text
    low: Annotated[float, Field(ge=0.0)]
    typical: Annotated[float, Field(ge=0.0)]
    high: Annotated[float, Field(ge=0.0)]

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not self.low <= self.typical <= self.high:
            msg = f"low <= typical <= high does not hold: {self.low}, {self.typical}, {self.high}"
            raise ValueError(msg)
        return self


class Prices(BaseModel):
    """What time and parts cost, all in one currency, and what tools there are not."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")]
    labour_per_hour: Annotated[float, Field(ge=0.0)]
    source: Sources
    parts: Mapping[Id, PartPrice]
    tools_missing: tuple[Text, ...] = ()

    def part(self, key: str | None) -> float:
        """Typical price of a part; nothing for no part."""
        return 0.0 if key is None else self.parts[key].typical


@dataclass(frozen=True)
class Knowledge:
    """All that is known, by id; the loader has refused what leads nowhere."""

    sources: Mapping[str, Source]
    equipment: Mapping[str, Equipment]
    causes: Mapping[str, Cause]
    families: Mapping[str, Family]
    areas: Mapping[str, CodeArea]
    codes: Mapping[str, Code]
    symptoms: Mapping[str, Symptom]
    steps: Mapping[str, Step]
    prices: Prices
    setups: Mapping[str, SetUp] = field(default_factory=dict)
    sensors: Mapping[str, SensorLine] = field(default_factory=dict)
    thermistors: Mapping[str, ThermistorTable] = field(default_factory=dict)
    sensor_kinds: Mapping[str, SensorKind] = field(default_factory=dict)
    meter_tasks: Mapping[str, MeterTask] = field(default_factory=dict)
    looks: Mapping[str, Look] = field(default_factory=dict)
    history: Mapping[str, History] = field(default_factory=dict)
    conditions: Mapping[str, Condition] = field(default_factory=dict)
    monitors: Mapping[str, Monitor] = field(default_factory=dict)
    statuses: Mapping[str, CodeStatus] = field(default_factory=dict)
