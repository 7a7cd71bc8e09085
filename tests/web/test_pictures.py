"""The exhibits on a page: drawn once, found under names that cannot be guessed at, and nothing else found there."""

from __future__ import annotations

import asyncio
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from airproof.jobs.prepared import open_prepared
from airproof.knowledge.load import knowledge
from airproof.web import pictures
from airproof.web.bench import KEPT, Bench
from airproof.web.pictures import Picture, exhibits_of, picture_called

DEMO = Path(__file__).parents[2] / "examples" / "demo-job"


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[Picture, ...]:
    bench = Bench(tmp_path_factory.mktemp("pictures"), "me")
    job = open_prepared(bench.store, DEMO, knowledge())

    async def page() -> tuple[Picture, ...]:
        weighed = await bench.weigh(job)
        first = await exhibits_of(bench, job, weighed)
        assert await exhibits_of(bench, job, weighed) is first  # drawn once
        return first

    try:
        return asyncio.run(page())
    finally:
        bench.close()


def test_each_is_a_picture_under_its_address_or_says_why_there_is_none(shown: tuple[Picture, ...]) -> None:
    assert [one.number for one in shown] == [1, 2, 3, 4, 5]
    for one in shown:
        assert (one.address == "") == (one.not_drawn is not None)
        if one.address:
            key, name = one.address.split("/")[-2:]
            found = picture_called(key, name)
            assert found is not None
            assert ET.fromstring(found).tag.endswith("}svg")
            assert one.alt
            assert one.caption


def test_nothing_else_is_found(shown: tuple[Picture, ...]) -> None:
    key, name = next(one.address for one in shown if one.address).split("/")[-2:]
    for wrong in ("", key[:15], key + "0", "0" * 16, "../" + key):
        assert picture_called(wrong, name) is None
    for wrong in ("", "..", name.upper(), f"../{name}", name.replace(".svg", ".png"), "exhibits.html", "/etc/passwd"):
        assert picture_called(key, wrong) is None


def test_no_more_are_held_than_jobs_lie_on_the_bench(shown: tuple[Picture, ...]) -> None:
    assert 1 <= len(pictures._PICTURES) <= KEPT
