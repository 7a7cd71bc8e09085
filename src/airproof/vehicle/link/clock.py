"""The clock of a link: the system's, or one that runs faster, for trying without a car."""

from __future__ import annotations

import time
from typing import Protocol

AN_INSTANT_S = 1e-6
"""No wait is shorter: the rest of one may be lost in rounding, and waiting for it would never end."""

_STAMP_TRUSTED_S = 1.0
"""A driver's stamp that differs more from the system's time counts from something else, as from its plugging in."""


class Clock(Protocol):
    """Seconds since any beginning, never going back."""

    def now(self) -> float:
        """Seconds now."""
        ...

    def sleep(self, seconds: float) -> None:
        """Wait so long."""
        ...

    def real(self, seconds: float) -> float:
        """How long a wait of so many seconds lasts for the world outside, s."""
        ...

    def arrived(self, stamp: float) -> float:
        """When a frame arrived that its driver stamped with `stamp`, in seconds of this clock, at the latest now."""
        ...


class SystemClock:
    """The system's monotonic clock; with `pace` above 1 its seconds pass that much faster."""

    def __init__(self, pace: float = 1.0) -> None:
        self._pace = pace
        self._zero = time.monotonic()

    def now(self) -> float:
        """Seconds since this clock was made."""
        return (time.monotonic() - self._zero) * self._pace

    def sleep(self, seconds: float) -> None:
        """Wait so long."""
        time.sleep(max(self.real(seconds), 0.0))

    def real(self, seconds: float) -> float:
        """How long so many of this clock's seconds last."""
        return seconds / self._pace

    def arrived(self, stamp: float) -> float:
        """The driver's stamp in this clock where it counts system time; else now.

        A stamp of the driver or the kernel does not know how long our process waited for its turn.
        """
        age = time.time() - stamp
        return self.now() - (age * self._pace if 0.0 <= age <= _STAMP_TRUSTED_S else 0.0)
