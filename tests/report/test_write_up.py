"""The write-up: what stands in it, what must not, and that PDF and HTML say the same."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import fields, replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from invented_case import OWNER, VIN, WRITTEN, case
from invented_weighings import PROFILE, cause, verdict, weighing

from airproof.diagnosis.readings import Outcome
from airproof.diagnosis.weigh import weigh
from airproof.knowledge.load import knowledge
from airproof.quantities.wishes import AS_IT_IS, wish_of
from airproof.report.language.language import language
from airproof.report.write_up.content import PAPERS, WriteUp, words_in
from airproof.report.write_up.html import as_html
from airproof.report.write_up.pdf import as_pdf
from airproof.report.write_up.written import write_up_of

ENGLISH = language("en")
CLOSED = ("closed", {"cause": "map-offset", "standing": "proved"})


@pytest.fixture(scope="module")
def open_job() -> WriteUp:
    return write_up_of(case(), ENGLISH, AS_IT_IS)


@pytest.fixture(scope="module")
def closed_job() -> WriteUp:
    return write_up_of(case(CLOSED, show_private=False), ENGLISH, wish_of("inHg"))


@pytest.fixture
def poppler() -> str:
    found = shutil.which("pdftotext")
    if found is None:
        pytest.skip("pdftotext (poppler) is not installed")
    return found


def said(write_up: WriteUp, section: str) -> str:
    """All that a section says, in one line."""
    one = next(one for one in (*write_up.owner, *write_up.trade) if one.id == section)
    return " ".join(" ".join(words.text for words in words_in(one)).split())


def text_of(pdf: bytes, folder: Path, *options: str) -> str:
    (folder / "it.pdf").write_bytes(pdf)
    done = subprocess.run(
        ["pdftotext", "-enc", "UTF-8", *options, str(folder / "it.pdf"), "-"], capture_output=True, check=True
    )
    return done.stdout.decode("utf-8")


def squeezed(text: str) -> str:
    """Without blanks, breaks and soft hyphens, in which two renderings may differ."""
    return re.sub(r"[\s\u00ad\u200b\u2010-]+", "", text)


def test_a_step_that_found_it_is_told_once():
    known = knowledge()
    step = known.steps["look-hoses"]
    judged = weigh([], PROFILE, readings=[Outcome(step.id, found=True)], known=known)
    one = case(("step", {"id": step.id, "outcome": "found"}), weighing=judged)
    know = said(write_up_of(one, ENGLISH, AS_IT_IS), "know")
    assert know.count(step.if_so.rstrip(".")) == 1
    assert re.search(rf"{re.escape(step.if_so.rstrip('.'))}\. That speaks \w+( strongly)? for it\.", know)


def test_the_first_page_answers_what_an_owner_asks(closed_job):
    assert [one.id for one in closed_job.owner] == ["complaint", "wrong", "know", "done", "cost", "watch", "picture"]
    assert "reads about 2.39 inHg high (2.13 to 2.66)" in said(closed_job, "wrong")
    assert "This was proved." in said(closed_job, "wrong")
    assert "very strongly" in said(closed_job, "know")
    assert "The voltage does not fit today's air pressure." in said(closed_job, "know")
    assert "Replace the manifold pressure sensor: done, and the trouble is gone." in said(closed_job, "done")
    cost = said(closed_job, "cost")
    assert "US$48.50" in cost
    assert "35 minutes" in cost
    assert "What nobody wrote down is not in it." in cost


def test_an_open_job_says_how_sure_it_is_and_that_nothing_is_proved(open_job):
    wrong = said(open_job, "wrong")
    assert "The manifold pressure sensor reads about 8.1 kPa high (7.2 to 9.0). Chance: 93 in 100." in wrong
    assert "proved" not in wrong


def test_a_closed_job_whose_cause_was_not_the_foremost_says_both():
    write_up = write_up_of(case(("closed", {"cause": "vacuum-leak", "standing": "believed"})), ENGLISH, AS_IT_IS)
    wrong = said(write_up, "wrong")
    assert "Unmetered air enters between throttle and valves." in wrong or "Title of vacuum-leak" in wrong
    assert "This is believed, and was not proved." in wrong
    assert "Before the repair the evidence said:" in wrong
    assert said(write_up, "evidence").count("Evidence for:") == 2


def test_the_trade_finds_decibans_that_add_up_hashes_codes_and_readings(open_job):
    evidence = said(open_job, "evidence")
    assert "anifold pressure reads 106.1 kPa absolute" in evidence
    together = next(
        row for block in next(one for one in open_job.trade if one.id == "evidence").blocks
        if hasattr(block, "rows") for row in block.rows if row[0].text == "Together"
    )  # fmt: skip
    assert together[1].text == "+11.2"  # 10 log10(0.93 / 0.07)
    assert "ab" * 32 in said(open_job, "recordings")
    assert "P0106" in said(open_job, "codes")
    assert "pending" in said(open_job, "codes")
    assert "42 kPa absolute" in said(open_job, "codes")
    readings = said(open_job, "readings")
    assert "1.848 V" in readings
    assert "meter 0.5 % + 2 digits" in readings
    assert "2026-03-02 08:44" in said(open_job, "steps").replace("\N{NO-BREAK SPACE}", " ")
    assert "airproof job export 7" in said(open_job, "again")
    assert "judged" in said(open_job, "sources")


def test_what_is_private_stands_nowhere_once_it_is_left_out(closed_job):
    html = as_html(closed_job)
    everything = " ".join(words.text for words in words_in(closed_job)) + html
    for secret in (OWNER, "Beispiel", VIN, "XYZ-987", "XY Z 987"):
        assert secret not in everything
    assert "VIN, plate and owner are left out." in closed_job.foot.text
    assert "call [left out]" in everything


def test_what_is_private_is_there_where_nobody_minds(open_job):
    assert {OWNER, VIN} <= {value.text for _, value in open_job.facts}


def test_without_a_weighing_the_facts_are_written_up_all_the_same():
    write_up = write_up_of(
        case(weighing=None, why_not="job 7 does not say what engine it is; wanted: an engine profile."),
        ENGLISH,
        AS_IT_IS,
    )
    assert "Nothing was judged yet. Job 7 does not say" in said(write_up, "wrong").replace(" job 7", " Job 7")
    assert write_up.figures == ()
    assert as_pdf(write_up, "a4", WRITTEN).content.startswith(b"%PDF-")


def test_a_refusal_is_written_up_as_one():
    refused = weighing(said=verdict(cause("none", 0.9), cause("map-offset", 0.1), refusal="a diesel engine"))
    write_up = write_up_of(case(weighing=refused), ENGLISH, AS_IT_IS)
    assert "This is not judged." in said(write_up, "wrong")
    assert write_up.figures == ()


class Page(HTMLParser):
    """What a page of HTML says, and what it would fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.headings: list[str] = []
        self.images: list[dict[str, str | None]] = []
        self.addresses: list[str] = []
        self.tags: list[str] = []
        self.ids: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        there = dict(attrs)
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(tag)
        if tag == "img":
            self.images.append(there)
        self.addresses += [there[name] or "" for name in ("src", "href", "srcset", "action") if name in there]
        self.ids += [there["id"] or ""] if "id" in there else []

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def test_the_page_fetches_nothing_runs_nothing_and_says_what_its_pictures_show(open_job):
    html = as_html(open_job)
    page = Page()
    page.feed(html)
    assert "script" not in page.tags
    assert "link" not in page.tags
    assert all(address.startswith("data:image/svg+xml;base64,") for address in page.addresses)
    assert "url(" not in html
    assert "@import" not in html
    assert len(page.images) == len(open_job.figures) >= 2
    assert all(len(image["alt"] or "") > 40 for image in page.images)
    assert page.headings[0] == "h1"
    assert page.headings.count("h1") == 1
    levels = [int(one[1]) for one in page.headings]
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert len(set(page.ids)) == len(page.ids)


