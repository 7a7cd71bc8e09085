"""From what was typed to a fact: what a weighing would refuse is refused before it is kept."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_jobs import draft

from airproof.errors import UnusableRequest
from airproof.jobs.adding import checked, closed_said, codes_in_text, step_said
from airproof.jobs.events import Draft
from airproof.jobs.given import shown_name
from airproof.jobs.kinds import payload_of
from airproof.knowledge.load import knowledge

KNOWN = knowledge()


def frame(**values: object) -> Draft:
    return draft("freeze_frame", code="P0106", values=values)


class TestChecked:
    @pytest.mark.parametrize(
        "said",
        [
            frame(engine_speed="780 1/min"),
            frame(manifold_pressure="42 kPa", short_trim_1="-4 %", fuel_system_status="closed loop"),
            frame(**{"lambda": 1.01}),
            draft("reading", signal="manifold_pressure", value="98.2 kPa absolute"),
            draft("reading", signal="barometric_pressure", value="29.0 inHg", name="on Monday"),
            draft("code", id="P0106"),
            draft("freeze_frame", code="P3FFF", values={"engine_speed": "780 1/min"}),  # a code that is kept only
            draft("note", text="x"),
        ],
        ids=lambda one: one.kind,
    )
    def test_what_can_be_weighed_passes(self, said: Draft) -> None:
        checked(said, KNOWN)

    @pytest.mark.parametrize(
        ("said", "says"),
        [
            (frame(engine_speed="780"), "engine_speed"),
            (frame(engine_speed="780 kPa"), "engine_speed"),
            (frame(engine_speed="99999 1/min"), "0 to 16383"),
            (frame(rpm="780 1/min"), "'rpm' is not a signal"),
            (frame(**{"lambda": "1.01"}), "a plain number"),
            (frame(engine_speed=780.0), "engine_speed"),
            (frame(), "holds no value"),
            (draft("reading", signal="manifold_pressure", value="98.2"), "98.2"),
            (draft("reading", signal="manifold_pressure", value="a lot"), "a lot"),
            (draft("reading", signal="manifold_pressure", value="98 s"), "98 s"),
            (draft("reading", signal="manifold_pressure", value="9000 kPa"), "9000 kPa"),
        ],
    )
    def test_what_cannot_is_refused_in_words_that_name_no_file(self, said: Draft, says: str) -> None:
        with pytest.raises(UnusableRequest, match=says) as refused:
            checked(said, KNOWN)
        assert refused.value.where == ""
        assert "what was typed" not in str(refused.value)
        assert refused.value.way_out

    @settings(deadline=None, derandomize=True)
    @given(st.dictionaries(st.sampled_from(["engine_speed", "manifold_pressure", "lambda", "x y", '"', "time"]),
                           st.floats() | st.text(max_size=12) | st.sampled_from(["780 1/min", "98 kPa", "1e999 kPa"])),
           st.text(max_size=12))  # fmt: skip
    def test_anything_typed_passes_or_is_refused(self, values: dict[str, object], value: str) -> None:
        for kind, data in (
            ("freeze_frame", {"code": "P0106", "values": values}),
            ("reading", {"signal": "manifold_pressure", "value": value}),
        ):
            try:
                checked(Draft(kind, payload_of(kind, data)), KNOWN)
            except UnusableRequest:
                continue


class TestCodesInText:
    @pytest.mark.parametrize(
        ("text", "codes"),
        [
            ("P0106", ["P0106"]),
            ("p0106, P0299; P0106\nU0100", ["P0106", "P0299", "U0100"]),
            ("Stored: P-0106 (MAP circuit range), P 0299.", ["P0106", "P0299"]),
            ("PO1O6", ["P0106"]),
            ("B0 P010 P01066 XP0106 P4106 G0106", []),
            ("", []),
        ],
    )
    def test_each_once_in_their_order(self, text: str, codes: list[str]) -> None:
        assert codes_in_text(text) == codes

    @settings(deadline=None, derandomize=True)
    @given(st.text(max_size=200))
    def test_what_is_found_can_be_kept(self, text: str) -> None:
        for code in codes_in_text(text):
            draft("code", id=code)


@settings(deadline=None, derandomize=True)
@given(st.text(max_size=400))
def test_any_name_of_a_file_is_shown_on_one_line_and_can_be_kept(name: str) -> None:
    shown = shown_name(name)
    assert 1 <= len(shown) <= 200
    assert shown.isprintable()
    assert "/" not in shown
    assert "\\" not in shown
    draft("recording", sha256="a" * 64, bytes=1, name=shown)


@pytest.mark.parametrize("id_", sorted(KNOWN.steps))
def test_every_step_says_what_may_come_of_it(id_: str) -> None:
    step = KNOWN.steps[id_]
    typed = (
        {"yes": "found", "no": "not found"} if step.tells else {"did-not-help": "done"} if step.cures else {"": "done"}
    )
    for word, outcome in {**typed, "could-not": "could not"}.items():
        assert step_said(f"{id_}={word}", KNOWN) == draft("step", id=id_, outcome=outcome)
    with pytest.raises(UnusableRequest, match="does not say what came of it"):
        step_said(f"{id_}={'done' if step.tells else 'yes'}", KNOWN)


@pytest.mark.parametrize("id_", sorted(id_ for id_, step in KNOWN.steps.items() if step.cures))
def test_a_repair_of_which_nobody_says_that_it_was_in_vain_is_to_be_proved(id_: str) -> None:
    assert step_said(id_, KNOWN) == step_said(f"{id_} = Done", KNOWN) == draft("repair", steps=[id_])
    assert step_said(f"{id_}=helped", KNOWN, 25.0) == draft("repair", steps=[id_], gone=True, minutes=25.0)
    assert step_said(f"{id_}=did not help", KNOWN) == draft("step", id=id_, outcome="done")


class TestTheCauseOfAClosedJob:
    @pytest.mark.parametrize(
        ("typed", "cause"),
        [
            ("map-offset", "map-offset"),
            (" MAP offset ", "map-offset"),
            ("Misfire from spark", "ignition"),
            ("a marten chewed the wiring", "a marten chewed the wiring"),
        ],
    )
    def test_is_one_of_ours_or_said_in_several_words(self, typed: str, cause: str) -> None:
        assert closed_said(typed, KNOWN, proved=True) == draft("closed", cause=cause, standing="proved")

    @pytest.mark.parametrize(
        ("typed", "way"), [("map-ofset", "Near: map-offset"), ("marten", "Look at what was typed")]
    )
    def test_typed_wrong_is_refused_with_the_nearest(self, typed: str, way: str) -> None:
        with pytest.raises(UnusableRequest, match="is not a cause") as refused:
            closed_said(typed, KNOWN, proved=False)
        assert way in refused.value.way_out
