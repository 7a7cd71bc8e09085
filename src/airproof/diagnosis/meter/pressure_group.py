"""The readings of one pressure sensor, at its plug and in live data, as one Gaussian that causes bend.

They share the meter, the supply, the gauge, the day and the sensor's own tolerance, and the last two with what the
recording shows with the engine off: they are heard given that, so that nothing counts twice.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.checks.engine_off import BLUR, COPY_SPREAD_KPA, EngineOff
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.lying_sensors import undone
from airproof.diagnosis.meter.judged import USUAL_SENSOR_C
from airproof.diagnosis.meter.lines import SHOWN
from airproof.diagnosis.meter.measured import Measurements
from airproof.diagnosis.meter.pressures import Seen, supply_of
from airproof.diagnosis.meter.ways import Way, at_rail, heard, t_row, t_rows, trusted
from airproof.diagnosis.weighing import Barometer
from airproof.knowledge.model import Knowledge

Floats = NDArray[np.float64]

SLIP = 0.04
"""Chance that a reading of pressure, supply, ground or temperature is a slip of hand or eye and says nothing; as the
catalogue's steps have it for what no cause explains (judged-step-odds)."""

ALSO_GAIN, ALSO_OFFSET_KPA = 0.02, 1.5
"""A sensor with an offset rarely has its span quite right, nor one with a wrong span its zero; judged: Airproof
authors."""

PUBLISHED_NOT_ITS_OWN, STATED_NOT_ITS_OWN = 0.10, 0.02
"""How often the line that is taken is not this part's: a published one that somebody picked, or one stated by the
maker's points or learned; judged: Airproof authors. Then the readings lie on some other line, sound or not."""

ANOTHER_OFFSET_SD_KPA, ANOTHER_GAIN_SD = 15.0, 0.25
"""How far the lines of other parts lie from it, as the published ones do from each other; judged: Airproof authors."""

STUCK_SD_KPA = 2.0
"""How far the reading of a frozen sensor wanders; judged: Airproof authors."""

SHOWN_SPAN_KPA = 255.0
"""What live data can show where nothing says more, kPa."""

UNIT_READS_WRONG = 0.6
"""How often a control unit that misreads its sensors misreads this one; as record-key-on has it."""


