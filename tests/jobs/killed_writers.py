"""Writers that are killed in the middle, again and again, and what they had acknowledged looked for afterwards.

Run as a program: FOLDER, how many times, seed, and optionally the address of a database. It forks each writer from a
process that has loaded everything but has nothing open, so that the signal falls on writing and not on loading.
"""

from __future__ import annotations

import io
import os
import random
import signal
import sqlite3
import sys
import time
from pathlib import Path

from airproof.jobs.events import Draft
from airproof.jobs.kinds import Note, Recording
from airproof.jobs.opening import FILE, open_store

MOST_COMMITS, LONGEST_S = 6, 0.02
"""A writer is killed so long after it has acknowledged so many commits; both are drawn anew, from nothing on."""

TOGETHER = 3


def write_until_killed(folder: Path, address: str | None, acknowledged: int, turn: int) -> None:
    """Write as fast as may be; each commit is acknowledged on the pipe when the store says that it is done."""
    store = open_store(folder, address)
    job, seen = 1, store.last_event(1)
    for number in range(1_000_000):
        if number % 4 == 3:
            content = f"{turn} {number}".encode() * 5000
            kept = store.shelf.put(io.BytesIO(content))
            payload = Recording(sha256=kept.sha256, bytes=kept.bytes, name="x")
            added = store.append(job, [Draft("recording", payload)], seen=seen)
        else:
            notes = [Draft("note", Note(text=f"{turn} {number} {part}")) for part in range(TOGETHER)]
            added = store.append(job, notes, seen=seen)
        seen = added[-1].number
        os.write(acknowledged, f"{turn} {number} {seen}\n".encode())


def killed_once(
    folder: Path, address: str | None, turn: int, after_commits: int, after_s: float
) -> list[tuple[int, int, int]]:
    """What one writer acknowledged before it was killed."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            write_until_killed(folder, address, writing, turn)
        finally:
            os._exit(1)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        first = [pipe.readline() for _ in range(after_commits)]
        time.sleep(after_s)
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        assert os.WIFSIGNALED(status), "the writer ended by itself"
        # A line that was cut off was not acknowledged whole.
        lines = [line for line in (b"".join(first) + pipe.read()).split(b"\n")[:-1] if line]
    return [tuple(map(int, line.split())) for line in lines]  # type: ignore[misc]


def look(folder: Path, address: str | None, acknowledged: list[tuple[int, int, int]]) -> int:
    """Everything acknowledged is there, in whole transactions, and its files are whole; how many events there are."""
    with open_store(folder, address) as store:
        events = store.events(1)
        assert [event.number for event in events] == list(range(1, len(events) + 1))
        said = {event.number: event.payload for event in events}
        for turn, number, last in acknowledged:
            payload = said[last]
            if isinstance(payload, Recording):
                path = store.shelf.original(payload.sha256)
                assert path is not None
                assert path.read_bytes() == f"{turn} {number}".encode() * 5000
            else:
                texts = [said[last - back].text for back in reversed(range(TOGETHER))]  # type: ignore[attr-defined]
                assert texts == [f"{turn} {number} {part}" for part in range(TOGETHER)]
        notes = sum(isinstance(event.payload, Note) for event in events)
        assert notes % TOGETHER == 0, "half a transaction was kept"
        assert store.line(1).last_event == len(events)
    return len(events)


def main(folder: Path, times: int, seed: int, address: str | None = None) -> None:
    """Kill so many writers; prints what was acknowledged and found."""
    with open_store(folder, address) as store:
        job = store.new_job()
        assert job == 1
    chance = random.Random(seed)
    acknowledged: list[tuple[int, int, int]] = []
    events = 0
    for turn in range(times):
        commits, wait = chance.randint(0, MOST_COMMITS), chance.uniform(0.0, LONGEST_S)
        acknowledged += killed_once(folder, address, turn, commits, wait)
        # All of it now and then and at the end; the last turns each time.
        events = look(folder, address, acknowledged if turn in (times // 2, times - 1) else acknowledged[-20:])
    if address is None:
        file = sqlite3.connect(folder / FILE)
        assert file.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert file.execute("PRAGMA foreign_key_check").fetchall() == []
        file.close()
    print(  # noqa: T201 # it is a program
        f"killed {times} writers: {len(acknowledged)} transactions acknowledged, none lost, {events} events found"
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), *sys.argv[4:5])
