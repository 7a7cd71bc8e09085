"""What `airproof plan` says where parts or time cost nothing, or a currency is not the usual one."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from command_line import Airproof

from airproof.knowledge.load import knowledge


@pytest.fixture(scope="module")
def sure(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A verdict that is sure of the sensor."""
    causes = [{"id": "map-offset", "probability": 0.99}, {"id": "none", "probability": 0.01}]
    found = {"schema": "airproof.verdict/1", "inputs": {}, "causes": causes, "pairs": [], "refusal": None}
    file = tmp_path_factory.mktemp("verdict") / "sure.json"
    file.write_text(json.dumps(found), encoding="utf-8")
    return file


def priced(folder: Path, labour: float, sensor: float, currency: str = "EUR") -> Path:
    parts = {part: round(price.typical) for part, price in knowledge().prices.parts.items()} | {"map-sensor": sensor}
    lines = [f'currency = "{currency}"', f"labour_per_hour = {labour}", "[parts]"]
    file = folder / "shop.toml"
    file.write_text("\n".join([*lines, *(f"{part} = {price}" for part, price in parts.items())]), encoding="utf-8")
    return file


def price_that_turns(text: str) -> float:
    found = re.search(r"If the part \(manifold pressure sensor\) costs more than (\d+) EUR", text)
    assert found, text
    return float(found[1])


def test_a_sensor_got_for_nothing_is_right_up_to_the_price_at_which_a_paid_one_is(
    airproof: Airproof, sure: Path, tmp_path: Path
) -> None:
    free = " ".join(airproof("plan", sure, "--prices", priced(tmp_path, 80, 0)).out.split())
    paid = " ".join(airproof("plan", sure, "--prices", priced(tmp_path, 80, 150)).out.split())
    assert "Next: replace the manifold pressure sensor" in free
    assert price_that_turns(free) == pytest.approx(price_that_turns(paid), rel=0.2)
    assert f"It is right here as long as it costs less than {price_that_turns(free):.0f} EUR" in free


def test_what_costs_no_more_is_not_called_dearer(airproof: Airproof, sure: Path, tmp_path: Path) -> None:
    said = " ".join(airproof("plan", sure, "--prices", priced(tmp_path, 0, 0)).out.split())
    assert "no dearer" in said
    assert not re.search(r"\b0 EUR", said)
    assert "even if the sensor cost nothing" not in said  # it costs nothing


def test_no_currency_is_parted_from_its_number(airproof: Airproof, sure: Path, tmp_path: Path) -> None:
    said = airproof("plan", sure, "--prices", priced(tmp_path, 140, 900, "CHF")).out
    assert " CHF" in said
    assert not re.search(r"\d\n +CHF", said)


def test_a_job_handed_over_for_want_of_a_tool_says_so(airproof: Airproof, tmp_path: Path) -> None:
    causes = [{"id": "vacuum-leak", "probability": 0.999}, {"id": "none", "probability": 0.001}]
    inputs = {"regimes_s": {"key-on": 12.0, "idle": 60.0, "snap": 5.0, "cruise": 60.0, "full-load": 6.0}}
    found = {"schema": "airproof.verdict/1", "inputs": inputs, "causes": causes, "pairs": [], "refusal": None}
    leak, shop = tmp_path / "leak.json", tmp_path / "shop.toml"
    leak.write_text(json.dumps(found), encoding="utf-8")
    shop.write_text('tools_missing = ["smoke machine"]\n', encoding="utf-8")
    said = " ".join(airproof("plan", leak, "--prices", shop).out.split())
    assert said.startswith("Next: hand it to a specialist")
    assert "Not planned, since a tool is missing or what comes first cannot be: mend the vacuum leak" in said
    assert "Look all the same" in said
    seen = " ".join(airproof("plan", leak, "--prices", shop, "--done", "look-hoses=yes").out.split())
    assert seen.startswith("Next: mend the vacuum leak")
    assert "Not planned, since" not in " ".join(airproof("plan", leak).out.split())
