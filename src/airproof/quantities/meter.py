"""What a meter shows and what was there: loading of the circuit, a ground that is not at 0 V, a supply that
is off.

Voltages in V, resistances in ohm, pressures in Pa.
"""

from __future__ import annotations

from airproof.quantities.formula import Result, Value, formula

METER_OHM = 10e6
"""Input resistance of the usual digital meter on its voltage ranges, ohm; common practice, no source."""


@formula
def meter_reading(true_v: Value, source_ohm: Value, meter_ohm: Value = METER_OHM) -> Result:
    """What a meter shows (V) of a voltage behind a source resistance: V Rin / (Rin + Rs)."""
    return true_v / (1.0 + source_ohm / meter_ohm)


@formula
def true_voltage(reading_v: Value, source_ohm: Value, meter_ohm: Value = METER_OHM) -> Result:
    """The voltage (V) that was there before the meter was put on: the inverse of meter_reading."""
    return reading_v * (1.0 + source_ohm / meter_ohm)


@formula
def source_resistance(true_v: Value, reading_v: Value, meter_ohm: Value = METER_OHM) -> Result:
    """The source resistance (ohm) that explains why a meter shows less than is there."""
    return meter_ohm * (true_v / reading_v - 1.0)


@formula
def analogue_meter_resistance(range_v: Value, ohm_per_volt: Value = 20e3) -> Result:
    """Input resistance (ohm) of a pointer meter on a range (V); 20 kohm/V is common practice, no source."""
    return range_v * ohm_per_volt


@formula
def pressure_error_of_ground_drop(drop_v: Value, volts_per_pa: Value) -> Result:
    """How much too high (Pa) a control unit reads a sensor whose ground return stands at drop_v (V) above its
    own.

    drop / sensitivity: the whole output is lifted. Exact at low pressure; a ratiometric sensor sees its own
    supply shrink by the drop and lifts its output less towards full scale, see ground_drop_output.
    """
    return drop_v / volts_per_pa


@formula
def ground_drop_output(true_output_v: Value, drop_v: Value, supply_v: Value = 5.0) -> Result:
    """Output (V, against the control unit's ground) of a ratiometric sensor whose ground is lifted by drop_v
    (V).

    drop + V (Vs - drop) / Vs: all of the drop at no output, none of it at full supply.
    """
    return drop_v + true_output_v * (supply_v - drop_v) / supply_v


@formula
def relative_error_of_supply(supply_v: Value, nominal_v: Value) -> Result:
    """Relative error of a ratiometric sensor's output read against a fixed reference: Vs / nominal - 1.

    A control unit that measures against the sensor's own supply sees none of it.
    """
    return supply_v / nominal_v - 1.0
