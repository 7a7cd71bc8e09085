"""Carrying out `airproof link stand-in`."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace

from airproof.cli.link_request import Many, Typed, amount
from airproof.cli.streams import complain
from airproof.cli.typed import once, one_path
from airproof.engine.rehearsal.air.build import load_rehearsed_engine
from airproof.engine.rehearsal.compiled import is_ready
from airproof.engine.rehearsal.faults import parse_fault
from airproof.engine.rehearsal.rehearse import Request
from airproof.engine.rehearsal.road.drives import drive_from
from airproof.errors import UnusableRequest
from airproof.report.rehearsed_in_words import fault_in_words
from airproof.vehicle.link.addresses import ELEVEN, TWENTY_NINE
from airproof.vehicle.stand_in.manners import manners_named
from airproof.vehicle.stand_in.rehearsed_car import RESTS_S, rehearsed_car
from airproof.vehicle.stand_in.serving import refuse_a_real_bus, serve
from airproof.vehicle.stand_in.stand_in import StandIn
from airproof.vehicle.stand_in.units import units_of

_USUAL = "udp_multicast"
_LONGEST_S = 7 * 24 * 3600.0


@dataclass(frozen=True)
class Asked:
    """The options as they were typed."""

    engine: Many
    causes: Sequence[str] | None
    drive: Many
    seed: Many
    manners: Many
    rests: Many
    newer: bool
    wide: bool
    adapter: Many
    options: Many
    seconds: Many
    pace: Many


def stand_in_for_a_car(asked: Asked) -> None:
    """Rehearse a car, and answer for it until stopped."""
    typed = Typed(asked.adapter, None, asked.options, asked.pace)
    adapter = typed.the_adapter(_USUAL)
    refuse_a_real_bus(adapter)
    manners = manners_named(once("--manners", asked.manners) or "polite")
    engine_file = one_path("--engine", asked.engine)
    if engine_file is None:
        raise UnusableRequest("no engine", "--engine ENGINE.toml", "airproof weigh --help shows one.")
    engine = load_rehearsed_engine(engine_file)
    faults = tuple(parse_fault(text, engine.engine, engine.rehearsal) for text in asked.causes or ())
    seed = int(amount("--seed", once("--seed", asked.seed) or "1", 0.0, 2.0**31 - 1))
    typed_seconds = once("--seconds", asked.seconds)
    seconds = None if typed_seconds is None else amount("--seconds", typed_seconds, 1.0, _LONGEST_S)
    typed_rests = once("--rests", asked.rests)
    rests_s = RESTS_S if typed_rests is None else amount("--rests", typed_rests, 0.0, _LONGEST_S)
    request = Request(engine.engine, engine.rehearsal, faults, seed=seed)
    if (drive := once("--drive", asked.drive)) is not None:
        request = replace(request, drive=drive_from(drive))
    if not is_ready():
        complain("the first rehearsal compiles the simulated engine: about half a minute, once")
    car = rehearsed_car(request, rests_s)
    clock = typed.the_clock(adapter)
    addresses = TWENTY_NINE if asked.wide else ELEVEN
    stand_in = StandIn(units_of(car, addresses, newer_style=asked.newer), manners, addresses, seed)
    wrong = " ".join(fault_in_words(fault) for fault in faults) or "Nothing is wrong with it."
    says = f"an invented car stands in at {adapter.name}: {manners.says}. {wrong} Ctrl-C ends it"
    stop = threading.Event()
    if seconds is not None:
        timer = threading.Timer(seconds, stop.set)
        timer.daemon = True
        timer.start()
    with contextlib.suppress(KeyboardInterrupt):
        serve(stand_in, adapter, clock, stop, lambda: complain(says))
