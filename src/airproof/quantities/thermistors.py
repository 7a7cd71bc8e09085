"""Thermistors (NTC): resistance from temperature and back by three models, and the divider they are read
through.

| model | needs | holds |
|---|---|---|
| SteinhartHart | three points | within 0.05 K over -40 to 140 degC on a typical engine sensor |
| Beta | two points | near them; some 3 K off at -40 degC |
| ResistanceTable | a maker's table | inside the table |

Temperatures in K, resistances in ohm.

Source
[SH1968] J. S. Steinhart and S. R. Hart, Calibration curves for thermistors, Deep-Sea Research 15 (1968) 497.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from airproof.errors import UnusableQuantity
from airproof.quantities.formula import Floats, Result, Value, formula


def _checked_points(temperatures_k: Sequence[float], ohms: Sequence[float], least: int) -> tuple[Floats, Floats]:
    """The points by rising temperature; refused where too few, not finite, not positive or not falling."""
    T = np.asarray(temperatures_k, dtype=np.float64)
    R = np.asarray(ohms, dtype=np.float64)
    good = T.ndim == 1 and T.shape == R.shape and T.size >= least
    good = good and bool(np.isfinite(T).all() and np.isfinite(R).all() and (T > 0.0).all() and (R > 0.0).all())
    if good:
        order = np.argsort(T)
        T, R = T[order], R[order]
        good = bool((np.diff(T) > 0.0).all() and (np.diff(R) < 0.0).all())
    if not good:
        raise UnusableQuantity(
            f"{T.size} temperatures (K) and {R.size} resistances (ohm)",
            f"{least} points or more, all above 0 K and 0 ohm, the resistance falling as it gets hotter",
            "Check the maker's table for a misprint or a column read in kilo-ohm.",
        )
    return T, R


@dataclass(frozen=True)
class SteinhartHart:
    """1/T = A + B ln R + C (ln R)^3 [SH1968]."""

    A: float
    B: float
    C: float

    @classmethod
    def fit(cls, temperatures_k: Sequence[float], ohms: Sequence[float]) -> SteinhartHart:
        """Through three points exactly, or nearest to more (least squares in 1/T)."""
        T, R = _checked_points(temperatures_k, ohms, least=3)
        logs = np.log(R)
        columns = np.stack([np.ones_like(logs), logs, logs**3], axis=1)
        a, b, c = np.linalg.lstsq(columns, 1.0 / T, rcond=None)[0]
        return cls(float(a), float(b), float(c))

    def temperature(self, ohm: Value) -> Result:
        """Temperature (K) at a resistance (ohm); NaN for none or a negative one."""
        return _steinhart_hart_temperature(ohm, self.A, self.B, self.C)

    def resistance(self, temperature_k: Value) -> Result:
        """Resistance (ohm) at a temperature (K): the inverse, by the root of the cubic in ln R."""
        return _steinhart_hart_resistance(temperature_k, self.A, self.B, self.C)


@formula
def _steinhart_hart_temperature(ohm: Value, A: Value, B: Value, C: Value) -> Result:
    x = np.log(np.where(np.greater(ohm, 0.0), ohm, np.nan))
    return 1.0 / (A + B * x + C * x**3)


@formula
def _steinhart_hart_resistance(temperature_k: Value, A: Value, B: Value, C: Value) -> Result:
    if C == 0.0:  # the beta model in other letters
        return np.exp((1.0 / temperature_k - A) / B)
    # x^3 + (B/C) x - (1/T - A)/C = 0 has one real root for B/C > 0; sinh form, exact and free of cancellation
    p, q = B / C, (1.0 / temperature_k - A) / C
    scale = np.sqrt(p / 3.0)
    return np.exp(2.0 * scale * np.sinh(np.arcsinh(q / (2.0 * scale**3)) / 3.0))


@dataclass(frozen=True)
class Beta:
    """R = R0 exp(beta (1/T - 1/T0)): resistance R0 (ohm) at T0 (K), beta in K."""

    ohm0: float
    kelvin0: float
    beta: float

    @classmethod
    def through(cls, temperatures_k: Sequence[float], ohms: Sequence[float]) -> Beta:
        """The model through two points (the coldest and hottest, where more are given)."""
        T, R = _checked_points(temperatures_k, ohms, least=2)
        beta = float(np.log(R[0] / R[-1]) / (1.0 / T[0] - 1.0 / T[-1]))
        return cls(float(R[0]), float(T[0]), beta)

    def temperature(self, ohm: Value) -> Result:
        """Temperature (K) at a resistance (ohm); NaN for none or a negative one."""
        return _beta_temperature(ohm, self.ohm0, self.kelvin0, self.beta)

    def resistance(self, temperature_k: Value) -> Result:
        """Resistance (ohm) at a temperature (K)."""
        return _beta_resistance(temperature_k, self.ohm0, self.kelvin0, self.beta)


@formula
def _beta_temperature(ohm: Value, ohm0: Value, kelvin0: Value, beta: Value) -> Result:
    return 1.0 / (1.0 / kelvin0 + np.log(np.where(np.greater(ohm, 0.0), ohm, np.nan) / ohm0) / beta)


@formula
def _beta_resistance(temperature_k: Value, ohm0: Value, kelvin0: Value, beta: Value) -> Result:
    return ohm0 * np.exp(beta * (1.0 / temperature_k - 1.0 / kelvin0))


@dataclass(frozen=True)
class ResistanceTable:
    """A maker's table of temperatures (K) and resistances (ohm), read linearly in ln R against 1/T; NaN
    outside it.
    """

    temperatures_k: tuple[float, ...]
    ohms: tuple[float, ...]

    def __post_init__(self) -> None:
        T, R = _checked_points(self.temperatures_k, self.ohms, least=2)
        object.__setattr__(self, "temperatures_k", tuple(float(t) for t in T))
        object.__setattr__(self, "ohms", tuple(float(r) for r in R))

    def temperature(self, ohm: Value) -> Result:
        """Temperature (K) at a resistance (ohm)."""
        return _table_temperature(ohm, np.array(self.temperatures_k), np.array(self.ohms))

    def resistance(self, temperature_k: Value) -> Result:
        """Resistance (ohm) at a temperature (K)."""
        return _table_resistance(temperature_k, np.array(self.temperatures_k), np.array(self.ohms))


@formula
def _table_temperature(ohm: Value, T: Floats, R: Floats) -> Result:
    # np.interp wants rising abscissae: ln R falls with T, so both are turned round
    x = np.log(np.where(np.greater(ohm, 0.0), ohm, np.nan))
    return 1.0 / np.interp(x, np.log(R)[::-1], (1.0 / T)[::-1], left=np.nan, right=np.nan)


@formula
def _table_resistance(temperature_k: Value, T: Floats, R: Floats) -> Result:
    x = 1.0 / np.where(np.greater(temperature_k, 0.0), temperature_k, np.nan)
    return np.exp(np.interp(x, (1.0 / T)[::-1], np.log(R)[::-1], left=np.nan, right=np.nan))


@dataclass(frozen=True)
class VoltageDivider:
    """The sensor between signal and ground, a pull-up resistor (ohm) from signal to the supply (V) in the
    control unit.
    """

    supply_v: float
    pull_up_ohm: float

    def volts(self, ohm: Value) -> Result:
        """Signal (V) at a sensor resistance (ohm): the supply when open (inf), 0 V when shorted."""
        return _divider_volts(ohm, self.supply_v, self.pull_up_ohm)

    def ohm(self, volts: Value) -> Result:
        """Sensor resistance (ohm) at a signal (V): infinite at the supply; NaN outside 0 V to the supply."""
        return _divider_ohm(volts, self.supply_v, self.pull_up_ohm)


@formula
def _divider_volts(ohm: Value, supply_v: Value, pull_up_ohm: Value) -> Result:
    return supply_v / (1.0 + pull_up_ohm / np.where(np.greater_equal(ohm, 0.0), ohm, np.nan))


@formula
def _divider_ohm(volts: Value, supply_v: Value, pull_up_ohm: Value) -> Result:
    inside = (volts >= 0.0) & (volts <= supply_v)
    return np.where(inside, pull_up_ohm * volts / (supply_v - volts), np.nan)
