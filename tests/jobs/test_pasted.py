"""What is pasted as it stands elsewhere, in many forms: what is not sure is left out or asked for, never guessed."""

from __future__ import annotations

import re
from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_jobs import draft

from airproof.diagnosis.facts_file import NOT_IN_A_FRAME
from airproof.errors import UnusableRequest
from airproof.jobs.adding import checked, code_said
from airproof.jobs.pasted import LONGEST, codes_pasted, frame_in_text, statuses_pasted
from airproof.knowledge.load import knowledge
from airproof.recording.signals import glossary


@pytest.mark.parametrize(
    ("line", "signal", "value"),
    [
        ("Engine speed: 780 rpm", "engine_speed", "780 1/min"),
        ("ENGINE SPEED = 780 RPM", "engine_speed", "780 1/min"),
        ("engine_speed\t780 1/min", "engine_speed", "780 1/min"),
        ("Engine speed (rpm): 780", "engine_speed", "780 1/min"),
        ("rpm 780 rpm", "engine_speed", "780 1/min"),
        ("MAP 52 kPa", "manifold_pressure", "52 kPa"),
        ("Intake manifold absolute pressure: 52,5 kPa", "manifold_pressure", "52.5 kPa"),
        ("Intake manifold absolute pressure [inHg] = 15.4", "manifold_pressure", "15.4 inHg"),
        ("short_trim_1 = 4 %", "short_trim_1", "4 %"),
        ("Short term fuel trim bank 1:-4.7%", "short_trim_1", "-4.7 %"),
        ("Long term fuel trim bank 2 : +3 %", "long_trim_2", "+3 %"),
        ("Coolant temperature: 88 °C", "coolant_temperature", "88 degC"),
        ("Engine coolant temperature : 190 degF", "coolant_temperature", "190 degF"),
        ("Vehicle speed: 43 km/h", "vehicle_speed", "43 km/h"),
        ("lambda 1.02", "lambda", 1.02),
        ("lambda: 1,012", "lambda", 1.012),
        ("Fuel system status: closed loop", "fuel_system_status", "closed loop"),
    ],
)
def test_lines_in_many_forms(line: str, signal: str, value: str | float) -> None:
    found = frame_in_text(f"  {line}  ")
    assert found.values == {signal: value}
    assert found.left_out == ()
    assert refusal(found.values) == ""


@pytest.mark.parametrize(
    "line",
    [
        "Engine speed: 780",  # of what?
        "Engine speed: 780 kPa",
        "Engine speed: fast",
        "Engine speed:",
        "Engine speed",
        "780 rpm",
        "MAP: 7.5 psi gauge",  # needs the day's pressure
        "Engine speed: 1,050 rpm",  # a thousand and fifty, or one and a bit
        "Manifold pressure: 101,325 kPa",
        "Engine speed: 1.050.000 rpm",
        "Engine speed: 780 800 rpm",
        "lambda: 1.02 V",
        "lambda: 14.7 AFR",
        "Coolant temperature: 88 °",  # its C or F got lost
        "Time: 12 s",  # a frame has no time
        "Lamp: on",
        "Number of warm-ups: 12",
        "Fuel system status: who knows",
        "===== freeze frame =====",
        "P0106",
    ],
)
def test_what_is_not_sure_is_left_out_and_said(line: str) -> None:
    found = frame_in_text(line)
    assert found.values == {}
    assert found.left_out == (line,)


def test_a_number_of_a_known_signal_that_cannot_be_taken_is_told_apart_from_other_words() -> None:
    doubtful = ("MAP 36", "lambda: 14.7 AFR", "MAP 5 psi gauge", "IAT 1,050 C")
    others = ("RPM 1,050 rpm", "Freeze frame", "Foo 12")
    found = frame_in_text("\n".join(["RPM 780 rpm", *doubtful, *others]))
    assert found.values == {"engine_speed": "780 1/min"}
    assert found.doubtful == doubtful
    assert found.left_out == (*doubtful, *others)


def test_of_two_lines_on_one_signal_the_first_counts() -> None:
    found = frame_in_text("Engine speed: 780 rpm\n\n\r\nRPM: 900 rpm\nMAP 52 kPa\nMAP 53 kPa")
    assert found.values == {"engine_speed": "780 1/min", "manifold_pressure": "52 kPa"}
    assert found.left_out == ("RPM: 900 rpm", "MAP 53 kPa")


