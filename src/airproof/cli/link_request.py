"""Carrying out `airproof link find`, `codes`, `clear` and `read`."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from airproof.cli.link_job import JobOnTheLine
from airproof.cli.streams import complain, say, say_parts
from airproof.cli.typed import once, one_path, path_of
from airproof.errors import NotAllowed, UnusableFile, UnusableRequest
from airproof.jobs.facts_written import toml
from airproof.knowledge.load import knowledge
from airproof.report.readout_as_json import cleared_as_json, found_as_json, readout_as_json
from airproof.report.readout_in_words import before_clearing, cleared_in_words, found_in_words, readout_in_words
from airproof.vehicle.link.adapter import LOOPBACK_KINDS, Adapter, adapter_of, adapters_here
from airproof.vehicle.link.clearing import Clearing
from airproof.vehicle.link.clock import SystemClock
from airproof.vehicle.link.finding import Found, find
from airproof.vehicle.readout.as_facts import facts_tables
from airproof.vehicle.readout.from_log import readout_of_log
from airproof.vehicle.readout.read_out import read_again, read_out
from airproof.vehicle.readout.readout import Readout

Many = Sequence[str] | None
FASTEST = 50.0


@dataclass(frozen=True)
class Typed:
    """The options that all commands to a car share."""

    adapter: Many
    bitrate: Many = None
    options: Many = None
    pace: Many = None

    def the_adapter(self, usual: str | None = None) -> Adapter:
        """The adapter that was named. Raises UnusableRequest, naming those seen here, where none was."""
        name = once("--adapter", self.adapter) or usual
        if name is None:
            here = adapters_here()
            raise UnusableRequest(
                "no adapter is named",
                f"--adapter KIND:CHANNEL; this computer shows {', '.join(here) if here else 'none by itself'}",
                "docs/link.md says how to find yours; udp_multicast is for trying with a stand-in.",
            )
        pairs = [one.partition("=") for one in self.options or ()]
        if any(not mark for _, mark, _ in pairs):
            raise UnusableRequest("an option without =", "--option NAME=VALUE", "Add its value.", where="--option")
        return adapter_of(name, once("--bitrate", self.bitrate), {key: value for key, _, value in pairs})

    def the_clock(self, adapter: Adapter) -> SystemClock:
        """The system's clock, faster where a pace was asked for between programs."""
        typed = once("--pace", self.pace)
        if typed is None:
            return SystemClock()
        pace = amount("--pace", typed, 1.0, FASTEST)
        if adapter.kind not in LOOPBACK_KINDS and not (adapter.channel or "").startswith("vcan"):
            raise UnusableRequest("--pace with a car", "a stand-in", "Leave it out: a car has its own time.")
        return SystemClock(pace)


def amount(option: str, typed: str, least: float, most: float) -> float:
    """A number within limits as typed after an option."""
    try:
        value = float(typed.replace(",", "."))
    except ValueError:
        value = least - 1.0
    if not least <= value <= most:
        raise UnusableRequest(f"{typed[:40]!r}", f"a number from {least:g} to {most:g}", "Check it.", where=option)
    return value


def tell_found(typed: Typed, *, json: bool) -> None:
    """Find the car and say how."""
    adapter = typed.the_adapter()
    found = find(adapter, typed.the_clock(adapter))
    say(found_as_json(found)) if json else say_parts(found_in_words(found))


def tell_codes(typed: Typed, out: Many, job: JobOnTheLine | None, *, json: bool) -> None:
    """Read everything out, say it, and write it as facts where asked to."""
    target = one_path("--out", out)
    refuse_what_is_there(target)
    readout = _read_out(typed)
    _tell(readout, target, json=json)
    if job is not None:
        job.keep(readout)


def tell_log(typed: str, out: Many, *, json: bool) -> None:
    """The same from a log."""
    target = one_path("--out", out)
    refuse_what_is_there(target)
    _tell(readout_of_log(path_of("LOG", typed)), target, json=json)


def clear_and_tell(typed: Typed, out: Many, sure: int, job: JobOnTheLine | None, *, json: bool) -> None:
    """Read out, save, ask twice, clear, read again."""
    target = one_path("--out", out)
    if target is None:
        raise UnusableRequest("--out is missing", "the file for all that is read before", "Add --out before.json.")
    refuse_what_is_there(target)
    adapter = typed.the_adapter()
    clock = typed.the_clock(adapter)
    found = find(adapter, clock)
    with closing(found.connect(clock)) as link:
        clearing = Clearing(link, found)
        before = read_out(link, found)
        write_new(target, readout_as_json(before) + "\n")
        if job is not None:
            job.keep(before)
        clearing.saved(target)
        if not json:
            say_parts([*readout_in_words(before, knowledge()), *before_clearing()])
        for asked in range(2):
            if not _is_sure(asked, sure, target):
                raise NotAllowed("clearing was not asked for twice", "a yes, two times", "Nothing was cleared.")
            clearing.confirm()
        cleared = clearing.carry_out()
        if job is not None and cleared.all_of_them:
            job.keep(None, cleared=True)
        after = read_again(link, found)
    say(cleared_as_json(cleared, after)) if json else say_parts(cleared_in_words(cleared, after))


def _is_sure(asked: int, sure: int, target: Path) -> bool:
    if sure > asked:
        return True
    if not sys.stdin.isatty():
        return False
    question = (
        f"Everything is saved in {target}. Clear the codes, with all that goes with them? Type clear: ",
        "Really? Freeze frames and readiness are gone then. Type clear again: ",
    )[asked]
    sys.stderr.write(question)
    sys.stderr.flush()
    return sys.stdin.readline().strip().lower() == "clear"


def _read_out(typed: Typed) -> Readout:
    adapter = typed.the_adapter()
    clock = typed.the_clock(adapter)
    return read_all(find(adapter, clock), clock)


def read_all(found: Found, clock: SystemClock) -> Readout:
    """Everything a found car holds."""
    with closing(found.connect(clock)) as link:
        return read_out(link, found)


def _tell(readout: Readout, target: Path | None, *, json: bool) -> None:
    tables, left_out = facts_tables(readout, knowledge())
    if target is not None:
        write_facts(target, readout)
    if json:
        say(readout_as_json(readout))
        return
    say_parts(readout_in_words(readout, knowledge(), left_out))
    if target is not None:
        say(f"\nWritten to {target}: airproof weigh --engine ENGINE.toml --reading {target}" if tables else "")


def write_facts(target: Path, readout: Readout) -> None:
    """The readout as a file for `--reading`. Raises UnusableFile where there is one, or none can be written."""
    tables, left_out = facts_tables(readout, knowledge())
    head = [f"# Read from the car at {readout.read_at.isoformat(timespec='seconds')}.", *(f"# {x}" for x in left_out)]
    write_new(target, "\n".join(head) + "\n" + toml(tables))


def refuse_what_is_there(target: Path | None) -> None:
    """Raises UnusableFile for a file that is there already: before the car is asked anything."""
    if target is not None and target.exists():
        raise UnusableFile(
            "there is a file by that name already", "the name of a new file", "Give another name.", where=str(target)
        )


def write_new(target: Path, text: str) -> None:
    """A new file. Raises UnusableFile where there is one, or none can be written."""
    try:
        with target.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as fault:
        raise UnusableFile(
            f"it cannot be written ({fault.strerror})", "a new file in a folder that may be written to",
            "Give another name.", where=str(target),
        ) from fault  # fmt: skip
    complain(f"written: {target}")
