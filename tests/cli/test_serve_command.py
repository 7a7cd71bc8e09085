"""`airproof serve`: what is refused before anything is opened, and sharing as another computer sees it."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from command_line import Airproof

from airproof.web.serving import PORT, PORTS_TRIED, _listening, _own_address, _this_computer


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AIRPROOF_DATA", str(tmp_path / "jobs"))
    monkeypatch.delenv("AIRPROOF_STORE", raising=False)


@pytest.fixture
def taken() -> Iterator[int]:
    """A port that another program has."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        one.listen()
        yield int(one.getsockname()[1])


def test_help_says_how_to_share(airproof: Airproof) -> None:
    ended = airproof("serve", "--help")
    assert ended.status == 0
    assert "airproof serve --share" in ended.out


class TestRefused:
    @pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.1", "127.0.0.1.example.invalid", "127.evil"])
    def test_other_computers_without_a_pass_code(self, airproof: Airproof, tmp_path: Path, host: str) -> None:
        ended = airproof("serve", "--host", host)
        assert (ended.status, ended.out) == (2, "")
        assert "without --share" in ended.line or "cannot be used" in ended.line  # a name or address that is not ours
        assert not (tmp_path / "jobs").exists()

    def test_every_address_is_told_the_way_out(self, airproof: Airproof) -> None:
        ended = airproof("serve", "--host", "0.0.0.0")
        assert "--host 0.0.0.0 without --share; wanted: 127.0.0.1, or --share." in ended.line
        assert ended.line.endswith("With --share a pass code is asked for.")

    @pytest.mark.parametrize("port", ["0", "65536", "-1", "x", "80.5", "", "\uff18\uff10"])
    def test_a_port_that_is_none(self, airproof: Airproof, tmp_path: Path, port: str) -> None:
        ended = airproof("serve", "--port", port)
        assert (ended.status, ended.out) == (2, "")
        assert "--port" in ended.line
        assert not (tmp_path / "jobs").exists()

    def test_a_port_that_another_program_has(self, airproof: Airproof, taken: int) -> None:
        ended = airproof("serve", "--port", taken)
        assert ended.status == 2
        assert f"port {taken} of 127.0.0.1 cannot be used (another program has it)" in ended.line
        assert "Name another with --port" in ended.line

    @pytest.mark.parametrize("words", [("--port", "80", "--port", "81"), ("--host", "::1", "--host", "127.0.0.1")])
    def test_an_option_given_twice(self, airproof: Airproof, words: tuple[str, ...]) -> None:
        ended = airproof("serve", *words)
        assert (ended.status, words[0] in ended.line) == (2, True)

    def test_a_demo_that_is_not_there(self, airproof: Airproof, tmp_path: Path) -> None:
        ended = airproof("serve", "--demo", tmp_path / "nowhere")
        assert (ended.status, "nowhere" in ended.line) == (2, True)


class TestPorts:
    def test_where_none_is_named_the_next_free_one_is_taken(self, monkeypatch: pytest.MonkeyPatch, taken: int) -> None:
        monkeypatch.setattr("airproof.web.serving.PORT", taken)
        with _listening("127.0.0.1", None) as one, _listening("127.0.0.1", None) as other:
            ports = [one.getsockname()[1], other.getsockname()[1]]
        assert taken < ports[0] < ports[1] < taken + PORTS_TRIED

    def test_the_usual_one_is_no_port_of_the_system(self) -> None:
        assert 1024 < PORT < 49152  # RFC 6335: 0 to 1023 are the system's, from 49152 on they are handed out

    @pytest.mark.parametrize("host", ["localhost", "127.0.0.1", "127.1.2.3", "::1"])
    def test_this_computer(self, host: str) -> None:
        assert _this_computer(host)

    @pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.5", "127.evil", "bench", "localhost.example", ""])
    def test_another_or_all(self, host: str) -> None:
        assert not _this_computer(host)


