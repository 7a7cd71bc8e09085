"""A file that came in and whose headings mean too little: somebody says what its columns are, and it is read."""

from __future__ import annotations

import asyncio

from nicegui import ui

from airproof.errors import UnknownHeadings, UnusableRequest
from airproof.recording.headings import recognise
from airproof.recording.mapping import MappedSignal, SignalMap
from airproof.recording.signals import glossary, signal_kind
from airproof.web.bench import Bench
from airproof.web.frame import page
from airproof.web.marks import AtField, Form, Mark, Values, at_field, choice, field, heading, in_words, link, one, say
from airproof.web.uploads import take_waiting
from airproof.web.waiting import Waiting

MOST_HEADINGS = 120
"""Columns that are asked for; judged: Airproof authors: no logger of a workshop writes more that matter."""


async def show(bench: Bench, job: int, key: str) -> None:
    """The page of one file that waits."""
    waiting = bench.waiting.get(key)
    if waiting is None or waiting.job != job:
        raise UnusableRequest("no file waits here", "one that was just given", "Give the recording again.")
    with page(bench, f"What is in {waiting.name}"):
        link(f"Back to job {job}", f"/job/{job}", "back")
        heading(1, f"What is in {waiting.name}")
        say(in_words(waiting.fault), "news")
        say(
            "The file is kept while you say what its columns are: engine speed and manifold pressure at least, and the "
            "time. Leave out what does not matter. Files with the same headings are read so from now on."
        )

        async def read(values: Values) -> None:
            mapping = mapping_said(waiting, values)
            try:
                says = await asyncio.to_thread(take_waiting, bench, waiting, mapping)
            except UnknownHeadings as fault:
                raise UnusableRequest(fault.given, fault.wanted, "Say more of the columns.") from fault
            bench.like(bench.settings.with_map(waiting.fault.headings, mapping))
            bench.waiting.came_in(key, says)
            ui.navigate.to(f"/job/{job}")

        with Form(read, send="Read it so from now on"):
            _fields(waiting)


def _fields(waiting: Waiting) -> None:
    signals = {"": "left out", **{name: kind.title for name, kind in glossary().signals.items()}}
    for number, said in enumerate(waiting.fault.headings[:MOST_HEADINGS]):
        seen = recognise(said)
        with Mark("fieldset"):
            Mark("legend", said)
            with Mark("div", classes="pair"):
                choice(f"{said} is", f"signal {number}", signals, "" if seen is None else seen.signal.name)
                field(
                    f"Unit of {said}", f"unit {number}", hint="Such as kPa, 1/min, degC; empty where the file says it."
                )
    field(
        "Rows a second, if no column is a time",
        "rate_hz",
        hint="Leave it empty where there is a time.",
        inputmode="decimal",
    )


def mapping_said(waiting: Waiting, values: Values) -> SignalMap:
    """What was said of the columns, checked; what cannot be is told at its field."""
    rows: dict[str, MappedSignal] = {}
    for number, said in enumerate(waiting.fault.headings[:MOST_HEADINGS]):
        name, unit = one(values, f"signal {number}"), one(values, f"unit {number}")
        if not name:
            continue
        if name in rows:
            given = f"{rows[name].heading} and {said} both as {signal_kind(name).title}"
            raise AtField(UnusableRequest(given, "one column of each", "Leave one of them out."), f"signal {number}")
        rows[name] = MappedSignal(heading=said, unit=unit or None)
        with at_field(f"unit {number}"):
            SignalMap(signals={name: rows[name]}, source="this page").check()
    rate = one(values, "rate_hz").replace(",", ".")
    if not rows and not rate:
        raise UnusableRequest("nothing was said of any column", "what one or more of them are", "Choose it.")
    try:
        return SignalMap(signals=rows, rate_hz=float(rate) if rate else None, source="this page")
    except ValueError as fault:
        told = UnusableRequest(f'"{rate}"', "a number above zero", "Such as 10.")
        raise AtField(told, "rate_hz") from fault
