"""The pass code: who is let in with it, and how often one may try."""

from __future__ import annotations

from collections.abc import AsyncIterator

import pytest
from asking import HERE, ORIGIN, THERE, ask, guarded, knock, status
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from airproof.web.guard import (
    ALL_TRIES,
    COOKIE,
    TRIES,
    WITHIN_S,
    Door,
    new_code,
)


class Clock:
    """Time as the test wants it."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


class TestTheDoor:
    def test_a_code_is_six_figures(self) -> None:
        codes = {new_code() for _ in range(50)}
        assert all(len(code) == 6 and code.isdecimal() for code in codes)
        assert len(codes) > 40

    def test_this_computer_needs_none(self) -> None:
        for client in ("127.0.0.1", "127.0.0.9", "::1"):
            assert ask(guarded(Door("123456")), client=client).status_code == 200

    @pytest.mark.parametrize("client", [THERE, "8.8.8.8", "fe80::1", "no address", ""])
    @pytest.mark.parametrize("path", ["/", "/roomy", "/nowhere", "/door", "/assets"])
    def test_another_is_shown_the_door_whatever_is_asked_for(self, client: str, path: str) -> None:
        answer = ask(guarded(Door("123456")), path=path, client=client)
        assert answer.status_code == 401
        assert "Pass code" in answer.text
        assert "123456" not in answer.text

    def test_what_the_door_looks_like_may_be_fetched(self) -> None:
        assert ask(guarded(Door("123456")), path="/assets/a.css", client=THERE).status_code == 200
        assert ask(guarded(Door("123456")), path="/assets/../roomy", client=THERE).status_code == 401

    def test_changing_anything_needs_it_too(self) -> None:
        for method, path in (("POST", "/"), ("DELETE", "/"), ("POST", "/roomy"), ("PUT", "/door")):
            assert ask(guarded(Door("123456")), method, path, client=THERE, body=b"x").status_code == 401

    def test_the_right_code_lets_in_with_a_cookie_that_no_script_and_no_other_site_can_use(self) -> None:
        app = guarded(Door("012345"))
        answer = knock(app, " 012345 ".replace(" ", "%20"))
        assert (answer.status_code, answer.headers["location"]) == (303, "/")
        cookie, *flags = [part.strip() for part in answer.headers["set-cookie"].split(";")]
        assert {flag.lower() for flag in flags} == {
            "httponly",
            "samesite=strict",
            "path=/",
        }  # no age: until it is closed
        name, _, token = cookie.partition("=")
        assert (name, len(token)) == (COOKIE, 64)
        assert ask(app, client=THERE, cookie=cookie).text == "GET 0"
        assert ask(app, client="192.168.1.99", cookie=f"a=b; {cookie}").text == "GET 0"
        for wrong in (
            f"{COOKIE}=",
            f"{COOKIE}={token[:-1]}",
            f"{COOKIE}={token}0",
            f"{COOKIE}={token.upper()}x",
            token,
        ):
            assert ask(app, client=THERE, cookie=wrong).status_code == 401
        assert ask(guarded(Door("012345")), client=THERE, cookie=cookie).status_code == 401  # of another evening

    def test_each_who_comes_in_has_a_token_of_his_own(self) -> None:
        door = Door("123456")
        tokens = {door.let_in("123456", THERE) for _ in range(3)}
        assert len(tokens) == 3
        assert all(token is not None and door.knows(token) for token in tokens)
        assert not door.knows("")

    @pytest.mark.parametrize(
        "code",
        [
            "",
            "12345",
            "1234567",
            "123457",
            "%31",
            "123456%00",
            "\uff11\uff12\uff13\uff14\uff15\uff16",
            "%ff",
            "&",
            "=" * 20,
        ],
    )
    def test_any_other_does_not(self, code: str) -> None:
        answer = knock(guarded(Door("123456")), code)
        assert (answer.status_code, "set-cookie" in answer.headers) == (403, False)
        assert "That is not the pass code." in answer.text

    def test_no_other_site_may_knock(self) -> None:
        answer = knock(guarded(Door("123456")), "123456", origin="http://evil.example")
        assert (answer.status_code, "set-cookie" in answer.headers) == (403, False)

    def test_what_is_no_pass_code_by_its_length_is_not_read_on(self) -> None:
        async def endless() -> AsyncIterator[bytes]:
            while True:
                yield b"code=" * 50

        answer = ask(guarded(Door("123456")), "POST", "/door", client=THERE, body=endless())
        assert answer.status_code == 400

    def test_who_leaves_while_knocking_is_no_fault_of_ours(self) -> None:
        sent = [{"type": "http.request", "body": b"co", "more_body": True}, {"type": "http.disconnect"}]
        door = Door("123456")
        headers = [(b"host", b"127.0.0.1:8765"), (b"origin", ORIGIN.encode())]
        status(guarded(door), "POST", "/door", headers=headers, messages=sent, client=THERE)
        assert door.tokens == set()

    @settings(deadline=None, derandomize=True, max_examples=50, suppress_health_check=[HealthCheck.too_slow])
    @given(st.binary(max_size=60))
    def test_any_form_is_answered(self, body: bytes) -> None:
        answer = ask(guarded(Door("no such code")), "POST", "/door", client=THERE, body=body)
        assert answer.status_code == 403

    def test_without_sharing_there_is_no_door(self) -> None:
        assert knock(guarded(), "123456", client=HERE).text == "POST 11"


class TestTryingOften:
    def test_one_address_may_try_so_often_and_then_wait(self) -> None:
        clock = Clock()
        app = guarded(Door("123456", clock))
        assert [knock(app, "0").status_code for _ in range(TRIES)] == [403] * TRIES
        answer = knock(app, "123456")
        assert (answer.status_code, "Wait 5 minutes" in answer.text) == (429, True)
        assert knock(app, "123456", client="192.168.1.21").status_code == 303  # others are not punished for it
        clock.now += WITHIN_S + 1.0
        assert knock(app, "123456").status_code == 303

    def test_each_wrong_one_is_forgotten_by_itself(self) -> None:
        clock = Clock()
        door = Door("123456", clock)
        for _ in range(TRIES):
            assert door.let_in("0", THERE) is None
            clock.now += WITHIN_S / TRIES
        clock.now += 1.0
        assert door.let_in("0", THERE) is None  # the first is out of sight by now
        with pytest.raises(PermissionError):
            door.let_in("123456", THERE)

    def test_many_addresses_together_may_try_so_often(self) -> None:
        clock = Clock()
        door = Door("123456", clock)
        for number in range(ALL_TRIES):
            assert door.let_in("0", f"10.0.0.{number}") is None
        with pytest.raises(PermissionError):
            door.let_in("123456", "10.0.1.1")
        clock.now += WITHIN_S + 1.0
        assert door.let_in("123456", "10.0.1.1") is not None
        assert door.wrong == {}

    def test_being_refused_costs_no_further_time(self) -> None:
        clock = Clock()
        door = Door("123456", clock)
        for _ in range(TRIES):
            door.let_in("0", THERE)
        for _ in range(10):
            clock.now += WITHIN_S / 20
            with pytest.raises(PermissionError):
                door.let_in("0", THERE)
        clock.now += WITHIN_S / 2 + 1.0
        assert door.let_in("123456", THERE) is not None

    @settings(deadline=None, derandomize=True, max_examples=60)
    @given(
        st.lists(st.tuples(st.integers(0, 20), st.sampled_from(["0", "123456"]), st.floats(0.0, 40.0)), max_size=150)
    )
    def test_never_more_wrong_ones_within_the_time_than_are_allowed(self, tries: list[tuple[int, str, float]]) -> None:
        clock = Clock()
        door = Door("123456", clock)
        heard: list[tuple[float, str]] = []
        for address, code, later in tries:
            clock.now += later
            try:
                token = door.let_in(code, str(address))
            except PermissionError:
                continue
            assert (token is not None) == (code == "123456")
            if token is None:
                heard.append((clock.now, str(address)))
            lately = [who for when, who in heard if clock.now - when <= WITHIN_S]
            assert len(lately) <= ALL_TRIES
            assert all(lately.count(who) <= TRIES for who in lately)
