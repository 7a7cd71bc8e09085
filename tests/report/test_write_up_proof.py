"""The proof in the write-up: what was proved stands on the first page, with its picture, in every language."""

from __future__ import annotations

from typing import Any

import pytest
from invented_case import case
from test_write_up import said

from airproof.errors import UnusableRequest
from airproof.quantities.wishes import AS_IT_IS, wish_of
from airproof.repair.proof.proof import Amount, Change, CodeAfter, CodesAfter, Compared, Holding, Missing, Proof
from airproof.report.language.language import LANGUAGES, language
from airproof.report.pictures import before_after
from airproof.report.pictures.sheet import Drawing, NotDrawn, style
from airproof.report.proof_as_json import proof_object
from airproof.report.write_up.case import proof_from
from airproof.report.write_up.content import Paragraph, words_in
from airproof.report.write_up.written import write_up_of

ENGLISH = language("en")
SIZE = Change(
    "size map-offset", "Manifold pressure sensor reads a constant too high or too low", "kPa",
    Amount(8.1, 7.2, 9.0), Amount(0.2, -0.4, 0.8), Amount(-7.9, -9.0, -6.8), None, "", True,
    "manifold pressure sensor reads a constant too high or too low: +8.1 kPa before, +0.2 kPa after",
)  # fmt: skip
IDLE = Change(
    "idle-pressure", "manifold pressure against the barometer", "%", Amount(37.0, 35.0, 39.0), Amount(29.0, 27.0, 31.0),
    Amount(-8.0, -11.0, -5.0), (23.0, 49.0), "idle", True,
    "manifold pressure against the barometer (idle): +37 % before, +29 % after",
)  # fmt: skip
STILL = Change(
    "trim-idle", "mixture without its correction", "%", Amount(0.0, -1.0, 1.0), Amount(0.0, -1.0, 1.0),
    Amount(0.0, -2.0, 2.0), None, "idle", False, "mixture without its correction (idle): 0 % before, 0 % after",
)  # fmt: skip


def proof(**more: Any) -> Proof:
    gone = CodeAfter("P0106", "x", "pending", None, "gone", "P0106 has not come back, and its monitor has had its look")
    says = ("no code has come back, and the car has had its look",)
    codes = CodesAfter(True, True, 4, 60.0, (gone,), (), 0.9, says)
    given: dict[str, Any] = {
        "judgement": "proved",
        "says": "the offset of the manifold pressure sensor went from +8.1 to +0.2 +- 0.6 kPa: proved",
        "cause": "map-offset",
        "cause_title": SIZE.title,
        "steps": ("replace-map-sensor",),
        "probabilities": {"fixed": 0.99, "same": 0.01},
        "even_probability": 0.98,
        "changes": (SIZE, IDLE, STILL),
        "regimes": (Compared("idle", 60.0, 60.0, 15.0),),
        "missing": (),
        "codes": codes,
        "holding": Holding(0.95, 3.0, False, (), "3 days without its return: that the repair holds is 95 in 100", ()),
        "drive": (),
    }
    return Proof(**{**given, **more})


REPAIR = ("repair", {"steps": ["replace-map-sensor"], "minutes": 25.0, "money": 48.5})


def kept(proof_: Proof) -> tuple[str, dict[str, Any]]:
    """The event that keeps a proof in a job."""
    return "proof", {"proof": proof_object(proof_), "program": "airproof 0.1.0", "facts_sha256": "ab" * 32}


def test_a_proof_comes_back_as_it_was_kept():
    assert proof_from(proof_object(proof())) == proof()
    with pytest.raises(UnusableRequest, match=r"airproof\.proof/1"):
        proof_from({"judgement": "perhaps"})


def test_the_first_page_says_that_it_was_proved_what_was_done_and_whether_it_holds():
    write_up = write_up_of(case(REPAIR, kept(proof())), ENGLISH, wish_of("inHg"))
    wrong = said(write_up, "wrong")
    assert "The offset of the manifold pressure sensor went from +2.39 to +0.06 ± 0.18 inHg: proved." in wrong
    assert said(write_up, "done").count("Replace the manifold pressure sensor") == 1
    assert "US$48.50" in said(write_up, "cost")  # noted as a step before: once
    assert "35 minutes" in said(write_up, "cost")
    another = ("repair", {"steps": ["repair-plug-and-wiring"], "minutes": 30.0, "money": 11.5})
    both = write_up_of(case(another, kept(proof())), ENGLISH, AS_IT_IS)
    assert "US$60" in said(both, "cost")
    assert "Mend plug and wiring of the sensor." in said(both, "done")
    assert "3 days without its return: that the repair holds is 95 in 100." in said(write_up, "watch")
    picture = next(one for one in write_up.owner if one.id == "picture").blocks[0]
    assert picture == write_up.figures[0]
    assert "bars hold the value nine times in ten" in said(write_up, "picture")


