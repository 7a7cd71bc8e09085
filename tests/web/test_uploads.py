"""Files that come in: a wrong one told in words, names for people only, nothing left of what was stopped."""

from __future__ import annotations

import asyncio
import gzip
import tempfile
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import Message, Scope

from airproof.jobs.events import Draft
from airproof.jobs.job_file import export_job
from airproof.jobs.kinds import Note
from airproof.recording.mapping import SignalMap
from airproof.web import uploads
from airproof.web.bench import Bench
from airproof.web.uploads import take_job_file, take_recording, take_waiting

GOOD = b"time [s],engine speed [1/min],manifold pressure [kPa]\n" + b"".join(
    f"{tick / 10:.1f},{780 + tick % 3},{33 + tick % 2}\n".encode() for tick in range(900)
)
OTHER = GOOD.replace(b"manifold pressure [kPa]", b"thing")
EVIL = "../../..\\x/<img src=x onerror=alert(1)> & 'drive'.csv"


@pytest.fixture
def coming(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of what is passing through."""
    folder = tmp_path / "passing through"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path / "data", "me")
    made.store.new_job([Draft("note", Note(text="x"))], "me")
    yield made
    made.close()


def app(bench: Bench) -> Starlette:
    async def recording(request: Request) -> Response:
        return await take_recording(bench, int(request.path_params["job"]), request)

    async def job_file(request: Request) -> Response:
        return await take_job_file(bench, request)

    return Starlette(
        routes=[
            Route("/job/{job}/recordings", recording, methods=["POST"]),
            Route("/jobs/import", job_file, methods=["POST"]),
        ]
    )


def send(
    bench: Bench, body: Any, name: str = "drive.csv", path: str = "/job/1/recordings", **headers: str
) -> httpx.Response:
    """Send a file as the page does."""
    sent = {"x-name": quote(name), **{key.replace("_", "-"): value for key, value in headers.items()}}

    async def go() -> httpx.Response:
        transport = httpx.ASGITransport(app(bench))
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
            return await client.post(path, content=body, headers=sent)

    return asyncio.run(go())


def kept(bench: Bench) -> list[Path]:
    return [path for path in bench.store.shelf.folder.rglob("*") if path.is_file()]


class TestARecording:
    def test_it_is_in_the_job_and_what_was_understood_is_said(self, bench: Bench, coming: Path) -> None:
        answer = send(bench, GOOD)
        says = "drive.csv: 90 s, 2 signals understood. It is in the job."
        assert (answer.status_code, answer.json()) == (200, {"says": says})
        (fact,) = bench.store.state(1).recordings.values()
        assert (fact.author, fact.payload.name, fact.payload.role, fact.payload.bytes) == (
            "me",
            "drive.csv",
            "car",
            len(GOOD),
        )
        original = bench.store.shelf.original(fact.payload.sha256)
        assert original is not None
        assert original.read_bytes() == GOOD
        assert list(coming.iterdir()) == []

    def test_guessed_units_are_said_at_once(self, bench: Bench) -> None:
        rows = "".join(f"{n},780,{30 + n % 9},25\n" for n in range(99))
        says = send(bench, f"Time (s),Engine speed (1/min),MAP,Throttle\n{rows}".encode()).json()["says"]
        assert "Units that drive.csv does not state were guessed: manifold pressure in kPa. If one is wrong" in says
        assert says.endswith("put it right on the recording's page.")

    def test_a_column_left_out_for_want_of_a_unit_is_said_at_once(self, bench: Bench) -> None:
        rows = "".join(f"{n},780,{5000 + n}\n" for n in range(99))
        says = send(bench, f"Time (s),Engine speed (1/min),MAP\n{rows}".encode()).json()["says"]
        assert "'MAP' was left out: manifold pressure (absolute), unit not stated" in says
        assert says.endswith("State its unit on the recording's page.")

    def test_what_it_is_hardly_weighed_without_is_missed_at_once(self, bench: Bench) -> None:
        rows = "".join(f"{n},{30 + n % 9}\n" for n in range(99))
        says = send(bench, f"Time (s),Manifold pressure (kPa)\n{rows}".encode()).json()["says"]
        assert "No engine speed was found in it" in says
        assert "found in it" not in send(bench, GOOD).json()["says"]

    @pytest.mark.parametrize("role", ["car", "good", "sister"])
    def test_it_is_there_as_what_was_chosen(self, bench: Bench, role: str) -> None:
        assert send(bench, GOOD, x_role=role).status_code == 200
        assert len(bench.store.state(1).recordings_as(role)) == 1

    def test_whoever_has_a_name_says_it(self, bench: Bench) -> None:
        bench.like(bench.settings.model_copy(update={"name": "Kim"}))
        send(bench, GOOD)
        assert bench.store.events(1)[-1].author == "Kim"

    def test_headings_that_were_put_right_once_are_read_so_again(self, bench: Bench) -> None:
        signals = SignalMap.model_validate({"signals": {"manifold_pressure": {"heading": "thing", "unit": "kPa"}}})
        assert "1 signal understood" in send(bench, OTHER).json()["says"]
        (fact,) = bench.store.state(1).recordings.values()
        read = bench.store.shelf.signals(fact.payload.sha256, "drive.csv")
        headings = [column.heading for column in read.report.columns]
        bench.like(bench.settings.with_map(headings, signals))
        assert "2 signals understood" in send(bench, OTHER + b"90.0,780,33\n").json()["says"]
        latest = bench.store.events(1)[-1].payload
        assert getattr(latest, "signals", None) == signals

    def test_given_twice_it_is_kept_once(self, bench: Bench) -> None:
        assert [send(bench, GOOD).status_code for _ in range(2)] == [200, 200]
        assert len(bench.store.state(1).recordings) == 1
        assert len(kept(bench)) == 1

    def test_compressed_it_is_read_by_its_ending(self, bench: Bench) -> None:
        answer = send(bench, gzip.compress(GOOD), "Drive of 3.4.csv.gz")
        assert "2 signals understood" in answer.json()["says"]


class TestAWrongFile:
    @pytest.mark.parametrize(
        ("name", "content"),
        [("a.csv", b""), ("a.csv", b"\0\1\2" * 99), ("a.parquet", b"PAR1"), ("a.mf4", b"MDF     4.10"),
         ("a.gz", b"\x1f\x8b"), ("a.csv", b"a,b\n1,2\n"), ("a", b"hello"), ("a.xlsx", b"PK\3\4"), ("a.exe", b"MZ")],
    )  # fmt: skip
    def test_it_is_answered_in_words_without_a_path_and_leaves_nothing(
        self, bench: Bench, coming: Path, name: str, content: bytes
    ) -> None:
        answer = send(bench, content, name)
        says = answer.json()["says"]
        assert answer.status_code == 422
        assert says.startswith(f"{name} was not taken. ")
        assert "airproof-in-" not in says
        assert str(coming) not in says
        assert "Traceback" not in says
        assert "--" not in says  # nothing of the command line's
        assert kept(bench) == list(coming.iterdir()) == []
        assert bench.store.last_event(1) == 1

    @settings(
        deadline=None, derandomize=True, max_examples=60,
        suppress_health_check=[HealthCheck.function_scoped_fixture],
    )  # fmt: skip
    @given(st.binary(max_size=300), st.sampled_from(["csv", "csv.gz", "parquet", "mf4", "zip", "txt", ""]))
    def test_any_bytes_are_taken_or_refused_in_words(self, bench: Bench, content: bytes, ending: str) -> None:
        for path in ("/job/1/recordings", "/jobs/import"):
            answer = send(bench, content, f"x.{ending}", path)
            assert answer.status_code in (200, 422)
            assert "airproof-in-" not in answer.text

    def test_one_for_a_job_that_is_not_there(self, bench: Bench) -> None:
        answer = send(bench, GOOD, path="/job/99/recordings")
        assert (answer.status_code, "There is no job 99" in answer.json()["says"]) == (422, True)
        assert kept(bench) == []

    def test_as_what_it_cannot_be(self, bench: Bench) -> None:
        answer = send(bench, GOOD, x_role="<b>")
        assert (answer.status_code, "one of those on the page" in answer.json()["says"]) == (422, True)
        assert kept(bench) == []

    def test_a_job_that_changed_meanwhile_keeps_nothing_of_it(
        self, bench: Bench, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def refuses(*_: object, **__: object) -> None:
            raise OSError("the disk broke")

        monkeypatch.setattr(uploads, "append_beside", refuses)
        answer = send(bench, GOOD)
        assert (answer.status_code, "A fault of our own" in answer.json()["says"]) == (500, True)
        assert "disk broke" not in answer.text
        assert kept(bench) == []

    def test_the_same_file_of_a_job_that_is_deleted_at_that_moment_stays(
        self, bench: Bench, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        real = uploads.append_beside

        def while_another_is_deleted(store: Any, job: int, drafts: Any, **more: Any) -> Any:
            store.shelf.remove(drafts[0].payload.sha256)
            return real(store, job, drafts, **more)

        monkeypatch.setattr(uploads, "append_beside", while_another_is_deleted)
        assert send(bench, GOOD).status_code == 200
        (fact,) = bench.store.state(1).recordings.values()
        assert bench.store.shelf.original(fact.payload.sha256) is not None


ODD = "\n".join(["Sekunden;Tours;Dose", *(f"{n / 2};{800 + n % 7};{36 + n % 3}" for n in range(120))]).encode()


class TestAFileThatWaits:
    @pytest.fixture
    def key(self, bench: Bench) -> str:
        return str(send(bench, ODD).json()["page"]).rpartition("/")[2]

    def test_goes_with_its_job(self, bench: Bench, key: str) -> None:
        other = bench.store.new_job([Draft("note", Note(text="y"))], "me")
        bench.waiting.forget_job(other)
        waiting = bench.waiting.get(key)
        assert waiting is not None
        assert waiting.path.exists()
        bench.waiting.forget_job(1)
        assert bench.waiting.get(key) is None
        assert not waiting.path.exists()

    def test_read_at_last_what_is_to_be_said_of_it_is_told_once(self, bench: Bench, key: str) -> None:
        waiting = bench.waiting.get(key)
        assert waiting is not None
        said = {
            "time": {"heading": "Sekunden", "unit": "s"},
            "engine_speed": {"heading": "Tours", "unit": "1/min"},
            "manifold_pressure": {"heading": "Dose", "unit": "kPa"},
        }
        says = take_waiting(bench, waiting, SignalMap.model_validate({"signals": said}))
        bench.waiting.came_in(key, says)
        assert bench.waiting.get(key) is None
        assert bench.waiting.to_tell(1) == says == "drive.csv: 60 s, 2 signals understood. It is in the job."
        assert bench.waiting.to_tell(1) == ""


class TestNames:
    @pytest.mark.parametrize(
        ("name", "shown"),
        [
            (EVIL, "<img src=x onerror=alert(1)> & 'drive'.csv"),
            ("..", ".."), ("../../etc/passwd", "passwd"), ("C:\\Users\\me\\a.csv", "a.csv"),
            ("", "recording"), ("a/", "recording"),
            ("a\0b\n\x1b[31m.csv", "a?b??[31m.csv"), ("\u202ecsv.exe", "?csv.exe"),
            ("Fahrt München 3.csv", "Fahrt München 3.csv"),
            ("x" * 500 + ".csv", "x" * 200), ("a.b:c|d*e?.csv", "a.b:c|d*e?.csv"),
        ],
    )  # fmt: skip
    def test_they_are_shown_and_never_used(
        self, bench: Bench, coming: Path, tmp_path: Path, name: str, shown: str
    ) -> None:
        before = {path for path in tmp_path.rglob("*") if path.is_file()}
        answer = send(bench, GOOD, name)
        assert answer.headers["content-type"] == "application/json"  # no browser makes markup of it
        assert answer.json()["says"].startswith(f"{shown}: 90 s")
        (fact,) = bench.store.state(1).recordings.values()
        assert fact.payload.name == shown
        new = {path for path in tmp_path.rglob("*") if path.is_file()} - before
        assert {path.suffix for path in new} <= {".original", ".parquet"} | {path.suffix for path in before}
        assert list(coming.iterdir()) == []

    def test_without_any_it_is_called_a_recording(self, bench: Bench) -> None:
        async def go() -> httpx.Response:
            async with httpx.AsyncClient(transport=httpx.ASGITransport(app(bench)), base_url="http://127.0.0.1") as one:
                return await one.post("/job/1/recordings", content=GOOD)

        assert asyncio.run(go()).json()["says"].startswith("recording: 90 s")

    @settings(
        deadline=None, derandomize=True, max_examples=60,
        suppress_health_check=[HealthCheck.function_scoped_fixture],
    )  # fmt: skip
    @given(
        st.text(st.characters(max_codepoint=255, exclude_categories=["Cc"]), max_size=60)
        | st.binary(max_size=60).map(quote)
    )
    def test_any_name_will_do(self, bench: Bench, coming: Path, name: str) -> None:
        answers = asyncio.run(_raw(bench, [(GOOD, False)], name.encode("latin-1")))
        assert answers[0]["status"] in (200, 422)
        assert list(coming.iterdir()) == []


class TestSizeAndTime:
    def test_more_than_there_is_room_for_is_not_read_on(
        self, bench: Bench, coming: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        sent = 0

        async def endless() -> AsyncIterator[bytes]:
            nonlocal sent
            while True:
                sent += 1
                yield GOOD

        monkeypatch.setattr(uploads, "LARGEST", 10 * len(GOOD))
        answer = send(bench, endless())
        assert (answer.status_code, "was not taken. More than" in answer.json()["says"]) == (422, True)
        assert sent == 11
        assert kept(bench) == list(coming.iterdir()) == []

    def test_who_says_nothing_for_long_has_gone(
        self, bench: Bench, coming: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(uploads, "SILENT_S", 0.05)

        async def slow() -> AsyncIterator[bytes]:
            yield GOOD
            await asyncio.sleep(3600)

        answer = send(bench, slow())
        assert (answer.status_code, "send it again" in answer.json()["says"]) == (408, True)
        assert kept(bench) == list(coming.iterdir()) == []

    @pytest.mark.parametrize("path", ["/job/1/recordings", "/jobs/import"])
    def test_what_was_stopped_leaves_nothing(self, bench: Bench, coming: Path, path: str) -> None:
        answers = asyncio.run(_raw(bench, [(GOOD, True)], b"a.csv", path))
        assert answers[0]["status"] == 400
        assert kept(bench) == list(coming.iterdir()) == []
        assert bench.store.last_event(1) == 1
        assert len(bench.store.jobs()) == 1


class TestAJobFile:
    def test_it_is_taken_in_and_then_it_is_here(self, bench: Bench, tmp_path: Path) -> None:
        send(bench, GOOD)
        export_job(bench.store, 1, tmp_path / "job.zip")
        content = (tmp_path / "job.zip").read_bytes()
        bench.store.delete(1, seen=2)
        assert send(bench, content, "job.zip", "/jobs/import").json()["says"] == "job.zip: job 2 was taken in."
        assert "here already" in send(bench, content, "job.zip", "/jobs/import").json()["says"]
        assert len(bench.store.state(2).recordings) == 1

    def test_a_recording_is_none(self, bench: Bench) -> None:
        answer = send(bench, GOOD, EVIL, "/jobs/import")
        assert answer.status_code == 422
        assert "airproof-in-" not in answer.text
        assert len(bench.store.jobs()) == 1


async def _raw(
    bench: Bench, parts: list[tuple[bytes, bool]], name: bytes, path: str = "/job/1/recordings"
) -> list[Message]:
    """Parts of a file, each with whether more is to come; then the sender is gone."""
    scope: Scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "POST", "scheme": "http",
        "path": path, "raw_path": path.encode(), "query_string": b"", "root_path": "", "headers": [(b"x-name", name)],
        "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 2),
    }  # fmt: skip
    coming = iter([{"type": "http.request", "body": body, "more_body": more} for body, more in parts])
    answered: list[Message] = []

    async def receive() -> Message:
        return next(coming, {"type": "http.disconnect"})

    async def send_(message: Message) -> None:
        answered.append(message)

    await app(bench)(scope, receive, send_)
    return answered