def test_what_was_typed_is_text_and_never_markup():
    nasty = '<script>alert(1)</script> #panic("x") $ \\ *_`@a <b> "quote" \'s'
    write_up = write_up_of(case(("complaint", {"text": nasty})), ENGLISH, AS_IT_IS)
    page = Page()
    page.feed(as_html(write_up))
    assert "script" not in page.tags
    assert nasty in " ".join(page.texts)
    assert as_pdf(write_up, "a4", WRITTEN).content.startswith(b"%PDF-")


def test_a_code_of_the_maker_is_told_once_and_what_is_kept_is_told_in_the_language() -> None:
    one = case(("code", {"id": "P1234", "status": "stored"}))
    complaint = said(write_up_of(one, ENGLISH, AS_IT_IS), "complaint")
    assert "P1234" in complaint
    assert "P1234 (P1234)" not in complaint
    kept = "code P1234 is kept; it is not among those that are weighed here"
    for code in ("de", "fr", "es"):
        there = language(code).words(kept, AS_IT_IS)
        assert there.language == code
        assert "P1234" in there.text
        assert language(code).say("computed") != "computed"


def test_pdf_and_page_say_the_same(open_job, poppler, tmp_path):
    page = Page()
    page.feed(as_html(open_job))
    text = squeezed(text_of(as_pdf(open_job, "a4", WRITTEN).content, tmp_path))
    for words in words_in((open_job.title, open_job.facts, open_job.owner, open_job.trade)):
        if any(words.text in (one.alt.text, one.title.text) for one in open_job.figures):
            continue  # what is said for who cannot see, and what stands in the picture
        assert squeezed(words.text) in text, words.text
        assert words.text in " ".join(page.texts), words.text