def test_two_that_are_opened_at_the_same_moment_each_tell_their_own_address(tmp_path: Path) -> None:
    surroundings = os.environ | {"PYTHONUNBUFFERED": "1", "AIRPROOF_AUTHOR": "me"}
    surroundings.pop("PYTEST_CURRENT_TEST", None)
    opened = [
        subprocess.Popen(
            [sys.executable, "-m", "airproof", "serve", "--data", str(tmp_path / name)],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, encoding="utf-8", env=surroundings,
        )
        for name in ("one", "other")
    ]  # fmt: skip
    try:
        told = []
        for process in opened:
            assert process.stdout is not None
            told.append(process.stdout.readline().split()[-1])
        with httpx.Client(trust_env=False) as here:
            assert [here.get(address).status_code for address in told] == [200, 200]
        assert len(set(told)) == 2
        assert [process.poll() for process in opened] == [None, None]
    finally:
        for process in opened:
            process.terminate()
        for process in opened:
            process.communicate(timeout=20)


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """The address of shared pages, and their pass code."""
    surroundings = os.environ | {"PYTHONUNBUFFERED": "1", "AIRPROOF_AUTHOR": "me"}
    surroundings.pop("PYTEST_CURRENT_TEST", None)  # the pages' own library looks for it and then is no server
    words = [sys.executable, "-m", "airproof", "serve", "--share", "--data", str(tmp_path_factory.mktemp("shared"))]
    with subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, encoding="utf-8", env=surroundings
    ) as process:
        assert process.stdout is not None
        try:
            said = "".join(process.stdout.readline() for _ in range(2))
            found = re.search(r"open at (http://\S+)/\nPass code: ([0-9]{6}) ", said)
            assert found, said + process.stdout.read()
            yield found[1], found[2]
        finally:
            process.terminate()


def test_shared_pages_ask_another_computer_for_the_code_they_show(shared: tuple[str, str]) -> None:
    address, code = shared
    if _own_address().startswith("127."):
        pytest.skip("this computer is in no network")
    port = address.rpartition(":")[2]
    with httpx.Client(base_url=address, trust_env=False) as other:
        assert other.get("/").status_code == 401
        assert other.get("/job/1/export").status_code == 401
        assert other.get("/", headers={"Host": f"evil.example:{port}"}).status_code == 421
        for wrong, origin, status in (("000000x", address, 403), (code, "http://evil.example", 403)):
            assert other.post("/door", data={"code": wrong}, headers={"Origin": origin}).status_code == status
        assert other.post("/door", data={"code": code}, headers={"Origin": address}).status_code == 303
        page = other.get("/")
        assert page.status_code == 200
        assert "frame-ancestors 'none'" in page.headers["Content-Security-Policy"]
        assert "server" not in page.headers
    with httpx.Client(base_url=f"http://127.0.0.1:{port}", trust_env=False) as here:
        assert here.get("/").status_code == 200


@pytest.mark.parametrize(
    "path",
    ["/nowhere", "/job/99", "/job/-1", "/job/abc", f"/job/{10**30}", "/job/1/step/x", "/job/99/delete", "/job/99/line",
     "/job/99/recording/%00", "/job/abc/export", "/assets/..%2fpages.py", "/docs", "/openapi.json"],
)  # fmt: skip
def test_a_wrong_address_is_told_in_words_and_is_no_fault(shared: tuple[str, str], path: str) -> None:
    port = shared[0].rpartition(":")[2]
    with httpx.Client(base_url=f"http://127.0.0.1:{port}", trust_env=False) as here:
        answer = here.get(path)
        assert (answer.status_code, "<h1>Nothing here</h1>" in answer.text) == (404, True)
        assert answer.headers["X-Frame-Options"] == "DENY"
        assert here.post("/job/abc/recordings", headers={"Origin": str(here.base_url)}).status_code == 404


def test_no_page_of_another_site_may_follow_the_line(shared: tuple[str, str]) -> None:
    port = shared[0].rpartition(":")[2]
    line = f"http://127.0.0.1:{port}/_nicegui_ws/socket.io/?EIO=4&transport=polling"
    with httpx.Client(trust_env=False) as here:
        assert here.get(line).status_code == 200
        foreign = here.get(line, headers={"Origin": "http://evil.example"})
        assert (foreign.status_code, "access-control-allow-origin" in foreign.headers) == (403, False)
