"""A shop's file: in any order, taken back to the last digit, merged, passed on, and never overwritten when broken."""

from __future__ import annotations

import json
from functools import cache, reduce
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_jobs import KNOWN, Workshop, drawn

from airproof.errors import UnusableFile, UnusableRequest
from airproof.repair.learned.closed_job import ClosedJob
from airproof.repair.learned.counts import counts_of
from airproof.repair.learned.sharpen import sharpened
from airproof.repair.learned.shop_file import Shop, new_shop, read_shop, write_shop

quiet = settings(derandomize=True, max_examples=25, deadline=None)
few = settings(derandomize=True, max_examples=8, deadline=None)
SECRET = "0" * 32
some = st.lists(st.integers(0, 19), unique=True, max_size=12)


@cache
def jobs() -> tuple[ClosedJob, ...]:
    rng = np.random.default_rng(11)
    workshop = Workshop(drawn(rng), rng)
    return tuple(workshop.job(number) for number in range(20))


def shop_of(numbers: list[int], secret: str = SECRET) -> Shop:
    return reduce(lambda shop, n: shop.with_job(jobs()[n], counts_of(jobs()[n], KNOWN)), numbers, Shop(secret=secret))


def in_full(shop: Shop) -> object:
    """All that was learned, to the last bit."""
    learned = sharpened(KNOWN, shop)
    numbers = [(n.about, n.of, n.given, n.after, n.jobs) for n in learned.numbers]
    return learned.knowledge, numbers, [n.interval for n in learned.numbers[:20]], learned.remarks


@few
@given(some, st.randoms(use_true_random=False))
def test_the_order_of_jobs_does_not_matter_to_the_last_bit(numbers: list[int], shuffle: object) -> None:
    other = list(numbers)
    shuffle.shuffle(other)  # type: ignore[attr-defined]
    one, two = shop_of(numbers), shop_of(other)
    assert one == two
    assert in_full(one) == in_full(two)


@few
@given(some, st.integers(0, 19))
def test_taking_a_job_back_restores_everything(numbers: list[int], number: int) -> None:
    rest = [n for n in numbers if n != number]
    before = shop_of(rest)
    with_it = before.with_job(jobs()[number], counts_of(jobs()[number], KNOWN))
    assert with_it.without(str(number)) == before
    assert in_full(with_it.without(str(number))) == in_full(before)


@quiet
@given(some, some, some)
def test_merging_does_not_mind_order_or_brackets_and_counts_nothing_twice(
    one: list[int], two: list[int], three: list[int]
) -> None:
    a, b, c = shop_of(one), shop_of(two), shop_of(three)
    assert a.merged(b).jobs == b.merged(a).jobs
    assert a.merged(b).merged(c).jobs == a.merged(b.merged(c)).jobs
    assert a.merged(a) == a
    assert a.merged(b).jobs == shop_of(list(dict.fromkeys([*one, *two]))).jobs


def test_no_jobs_change_nothing() -> None:
    assert sharpened(KNOWN, new_shop()).knowledge is KNOWN


def test_two_shops_may_number_alike() -> None:
    one, two = shop_of([1, 2]), shop_of([1, 2], secret="1" * 32)
    assert len(one.merged(two).jobs) == 4


def test_a_job_is_counted_once_and_not_with_two_stories() -> None:
    shop = shop_of([1])
    assert shop.with_job(jobs()[1], counts_of(jobs()[1], KNOWN)) is shop
    other = jobs()[2].model_copy(update={"id": "1"})
    with pytest.raises(UnusableRequest, match="--undo 1"):
        shop.with_job(other, counts_of(other, KNOWN))
    with pytest.raises(UnusableRequest, match="no job '7'"):
        shop.without("7")
    told_otherwise = Shop(secret=SECRET).with_job(other, counts_of(other, KNOWN))
    with pytest.raises(UnusableRequest, match="something else in each"):
        shop.merged(told_otherwise)


