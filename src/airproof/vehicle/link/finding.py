"""Finding a car: bit rate, width of the addresses, and which control units answer, without disturbing the bus.

First it listens, where the adapter can listen without taking part: frames that arrive whole tell the bit rate. A bus on
which nothing is said (a gateway keeps most cars' plugs silent) tells nothing; then one question is asked at each bit
rate, the usual one first, and at the first sign of trouble the adapter lets go.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from airproof.errors import Unreachable
from airproof.vehicle.link.adapter import LOOPBACK_KINDS, RATES, Adapter, Opener, guarded, open_adapter
from airproof.vehicle.link.addresses import BOTH, Addresses
from airproof.vehicle.link.clock import AN_INSTANT_S, Clock
from airproof.vehicle.link.guard import GuardedBus
from airproof.vehicle.link.questions import Link, Timing

LISTENS_S = 0.6
"""Judged: Airproof authors, because the slowest frames of an engine's bus come once a second, most far more often."""
FRAMES_TO_BELIEVE = 3
ASKED_MORE = 2

BETWEEN_PROGRAMS = Timing(adapter=0.3)
_ROUNDS_BETWEEN_PROGRAMS = 3
"""Judged: Airproof authors, because a busy computer keeps a stand-in waiting for longer than any adapter holds frames
back, and asking it again disturbs nobody."""

OLD_STYLE, NEW_STYLE = b"\x01\x00", b"\x22\xf4\x00"
"""Which items are supported: service 01 (SAE J1979), and the same by service 22 (SAE J1979-2, from memory)."""

Told = Callable[[str], None]


@dataclass(frozen=True)
class Unit:
    """A control unit that answered: by the services 01 to 0A, or, `new_style`, by 22, 19 and 14 (SAE J1979-2)."""

    id: int
    name: str
    new_style: bool


@dataclass(frozen=True)
class Found:
    """A car that answers, and how: `rate` in bit/s, None where the adapter's own was taken; `remarks` in words."""

    adapter: Adapter
    rate: int | None
    addresses: Addresses
    units: tuple[Unit, ...]
    remarks: tuple[str, ...] = ()

    def connect(self, clock: Clock, opener: Opener = open_adapter, timing: Timing | None = None) -> Link:
        """A link to it. Raises Unreachable where the adapter cannot be opened."""
        bus = guarded(self.adapter, self.rate, clock, opener)
        bus.only_answers(self.addresses)
        usual = BETWEEN_PROGRAMS if self.adapter.between_programs else Timing()
        return Link(bus, self.addresses, clock, (timing or usual).at_pace_of(clock))


def find(
    adapter: Adapter,
    clock: Clock,
    opener: Opener = open_adapter,
    timing: Timing | None = None,
    told: Told = lambda _: None,
) -> Found:
    """Find the car at the adapter.

    Raises Unreachable, saying what was tried, where no control unit answers.
    """
    remarks: list[str] = []

    def note(line: str) -> None:
        remarks.append(line)
        told(line)

    rates = _rates(adapter, clock, opener, note)
    unsure = len(rates) > 1
    for rate in rates:
        bus = guarded(adapter, rate, clock, opener)
        try:
            usual = (timing or Timing()).at_pace_of(clock)
            for _ in range(_ROUNDS_BETWEEN_PROGRAMS if adapter.between_programs else 1):
                found = _who_answers(bus, clock, replace(usual, tries=1 if unsure else 2))
                if found is not None:
                    break
        except Unreachable:
            if not unsure:  # at a wrong bit rate an adapter fails to send
                raise
            found = None
        finally:
            bus.close()
        if found is not None:
            addresses, units = found
            if unsure and rate is not None:
                note(f"answered at {rate // 1000} kbit/s")
            return Found(adapter, rate, addresses, units, tuple(remarks))
    if adapter.kind in LOOPBACK_KINDS:
        raise Unreachable(
            f"no stand-in answers at {adapter.name}",
            "one that runs, with the same adapter and options",
            "Start it in another window: airproof link stand-in --engine ENGINE.toml",
        )
    raise Unreachable(
        f"nothing answers at {adapter.name} ({_tried(rates)}, addresses of 11 and 29 bits)",
        "a car with its diagnostics on CAN and its key on",
        "Turn the key to the second position, engine off is enough; check the plug, pins 6 and 14, and the battery. "
        "docs/link.md has more.",
    )


def _tried(rates: tuple[int | None, ...]) -> str:
    named = [f"{rate // 1000}" for rate in rates if rate is not None]
    return f"{' and '.join(named)} kbit/s" if named else "the adapter's own bit rate"


def _rates(adapter: Adapter, clock: Clock, opener: Opener, note: Told) -> tuple[int | None, ...]:
    """The bit rates to ask at; one where it is known."""
    if adapter.kind in LOOPBACK_KINDS:
        return (None,)
    if not adapter.sets_rate:
        note(f"the bit rate of {adapter.kind} is set in the system; it is taken as it is")
        _listen(adapter, None, clock, opener, note)
        return (None,)
    if adapter.rate is not None:
        return (adapter.rate,)
    for rate in RATES:
        whole = _listen(adapter, rate, clock, opener, note)
        if whole is None:
            note(
                f"{adapter.kind} cannot listen without taking part: a question is asked at 500 kbit/s, and only if "
                "nobody answers at 250; where you know the bit rate, --bitrate spares the bus that"
            )
            return RATES
        if whole >= FRAMES_TO_BELIEVE:
            note(f"the bus runs at {rate // 1000} kbit/s: {whole} frames came in whole while listening")
            return (rate,)
    note("nothing is said on the bus while listening, as is usual behind a gateway; one question tells")
    return RATES


def _listen(adapter: Adapter, rate: int | None, clock: Clock, opener: Opener, note: Told) -> int | None:
    """Frames that came in whole while nothing was sent; 0 once one came in broken; None where it cannot listen."""
    opened = opener(adapter, rate, rate is not None)
    if opened is None:
        return None
    bus = GuardedBus(opened, clock)
    try:
        ends, whole, testers = clock.now() + LISTENS_S, 0, 0
        while (left := ends - clock.now()) > AN_INSTANT_S:
            message = bus.receive(left)
            if message is None:
                continue
            if message.is_error_frame:
                return 0
            whole += 1
            testers += any(a.is_question(message.arbitration_id, extended=message.is_extended_id) for a in BOTH)
        if testers:
            note("somebody else is asking this car already: unplug the other tester, two disturb each other")
        return whole
    finally:
        bus.close()


def _who_answers(bus: GuardedBus, clock: Clock, timing: Timing) -> tuple[Addresses, tuple[Unit, ...]] | None:
    """The control units that answer, and their addresses; None at silence, or once frames come in broken."""
    for new_style, question in ((False, OLD_STYLE), (True, NEW_STYLE)):
        for addresses in BOTH:
            link = Link(bus, addresses, clock, timing)
            answered = _answering(link, question)
            if answered:
                # Asked twice more for a unit whose frame got lost or that was not ready yet.
                for _ in range(ASKED_MORE):
                    answered |= _answering(link, question)
                # A unit that knows only the newer services may sit beside older ones.
                newer = answered if new_style else _answering(link, NEW_STYLE) - answered
                units = sorted(answered | newer)
                return addresses, tuple(Unit(unit, addresses.name(unit), unit in newer) for unit in units)
            if link.heard["broken frame"]:
                return None
    return None


def _answering(link: Link, question: bytes) -> set[int]:
    return {one.unit for one in link.ask(question) if one.refused is None}
