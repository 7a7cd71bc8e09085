"""Carrying out `airproof link record`."""

from __future__ import annotations

import sys
import threading
from collections.abc import Mapping, Sequence
from pathlib import Path

from airproof.cli.link_job import JobOnTheLine
from airproof.cli.link_request import Typed, amount, read_all, refuse_what_is_there, write_facts
from airproof.cli.streams import complain, say_parts
from airproof.cli.typed import once, one_path
from airproof.diagnosis.facts import Facts
from airproof.diagnosis.facts_file import load_facts
from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import load_profile
from airproof.errors import UnusableRequest
from airproof.knowledge.load import knowledge
from airproof.report.recording_in_words import status_in_a_line, stopped_in_words
from airproof.vehicle.link.finding import find
from airproof.vehicle.recorder.plan import Speaker, plan_for
from airproof.vehicle.recorder.recorder import Recorder, Status
from airproof.vehicle.recorder.recording_file import notes_path

Many = Sequence[str] | None
_LONGEST_S = 24 * 3600.0
_SHOWN_EVERY_S = 2.0
_LOGGED_EVERY_S = 10.0


def record_and_tell(typed: Typed, out: Many, engine: Many, seconds: Many, job: JobOnTheLine | None) -> None:
    """Find the car, read its codes, record it, and say what is still missing."""
    target = one_path("--out", out)
    if target is None:
        raise UnusableRequest("--out is missing", "the file for the recording", "Add --out drive.csv.")
    facts_file = target.with_name(f"{target.stem}.facts.toml")
    for path in (target, facts_file, notes_path(target)):
        refuse_what_is_there(path)
    engine_file = one_path("--engine", engine)
    profile = None if engine_file is None else load_profile(engine_file)
    typed_seconds = once("--seconds", seconds)
    for_s = None if typed_seconds is None else amount("--seconds", typed_seconds, 1.0, _LONGEST_S)
    adapter = typed.the_adapter()
    clock = typed.the_clock(adapter)
    found = find(adapter, clock)
    complain(f"found: {', '.join(unit.name for unit in found.units)}; reading codes first")
    readout = read_all(found, clock)
    write_facts(facts_file, readout)
    if job is not None:
        job.keep(readout)
    probability: Mapping[str, float] | None = None
    if profile is not None and (facts := load_facts_if_any(facts_file)) is not None:
        verdict = weigh([], profile, facts=facts, known=knowledge()).verdict
        probability = {cause.id: cause.probability for cause in verdict.causes}
    plan = plan_for([Speaker(unit.unit.id, unit.unit.new_style, unit.items) for unit in readout.units], probability)
    recorder = Recorder(
        lambda: found.connect(clock),
        plan,
        target,
        clock,
        full_scales={unit.unit.id: unit.full_scales for unit in readout.units},
        probability=probability,
    )
    _listen_for_markers(recorder)
    last = _watch(recorder, for_s)
    say_parts(stopped_in_words(last, target, facts_file))
    if job is not None and last.rows:
        job.keep(None, target)


def load_facts_if_any(path: Path) -> Facts | None:
    """The facts of a file, or None where there is nothing in it."""
    if not any(line.startswith("[") for line in path.read_text("utf-8").splitlines()):
        return None
    return load_facts([path], knowledge())


def _watch(recorder: Recorder, for_s: float | None) -> Status:
    at_a_terminal = sys.stderr.isatty()
    every = _SHOWN_EVERY_S if at_a_terminal else _LOGGED_EVERY_S
    statuses = recorder.run(every, for_s)
    try:
        for status in statuses:
            _show(status_in_a_line(status), at_a_terminal=at_a_terminal)
    except KeyboardInterrupt:
        statuses.close()
    if at_a_terminal:
        sys.stderr.write("\n")
    return recorder.status()


def _show(line: str, *, at_a_terminal: bool) -> None:
    if at_a_terminal:
        sys.stderr.write(f"\r\033[K{line[:118]}")
        sys.stderr.flush()
    else:
        complain(line)


def _listen_for_markers(recorder: Recorder) -> None:
    """Lines typed while recording are markers; nothing waits for them."""
    if sys.stdin is None or not sys.stdin.isatty():
        return

    def listen() -> None:
        for line in sys.stdin:
            recorder.mark(line.strip() or "marked")

    threading.Thread(target=listen, daemon=True).start()
