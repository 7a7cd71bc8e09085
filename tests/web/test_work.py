"""Long work: its progress, calling it off, and a page that stays alive meanwhile."""

from __future__ import annotations

import asyncio
import math
import threading
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.web.work import Stopped, Work


def test_what_it_came_to_is_handed_back_with_its_progress() -> None:
    work = Work("counting")
    seen: list[float] = []

    def act(progress: Callable[[float], None]) -> str:
        for part in (0.25, 0.5, 1.0):
            progress(part)
            seen.append(work.share)
        return threading.current_thread().name

    assert asyncio.run(work.carry_out(act)) != threading.current_thread().name
    assert seen == [0.25, 0.5, 1.0]


def test_the_page_stays_alive_meanwhile() -> None:
    go = threading.Event()

    async def page() -> float:
        work = Work("waiting")
        task = asyncio.create_task(work.carry_out(lambda progress: (progress(0.5), go.wait(30))[1]))
        while work.share == 0.0:
            await asyncio.sleep(0.001)
        go.set()  # only a page that is alive comes here
        assert await task
        return work.share

    assert asyncio.run(page()) == 0.5


def test_what_was_called_off_ends_at_its_next_look_and_nothing_is_kept() -> None:
    kept: list[int] = []
    began = threading.Event()

    async def page() -> None:
        work = Work("endless")

        def act(progress: Callable[[float], None]) -> None:
            while True:
                progress(0.1)
                began.set()

        task = asyncio.create_task(work.carry_out(act))
        await asyncio.to_thread(began.wait, 30)
        work.call_off()
        with pytest.raises(Stopped, match="endless"):
            await task
        kept.append(1)

    asyncio.run(page())
    assert kept == [1]


def test_what_is_called_off_before_it_began_does_nothing() -> None:
    work = Work("late")
    work.call_off()
    with pytest.raises(Stopped):
        asyncio.run(work.carry_out(lambda progress: progress(0.5)))
    assert work.share == 0.0


def test_its_own_fault_comes_through() -> None:
    def act(_: Callable[[float], None]) -> None:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        asyncio.run(Work("dividing").carry_out(act))


@given(st.lists(st.floats(allow_nan=False)))
def test_a_share_is_never_less_than_none_nor_more_than_all(shares: list[float]) -> None:
    work = Work("x")
    for share in shares:
        work.progress(share)
        assert 0.0 <= work.share <= 1.0
        assert not math.isnan(work.share)
