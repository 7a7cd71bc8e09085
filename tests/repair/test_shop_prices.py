"""A shop's own prices over the usual ones."""

from __future__ import annotations

from pathlib import Path

import pytest

from airproof.errors import UnusableFile
from airproof.knowledge.load import knowledge
from airproof.repair.prices import load_prices, tools_of
from airproof.report.explained import explain

USUAL = knowledge().prices


def written(folder: Path, text: str) -> Path:
    file = folder / "PRICES.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_only_what_it_says_is_changed(tmp_path: Path) -> None:
    prices = load_prices(written(tmp_path, "labour_per_hour = 85\n[parts]\nmap-sensor = 39.90\n"), USUAL)
    assert prices.labour_per_hour == 85.0
    assert prices.part("map-sensor") == 39.90
    assert prices.currency == USUAL.currency
    others = [part for part in USUAL.parts if part != "map-sensor"]
    assert all(prices.parts[part] == USUAL.parts[part] for part in others)
    assert "PRICES.toml" in prices.parts["map-sensor"].source[0]


def test_an_empty_file_changes_nothing_but_the_source(tmp_path: Path) -> None:
    prices = load_prices(written(tmp_path, ""), USUAL)
    assert prices.parts == USUAL.parts
    assert prices.labour_per_hour == USUAL.labour_per_hour


def test_own_time_can_be_free(tmp_path: Path) -> None:
    assert load_prices(written(tmp_path, "own_time_free = true"), USUAL).labour_per_hour == 0.0


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    file = tmp_path / "PRICES.toml"
    file.write_bytes(b"\xef\xbb\xbflabour_per_hour = 70\n")
    assert load_prices(file, USUAL).labour_per_hour == 70.0


def test_another_currency_needs_every_price(tmp_path: Path) -> None:
    parts = "\n".join(f"{part} = 10" for part in USUAL.parts)
    prices = load_prices(written(tmp_path, f'currency = "EUR"\nlabour_per_hour = 90\n[parts]\n{parts}'), USUAL)
    assert (prices.currency, prices.part("catalyst")) == ("EUR", 10.0)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("labour_per_hour = -5", "labour_per_hour"),
        ("labour_per_hour = nan", "labour_per_hour"),
        ("labour_per_hour = inf", "labour_per_hour"),
        ('labour_per_hour = "much"', "labour_per_hour"),
        ("labor_per_hour = 5", "labor_per_hour"),
        ("[parts]\nmap-sensor = -1", "parts.map-sensor"),
        ("[parts]\nmap-sensr = 30", "unknown part map-sensr.*Did you mean map-sensor"),
        ("[parts]\nwheel = 30", "unknown part wheel.*Known are map-sensor"),
        ("own_time_free = true\nlabour_per_hour = 50", "own_time_free and labour_per_hour = 50"),
        ('currency = "EUR"', "no price in it for labour_per_hour, map-sensor.*more"),
        ('currency = "euro"', "currency"),
        ("labour_per_hour = ", "is not TOML"),
        ("parts = 3", "parts"),
    ],
)
def test_what_cannot_be_is_refused_with_the_way_out(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(UnusableFile, match=says) as refused:
        load_prices(written(tmp_path, text), USUAL)
    assert "PRICES.toml" in str(refused.value)
    assert refused.value.exit_status == 2


@pytest.mark.parametrize(
    ("text", "kind", "names"),
    [
        ('currency = "EUR"', "parts", set(USUAL.parts)),
        ("[parts]\nwheel = 30", "parts", set(USUAL.parts)),
        ('tools_missing = ["crane"]', "tools", set(tools_of(knowledge()))),
    ],
)
def test_where_all_names_stand_is_said_and_they_do(tmp_path: Path, text: str, kind: str, names: set[str]) -> None:
    with pytest.raises(UnusableFile, match=f'"airproof explain {kind}" lists them all'):
        load_prices(written(tmp_path, text), USUAL, tools_of(knowledge()))
    assert set(explain(kind, knowledge()).entry["entries"]) == names


def test_no_file_a_folder_or_no_text_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnusableFile, match="cannot be read"):
        load_prices(tmp_path / "missing.toml", USUAL)
    with pytest.raises(UnusableFile, match="cannot be read"):
        load_prices(tmp_path, USUAL)
    garbage = tmp_path / "garbage.toml"
    garbage.write_bytes(b"\x80\x81\x82")
    with pytest.raises(UnusableFile, match="is not text in UTF-8"):
        load_prices(garbage, USUAL)
