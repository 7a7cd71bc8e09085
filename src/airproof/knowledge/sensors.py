"""What is known of sensors: pressure lines, thermistor tables, kinds of sensor, and what a meter can do at each.

A line is V = Vs (a P + b), P in kPa, as data sheets print it; a thermistor's table is its printed rows. The loader
refuses a line whose printed points do not lie on it, and a table whose resistance does not fall as it gets hotter.
Points that a source prints and that cannot be right are kept apart, with the reason.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise
from math import isfinite
from typing import Annotated, Literal, Protocol, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from airproof.knowledge.model import Id, Knowledge, Known, Probability, Standing, Text
from airproof.quantities.constants import STANDARD_PRESSURE
from airproof.quantities.sensor_lines import TEMPERATURE_FACTOR, RatiometricLine
from airproof.quantities.units import from_unit

Pair = tuple[float, float]
Measures = Literal["absolute", "difference"]
PointUnit = Literal["kPa", "inHg vacuum"]

ROUNDING_V = 5e-4
"""Printed points may stray from a line by their rounding at least, V."""


class LeftOut(BaseModel):
    """A printed point that cannot be right: its pressure (as printed), its volts, and why it is left out."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    point: Pair
    why: Text


class SensorLine(Known):
    """A pressure sensor with a straight line, at the supply its source states it for.

    `slope_per_kpa` and `offset` are a and b of V = Vs (a P + b), both absent where only the range was read;
    `measures` a pressure absolute or a difference to the air outside. `points` are as printed: pressure in
    `points_in` (a vacuum is taken from 101.325 kPa) and volts; they lie within `within_v` of the line. `error_kpa` is
    the largest error of a good part from 0 to 85 degC, `temperature_factor` how it grows outside. `standing` is how a
    and b stand.
    """

    title: Text
    kind: Id
    measures: Measures
    standing: Standing
    slope_per_kpa: float | None = None
    offset: float | None = None
    supply_v: Annotated[float, Field(gt=0.0)]
    supply_low_v: Annotated[float, Field(gt=0.0)] | None = None
    supply_high_v: Annotated[float, Field(gt=0.0)] | None = None
    low_kpa: float
    high_kpa: float
    error_kpa: Annotated[float, Field(gt=0.0)] | None = None
    temperature_factor: tuple[Pair, ...] = TEMPERATURE_FACTOR
    points: tuple[Pair, ...] = ()
    points_in: PointUnit = "kPa"
    within_v: Annotated[float, Field(gt=0.0)] = ROUNDING_V
    left_out: tuple[LeftOut, ...] = ()
    says: tuple[Text, ...] = ()

    @model_validator(mode="after")
    def _sound(self) -> Self:
        if (self.slope_per_kpa is None) != (self.offset is None):
            msg = "slope_per_kpa and offset belong together"
            raise ValueError(msg)
        if not self.low_kpa < self.high_kpa:
            msg = f"low_kpa < high_kpa does not hold: {self.low_kpa}, {self.high_kpa}"
            raise ValueError(msg)
        if self.slope_per_kpa == 0.0:
            msg = "a slope of 0 measures nothing"
            raise ValueError(msg)
        low, high = self.supply_low_v or self.supply_v, self.supply_high_v or self.supply_v
        if not low <= self.supply_v <= high:
            msg = f"supply_low_v <= supply_v <= supply_high_v does not hold: {low}, {self.supply_v}, {high}"
            raise ValueError(msg)
        for kpa, volts in self.points_kpa():
            off = volts - self._volts(kpa)
            if not abs(off) <= self.within_v:
                msg = f"the printed point {kpa:g} kPa, {volts:g} V lies {off:+.4f} V off the line"
                raise ValueError(msg)
        return self

    def _volts(self, kpa: float) -> float:
        if self.slope_per_kpa is None or self.offset is None:
            msg = "points without a line to hold them against"
            raise ValueError(msg)
        return self.supply_v * (self.slope_per_kpa * kpa + self.offset)

    def points_kpa(self) -> tuple[Pair, ...]:
        """The printed points with their pressure in kPa, absolute or a difference as the sensor measures."""
        if self.points_in == "kPa":
            return self.points
        sea_level = 1e-3 * STANDARD_PRESSURE
        return tuple(
            (sea_level + 1e-3 * float(from_unit(inches, "inHg vacuum")), volts) for inches, volts in self.points
        )

    @property
    def known(self) -> bool:
        """Whether the line itself is known, not only its range."""
        return self.slope_per_kpa is not None

    def line(self) -> RatiometricLine:
        """The line for calculation. Only where `known`."""
        assert self.slope_per_kpa is not None
        assert self.offset is not None
        error_pa = None if self.error_kpa is None else 1e3 * self.error_kpa
        return RatiometricLine(
            self.slope_per_kpa / 1e3,
            self.offset,
            self.supply_v,
            1e3 * self.low_kpa,
            1e3 * self.high_kpa,
            error_pa,
            self.temperature_factor,
            self.title,
        )