def test_a_line_that_no_frame_has_is_left_out_at_once() -> None:
    """One that was read by going back and forth in it would take hours."""
    line = "a" * 9000 + " " * 9000 + "."
    assert frame_in_text(line + "\nMAP 52 kPa").values == {"manifold_pressure": "52 kPa"}


def test_more_than_can_be_a_frame_is_not_read() -> None:
    assert frame_in_text("\n" * LONGEST + "MAP 52 kPa").values == {}


names = st.sampled_from(
    [heading for kind in glossary().signals.values() for heading in (kind.name, kind.title, kind.title.upper())]
)
parts = (
    names
    | st.sampled_from([":", "=", "\t", " ", "\n", "\r\n", "kPa", "rpm", "%", "°C", "psi gauge", "1,5", "-3", "[", "("])
    | st.floats().map(str)
    | st.text(max_size=5)
)
texts = st.lists(parts, max_size=20).map("".join)


@settings(deadline=None, derandomize=True, max_examples=300)
@given(texts)
def test_any_text_is_read_and_what_came_of_it_can_be_kept(text: str) -> None:
    found = frame_in_text(text)
    assert set(found.values) <= set(glossary().signals)
    rows = [line.strip() for line in text.splitlines() if line.strip()]
    assert len(found.values) + len(found.left_out) == len(rows)  # every line is heard of
    said = refusal(found.values) if found.values else ""
    assert not said or re.search(r" to .*Check value and unit|outside", said)  # no car has such a value


def refusal(values: Mapping[str, str | float]) -> str:
    """Why a frame with these values cannot be kept; empty where it can."""
    try:
        checked(draft("freeze_frame", code="P0106", values=dict(values)), knowledge())
    except UnusableRequest as refused:
        return str(refused)
    return ""


@settings(deadline=None, derandomize=True, max_examples=100)
@given(
    st.integers(400, 7000),
    st.floats(11.0, 250.0),
    st.floats(-40.0, 40.0),
    st.sampled_from([": ", " = ", "\t", " "]),
)
def test_numbers_come_through_as_they_stand(speed: int, pressure: float, trim: float, mark: str) -> None:
    text = f"Engine speed{mark}{speed} rpm\nMAP{mark}{pressure:.2f} kPa\nshort_trim_1{mark}{trim:.1f} %"
    values: dict[str, str | float] = {
        "engine_speed": f"{speed} 1/min",
        "manifold_pressure": f"{pressure:.2f} kPa",
        "short_trim_1": f"{trim:.1f} %",
    }
    found = frame_in_text(text)
    assert found.values == values
    assert refusal(values) == ""


def test_every_signal_of_a_frame_is_found_by_its_own_name() -> None:
    for kind in glossary().signals.values():
        if kind.name in NOT_IN_A_FRAME:
            continue
        middle = f"{sum(kind.possible) / 2.0:.1f}"
        found = frame_in_text(f"{kind.name}: {middle}{'' if kind.unit == '1' else f' {kind.unit}'}")
        assert set(found.values) == {kind.name}
        assert refusal(found.values) == ""


