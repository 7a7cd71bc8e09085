"""The same store over PostgreSQL, where a server's programs are found; the server is started and stopped here.

AIRPROOF_POSTGRESQL may name an empty database to use instead. Nothing here needs root: as root, the server is run by
the user `postgres` or `nobody`, as it refuses root.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

import killed_writers
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from invented_jobs import PLATE, draft, intake, recording
from sqlalchemy import create_engine, text

from airproof.errors import UnusableFile
from airproof.jobs.events import withdrawal
from airproof.jobs.given import append_with
from airproof.jobs.job_file import export_job
from airproof.jobs.job_file_reading import import_job
from airproof.jobs.opening import open_store
from airproof.jobs.store import Store, Wanted
from airproof.jobs.tables import Base
from airproof.jobs.trouble import ChangedMeanwhile

pytest.importorskip("psycopg", reason="the extra postgres is not installed")


def programs() -> Path | None:
    """The folder of initdb and pg_ctl: on the path, or where Debian puts them."""
    found = shutil.which("initdb")
    if found and shutil.which("pg_ctl"):
        return Path(found).parent
    places = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    return next((place for place in places if (place / "initdb").exists()), None)


def as_user() -> dict[str, object]:
    """Whom the server runs as: it refuses root."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        return {}
    import pwd

    for name in ("postgres", "nobody"):
        try:
            who = pwd.getpwnam(name)
        except KeyError:
            continue
        return {"user": who.pw_uid, "group": who.pw_gid, "extra_groups": []}
    return {}


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """The address of an empty database."""
    named = os.environ.get("AIRPROOF_POSTGRESQL")
    if named:
        yield named
        return
    place = programs()
    if place is None:
        pytest.skip("no PostgreSQL server is installed (Debian: apt install postgresql)")
    who = as_user()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        data = folder / "data"
        data.mkdir()
        if who:
            os.chown(data, int(str(who["user"])), int(str(who["group"])))
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={data}"

        def run(*words: str) -> None:
            with (folder / "said").open("w+b") as said:
                done = subprocess.run(words, stdout=said, stderr=said, check=False, cwd=folder, **who)  # type: ignore[call-overload]
                said.seek(0)
                if done.returncode:
                    pytest.fail(f"{words[0]}: {said.read().decode(errors='replace')}")

        run(str(place / "initdb"), "-D", str(data), "-A", "trust", "-U", "airproof", "-E", "UTF8", "--locale=C")
        run(str(place / "pg_ctl"), "-D", str(data), "-l", str(data / "log"), "-o", options, "-w", "start")
        try:
            yield f"postgresql://airproof@127.0.0.1:{port}/postgres"
        finally:
            run(str(place / "pg_ctl"), "-D", str(data), "-m", "immediate", "-w", "stop")


@pytest.fixture
def address(server: str) -> str:
    """The database, emptied."""
    engine = create_engine(server.replace("postgresql://", "postgresql+psycopg://"))
    with engine.begin() as connection:
        for table in ("job_words", "recording_uses", "events", "jobs", "alembic_version"):
            connection.execute(text(f"DROP TABLE IF EXISTS {table} CASCADE"))
    engine.dispose()
    return server


@pytest.fixture
def store(address: str, tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "data", address) as opened:
        yield opened


def test_the_tables_are_those_of_the_program(store: Store) -> None:
    with store._engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), Base.metadata) == []


def test_a_whole_job(store: Store, tmp_path: Path) -> None:
    job = store.new_job([*intake(), draft("note", text="nought \0 and ü and \U0001f527")], "Ünal \0")
    append_with(store, job, [draft("code", id="P0107")], [("car", recording(tmp_path / "a.csv"))], seen=7)
    store.append(job, [withdrawal(5)], seen=9)
    assert [line.number for line in store.jobs(Wanted(words="hesitates unal", plate=PLATE, code="P0107"))] == [job]
    assert store.jobs(Wanted(code="P0106")) == []
    assert store.recorded_bytes() == (tmp_path / "a.csv").stat().st_size
    with pytest.raises(ChangedMeanwhile) as refused:
        store.append(job, [draft("note", text="x")], seen=9)
    assert [event.number for event in refused.value.events] == [10]


def test_a_job_moves_from_a_file_to_the_server_and_back(store: Store, tmp_path: Path) -> None:
    with open_store(tmp_path / "local") as local:
        local.new_job(intake())
        append_with(local, 1, [], [("car", recording(tmp_path / "a.csv"))], seen=6)
        export_job(local, 1, tmp_path / "there.zip")
    number = import_job(store, tmp_path / "there.zip").job
    export_job(store, number, tmp_path / "back.zip")
    assert (tmp_path / "there.zip").read_bytes() == (tmp_path / "back.zip").read_bytes()
    store.delete(number, seen=7)
    assert list(store.shelf.folder.rglob("*.original")) == []


def test_of_many_writers_each_number_is_won_once(store: Store, address: str) -> None:
    job = store.new_job()
    won: list[int] = []

    def write(name: str) -> None:
        with open_store(store.shelf.folder.parent, address) as mine:
            done = 0
            while done < 8:
                try:
                    won.append(mine.append(job, [draft("note", text=name)], seen=mine.last_event(job))[0].number)
                    done += 1
                except ChangedMeanwhile:
                    continue

    threads = [threading.Thread(target=write, args=(str(n),)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(won) == list(range(1, 33)) == [event.number for event in store.events(job)]


def test_opened_by_many_at_once_it_is_made_once(address: str, tmp_path: Path) -> None:
    faults: list[BaseException] = []

    def go() -> None:
        try:
            open_store(tmp_path, address).close()
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=go) for _ in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []


def test_a_newer_store_is_refused(store: Store, address: str, tmp_path: Path) -> None:
    with store._engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '99'"))
    with pytest.raises(UnusableFile, match="newer Airproof"):
        open_store(tmp_path, address)


def test_trouble_in_our_words(store: Store, address: str, tmp_path: Path) -> None:
    with pytest.raises(UnusableFile, match="the database server refuses"):
        open_store(tmp_path, address.rpartition("/")[0] + "/no_such_database")
    with store._engine.begin() as connection:
        connection.execute(text("DROP TABLE job_words"))
    with pytest.raises(UnusableFile, match="the database says"):
        store.new_job(intake())


@pytest.mark.skipif(not hasattr(os, "fork"), reason="writers are forked")
def test_killed_writers_lose_nothing(address: str, tmp_path: Path) -> None:
    ended = subprocess.run(
        [sys.executable, killed_writers.__file__, str(tmp_path / "data"), "15", "1", address],
        capture_output=True,
        text=True,
        check=False,
    )
    assert "none lost" in ended.stdout, ended.stderr
