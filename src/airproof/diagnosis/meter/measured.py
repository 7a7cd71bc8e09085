"""What was measured with a meter at a sensor's plug, as values with their units taken off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from airproof.diagnosis.meter.lines import Line
from airproof.diagnosis.meter.typed_values import Point, Taken
from airproof.diagnosis.weighing import Barometer
from airproof.knowledge.sensors import ThermistorTable
from airproof.quantities.meter import METER_OHM
from airproof.quantities.meter_accuracy import Accuracy

USUAL_METER = Accuracy(0.01, 3.0)
"""judged: Airproof authors: a cheap meter on direct voltage that is some years old; used where none is stated."""
USUAL_OHMS = Accuracy(0.015, 4.0)
"""judged: Airproof authors: the same on resistance."""
USUAL_GAUGE_KPA = 2.5
"""Largest error of a hand pump's gauge where none is stated, kPa: class 2.5 of 100 kPa, from memory of EN 837-1."""
USUAL_THERMOMETER_K = 1.5
"""Largest error of a workshop thermometer, K; judged: Airproof authors."""
What = Literal["supply", "ground", "signal", "sweep", "thermistor", "wiggle", "wire", "digital"]
Wire = Literal["supply", "signal", "ground", "temperature"]
Against = Literal["sensor ground", "battery minus"]
WireTo = Literal["control unit", "ground", "supply"]


@dataclass(frozen=True)
class Meter:
    """The meter: accuracy on volts (and Hz), on ohms, the worth of the last place on volts (None: as typed), its ohms.

    `stated` is whether the user said so, or it is the usual one.
    """

    volts: Accuracy = USUAL_METER
    ohms: Accuracy = USUAL_OHMS
    resolution_v: float | None = None
    input_ohm: float = METER_OHM
    stated: bool = False

    def digit(self, reading: Taken) -> float:
        """The worth of the last place of a reading, in its unit."""
        return self.resolution_v if reading.read_as == "V" and self.resolution_v is not None else reading.digit


@dataclass(frozen=True)
class Sensor:
    """What is known of the sensor: the line the car expects (None: unknown), the thermistor's table, its temperature.

    `output_ohm` is the source resistance of its output, None where unknown.
    """

    line: Line | None = None
    thermistor: ThermistorTable | None = None
    kind: str = ""
    temperature_c: float | None = None
    output_ohm: float | None = None


@dataclass(frozen=True)
class Measured:
    """One thing measured, as far as it was said; `number` counts from 1 in the file, `name` is the id it was given."""

    what: What
    number: int
    value: Taken | None = None
    shown: Taken | None = None
    points: tuple[Point, ...] = ()
    gauge_kpa: float = USUAL_GAUGE_KPA
    against: Against = "sensor ground"
    creeps: bool | None = None
    jumps: bool | None = None
    found: bool | None = None
    temperature_c: float | None = None
    thermometer_k: float = USUAL_THERMOMETER_K
    wire: Wire = "signal"
    to: WireTo = "control unit"
    note: str = ""
    name: str = ""


@dataclass(frozen=True)
class Measurements:
    """All measurements of one session; `day` where the file says it, else None; `taken_back`: ids it takes back."""

    items: tuple[Measured, ...]
    meter: Meter = Meter()
    sensor: Sensor = Sensor()
    day: Barometer | None = None
    where: str = ""
    taken_back: tuple[str, ...] = ()

    def first(self, what: What) -> Measured | None:
        """The first measurement of that sort, or None."""
        return next((item for item in self.items if item.what == what), None)