@pytest.mark.parametrize("paper", PAPERS)
def test_the_owner_has_one_page_and_the_trade_the_rest(closed_job, paper, poppler, tmp_path):
    pdf = as_pdf(closed_job, paper, WRITTEN).content
    first = squeezed(text_of(pdf, tmp_path, "-f", "1", "-l", "1"))
    second = squeezed(text_of(pdf, tmp_path, "-f", "2", "-l", "2"))
    assert squeezed("The evidence in one picture") in first
    assert second.startswith(squeezed("For the trade"))


@pytest.mark.parametrize("paper", PAPERS)
def test_qpdf_finds_no_fault_and_the_pdf_is_tagged(closed_job, paper, tmp_path):
    if shutil.which("qpdf") is None:
        pytest.skip("qpdf is not installed")
    pdf = tmp_path / "it.pdf"
    pdf.write_bytes(as_pdf(closed_job, paper, WRITTEN).content)
    done = subprocess.run(["qpdf", "--check", str(pdf)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    plain = subprocess.run(
        ["qpdf", "--qdf", "--object-streams=disable", str(pdf), "-"], capture_output=True, check=True
    )
    for mark in (
        b"/StructTreeRoot",
        b"/Marked true",
        b"/Lang (en)",
        b"/Alt ",
        b"/S /H1",
        b"/S /H2",
        b"/S /TH",
        b"pdfuaid",
    ):
        assert mark in plain.stdout, mark


def test_the_same_gives_the_same_bytes(open_job):
    assert as_pdf(open_job, "a4", WRITTEN).content == as_pdf(open_job, "a4", WRITTEN).content
    assert as_html(open_job) == as_html(open_job)


def test_any_language_can_be_typed(poppler, tmp_path):
    many = "Größe Œuvre ñandú Ελληνικά Кириллица עברית العربية 中文 日本語 한국어 ไทย 🚗 \u0000\u202e"
    write_up = write_up_of(case(("complaint", {"text": many})), ENGLISH, AS_IT_IS)
    text = text_of(as_pdf(write_up, "a4", WRITTEN).content, tmp_path)
    for word in ("Größe", "Œuvre", "ñandú", "Ελληνικά", "Кириллица"):
        assert word in text
    assert "\u202e" not in as_html(write_up)


def test_a_letter_that_no_font_has_becomes_a_box_and_is_told():
    write_up = write_up_of(case(("complaint", {"text": "signs: \U0001d800\U0001d801"})), ENGLISH, AS_IT_IS)
    pdf = as_pdf(write_up, "a4", WRITTEN)
    if pdf.whole:
        pytest.skip("this computer has a font for SignWriting")
    assert pdf.content.startswith(b"%PDF-")
    assert as_pdf(write_up_of(case(), ENGLISH, AS_IT_IS), "a4", WRITTEN).whole


def test_whatever_was_typed_at_any_length_is_written(tmp_path):
    long = [
        ("complaint", {"text": "w" * 20_000}),
        ("note", {"text": "and so on " * 1_900}),
        *(("step", {"id": f"own-step-{n}", "outcome": "done", "note": "x" * 3000}) for n in range(40)),
        ("recording", {"sha256": "cd" * 32, "bytes": 1, "name": "n" * 290, "seconds": 1.0, "holds": []}),
    ]
    write_up = write_up_of(case(*long), ENGLISH, AS_IT_IS)
    assert as_pdf(write_up, "letter", WRITTEN).content.startswith(b"%PDF")
    assert "w" * 20_000 in as_html(write_up)


def test_a_fingerprint_can_be_copied_from_the_pdf(open_job, poppler, tmp_path):
    assert "ab" * 32 in text_of(as_pdf(open_job, "letter", WRITTEN).content, tmp_path)


def test_a_wish_for_vacuum_shows_readings_from_the_air_outside():
    write_up = write_up_of(case(), ENGLISH, wish_of("inHg", vacuum=True))
    assert "16.5 inHg vacuum" in said(write_up, "codes").replace("\N{NO-BREAK SPACE}", " ")  # (98 - 42) kPa


def test_every_part_of_the_content_is_written(open_job):
    """A field that nobody writes would be lost without a word."""
    assert {one.name for one in fields(WriteUp)} == {
        "language", "title", "facts", "owner", "trade_title", "trade", "foot", "labels",
    }  # fmt: skip
    marked = replace(open_job, trade_title=replace(open_job.trade_title, text="Marked here"))
    assert "Marked here" in as_html(marked)
