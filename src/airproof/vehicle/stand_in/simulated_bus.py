"""A bus inside one program on simulated time: frames last as long as their bits do, and no second is waited for.

Longest duration of a frame: (g + 8 s + 13 + floor((g + 8 s - 1) / 4)) bits for s data bytes, g = 34 with identifiers of
11 bits and 54 with 29: Davis, Burns, Bril, Lukkien, "Controller Area Network (CAN) schedulability analysis: Refuted,
revisited and revised", 2007, equation 1, from memory; 135 and 160 bits for eight bytes.
"""

from __future__ import annotations

import can

from airproof.vehicle.stand_in.stand_in import StandIn


def frame_bits(data_bytes: int, *, extended: bool) -> int:
    """Bits of a data frame at most, stuff bits included."""
    fixed = (54 if extended else 34) + 8 * data_bytes
    return fixed + 13 + (fixed - 1) // 4


class SimulatedClock:
    """Time that passes only while a bus is listened to, or somebody sleeps."""

    def __init__(self) -> None:
        self._now = 0.0

    def now(self) -> float:
        """Seconds since the beginning."""
        return self._now

    def sleep(self, seconds: float) -> None:
        """Let time pass."""
        self._now += max(seconds, 0.0)

    def until(self, when_s: float) -> None:
        """Let time pass until then; never back."""
        self._now = max(self._now, when_s)

    def real(self, seconds: float) -> float:
        """Seconds are seconds."""
        return seconds

    def arrived(self, stamp: float) -> float:
        """Frames of a simulated bus are stamped by this clock."""
        return min(stamp, self._now)


class SimulatedBus(can.BusABC):
    """A tester's end of a bus with a stand-in at the other, `rate` in bit/s."""

    def __init__(self, stand_in: StandIn, clock: SimulatedClock, rate: int = 500_000) -> None:
        super().__init__(channel="simulated")
        self._stand_in = stand_in
        self._clock = clock
        self._rate = rate
        self._free_s = 0.0
        self._coming: list[can.Message] = []
        self._pulled_out = False
        self.channel_info = "simulated"

    def pull_out(self) -> None:
        """From now on the adapter is gone."""
        self._pulled_out = True

    def send(self, msg: can.Message, timeout: float | None = None) -> None:  # noqa: ARG002 # python-can names it
        """Put a frame on the bus as soon as it is free; the stand-in has it when its last bit has passed."""
        self._must_be_there()
        self._play_until(self._clock.now())
        self._stand_in.take(msg, self._on_the_wire(msg, self._clock.now()))

    def recv(self, timeout: float | None = None) -> can.Message | None:
        """The next frame within so many simulated seconds; all of it is here, since python-can counts real ones."""
        self._must_be_there()
        ends = self._clock.now() + (timeout if timeout is not None else 3600.0)
        while True:
            if self._coming and self._coming[0].timestamp <= ends:
                message = self._coming.pop(0)
                self._clock.until(message.timestamp)
                if self._matches_filters(message):
                    return message
                continue
            following = self._stand_in.next_s
            if following > ends:
                self._clock.until(ends)
                return None
            self._play_until(following)

    def _play_until(self, when_s: float) -> None:
        """Let the stand-in put on the bus what is due by then."""
        while (at := self._stand_in.next_s) <= when_s:
            for frame in self._stand_in.due(at):
                frame.timestamp = self._on_the_wire(frame, at)
                self._coming.append(frame)

    def _on_the_wire(self, message: can.Message, wanted_s: float) -> float:
        """When the last bit has passed; a frame waits for the one before it."""
        begins = max(wanted_s, self._free_s)
        self._free_s = begins + frame_bits(len(message.data), extended=message.is_extended_id) / self._rate
        return self._free_s

    def _must_be_there(self) -> None:
        if self._pulled_out:
            raise can.CanOperationError("the adapter was pulled out")