class ThermistorTable(Known):
    """A thermistor's table as printed: rows of degC, least and most ohm (the same where one value is printed).

    `pull_up_ohm` and `supply_v` are the divider it is read through, where printed; `volts` rows of degC and V.
    `within_v`: how far those printed volts may stray from the divider's.
    """

    title: Text
    rows: tuple[tuple[float, float, float], ...] = Field(min_length=2)
    pull_up_ohm: Annotated[float, Field(gt=0.0)] | None = None
    supply_v: Annotated[float, Field(gt=0.0)] | None = None
    volts: tuple[Pair, ...] = ()
    within_v: Annotated[float, Field(gt=0.0)] = 0.1

    @model_validator(mode="after")
    def _falls(self) -> Self:
        for celsius, low, high in self.rows:
            if not (isfinite(celsius) and 0.0 < low <= high):
                msg = f"row {celsius:g} degC, {low:g} to {high:g} ohm: 0 < least <= most does not hold"
                raise ValueError(msg)
        for (cold, low, high), (hot, lower, higher) in pairwise(self.rows):
            if not (hot > cold and lower < low and higher < high):
                msg = f"from {cold:g} to {hot:g} degC the resistance does not fall"
                raise ValueError(msg)
        if (self.pull_up_ohm is None) != (self.supply_v is None):
            msg = "pull_up_ohm and supply_v belong together"
            raise ValueError(msg)
        for celsius, volts in self.volts:
            row = next((r for r in self.rows if r[0] == celsius), None)
            if row is None or self.pull_up_ohm is None or self.supply_v is None:
                continue
            middle = (row[1] * row[2]) ** 0.5
            expected = self.supply_v * middle / (middle + self.pull_up_ohm)
            if abs(expected - volts) > self.within_v:
                msg = f"{volts:g} V at {celsius:g} degC, where the divider gives {expected:.2f} V"
                raise ValueError(msg)
        return self


class SensorKind(Known):
    """A kind of sensor by its wires: what each is for, what a meter can tell of it and what it cannot."""

    title: Text
    signal: Literal["volts", "frequency", "digital"]
    wires: tuple[Text, ...] = Field(min_length=1)
    told_by: Text
    can_tell: tuple[Text, ...] = Field(min_length=1)
    cannot_tell: tuple[Text, ...] = ()
    tasks: tuple[Id, ...] = Field(min_length=1)


class MeterTask(Known):
    """One thing to measure: where the probes go, key and plug, what each outcome means, how not to do harm.

    `step` is the step of the catalogue that it carries out; `outcomes` map a name (right, low, high, ...) to what it
    means. `tells[c]` is the probability that it is found wanting under cause c, `otherwise` under all others, where
    the outcome is a plain yes or no and no step says it.
    """

    title: Text
    step: Id | None = None
    probes: Text
    key: Text
    plug: Text
    how: tuple[Text, ...] = Field(min_length=1)
    outcomes: Mapping[Id, Text]
    tells: Mapping[Id, Probability] = {}
    otherwise: Probability | None = None
    cautions: tuple[Text, ...] = ()

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if "right" not in self.outcomes:
            msg = "no outcome `right`: what it means when nothing is found wrong"
            raise ValueError(msg)
        if bool(self.tells) != (self.otherwise is not None):
            msg = "`tells` and `otherwise` belong together"
            raise ValueError(msg)
        return self


class Within(Protocol):
    """Refuses, for an entry of a kind, ids it uses that are not there."""

    def __call__(self, kind: str, key: str, used: Iterable[str], there: Iterable[str], what: str, /) -> None:
        """`what` names the kind of the ids used."""


def check_sensors(known: Knowledge, within: Within) -> None:
    """Refuse, through `within`, a reference of these entries that leads nowhere."""
    for key, line in known.sensors.items():
        within("sensors", key, (line.kind,), known.sensor_kinds, "kind of sensor")
    for key, kind in known.sensor_kinds.items():
        within("sensor_kinds", key, kind.tasks, known.meter_tasks, "meter task")
    for key, task in known.meter_tasks.items():
        within("meter_tasks", key, () if task.step is None else (task.step,), known.steps, "step")
        within("meter_tasks", key, task.tells, known.causes, "cause")