def test_the_trade_finds_the_change_with_its_intervals_and_the_codes():
    text = said(write_up_of(case(REPAIR, kept(proof())), ENGLISH, AS_IT_IS), "proof")
    assert "8.1 kPa (7.2 to 9.0) 0.2 kPa (-0.4 to 0.8) -8 kPa (-9 to -7) yes" in text
    assert "What moved by no more than noise: 1" in text
    assert "P0106 pending gone" in text


def test_closed_as_proved_against_the_proof_says_whose_word_it_is():
    closed = ("closed", {"cause": "map-offset", "standing": "proved"})
    open_ = proof(judgement="not proved yet", says="not proved yet: no idle interval after the repair", holding=None)
    wrong = said(write_up_of(case(REPAIR, kept(open_), closed), ENGLISH, AS_IT_IS), "wrong")
    assert "The workshop counts this as proved; what was recorded says: Not proved yet: no idle interval" in wrong
    assert "This was proved." not in wrong
    assert "This was proved." in said(write_up_of(case(REPAIR, kept(proof()), closed), ENGLISH, AS_IT_IS), "wrong")


def test_what_is_missing_is_what_to_watch():
    missing = Missing("full-load", 8.0, "no full-load interval after the repair: record 8 s or more (one pull)")
    open_ = proof(judgement="not proved yet", says=f"not proved yet: {missing.says}", missing=(missing,), holding=None)
    write_up = write_up_of(case(REPAIR, kept(open_)), ENGLISH, AS_IT_IS)
    assert "No full-load interval after the repair" in said(write_up, "watch")
    assert "Not proved yet: no full-load interval" in said(write_up, "wrong")


CLOSED, REOPENED = ("closed", {"cause": "map-offset", "standing": "proved"}), ("reopened", {})
FAILED = ("step", {"id": "replace-map-sensor", "outcome": "done"})
BACK = ("checked", {"returned": True})


@pytest.mark.parametrize(
    ("since", "says"),
    [
        ((CLOSED, REOPENED), "The job was opened again since its last proof"),
        ((CLOSED, REOPENED, CLOSED), "The job was opened again since its last proof"),
        ((BACK,), "The trouble is said to be back since the last proof"),
        ((REPAIR,), "Since the last proof more was repaired"),
        ((FAILED,), "What was repaired then was taken back or did not help"),
    ],
)
def test_a_proof_of_before_is_told_as_such_and_not_as_how_things_stand(since, says):
    write_up = write_up_of(case(REPAIR, kept(proof()), *since), ENGLISH, AS_IT_IS)
    for section in ("wrong", "proof"):
        assert says in said(write_up, section)
    assert "proof said: The offset" in said(write_up, "wrong").replace("of before said", "said")
    leads = [one for part in write_up.owner for one in part.blocks if isinstance(one, Paragraph) and one.lead]
    assert not any("proved" in words.text for one in leads for words in one.words)
    assert "holds is 95 in 100" not in said(write_up, "watch")
    picture = next(one for one in write_up.owner if one.id == "picture").blocks[0]
    assert picture != next(one for one in write_up.figures if one.number == before_after.NUMBER)


@pytest.mark.parametrize("since", [(CLOSED,), (CLOSED, REOPENED, kept(proof()))])
def test_a_proof_that_nothing_has_overtaken_is_of_today(since):
    assert case(REPAIR, kept(proof()), *since).since_proof is None


@pytest.mark.parametrize("code", LANGUAGES)
def test_a_proved_first_page_is_wholly_in_its_language(code):
    write_up = write_up_of(case(REPAIR, kept(proof())), language(code), AS_IT_IS)
    foreign = [one.text for one in words_in(write_up.owner) if one.language not in (code, "") and one.text]
    # The invented weighing has sentences that no check of ours makes.
    assert [text for text in foreign if "106.1" not in text] == []


def test_without_anything_on_both_sides_there_is_no_picture():
    with style():
        assert isinstance(before_after.draw(proof(changes=())), NotDrawn)
        drawn = before_after.draw(proof())
    assert isinstance(drawn, Drawing)
    assert [axes.get_title("left") for axes in drawn.figure.axes] == [
        "Manifold pressure sensor reads a constant too high or too low, kPa",
        "manifold pressure against the barometer (idle), %",
        "mixture without its correction (idle), %",
    ]
