"""Pressure sensors with a straight line: volts from pressure and back, and how far off a good one may be.

Ratiometric: the output follows the supply, V = Vs (a P + b), so that a control unit that measures against the
same supply sees no error when the supply is a little off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airproof.errors import UnusableQuantity
from airproof.quantities.constants import ZERO_CELSIUS
from airproof.quantities.formula import Result, Value, formula

TEMPERATURE_FACTOR = ((-40.0, 3.0), (0.0, 1.0), (85.0, 1.0), (125.0, 3.0))
"""degC and the factor on the pressure error, linear between: data sheet of the 4115A family (Motorola)."""


@formula
def _interpolated_factor(temperature_c: Value, at: Value, factor: Value) -> Result:
    return np.interp(temperature_c, at, factor, left=np.nan, right=np.nan)


@dataclass(frozen=True)
class RatiometricLine:
    """V = supply (a P + b), with P in Pa (absolute, unless the part measures a difference: then say so in
    `source`).

    `slope_per_pa` is a, `offset` is b; `supply_v` the supply the sheet's volts are stated for; `low_pa` and
    `high_pa` the span the line holds for; `error_pa` the largest error of a good part at 0 to 85 degC;
    `temperature_factor` how it grows outside, as (degC, factor) points.
    """

    slope_per_pa: float
    offset: float
    supply_v: float
    low_pa: float
    high_pa: float
    error_pa: float | None = None
    temperature_factor: tuple[tuple[float, float], ...] = TEMPERATURE_FACTOR
    source: str = ""

    def __post_init__(self) -> None:
        if not (np.isfinite(self.slope_per_pa) and self.slope_per_pa != 0.0 and self.supply_v > 0.0):
            raise UnusableQuantity(
                f"a sensor line with slope {self.slope_per_pa:g} per Pa and supply {self.supply_v:g} V",
                "a slope that is not zero and a supply above 0 V",
                "Check the sensor's data sheet.",
            )
        if not self.low_pa < self.high_pa:
            raise UnusableQuantity(
                f"a sensor span from {self.low_pa:g} to {self.high_pa:g} Pa",
                "low below high",
                "Check the data sheet.",
            )

    @classmethod
    def per_kpa(
        cls,
        a: float,
        b: float,
        supply_v: float,
        span_kpa: tuple[float, float],
        error_kpa: float | None = None,
        source: str = "",
    ) -> RatiometricLine:
        """The line as data sheets print it, with P in kPa."""
        error_pa = None if error_kpa is None else 1e3 * error_kpa
        return cls(a / 1e3, b, supply_v, 1e3 * span_kpa[0], 1e3 * span_kpa[1], error_pa, source=source)

    def volts(self, pressure_pa: Value, supply_v: Value | None = None) -> Result:
        """Output (V) at a pressure (Pa) and supply (V; else the sheet's). Not clipped to the span."""
        return _line_volts(pressure_pa, self.slope_per_pa, self.offset, self.supply_v if supply_v is None else supply_v)

    def pressure_pa(self, volts: Value, supply_v: Value | None = None) -> Result:
        """Pressure (Pa) at an output (V): the inverse of volts. Beyond the span it is continued: ask
        within_span.
        """
        return _line_pressure(volts, self.slope_per_pa, self.offset, self.supply_v if supply_v is None else supply_v)

    def within_span(self, pressure_pa: Value, slack_pa: float = 0.0) -> Result:
        """Whether a pressure (Pa) lies in the span the line holds for; a truth value, or an array of them.
        NaN does not.
        """
        P = np.asarray(pressure_pa, dtype=np.float64)
        inside = (self.low_pa - slack_pa <= P) & (self.high_pa + slack_pa >= P)
        return bool(inside) if inside.ndim == 0 else inside

    def sensitivity(self, supply_v: Value | None = None) -> Result:
        """Volts per Pa at a supply (V)."""
        return _product(self.slope_per_pa, self.supply_v if supply_v is None else supply_v)

    def error_band_pa(self, temperature_k: Value = ZERO_CELSIUS + 25.0) -> Result:
        """How far (Pa, either way) a good part may be off at a temperature (K): its error times the
        temperature factor.

        NaN outside the temperatures of the sheet, and where the sheet's error is not known.
        """
        error = np.nan if self.error_pa is None else self.error_pa
        return _product(error, self.error_factor(temperature_k))

    def error_factor(self, temperature_k: Value) -> Result:
        """The temperature factor alone at a temperature (K): 1 from 0 to 85 degC on the usual sheet."""
        at, factor = zip(*self.temperature_factor, strict=True)
        return _interpolated_factor(np.subtract(temperature_k, ZERO_CELSIUS), np.array(at), np.array(factor))


@formula
def _product(a: Value, b: Value) -> Result:
    return a * b


@formula
def _line_volts(pressure_pa: Value, slope: Value, offset: Value, supply_v: Value) -> Result:
    return supply_v * (slope * pressure_pa + offset)


@formula
def _line_pressure(volts: Value, slope: Value, offset: Value, supply_v: Value) -> Result:
    return (volts / supply_v - offset) / slope
