"""Codes and symptoms as people type them."""

from __future__ import annotations

import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airproof.errors import UnusableRequest
from airproof.knowledge.load import knowledge
from airproof.knowledge.lookup import UnlistedCode, explain_code, find_symptom, normal_code
from airproof.knowledge.model import Code

KNOWN = knowledge()


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("P0106", "P0106"),
        ("p0106 ", "P0106"),
        ("P 0106", "P0106"),
        ("po1o6", "P0106"),
        ("P0106-00", "P0106"),
        ("P0106:1A", "P0106"),
        ("p006a", "P006A"),
        ("u0100,", "U0100"),
        ("\tP_0299\n", "P0299"),
    ],
)
def test_codes_in_any_spelling(typed: str, code: str) -> None:
    assert normal_code(typed, KNOWN) == code
    found = explain_code(typed, KNOWN)
    assert isinstance(found, Code)
    assert found.id == code


@pytest.mark.parametrize(
    "typed", ["", "P", "P01", "P010", "Q0106", "P4106", "P0G06", "0106", "P0106-0", "P01066", "\u00b2"]
)
def test_what_is_no_code_is_refused_with_the_way_out(typed: str) -> None:
    with pytest.raises(UnusableRequest, match="such as P0106") as refused:
        explain_code(typed, KNOWN)
    assert refused.value.exit_status == 2


@pytest.mark.parametrize(
    ("code", "area", "standard"),
    [
        ("P0799", "transmission", True),
        ("P0A0F", "hybrid", True),
        ("P2999", "transmission", True),
        ("P1106", "engine or transmission", False),
        ("P3100", "engine or transmission", False),
        ("P3401", "engine or transmission", True),
        ("C0035", "chassis", True),
        ("B1234", "body", False),
        ("U1000", "network", False),
        ("U0155", "network", True),
    ],
)
def test_unlisted_codes_are_explained_by_their_structure(code: str, area: str, standard: bool) -> None:
    # SAE J2012, from memory: P0, P2, P34 to P39 and U0 are standard; P1, P30 to P33 and U1 the maker's.
    found = explain_code(code, KNOWN)
    assert isinstance(found, UnlistedCode)
    assert area in found.area
    assert found.standard is standard
    assert ("maker's own" in found.says) is not standard
    assert "not count as evidence" in found.says


@settings(derandomize=True, deadline=None)
@given(st.text(alphabet=string.printable, max_size=12))
def test_any_text_is_a_code_or_refused(text: str) -> None:
    try:
        code = normal_code(text, KNOWN)
    except UnusableRequest:
        return
    assert normal_code(code, KNOWN) == code
    assert explain_code(code, KNOWN).id == code


@pytest.mark.parametrize(
    ("typed", "symptom"),
    [
        ("rough-idle", "rough-idle"),
        ("Rough idle", "rough-idle"),
        ("ROUGH_IDLE", "rough-idle"),
        ("hissing", "whistle"),
        ("check engine", "lamp-on"),
        ("pinging", "knock"),
        ("Boost cut", "overboost-feel"),
    ],
)
def test_symptoms_by_any_of_their_names(typed: str, symptom: str) -> None:
    assert find_symptom(typed, KNOWN).id == symptom


def test_unknown_symptoms_name_the_nearest() -> None:
    with pytest.raises(UnusableRequest, match="Did you mean rough-idle"):
        find_symptom("ruff idle", KNOWN)
    with pytest.raises(UnusableRequest, match=r"Did you mean .*high-idle"):
        find_symptom("idle", KNOWN)
    with pytest.raises(UnusableRequest, match=r"lists them all"):
        find_symptom("purple", KNOWN)
    with pytest.raises(UnusableRequest, match="lists them all"):
        find_symptom("", KNOWN)


def test_no_word_means_two_symptoms() -> None:
    names = [
        name.lower()
        for symptom in KNOWN.symptoms.values()
        for name in {symptom.title.lower(), *(word.lower() for word in symptom.also_called)}
    ]
    assert len(names) == len(set(names))
