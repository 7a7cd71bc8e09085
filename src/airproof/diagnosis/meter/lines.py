"""A sensor's line as readings are held against it: published, stated by the user, or learned from readings."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.expectations import expected
from airproof.knowledge.sensors import SensorLine
from airproof.quantities.constants import ZERO_CELSIUS
from airproof.quantities.sensor_lines import TEMPERATURE_FACTOR, RatiometricLine

Floats = NDArray[np.float64]

BAND_IS_SD = 2.0
"""A sheet's largest error is taken as so many standard deviations, as the engine-off check does (expectations.toml)."""


PUBLISHED = "published"


@dataclass(frozen=True)
class Line:
    """reading = offset + slope x pressure (kPa): `unit` V: as a share of the supply; Hz; kPa: as live data shows it.

    `covariance` (2, 2) of offset and slope, zero for a published line; `supply_v` the supply it is stated for (V);
    `error_kpa` the largest error of a good part at 0 to 85 degC, None where unknown; `difference`: it measures against
    the air outside. `standing` says how the line is known.
    """

    id: str
    title: str
    unit: str
    offset: float
    slope: float
    low_kpa: float
    high_kpa: float
    supply_v: float = 5.0
    error_kpa: float | None = None
    difference: bool = False
    standing: str = ""
    covariance: Floats = field(default_factory=lambda: np.zeros((2, 2)))
    temperature_factor: tuple[tuple[float, float], ...] = TEMPERATURE_FACTOR

    @property
    def published(self) -> bool:
        """Whether it is a line of the knowledge, picked by its id, and not one of this very part."""
        return self.standing.startswith(PUBLISHED)

    def reading(self, kpa: float | Floats) -> Floats:
        """What a good sensor gives at a pressure (kPa, absolute, or a difference for one that measures that)."""
        return np.asarray(self.offset + self.slope * np.asarray(kpa, dtype=np.float64))

    def kpa(self, reading: float | Floats) -> Floats:
        """The pressure (kPa) that a reading stands for."""
        return np.asarray((np.asarray(reading, dtype=np.float64) - self.offset) / self.slope)

    def band_kpa(self, temperature_c: float = 25.0) -> float:
        """The farthest a good sensor may be off at a temperature, kPa; outside the sheet's, as at its ends."""
        error = BAND_IS_SD * expected("sensor-tolerance").sd if self.error_kpa is None else self.error_kpa
        coldest, hottest = self.temperature_factor[0][0], self.temperature_factor[-1][0]
        shape = RatiometricLine(1.0, 0.0, 1.0, 0.0, 1.0, temperature_factor=self.temperature_factor)
        kelvin = ZERO_CELSIUS + min(max(temperature_c, coldest), hottest)
        return error * float(shape.error_factor(kelvin))

    def tolerance_sd(self, temperature_c: float = 25.0) -> float:
        """The same as one standard deviation, kPa."""
        return self.band_kpa(temperature_c) / BAND_IS_SD


STATED = "stated"  # the id of the line that a file states itself
SHOWN = Line("shown", "the pressure that live data shows", "kPa", 0.0, 1.0, 0.0, 700.0, standing="live data")
"""Live data is in kPa already: whatever line the control unit has is in it."""


def published(entry: SensorLine) -> Line:
    """A line of the knowledge. Only where the entry's line is known."""
    assert entry.slope_per_kpa is not None
    assert entry.offset is not None
    return Line(
        entry.id,
        entry.title,
        "V",
        entry.offset,
        entry.slope_per_kpa,
        entry.low_kpa,
        entry.high_kpa,
        entry.supply_v,
        entry.error_kpa,
        entry.measures == "difference",
        f"{PUBLISHED}, {entry.standing}",
        temperature_factor=entry.temperature_factor,
    )
