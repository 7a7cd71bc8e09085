"""A worksheet's fields and the tables of a reading file: there and back, and nothing lost that no field shows."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airproof.diagnosis.meter.measured_file import load_measurements
from airproof.errors import UnusableRequest
from airproof.jobs.kinds import payload_of
from airproof.jobs.measured_said import FIELDS, SHEET, measured_tables, measurements_typed, typed_from
from airproof.knowledge.load import knowledge

EXAMPLES = Path(__file__).parents[2] / "examples" / "meter"
READINGS = EXAMPLES / "readings.toml"


def example(name: str) -> dict[str, Any]:
    return tomllib.loads((EXAMPLES / name).read_text(encoding="utf-8"))


def in_any_order(tables: Mapping[str, Any]) -> dict[str, Any]:
    """The tables with the rows of what was measured sorted."""
    return {**tables, "measured": sorted(tables.get("measured", []), key=lambda row: repr(sorted(row.items())))}


plain = st.from_regex(r"[0-9]{1,3}(\.[0-9]{1,3})? (V|kPa|inHg|kohm|C)", fullmatch=True)
fields = {
    f"{name} {key}": plain
    for name, keys in {**SHEET, **FIELDS}.items()
    for key in keys
    if key not in ("found", "points")
}
points = st.lists(st.tuples(plain, plain), min_size=1, max_size=5)


class TestThereAndBack:
    @pytest.mark.parametrize("name", ["readings.toml", "wrong_part.toml"])
    def test_an_example_is_the_same_afterwards(self, name: str) -> None:
        tables = example(name)
        again = measured_tables(typed_from(tables), tables)
        assert in_any_order(again) == in_any_order(tables)
        assert measurements_typed(again, knowledge()).items
        payload_of("measured", {"tables": again})

    def test_what_is_typed_is_heard_as_the_file_is(self) -> None:
        typed = measurements_typed(example("readings.toml"), knowledge())
        assert repr(replace(typed, where="")) == repr(replace(load_measurements(READINGS, knowledge()), where=""))

    def test_an_example_in_fields(self) -> None:
        said = typed_from(example("readings.toml"))
        assert said["meter accuracy"] == "0.5 % + 2 digits"
        assert said["sensor line"] == "absolute-250-kpa"
        assert (said["signal value"], said["signal shown"]) == ("1.848 V", "102 kPa")
        assert said["sweep points"].splitlines()[1] == "5 inHg, 1.491 V"
        assert set(said) <= {f"{name} {key}" for name, keys in {**SHEET, **FIELDS}.items() for key in keys}

    def test_nothing_typed_is_nothing_said(self) -> None:
        assert measured_tables({}) == measured_tables({"signal value": "", "sweep counted": "vacuum"}) == {}
        assert typed_from({}) == typed_from({"measured": []}) == {}

    @pytest.mark.parametrize(("typed", "found"), [("yes", True), ("no", False)])
    def test_a_wiggle_says_yes_or_no(self, typed: str, found: bool) -> None:
        tables = measured_tables({"wiggle found": typed})
        assert tables == {"measured": [{"what": "wiggle", "found": found}]}
        assert typed_from(tables) == {"wiggle found": typed}

    @settings(deadline=None, derandomize=True)
    @given(
        st.fixed_dictionaries({}, optional={**fields, "wiggle found": st.sampled_from(["yes", "no"])}),  # type: ignore[arg-type]
        st.none() | points,
    )
    def test_any_fields_come_back(self, said: dict[str, str], swept: list[tuple[str, str]] | None) -> None:
        said = {key: text for key, text in said.items() if not key.startswith("sweep")} if swept is None else said
        if swept is not None:
            said["sweep points"] = "\n".join(f"{one}, {two}" for one, two in swept)
        tables = measured_tables(said)
        assert typed_from(tables) == said
        payload_of("measured", {"tables": tables})


class TestWhatNoFieldShows:
    BEFORE = {
        "meter": {"accuracy": "1 %", "ohms": "2 %"},
        "sensor": {"temperature": "18 C", "supply": "5.1 V"},
        "day": {"barometer": "97.2 kPa"},
        "measured": [
            {"what": "wire", "value": "0.2 ohm", "wire": "ground"},
            {"what": "signal", "value": "1.8 V"},
            {"what": "signal", "value": "1.9 V", "against": "battery minus", "note": "hot"},
            {"what": "digital", "value": "100 kPa"},
        ],
    }

    def test_it_stays_when_another_thing_is_corrected(self) -> None:
        """As the page does: its form has no field for the temperature of the sensor, nor for what is digital."""
        said = {
            "meter accuracy": "0.5 %",
            "sensor line": "",
            "signal value": "2.0 V",
            "signal shown": "",
            "supply value": "5 V",
        }
        assert in_any_order(measured_tables(said, self.BEFORE)) == in_any_order(
            {
                "meter": {"accuracy": "0.5 %", "ohms": "2 %"},
                "sensor": {"temperature": "18 C", "supply": "5.1 V"},
                "day": {"barometer": "97.2 kPa"},
                "measured": [
                    {"what": "wire", "value": "0.2 ohm", "wire": "ground"},
                    {"what": "signal", "value": "1.8 V"},
                    {"what": "signal", "value": "2.0 V", "against": "battery minus", "note": "hot"},
                    {"what": "digital", "value": "100 kPa"},
                    {"what": "supply", "value": "5 V"},
                ],
            }
        )

    def test_what_is_emptied_is_taken_away(self) -> None:
        tables = measured_tables({"signal value": "", "meter accuracy": ""}, self.BEFORE)
        assert tables["meter"] == {"ohms": "2 %"}
        assert [row["what"] for row in tables["measured"]] == ["digital", "wire", "signal"]

    def test_what_was_there_is_not_changed_by_it(self) -> None:
        before = repr(self.BEFORE)
        measured_tables({"signal value": "9 V", "sweep points": "1 kPa, 2 V"}, self.BEFORE)
        assert repr(self.BEFORE) == before


class TestPoints:
    @pytest.mark.parametrize(
        ("line", "point"),
        [
            ("5 inHg, 1.49 V", ["5 inHg", "1.49 V"]),
            ("  5 inHg ,  1.49 V ", ["5 inHg", "1.49 V"]),
            ("5 inHg; 1.49 V", ["5 inHg", "1.49 V"]),
            ("5 inHg;1.49 V", ["5 inHg", "1.49 V"]),
            ("5,5 inHg, 1,49 V", ["5,5 inHg", "1,49 V"]),
            ("5,5 inHg; 1,49 V", ["5,5 inHg", "1,49 V"]),
        ],
    )
    def test_one_line_is_one_point(self, line: str, point: list[str]) -> None:
        tables = measured_tables({"sweep points": f"0 inHg, 1.85 V\n\n{line}\r\n", "sweep counted": "vacuum"})
        (row,) = tables["measured"]
        assert row == {"what": "sweep", "counted": "vacuum", "points": [["0 inHg", "1.85 V"], point]}
        assert len(measurements_typed(tables, knowledge()).items) == 1

    @pytest.mark.parametrize("line", ["5 inHg 1.49 V", "5 inHg,1.49 V", "x", "5,1.49", "\u20ac" * 500, ",", "5 inHg,"])
    def test_a_line_that_is_none_is_refused_with_the_way_out(self, line: str) -> None:
        with pytest.raises(UnusableRequest, match=r"a pressure and a reading .* Such as: 5 inHg, 1.49 V") as refused:
            measured_tables({"sweep points": line})
        assert len(str(refused.value)) < 250

    @pytest.mark.parametrize("line", [";", ";1 V", "5, 1.49", "5 furlong, 1 V", "5 inHg, 1 degC", "nan inHg, 1 V"])
    def test_a_point_that_cannot_be_is_refused_when_it_is_heard(self, line: str) -> None:
        tables = measured_tables({"sweep points": f"0 inHg, 1.85 V\n{line}", "sweep counted": "vacuum"})
        with pytest.raises(UnusableRequest) as refused:
            measurements_typed(tables, knowledge())
        assert refused.value.where == ""  # a file that nobody ever saw is not named
        assert "worksheet.toml" not in str(refused.value)

    @settings(deadline=None, derandomize=True)
    @given(
        st.dictionaries(
            st.sampled_from([f"{name} {key}" for name, keys in {**SHEET, **FIELDS}.items() for key in keys]),
            st.text(max_size=20) | st.sampled_from(["5 V", "98 kPa", "1 inHg, 2 V\n3 inHg, 4 V"]),
        )
    )
    def test_anything_typed_is_heard_or_refused(self, said: dict[str, str]) -> None:
        try:
            tables = measured_tables(said)
            if "measured" in tables:
                measurements_typed(tables, knowledge())
        except UnusableRequest:
            return
        assert measured_tables(typed_from(tables)) == tables
