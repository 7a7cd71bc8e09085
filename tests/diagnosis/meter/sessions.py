"""Sessions with a meter, made from a sensor's true line: what a meter without error would have read."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from airproof.diagnosis.meter.lines import Line, published
from airproof.diagnosis.meter.measured import Measured, Measurements, Meter, Sensor
from airproof.diagnosis.meter.typed_values import Point, Taken
from airproof.knowledge.load import knowledge
from airproof.quantities.meter_accuracy import Accuracy

KPA_PER_INCH = 3.386389
INCHES = (0.0, 5.0, 10.0, 15.0, 20.0)
GOOD_METER = Meter(Accuracy(0.005, 2.0), stated=True)


def line(name: str = "absolute-250-kpa") -> Line:
    return published(knowledge().sensors[name])


def volts(value: float, places: int = 3) -> Taken:
    return Taken(round(value, places), 10.0**-places, "V", f"{value:.{places}f} V")


def out(true: Line, kpa: float, day: float, supply: float, *, offset: float = 0.0, gain: float = 0.0) -> float:
    """The signal (V) of a sensor of that line with an offset (kPa) and a gain (share), at an absolute pressure."""
    seen = kpa - day if true.difference else kpa
    share = true.offset + true.slope * max((1.0 + gain) * seen + offset, true.low_kpa - 2.0)
    return supply * share


def session(
    *,
    day: float = 98.0,
    supply: float = 5.02,
    true: Line | None = None,
    expected: Line | None = None,
    offset: float = 0.0,
    gain: float = 0.0,
    inches: Sequence[float] = INCHES,
    pressures: Sequence[float] = (),
    what: Sequence[str] = ("supply", "ground", "signal", "sweep"),
    meter: Meter = GOOD_METER,
    gauge_kpa: float = 1.0,
    sensor: Sensor | None = None,
) -> Measurements:
    """Measurements of a sensor of the true line; the car expects `expected`."""
    true = true or line()
    read = {"offset": offset, "gain": gain}
    steps = [-KPA_PER_INCH * one for one in inches] if not pressures else list(pressures)
    items = {
        "supply": Measured("supply", 1, value=volts(supply)),
        "ground": Measured("ground", 2, value=volts(0.02)),
        "signal": Measured("signal", 3, value=volts(out(true, day, day, supply, **read))),
        "sweep": Measured(
            "sweep",
            4,
            points=tuple(Point(step, True, "", volts(out(true, day + step, day, supply, **read))) for step in steps),
            gauge_kpa=gauge_kpa,
        ),
    }
    return Measurements(
        tuple(items[one] for one in what), meter, sensor or Sensor(line=expected or line()), where=str(Path("readings"))
    )
