"""Trips: how failed monitors become pending, confirmed and permanent codes, the lamp, and readiness.

Sources
[MAZDA] Mazda CX-9 2017 P0106; [SAAB] Saab 9-5 OBD II description: a fault in one driving cycle is pending; again in the
        next, confirmed and the lamp on; lamp out after three good ones, the code erased after forty warm-ups.
[CCR] 13 CCR 1968.2 (d)(2.5), from memory: a permanent code stands while the lamp is on, and goes as its monitor passes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from airproof.engine.rehearsal.control.monitors import CODES, criteria

GOOD_TRIPS_FOR_LAMP, WARM_UPS_TO_ERASE = 3, 40


@dataclass(frozen=True)
class Trip:
    """What one drive's monitors found: codes that failed, with their freeze frames, codes that could be looked at."""

    failed: Mapping[str, Mapping[str, float]]
    looked: frozenset[str]
    warmed_up: bool


@dataclass
class Store:
    """The codes of a control unit since it was last erased."""

    pending: set[str] = field(default_factory=set)
    confirmed: set[str] = field(default_factory=set)
    permanent: set[str] = field(default_factory=set)
    frames: dict[str, Mapping[str, float]] = field(default_factory=dict)
    lamp: bool = False
    warm_ups: int = 0
    trips: int = 0
    looked: set[str] = field(default_factory=set)
    good_trips: dict[str, int] = field(default_factory=dict)
    clean_warm_ups: dict[str, int] = field(default_factory=dict)

    def end(self, trip: Trip) -> None:
        """Take in a finished drive."""
        self.trips += 1
        self.warm_ups += trip.warmed_up
        self.looked |= trip.looked
        for code in CODES:
            if code in trip.failed:
                self._failed(code, trip.failed[code])
            elif code in trip.looked:
                self._passed(code)
            if code in self.confirmed and code not in trip.failed and trip.warmed_up:
                self.clean_warm_ups[code] = self.clean_warm_ups.get(code, 0) + 1
                if self.clean_warm_ups[code] >= WARM_UPS_TO_ERASE:
                    self.confirmed.discard(code)
                    self.frames.pop(code, None)
        self.permanent -= {code for code, good in self.good_trips.items() if good >= GOOD_TRIPS_FOR_LAMP}
        self.lamp = bool(self.permanent)

    def _failed(self, code: str, frame: Mapping[str, float]) -> None:
        self.good_trips[code] = self.clean_warm_ups[code] = 0
        self.frames.setdefault(code, frame)
        if code in self.pending:
            self.confirmed.add(code)
            self.permanent.add(code)
        self.pending.add(code)

    def _passed(self, code: str) -> None:
        self.good_trips[code] = self.good_trips.get(code, 0) + 1
        self.pending.discard(code)
        if code not in self.confirmed:
            self.frames.pop(code, None)

    def readiness(self) -> dict[str, bool]:
        """Whether each group of monitors has looked at all it can since the codes were erased."""
        groups: dict[str, bool] = {}
        for code, entry in criteria().items():
            groups[entry["group"]] = groups.get(entry["group"], False) or code in self.looked
        return groups
