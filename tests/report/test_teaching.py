"""The teaching sheet: five sentences, three exhibits fit for a film, in every language; nothing to show is said."""

from __future__ import annotations

import struct
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.compare import as_recording, compare
from airproof.engine.rehearsal.faults import Fault
from airproof.engine.rehearsal.many import logged
from airproof.engine.rehearsal.rehearse import Request, rehearse
from airproof.errors import UnusableRequest
from airproof.quantities.wishes import AS_IT_IS, wish_of
from airproof.report.language.language import LANGUAGES, language
from airproof.report.rehearsed_in_words import fault_in_words
from airproof.report.write_up.content import Bullets, words_in
from airproof.report.write_up.html import as_html
from airproof.report.write_up.pdf import as_pdf
from airproof.report.write_up.teaching import Taught, sheet_of

WHEN = datetime(2026, 3, 4, tzinfo=UTC)
PROFILE = EngineProfile(displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="air-flow sensor")


def taught_of(*faults: Fault) -> Taught:
    healthy, faulty = rehearse(Request(PROFILE)), rehearse(Request(PROFILE, faults=faults))
    one, other = (as_recording(logged(each, "fast"), "rehearsed") for each in (healthy, faulty))
    before = healthy.codes.pending | healthy.codes.confirmed
    return Taught(
        tuple(fault.cause for fault in faults),
        tuple(map(fault_in_words, faults)),
        compare(one, other),
        one,
        other,
        tuple(sorted((faulty.codes.pending | faulty.codes.confirmed) - before)),
        WHEN,
    )


@pytest.fixture(scope="module")
def offset() -> Taught:
    return taught_of(Fault("map-offset", 10.0))


def png_size(content: bytes) -> tuple[int, ...]:
    assert content[:8] == b"\x89PNG\r\n\x1a\n"
    return struct.unpack(">II", content[16:24])


@pytest.mark.parametrize("code", LANGUAGES)
def test_five_sentences_and_three_exhibits_in_every_language(offset, code):
    sheet = sheet_of(offset, language(code), AS_IT_IS)
    told = next(one for one in sheet.write_up.owner if one.id == "told").blocks[0]
    assert isinstance(told, Bullets)
    assert len(told.items) == 5
    assert {words.language for words in words_in(sheet.write_up) if words.text and words.language} == {code}
    assert [one.number for one in sheet.write_up.figures] == [1, 2, 3]
    assert set(sheet.files) == {f"exhibit-{n}.{ending}" for n in (1, 2, 3) for ending in ("svg", "png")}
    assert {png_size(content) for name, content in sheet.files.items() if name.endswith("png")} == {(1920, 1080)}
    assert as_pdf(sheet.write_up, "letter", WHEN).whole
    assert 'class="trade"' not in as_html(sheet.write_up)


def test_the_exhibits_show_two_moves_and_what_stays(offset):
    titles = [one.title.text for one in sheet_of(offset, language("en"), AS_IT_IS).write_up.figures]
    assert all("manifold pressure shows" in title for title in titles[:2])
    assert titles[2] == "Total fuel trim stays as it was"


def test_sentences_and_axes_have_one_unit(offset):
    sheet = sheet_of(offset, language("en"), wish_of("inHg"))
    said = " ".join(words.text for words in words_in(sheet.write_up))
    assert "inHg" in said
    assert "kPa" not in said
    assert b"kPa" not in sheet.files["exhibit-1.svg"]


def test_where_nothing_moves_there_is_nothing_to_teach(offset):
    nothing = replace(offset, comparison=replace(offset.comparison, moves=()))
    with pytest.raises(UnusableRequest, match="nothing moves"):
        sheet_of(nothing, language("en"), AS_IT_IS)