def test_it_is_written_whole_and_read_back_the_same(tmp_path: Path) -> None:
    shop = shop_of([0, 3, 5]).model_copy(update={"half_life_months": 24.0})
    file = tmp_path / "shop.json"
    write_shop(shop, file)
    assert read_shop(file) == shop
    first = file.read_bytes()
    write_shop(read_shop(file), file)
    assert file.read_bytes() == first
    assert [p.name for p in tmp_path.iterdir()] == ["shop.json"]


def test_neither_numbers_nor_days_nor_the_secret_are_passed_on(tmp_path: Path) -> None:
    job = jobs()[0].model_copy(update={"id": "B-XY 123"})
    shop = new_shop()
    shop = shop.with_job(job, counts_of(job, KNOWN))
    for kept in (shop, shop.to_pass_on()):
        file = tmp_path / "shop.json"
        write_shop(kept, file)
        text = file.read_text(encoding="utf-8")
        assert "XY" not in text
        assert f"{job.closed:%Y-%m-%d}" not in text
    assert shop.secret is not None
    assert shop.secret not in text
    assert "half_life" not in text


def test_where_it_cannot_be_written_the_old_one_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "shop.json"
    write_shop(shop_of([0]), file)
    before = file.read_bytes()

    def fails(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", fails)
    with pytest.raises(UnusableFile, match="No space left"):
        write_shop(shop_of([0, 1]), file)
    assert file.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["shop.json"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is not JSON"),
        ("[]", "table"),
        ("{}{", "is not JSON"),
        ("[" * 100_000, "is not JSON"),
        ('{"schema": "airproof.learned/2", "jobs": {}}', "newer Airproof"),
        ('{"schema": "airproof.verdict/1"}', "airproof.learned/1"),
        ('{"schema": "airproof.learned/1", "jobs": {"x": {}}}', "not written as it should be"),
        ('{"schema": "airproof.learned/1", "vin": "WVW"}', "vin is not a known key"),
        ('{"schema": "airproof.learned/1", "half_life_months": -1}', "more than 0"),
    ],
)
def test_what_is_broken_or_newer_is_refused(tmp_path: Path, text: str, says: str) -> None:
    file = tmp_path / "shop.json"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(UnusableFile, match=says) as refused:
        read_shop(file)
    assert "left as it is" in str(refused.value)


@quiet
@given(st.integers(0, 3000), st.integers(0, 255))
def test_no_damage_crashes_it(tmp_path_factory: pytest.TempPathFactory, place: int, byte: int) -> None:
    file = tmp_path_factory.mktemp("shop") / "shop.json"
    write_shop(shop_of([0, 3]), file)
    raw = bytearray(file.read_bytes())
    raw[place % len(raw)] = byte
    file.write_bytes(bytes(raw))
    try:
        sharpened(KNOWN, read_shop(file))
    except UnusableFile as fault:
        refused = str(fault)
    else:
        refused = ""
    assert "\n" not in refused


def test_sums_that_no_amounts_have_are_refused(tmp_path: Path) -> None:
    shop = shop_of([0])
    table = json.loads(json.dumps(shop.model_dump(mode="json", by_alias=True, exclude_none=True)))
    (job,) = table["jobs"].values()
    name = next(iter(job["minutes"]))
    job["minutes"][name][1] = 5000.0
    file = tmp_path / "shop.json"
    file.write_text(json.dumps(table), encoding="utf-8")
    with pytest.raises(UnusableFile, match=f"sums of {name}"):
        read_shop(file)


def test_what_the_lists_do_not_hold_any_more_is_passed_over() -> None:
    shop = shop_of([0, 3, 5])
    text = json.dumps(shop.model_dump(mode="json", by_alias=True))
    aged = Shop.model_validate(json.loads(text.replace("vacuum-leak", "old-leak").replace("look-hoses", "old-look")))
    learned = sharpened(KNOWN, aged)
    assert set(learned.knowledge.causes) == set(KNOWN.causes)
    assert set(learned.knowledge.steps) == set(KNOWN.steps)
    if "vacuum-leak" in text:
        assert any("old-leak" in remark for remark in learned.remarks)
