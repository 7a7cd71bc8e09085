"""What one simulated drive leaves behind: every signal at every step of the control unit, before any logger sees it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Trace:
    """One drive, sampled at every step of the control unit (10 ms).

    `time` s from the start of the drive, evenly spaced, shape (n,). `items` holds what the control unit would answer
    when asked, by signal name and in the units of the signals' table (kPa absolute, g/s, degC, %, 1/min, ...), each of
    shape (n,): lies of the sensors included, unrounded. A signal that this car does not have is absent.
    `truth` holds the true quantities of the same names and units, where they differ from what is answered, and some
    that no car reports.
    """

    time: Floats
    items: Mapping[str, Floats]
    truth: Mapping[str, Floats]

    @property
    def duration_s(self) -> float:
        """Length of the drive, s."""
        return float(self.time[-1] - self.time[0]) if self.time.size else 0.0
