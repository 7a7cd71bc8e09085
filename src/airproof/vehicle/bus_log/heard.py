"""What a control unit was heard to say, apart from live data: codes, freeze frames, readiness, information.

Clearing codes makes a unit forget; what it told before and what it tells after stand apart.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from airproof.vehicle.answers.car_information import VIN, CarInformation
from airproof.vehicle.answers.code_text import NO_CODE, code_text
from airproof.vehicle.answers.codes import Codes
from airproof.vehicle.answers.live import Items
from airproof.vehicle.answers.monitor_results import MonitorResult
from airproof.vehicle.answers.newer import PERMANENT, STATUS_BITS, CodeReport, FrameOfCode
from airproof.vehicle.answers.readiness import CarReadiness
from airproof.vehicle.items import by_signal
from airproof.vehicle.items.decode import FullScales

CODE_OF_FRAME = 0x02
NOT_IN_A_FRAME = ("lamp", "code_count")

MOST_FRAMES, MOST_PERIODS = 256, 16
"""No car stores so many freeze frames, and no log has so many clearings, of which the first and the latest are kept."""

What = Literal["codes", "frames", "readiness", "vin", "cleared"]
"""What is told, and when it was."""

STRONGEST = ("present", "stored", "permanent", "pending")
"""Of a code told with several statuses the first of these counts."""


@dataclass(frozen=True)
class HeardFrame:
    """A freeze frame: its code, None where that was not asked, its number, and its values by signal."""

    code: str | None
    number: int
    values: Mapping[str, float]


@dataclass
class Told:
    """What a unit told between two clearings. `codes` by status: a status that was not asked for is not in it.

    `heard_s` is when each was told last, as the log has it.
    """

    codes: dict[str, tuple[str, ...]] = field(default_factory=dict)
    frames: dict[tuple[str, int], dict[int, bytes]] = field(default_factory=dict)
    readiness: CarReadiness | None = None
    readiness_this_drive: CarReadiness | None = None
    results: dict[tuple[int, int], MonitorResult] = field(default_factory=dict)
    heard_s: dict[What, float] = field(default_factory=dict)

    def take_codes(self, codes: Codes) -> None:
        """Codes of one status; the latest answer counts."""
        self.codes[codes.status] = codes.codes

    def take_report(self, report: CodeReport, asked: int) -> None:
        """Codes with their status bytes, as newer cars tell them; `asked` are the status bits that were asked for.

        A status that was asked for is told in full; of others only what is there by the way.
        """
        if report.kind == PERMANENT:
            self.codes["permanent"] = tuple(one.code for one in report.codes)
            return
        for bit, status in STATUS_BITS:
            codes = [one.code for one in report.codes if one.status & bit]
            if not asked & report.available & bit:
                codes = [*self.codes.get(status, ()), *codes]
            if codes or asked & report.available & bit:
                self.codes[status] = tuple(dict.fromkeys(codes))

    def take_frame(self, items: Items, code: str = "") -> None:
        """Items of a freeze frame, of a code where newer cars name it."""
        key = (code, items.frame)
        if key in self.frames or len(self.frames) < MOST_FRAMES:
            self.frames.setdefault(key, {}).update(items.parts)

    def take_frames_of(self, frame: FrameOfCode) -> None:
        """All freeze frames of one code."""
        for number, items in frame.records:
            self.take_frame(replace(items, frame=number), frame.code.code)

    def statuses(self) -> dict[str, str]:
        """Each code with the strongest status it was told with."""
        found: dict[str, str] = {}
        for status in STRONGEST:
            for code in self.codes.get(status, ()):
                found.setdefault(code, status)
        return found

    def heard_frames(self, full_scales: FullScales) -> tuple[HeardFrame, ...]:
        """The freeze frames that hold anything; a frame whose code is 0000 is none."""
        found = []
        for (code, number), items in self.frames.items():
            stored_by = int.from_bytes(items.get(CODE_OF_FRAME, b"")[:2], "big")
            if CODE_OF_FRAME in items and stored_by == NO_CODE:
                continue
            told = by_signal(items.items(), full_scales)
            values = {name: value for name, value in told.items() if name not in NOT_IN_A_FRAME}
            if values:
                found.append(HeardFrame(code or (code_text(stored_by) if stored_by else None), number, values))
        return tuple(found)


@dataclass
class UnitHeard:
    """One control unit by the identifier of its answers: what it told, in periods that clearing divides.

    `new_style`: it answered a service of SAE J1979-2. `delay_s` is the median from a question to the first frame of its
    answer; None where no question is in the log. `since_cleared` are its last answers to the items that clearing
    resets, `further` those to F5xx, by number, as they came.
    """

    identifier: int
    name: str
    told: list[Told] = field(default_factory=lambda: [Told()])
    cleared_s: list[float] = field(default_factory=list)
    announced: set[int] = field(default_factory=set)
    information: dict[int, CarInformation] = field(default_factory=dict)
    refusals: Counter[tuple[int, str]] = field(default_factory=Counter)
    full_scales: FullScales = field(default_factory=dict)
    since_cleared: Mapping[int, bytes] = field(default_factory=dict)
    further: dict[int, bytes] = field(default_factory=dict)
    vin_s: float | None = None
    answers: int = 0
    new_style: bool = False
    delay_s: float | None = None

    @property
    def now(self) -> Told:
        """The period that is being told of."""
        return self.told[-1]

    def cleared(self, time_s: float) -> None:
        """Codes were cleared: what is told from now on is of another period."""
        self.cleared_s[MOST_PERIODS:] = [time_s]
        if self.now != Told():
            self.told[MOST_PERIODS:] = [Told()]

    @property
    def telling(self) -> Told:
        """The first period in which codes were read: what was there before anybody cleared it."""
        return next((one for one in self.told if one.codes), self.told[0])

    @property
    def latest(self) -> Told:
        """The last period in which codes were read: how the car was left."""
        return next((one for one in reversed(self.told) if one.codes), self.now)

    @property
    def frames(self) -> tuple[HeardFrame, ...]:
        """The freeze frames of the telling period."""
        return self.telling.heard_frames(self.full_scales)

    @property
    def vin(self) -> str | None:
        """The VIN it told; None where it told none."""
        told = self.information.get(VIN)
        return None if told is None or not told.texts or not told.texts[0] else told.texts[0]
