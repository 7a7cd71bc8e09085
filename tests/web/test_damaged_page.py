"""The page of a job that the disk has damaged says so in words, and shows the rest."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import httpx

from airproof.jobs.events import Draft
from airproof.jobs.kinds import payload_of
from airproof.jobs.opening import FILE, open_store


def test_the_page_names_what_cannot_be_read(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        said = {"complaint": "lamp on", "note": "worth keeping"}
        drafts = [Draft(kind, payload_of(kind, {"text": text})) for kind, text in said.items()]
        store.new_job([drafts[0], drafts[1], drafts[1], drafts[1]])
    with closing(sqlite3.connect(tmp_path / FILE)) as connection, connection:
        connection.execute("update events set at='garbage' where number=1")
        connection.execute("delete from events where number=3")
    surroundings = os.environ | {"PYTHONUNBUFFERED": "1"}
    surroundings.pop("PYTEST_CURRENT_TEST", None)  # the pages' own library looks for it and then is no server
    words = [sys.executable, "-m", "airproof", "serve", "--data", str(tmp_path)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, encoding="utf-8", env=surroundings) as process:
        try:
            assert process.stdout is not None
            address = process.stdout.readline().split()[-1].rstrip("/")
            page = httpx.get(f"{address}/job/1", timeout=30)
        finally:
            process.terminate()
    assert page.status_code == 200
    for text in ("What cannot be read", "complaint: its time is", "it is not there any more", "worth keeping"):
        assert text in page.text