class PressureGroup:
    """All rows of one pressure sensor, those at the plug first within each measurement."""

    def __init__(self, seen: Sequence[Seen], day: Barometer, measurements: Measurements) -> None:
        self.day, self.own_day = day, measurements.day is not None
        self.supply = supply_of(measurements)
        order = sorted(
            ((k, i) for k, one in enumerate(seen) for i in range(len(one.rows))),
            key=lambda ki: (seen[ki[0]].rows.item[ki[1]].what != "signal", ki[0], ki[1]),
        )
        sizes = [len(one.rows) for one in seen]
        starts = np.cumsum([0, *sizes])
        pick = [int(starts[k] + i) for k, i in order]
        self.items = [seen[k].rows.item[i] for k, i in order]
        self.shown = np.array([seen[k].line is SHOWN for k, _ in order])
        self.volts = np.array([seen[k].line.unit == "V" for k, _ in order])
        self.share = np.array([float(seen[k].rows.reading[i]) for k, i in order])
        self.read = np.concatenate([one.read for one in seen])[pick]
        self.on_day = np.concatenate([one.rows.day for one in seen])[pick]
        self.given = np.concatenate([one.rows.given for one in seen])[pick]
        self.span = np.array([
            seen[k].per_reading if seen[k].line.unit == "V" else SHOWN_SPAN_KPA for k, _ in order
        ])  # fmt: skip
        covariance = np.zeros((sum(sizes), sum(sizes)))
        for k, one in enumerate(seen):
            part = slice(int(starts[k]), int(starts[k + 1]))
            covariance[part, part] = one.covariance
        # One sensor, so one tolerance in all rows, whether read at the plug or shown.
        self.tolerance_sd = seen[0].line.tolerance_sd(
            USUAL_SENSOR_C if measurements.sensor.temperature_c is None else measurements.sensor.temperature_c
        )
        middle = (seen[0].line.low_kpa + seen[0].line.high_kpa) / 2.0 if seen[0].line is not SHOWN else 100.0
        gain = expected("sensor-gain-tolerance").sd / 100.0 * (self.read - middle)
        day_sd = day.sd_kpa * self.on_day
        self.healthy = (
            covariance[np.ix_(pick, pick)] + self.tolerance_sd**2 + np.outer(gain, gain) + np.outer(day_sd, day_sd)
        )

        plug = np.where(self.shown, 0.0, 1.0)
        self.doubt = (
            0.0 if self.shown.all() else (PUBLISHED_NOT_ITS_OWN if seen[0].line.published else STATED_NOT_ITS_OWN)
        )
        slope = ANOTHER_GAIN_SD * self.read * plug
        self.another_line = ANOTHER_OFFSET_SD_KPA**2 * np.outer(plug, plug) + np.outer(slope, slope)

    @property
    def off_day(self) -> Floats:
        """How far each row reads from the pressure it was given, kPa."""
        return np.asarray(self.read - self.given - self.on_day * self.day.kpa)

    def heard(self, cause: str, sizes: Floats, before: EngineOff | None, known: Knowledge) -> Floats:
        """Log likelihood (S, n) of the rows under a cause at each size."""
        covariance = self.healthy
        if cause == "map-offset":
            free = ALSO_GAIN * (self.read - self.day.kpa)
            covariance = covariance + np.outer(free, free)
        elif cause == "map-gain":
            covariance = covariance + ALSO_OFFSET_KPA**2
        off = self._undone(cause, sizes)
        computed = [
            *_parts(self._computed(off, covariance, cause, before), 1.0 - self.doubt),
            (self.doubt, t_rows(off, covariance + self.another_line)),
        ]
        even = np.broadcast_to(-np.log(self.span), (sizes.size, self.span.size))
        match cause:
            case "map-stuck":
                # The rows move together if it is frozen: one sensor, one output.
                still = np.concatenate([t_row(value - sizes, STUCK_SD_KPA) for value in self.read], axis=1)
                stuck = known.steps["sweep-with-hand-pump"].positive_given(cause)
                return heard([(stuck, still), *_parts(computed, 1.0 - stuck)])
            case "map-circuit" | "map-intermittent":
                dead = known.steps["measure-key-on-signal"].positive_given(cause)
                rails: list[Way] = [(dead / 2, self._rail(high=False)), (dead / 2, self._rail(high=True))]
                return heard([*_parts(computed, 1.0 - dead), *rails])
            case "control-unit":
                misread = [(share, np.where(self.shown, even, rows)) for share, rows in computed]
                return heard([*_parts(computed, 1.0 - UNIT_READS_WRONG), *_parts(misread, UNIT_READS_WRONG)])
        return heard([*_parts(computed, 1.0 - SLIP), (SLIP, even)])

    def _undone(self, cause: str, sizes: Floats) -> Floats:
        """How far each row (S, n) would lie from the pressure it was given if the cause were undone, kPa."""
        true = self.given + self.on_day * self.day.kpa
        columns = []
        for k, value in enumerate(self.read):
            ratio = self.supply.measured or not self.volts[k]
            if cause == "supply-reference" and not self.shown[k] and ratio:
                # Read as a share of the supply that is really there, or in Hz: a wrong supply does not touch it.
                columns.append(np.full(sizes.size, value))
            else:
                columns.append(np.asarray(undone("manifold_pressure", float(value), cause, sizes)))
        return np.asarray(np.column_stack(columns) - true)

    def _computed(self, off: Floats, covariance: Floats, cause: str, before: EngineOff | None) -> list[Way]:
        """Log densities of the rows given what the recording shows with the engine off, which shares sensor and day.

        As far as that can be taken at its word (`trusted`); else it was misled, and the rows learned nothing of it.
        """
        keep = [] if before is None else [k for k, name in enumerate(before.signals) if not _copied(before, name)]
        if before is None or not keep:
            return [(1.0, t_rows(off, covariance))]
        wide = before.covariance + BLUR.get(cause, 0.0) ** 2 * (1.0 + np.eye(len(before.signals)))
        theirs, their_off = wide[np.ix_(keep, keep)], before.off[cause][:, keep]
        shared_day = 0.0 if self.own_day else self.day.sd_kpa**2
        same = np.array([before.signals[k] == "manifold_pressure" for k in keep], dtype=np.float64)
        cross = shared_day * np.outer(self.on_day, np.ones(len(keep)))
        # Both see the sensor's own error; the recording through the control unit's line, the plug through the sheet's.
        common = min(self.tolerance_sd, expected("sensor-tolerance").sd) ** 2
        cross += common * np.outer(np.ones(len(self.items)), same)
        gain = np.linalg.solve(theirs, cross.T).T
        word = trusted(their_off, theirs)
        return [
            (word, t_rows(off - their_off @ gain.T, covariance - gain @ cross.T)),
            (1.0 - word, t_rows(off, covariance)),
        ]

    def _rail(self, *, high: bool) -> Floats:
        """Log density (1, n) of dead readings: at an end of the supply, or at nothing shown."""
        share = np.where(self.volts, self.share, np.where(high, 2.0, self.share / SHOWN_SPAN_KPA))
        return np.asarray(at_rail(share, high=high) - np.log(self.span))[None, :]


def _parts(ways: Sequence[Way], share: float) -> list[Way]:
    """The ways, each with that share of its probability."""
    return [(share * chance, rows) for chance, rows in ways]


def _copied(before: EngineOff, signal: str) -> bool:
    """Whether a barometric reading may be the manifold sensor's own, and so says nothing of the day."""
    if signal != "barometric_pressure":
        return False
    if "manifold_pressure" not in before.signals:
        return True
    at = {name: float(value) for name, value in zip(before.signals, before.values, strict=True)}
    return abs(at["barometric_pressure"] - at["manifold_pressure"]) < 3.0 * COPY_SPREAD_KPA