class TestCodesPasted:
    @pytest.mark.parametrize(
        ("text", "codes"),
        [
            ("", []),
            (" \n", []),
            ("P0106", ["P0106"]),
            ("1. P0106-00 stored\n2. p0299:1A pending", ["P0106", "P0299"]),
            ("PO1O6 (2), P 0171", ["P0106", "P0171"]),
            ("P010600", ["P0106"]),
            ("Model C180, 14 V, CO2 12 %, sensor B1S1: P0106 at 780 rpm on 2024-05-01", ["P0106"]),
        ],
    )
    def test_are_found_in_any_text(self, text: str, codes: list[str]) -> None:
        assert codes_pasted(text, knowledge()) == codes

    @pytest.mark.parametrize(
        ("text", "unread", "alike"),
        [
            ("P171", ["P171"], "P0171"),
            ("P0106, P106, P17", ["P106", "P17"], "P0106"),
            ("P0171 P030 P1", ["P030", "P1"], "P0308"),
            ("P0171 pending; P 030", ["P030"], ""),
            ("0171", ["0171"], "P0171"),
            ("P017I", ["P017I"], "P0171"),
            ("the lamp is on: P0299, and p106 as well", ["p106"], "P0106"),
            ("P0106P0171", ["P0106P0171"], ""),
            ("P0299 PP0171", ["PP0171"], "P0171"),
            ("P0106, PO1S1", ["PO1S1"], ""),
            ("P0171 pending, PO1O6x", ["PO1O6x"], ""),
            ("Codes read today: P0299, PP0171, PO1S1", ["PP0171", "PO1S1"], "P0171"),
        ],
    )
    def test_that_cannot_be_read_are_named_with_the_nearest(self, text: str, unread: list[str], alike: str) -> None:
        with pytest.raises(UnusableRequest) as refused:
            codes_pasted(text, knowledge())
        for one in unread:
            assert repr(one) in refused.value.given
        assert alike in refused.value.way_out

    @pytest.mark.parametrize("text", ["P0106, 800rpm", "P0106 52.5kPa 12V"])
    def test_values_beside_them_are_told_as_such(self, text: str) -> None:
        with pytest.raises(
            UnusableRequest, match=r"like (a value|values) and no codes?; wanted: codes .* freeze frame"
        ):
            codes_pasted(text, knowledge())
        with pytest.raises(UnusableRequest, match="'P171' cannot be read as a code"):
            codes_pasted("P0299, 9rpm, P171", knowledge())

    @pytest.mark.parametrize("typed", ["P0106, 800rpm", "P0106 P0171", "P0106 pending"])
    def test_of_which_one_is_wanted_are_said_by_themselves(self, typed: str) -> None:
        with pytest.raises(UnusableRequest, match="is more than a code; wanted: one code"):
            code_said(typed, knowledge())

    @pytest.mark.parametrize("text", ["none", "no idea, sorry", "-"])
    def test_of_which_there_is_none_in_a_text_are_asked_for(self, text: str) -> None:
        with pytest.raises(UnusableRequest, match="no code was found in that"):
            codes_pasted(text, knowledge())

    @pytest.mark.parametrize(
        ("text", "found"),
        [
            ("", {}),
            ("P0171 pending", {"P0171": "pending"}),
            ("P0106, P0171 Pending", {"P0106": "stored", "P0171": "pending"}),
            ("1. P0106-00 stored\n2. p0299:1A pending", {"P0106": "stored", "P0299": "pending"}),
            ("P0171 (pending) P0106", {"P0171": "pending", "P0106": "stored"}),
            (
                "Pending: P0171, P0106\nPermanent codes: P0299",
                {"P0171": "pending", "P0106": "pending", "P0299": "permanent"},
            ),
            ("P0106; pending: P0171", {"P0106": "stored", "P0171": "pending"}),
            ("Pending: P0171\nP0106 stored, P0299", {"P0171": "pending", "P0106": "stored", "P0299": "stored"}),
            ("P0106\nStatus: pending\nP0171\nStatus: permanent", {"P0106": "pending", "P0171": "permanent"}),
            (
                "Pending:\nP0299 P0101\nP0106\nStored codes:\nP0171",
                {**dict.fromkeys(("P0299", "P0101", "P0106"), "pending"), "P0171": "stored"},
            ),
            ("P0106, none pending", {"P0106": "stored"}),
            ("no pending codes: P0106", {"P0106": "stored"}),
            ("stored P0106, pending P0171", {"P0106": "stored", "P0171": "pending"}),
            ("P0106 P0171\nboth pending", {"P0106": "pending", "P0171": "pending"}),
            ("P0299, P0106 and P0171 (both pending)", {"P0299": "stored", "P0106": "pending", "P0171": "pending"}),
            ("P0299 stored\nP0106\nP0171: all pending", {"P0299": "stored", "P0106": "pending", "P0171": "pending"}),
            ("P0106 and P0171 are pending, P0299", {"P0106": "pending", "P0171": "pending", "P0299": "stored"}),
            ("Both pending: P0106, P0171", {"P0106": "pending", "P0171": "pending"}),
            ("P0106, P0171, not all pending", {"P0106": "stored", "P0171": "stored"}),
        ],
    )
    def test_stand_as_the_word_beside_them_says(self, text: str, found: dict[str, str]) -> None:
        assert statuses_pasted(text, knowledge()) == found

    def test_stand_as_is_chosen_where_no_word_says_it(self) -> None:
        assert statuses_pasted("P0106, P0171 stored", knowledge(), "permanent") == {
            "P0106": "permanent",
            "P0171": "stored",
        }
