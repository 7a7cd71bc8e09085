"""Explanations of codes, causes, symptoms and steps."""

from __future__ import annotations

import json
import math

import pytest

from airproof.errors import UnusableRequest
from airproof.knowledge.load import knowledge
from airproof.report.explained import explain

KNOWN = knowledge()


def lines(asked: str, part: str) -> str:
    found = explain(asked, KNOWN)
    return "\n".join(next(p for p in found.parts if p.id == part).lines)


def test_a_code_in_any_case() -> None:
    found = explain(" p0106 ", KNOWN)
    assert (found.kind, found.id) == ("code", "P0106")
    assert [p.id for p in found.parts] == [
        "claims",
        "speaks-for",
        "also-set-by",
        "not-to-be-mistaken-for",
        "check-first",
        "sources",
    ]
    assert KNOWN.steps[KNOWN.codes["P0106"].check_first[0]].title in lines("P0106", "check-first").splitlines()[0]


def test_strength_is_the_likelihood_ratio() -> None:
    code = KNOWN.codes["P0106"]
    for weight in explain("P0106", KNOWN).as_object()["speaks_for"]:
        ratio = code.sets[weight["cause"]] / code.by_chance
        assert weight["decibans"] == pytest.approx(10.0 * math.log10(ratio), abs=0.01)


@pytest.mark.parametrize(
    ("asked", "kind"),
    [("map-offset", "cause"), ("MAP_OFFSET", "cause"), ("rough idle", "symptom"), ("look-hoses", "step")],
)
def test_the_other_kinds(asked: str, kind: str) -> None:
    assert explain(asked, KNOWN).kind == kind


def test_every_entry_can_be_explained_and_put_as_json() -> None:
    for name in (*KNOWN.codes, *KNOWN.causes, *KNOWN.symptoms, *KNOWN.steps):
        found = explain(name, KNOWN)
        assert found.id == name
        assert found.parts
        assert all(line for part in found.parts for line in part.lines)
        json.dumps(found.as_object(), allow_nan=False)


def test_a_code_outside_the_lists_is_read_by_its_structure() -> None:
    found = explain("U0999", KNOWN)
    (line,) = found.parts[0].lines
    assert "network" in line
    assert "does not count as evidence" in line


@pytest.mark.parametrize("asked", ["P9999", "P01", "nonsense", "", "map-offsett"])
def test_the_unknown_is_refused(asked: str) -> None:
    with pytest.raises(UnusableRequest, match="nothing is known"):
        explain(asked, KNOWN)


def test_what_is_near_is_named() -> None:
    with pytest.raises(UnusableRequest, match="map-offset"):
        explain("map-offsett", KNOWN)


def test_how_often_a_code_is_stored_is_said_of_the_code() -> None:
    code = KNOWN.codes["P0106"]
    times = code.sets["map-stuck"] / code.by_chance
    assert f"with this fault the code is stored {times:.0f} times as often as by chance." in lines(
        "P0106", "speaks-for"
    )
    assert "it is noticed" in lines("rough-idle", "speaks-for")


def test_nothing_wrong_is_not_cured() -> None:
    for asked, part in (("none", "cured-by"), ("drive-and-watch", "cures")):
        assert "nothing comes back in 95 of 100 cars" in lines(asked, part)
        heading = next(p for p in explain(asked, KNOWN).parts if p.id == part).heading
        assert "cure" not in heading


def test_symptoms_by_their_other_names() -> None:
    for symptom in KNOWN.symptoms.values():
        assert explain(symptom.title, KNOWN).kind == "symptom"
        assert explain(symptom.id.replace("-", "_").upper(), KNOWN).id == symptom.id
    with pytest.raises(UnusableRequest, match="wobbly"):
        explain("wobbly", KNOWN)


@pytest.mark.parametrize(
    ("asked", "kind", "entry"),
    [
        ("plug-loose", "look", "plug-loose"),
        ("split hose", "look", "hose-split"),
        ("hissing", "look", "hissing"),  # its id, though the symptom "whistle" is also called so
        ("hiss", "symptom", "whistle"),
        ("New-Sensor-in-vain", "history", "new-sensor-in-vain"),
        ("when hot", "condition", "only-hot"),
    ],
)
def test_what_is_noticed_by_id_or_another_name(asked: str, kind: str, entry: str) -> None:
    found = explain(asked, KNOWN)
    assert (found.kind, found.id) == (kind, entry)
    json.dumps(found.as_object())


def test_what_an_entry_speaks_against() -> None:
    assert "[intake-restriction]" in lines("filter-changed", "speaks-against")
    assert "[intake-restriction]" not in lines("filter-changed", "speaks-for")


def test_a_look_names_the_step_it_is_a_detail_of() -> None:
    assert "[look-plug-and-wiring]" in lines("plug-loose", "detail-of")
    assert explain("plug-loose", KNOWN).as_object()["step"] == "look-plug-and-wiring"


@pytest.mark.parametrize("kind", ["symptoms", "looks", "history", "conditions"])
def test_all_of_a_kind_are_listed(kind: str) -> None:
    found = explain(kind, KNOWN)
    assert found.as_object()["entries"] == list(getattr(KNOWN, kind))
    assert all(f"[{name}]" in lines(kind, "entries") for name in getattr(KNOWN, kind))


def test_a_cause_names_what_is_seen_with_it() -> None:
    assert "[hose-split]" in lines("vacuum-leak", "looks")


@pytest.mark.parametrize(
    ("cause", "code", "noticed"),
    [("boost-leak", "P0299", "low-power"), ("map-offset", "P0106", "rough-idle"), ("ignition", "P0300", "rough-idle")],
)
def test_what_a_mechanic_meets_with_a_cause_is_named_before_what_is_rare(cause: str, code: str, noticed: str) -> None:
    parts = {part.id: part.lines for part in explain(cause, KNOWN).parts}
    assert parts["codes"][0].startswith(code)
    assert any(f"[{noticed}]" in line for line in parts["looks"])
