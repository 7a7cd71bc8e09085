"""Prices, the adapter and other small forms: what cannot be is told at the field that it was typed into."""

from __future__ import annotations

from pathlib import Path

import pytest

from airproof.knowledge.load import knowledge
from airproof.repair.prices import load_prices, tools_of
from airproof.web.live.page import adapter_said
from airproof.web.marks import AtField, Values
from airproof.web.settings_page import prices_said

KNOWN = knowledge()
USUAL = KNOWN.prices
TOOL = min(tools_of(KNOWN))


def typed(**others: str) -> dict[str, list[str]]:
    """The form of prices as it comes, with what somebody typed; `map_sensor` is the part."""
    values = {"labour": "80", "currency": USUAL.currency}
    values |= {f"part {name}": f"{part.typical:g}" for name, part in USUAL.parts.items()}
    values |= {name.replace("map_sensor", "part map-sensor"): text for name, text in others.items()}
    return {name: [text] for name, text in values.items()}


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"labour": "a lot"}, "labour"),
        ({"labour": ""}, "labour"),
        ({"labour": "-5"}, "labour"),
        ({"map_sensor": "40 USD"}, "part map-sensor"),
        ({"map_sensor": "-1"}, "part map-sensor"),
        ({"map_sensor": "nan"}, "part map-sensor"),
        ({"currency": "euro"}, "currency"),
        ({"currency": ""}, "currency"),
        ({"currency": "CHF", "map_sensor": ""}, "part map-sensor"),  # nothing is converted
    ],
)
def test_a_price_that_is_none_is_told_at_its_field(said: dict[str, str], field: str) -> None:
    with pytest.raises(AtField) as refused:
        prices_said(typed(**said), USUAL, USUAL, tools_of(KNOWN))
    assert refused.value.field == field


def test_prices_that_were_said_are_a_price_file(tmp_path: Path) -> None:
    values: Values = typed(labour="0", map_sensor="39,90") | {"missing": [TOOL]}
    path = tmp_path / "prices.toml"
    path.write_text(prices_said(values, USUAL, USUAL, tools_of(KNOWN)), encoding="utf-8")
    prices = load_prices(path, USUAL, tools_of(KNOWN))
    assert prices.labour_per_hour == 0.0
    assert prices.parts["map-sensor"].typical == 39.90
    assert prices.tools_missing == (TOOL,)
    assert {name for name, part in prices.parts.items() if part != USUAL.parts[name]} == {"map-sensor"}
    path.write_text(prices_said(typed(currency="chf"), USUAL, USUAL, tools_of(KNOWN)), encoding="utf-8")
    assert load_prices(path, USUAL, tools_of(KNOWN)).currency == "CHF"


@pytest.mark.parametrize(
    ("adapter", "rate", "pace", "field"),
    [
        ("no_such_kind:0", "", "", "adapter"),
        ("socketcan:can0", "fast", "", "rate"),
        ("socketcan:can0", "", "x", "pace"),
    ],
)
def test_an_adapter_that_is_none_is_told_at_its_field(adapter: str, rate: str, pace: str, field: str) -> None:
    with pytest.raises(AtField) as refused:
        adapter_said({"adapter": [adapter], "rate": [rate], "pace": [pace]})
    assert refused.value.field == field


def test_an_adapter_as_it_was_said() -> None:
    adapter, pace = adapter_said({"adapter": ["socketcan:can0"], "rate": ["250k"], "pace": [""]})
    assert (adapter.kind, adapter.channel, adapter.rate, pace) == ("socketcan", "can0", 250000, 1.0)
