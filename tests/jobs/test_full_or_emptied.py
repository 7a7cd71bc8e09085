"""A store whose disk is full can be read; one that was emptied is no new one."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from pathlib import Path

import pytest
from invented_jobs import draft, intake

from airproof.errors import UnusableFile
from airproof.jobs.opening import FILE, open_store

FULL = """
import resource, sys
from pathlib import Path
from airproof.errors import UnusableFile
from airproof.jobs import trouble
from airproof.jobs.events import Draft
from airproof.jobs.kinds import Note
from airproof.jobs.opening import open_store
trouble.LITTLE_ROOM = 1 << 62  # the disk of whoever tests has room
resource.setrlimit(resource.RLIMIT_FSIZE, (16384, 16384))  # less than the log's index takes
with open_store(Path(sys.argv[1])) as store:
    print(*[line.number for line in store.jobs()], *[event.kind for event in store.events(1)])
    try:
        store.append(1, [Draft("note", Note(text="x" * 15000))], seen=7)
    except UnusableFile as fault:
        print(fault)
    print(store.last_event(1))
"""


@pytest.mark.skipif(os.name == "nt", reason="a limit in the place of a full disk is of POSIX")
@pytest.mark.parametrize("ended", ["well", "killed"])  # killed: the job stands in the log alone
def test_on_a_full_disk_what_is_there_can_be_read(tmp_path: Path, ended: str) -> None:
    if ended == "well":
        with open_store(tmp_path) as store:
            store.new_job([*intake(), draft("note", text="the last")])
    else:
        begun = (
            "import os, sys\nfrom pathlib import Path\nfrom airproof.jobs.events import Draft\n"
            "from airproof.jobs.kinds import Note\nfrom airproof.jobs.opening import open_store\n"
            "store = open_store(Path(sys.argv[1]))\n"
            "store.new_job([Draft('note', Note(text=str(n))) for n in range(7)])\nos._exit(9)"
        )
        assert subprocess.run([sys.executable, "-c", begun, str(tmp_path)], check=False).returncode == 9
        (tmp_path / f"{FILE}-shm").unlink()
    told = subprocess.run([sys.executable, "-c", FULL, str(tmp_path)], capture_output=True, text=True, check=False)
    assert told.returncode == 0, told.stderr
    read, refused, last = told.stdout.splitlines()
    assert read.startswith("1 ")
    assert read.endswith("note")
    assert "there is no room left on the disk" in refused
    assert last == "7"
    with open_store(tmp_path) as store:  # with room again, as ever
        assert store.append(1, [draft("note", text="x")], seen=7)


BESIDE = """
import sys
from pathlib import Path
from airproof.jobs import opening, trouble
from airproof.jobs.events import Draft
from airproof.jobs.kinds import Note
trouble.LITTLE_ROOM = 1 << 62
opening.BUSY_MS = 1000
with opening.open_store(Path(sys.argv[1])) as store:
    last = store.last_event(1)
    if sys.argv[2] == "writes":
        last = store.append(1, [Draft("note", Note(text="beside"))], seen=last)[-1].number
print(last)
"""
LONG_OPEN = f"""
import resource, subprocess, sys
from pathlib import Path
from airproof.jobs import trouble
from airproof.jobs.opening import open_store
trouble.LITTLE_ROOM = 1 << 62
beside = lambda does: subprocess.run(
    [sys.executable, "-c", {BESIDE!r}, sys.argv[1], does], capture_output=True, text=True
).stdout.strip() or "refused"
room = resource.getrlimit(resource.RLIMIT_FSIZE)
resource.setrlimit(resource.RLIMIT_FSIZE, (16384, room[1]))
with open_store(Path(sys.argv[1])) as store:
    print(store.last_event(1), beside("reads"))
    resource.setrlimit(resource.RLIMIT_FSIZE, room)
    print(beside("writes"), store.last_event(1), beside("writes"), store.last_event(1))
"""


@pytest.mark.skipif(os.name == "nt", reason="a limit in the place of a full disk is of POSIX")
def test_a_store_that_was_opened_on_a_full_disk_keeps_nobody_else_out(tmp_path: Path) -> None:
    """Pages stay open for weeks: neither while the disk is full nor once there is room do others wait for their end."""
    with open_store(tmp_path) as store:
        store.new_job([draft("note", text="x")])
    told = subprocess.run([sys.executable, "-c", LONG_OPEN, str(tmp_path)], capture_output=True, text=True, check=False)
    assert told.returncode == 0, told.stderr
    assert told.stdout.splitlines() == ["1 1", "2 2 3 3"]


@pytest.mark.parametrize("loss", ["emptied", "gone"])
def test_an_emptied_store_is_refused_where_recordings_lie_beside_it(tmp_path: Path, loss: str) -> None:
    with open_store(tmp_path) as store:
        store.shelf.put(io.BytesIO(b"a recording"))
    if loss == "emptied":
        (tmp_path / FILE).write_bytes(b"")
    else:
        (tmp_path / FILE).unlink()
    before = sorted(tmp_path.rglob("*"))
    for _ in range(2):
        with pytest.raises(UnusableFile, match=r"wanted: the store of the jobs whose recordings.*Put a copy"):
            open_store(tmp_path)
    assert sorted(tmp_path.rglob("*")) == before


def test_a_store_that_was_never_used_may_begin_anew(tmp_path: Path) -> None:
    open_store(tmp_path).close()
    (tmp_path / FILE).write_bytes(b"")
    with open_store(tmp_path) as store:
        assert store.new_job() == 1
