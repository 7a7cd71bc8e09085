"""Languages beside English: what must be translated is, slots agree, numbers and units are those of the language."""

from __future__ import annotations

import ast
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from invented_case import case
from invented_weighings import cause, verdict

from airproof.diagnosis import misread
from airproof.diagnosis.course import in_words as comes_and_goes
from airproof.diagnosis.picture import check as whole_picture
from airproof.diagnosis.picture.features import AGAIN
from airproof.diagnosis.place_as_typed import the_barometer
from airproof.diagnosis.verdict import Size
from airproof.diagnosis.weigh import STANDING_CAUTIONS, weigh
from airproof.engine.profile import EngineProfile, load_profile
from airproof.errors import UnusableRequest
from airproof.knowledge.load import knowledge
from airproof.quantities.wishes import AS_IT_IS, wish_of
from airproof.quantities.wishes_in_sentences import sentence_in_units
from airproof.recording.readers import read_recording
from airproof.repair.plan import CAUTION
from airproof.report import in_words, write_up
from airproof.report.in_words import WEIGHTS, answer
from airproof.report.language.catalogue import SLOTS, catalogue
from airproof.report.language.language import LANGUAGES, language
from airproof.report.language.tokens import as_written, put_together, taken_apart
from airproof.report.wording import sentence
from airproof.report.write_up.content import translated, words_in
from airproof.report.write_up.html import as_html
from airproof.report.write_up.pdf import as_pdf
from airproof.report.write_up.written import write_up_of

OTHERS = [code for code in LANGUAGES if code != "en"]
NB, MINUS = "\N{NO-BREAK SPACE}", "\N{MINUS SIGN}"


def own_texts() -> set[str]:
    """What the write-up itself says: the texts given to own, heads and say, as the source has them."""
    found: set[str] = set()
    for file in Path(str(resources.files(write_up))).glob("*.py"):
        for call in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if not (isinstance(call, ast.Call) and isinstance(call.func, ast.Attribute)):
                continue
            if call.func.attr in ("own", "heads", "say"):
                found |= {one.value for one in call.args if isinstance(one, ast.Constant) and one.value}
    return found


def known_texts() -> set[str]:
    """Titles, outcomes and cautions of all that is known."""
    known = knowledge()
    found = {CAUTION, *STANDING_CAUTIONS}
    for entries in (known.causes, known.codes, known.symptoms, known.looks, known.history, known.conditions):
        found |= {one.title for one in entries.values()}
    for step in known.steps.values():
        found |= {text for text in (step.title, step.if_so, step.if_not) if text}
    for one in (*known.causes.values(), *known.steps.values()):
        found |= set(one.cautions)
    return found


@pytest.mark.parametrize("code", OTHERS)
def test_all_that_the_write_up_says_itself_is_translated(code):
    texts = own_texts() | {f"That speaks {how} for it." for _, how in WEIGHTS}
    assert len(texts) > 100
    assert texts - set(catalogue(code).messages) == set()


@pytest.mark.parametrize("code", OTHERS)
def test_causes_codes_steps_symptoms_looks_and_cautions_are_translated(code):
    texts = known_texts()
    assert len(texts) > 400
    assert {text for text in texts if catalogue(code).said(text) is None} == set()


@pytest.mark.parametrize("code", OTHERS)
@pytest.mark.parametrize("probability", [0.95, 0.7, 0.4, 0.1])
@pytest.mark.parametrize(("told", "beyond"), [(True, False), (False, False), (True, True)])
def test_every_answer_is_translated(code, probability, told, beyond):
    for id_, one in knowledge().causes.items():
        for value in (4.0, -4.0) if one.size and one.size.signed else (4.0,) if one.size else (None,):
            open_ = beyond and not one.size.whole if one.size else False
            size = None if value is None else Size(value, value - 1.0, value + 1.0, one.unit, told, open_)
            said = answer(verdict(cause(id_, probability, size)))
            text = " ".join(said).replace(f"Title of {id_}", one.title)
            words = language(code).words(text)
            assert words.language == code, text


@pytest.mark.parametrize("code", OTHERS)
def test_slots_and_names_to_fill_are_those_of_the_english(code):
    for english, said in catalogue(code).messages.items():
        assert sorted(set(SLOTS.findall(english))) == sorted(set(SLOTS.findall(said))), english
        names = [part.split("}")[0] for part in english.split("{")[1:]]
        assert sorted(names) == sorted(part.split("}")[0] for part in said.split("{")[1:]), english


def test_all_languages_say_the_same_things():
    assert len({frozenset(catalogue(code).messages) for code in OTHERS}) == 1


def test_a_number_with_its_unit_is_written_as_the_language_does():
    said = language("de").words("Manifold pressure reads 105.0 kPa absolute with the engine off, 7.8 kPa above the "
                                "97.2 kPa expected of the day.")  # fmt: skip
    assert said.language == "de"
    assert said.text == (
        f"Der Saugrohrdruck zeigt bei stehendem Motor 105,0{NB}kPa absolut, 7,8{NB}kPa über den 97,2{NB}kPa, "
        "die an diesem Tag zu erwarten sind."
    )
    assert f"um etwa 2,39{NB}inHg zu hoch" in language("de").words(
        "The barometric reading is about 8.1 kPa high", wish_of("inHg")
    ).text  # fmt: skip


def test_sentences_within_sentences_are_taken_apart():
    said = language("es").words(
        "not explained by the foremost cause (manifold pressure sensor is frozen): intake air is 12 K above the "
        "outside air while driving (healthy: -10 to +35); there may be a second one"
    )
    assert said.language == "es"
    assert "(el sensor de presión del colector está congelado)" in said.text
    assert f"12{NB}K" in said.text
    assert f"{MINUS}10 a +35" in said.text


def test_what_stands_in_brackets_stays_behind_what_it_belongs_to():
    said = language("fr").words(
        "measured air flow is 21 % below what pressure, temperature and speed give at idle (90 steady points; "
        "healthy: -23 to +30 %)"
    )
    assert said.text.endswith(f"que donnent pression, température et régime (90 points stables{NB}; sain{NB}: "
                              f"{MINUS}23 à +30{NB}%)")  # fmt: skip
    assert "est au ralenti 21" in said.text


def test_what_no_one_has_translated_stays_english_whole_and_says_so():
    said = language("fr").words("the moon is 3.5 kPa above the barometer", wish_of("inHg"))
    assert (said.text, said.language) == (f"the moon is 1.03{NB}inHg above the barometer", "en")


def test_money_days_and_numbers():
    # CLDR, as Babel holds it, writes them so.
    german, french, english = language("de"), language("fr"), language("en")
    assert german.money(1234.5, "EUR") == f"1.234,50{NB}€"
    assert german.money(85.0, "EUR") == f"85{NB}€"
    assert english.money(48.5, "USD") == "US$48.50"
    assert german.number(-1234.5, 1) == f"{MINUS}1.234,5"
    assert german.day(datetime(2026, 3, 4, tzinfo=UTC)) == "4. März 2026"
    assert french.say("Codes:") == f"Codes défaut{NB}:"
    assert english.quantity(18.0, "degC", 0) == f"18{NB}°C"
    assert english.quantity(18.0, "degC", 0, wish_of("inHg")) == f"64{NB}°F"
    assert english.money(10.0, "XYZW") == f"10{NB}XYZW"


def test_an_unknown_language_is_refused_with_those_there_are():
    with pytest.raises(UnusableRequest, match="en, de, fr, es"):
        language("tlh")
    assert language("de-AT").code == "de"


@pytest.mark.parametrize("code", LANGUAGES)
def test_the_owners_page_is_wholly_in_its_language(code):
    closed = ("closed", {"cause": "map-offset", "standing": "proved"})
    said = write_up_of(case(closed), language(code), wish_of("bar"))
    foreign = [one.text for one in words_in(said.owner) if one.language not in (code, "") and one.text]
    # The invented weighing has sentences that no check of ours makes.
    assert [text for text in foreign if "8.1" not in text and "106.1" not in text and "1.061" not in text] == []
    done, all_ = translated((said.owner, said.trade), code)
    assert done / all_ > 0.6
    html = as_html(said)
    assert f'<html lang="{code}">' in html
    assert as_pdf(said, "a4", datetime(2026, 3, 4, tzinfo=UTC)).whole
    if code != "en":
        assert '<span lang="en">' in html


def test_pictures_speak_the_language_too():
    said = write_up_of(case(), language("de"), AS_IT_IS)
    drawn = {one.number: one.svg.decode("utf-8") for one in said.figures}
    assert "Bei stehendem Motor zeigt der Saugrohrdrucksensor" in drawn[1]  # the title, for who cannot see


def test_all_that_is_said_of_the_demo_job_is_turned_and_translated():
    """Regression guard of our own: the sentences of the checks change, and the catalogues must follow."""
    demo = Path(__file__).resolve().parents[2] / "examples" / "demo-job"
    weighed = weigh(
        [read_recording(demo / "recording.csv")],
        load_profile(demo / "engine.toml"),
        codes=["P0106"],
        symptoms=["hesitation"],
        barometer=the_barometer("350m", None),
    )
    verdict = weighed.verdict
    said = {one.says for cause in verdict.causes for one in cause.evidence} | {one.says for one in verdict.findings}
    said |= {weighed.barometer.says, *verdict.cautions}
    assert len(said) > 40
    for text in said:
        assert "kPa" not in sentence_in_units(text, wish_of("inHg")), text
        for code in OTHERS:
            assert language(code).words(text).language == code, text


@pytest.mark.parametrize("code", OTHERS)
@pytest.mark.parametrize("seldom", [True, False])
def test_that_it_comes_and_goes_is_translated(code, seldom):
    one = SimpleNamespace(there=((10.0, 18.0), (40.0, 52.0), (70.0, 81.0)))
    assert language(code).words(comes_and_goes(one, seldom=seldom)).language == code


@given(st.text(max_size=80))
@example("10000000000000001000000000000")  # more digits than decimals have by themselves
def test_any_text_is_said_or_left_and_put_together_again(text):
    marked, tokens = taken_apart(text)
    assert put_together(marked, tokens, as_written) == text or not tokens
    assert language("de").words(text).language in ("de", "en")


@given(st.lists(st.sampled_from(["at idle", "on boost", "the moon", "idle"]), min_size=1, max_size=40))
def test_long_lists_do_not_take_for_ever(parts):
    language("de").words("; ".join(parts))


def test_a_weighings_own_words_are_known_to_the_catalogues():
    """The words for how strongly evidence speaks are data of another module: both must know the same."""
    assert {how for _, how in in_words.WEIGHTS} == {"very strongly", "strongly", "clearly", "a little"}


@pytest.mark.parametrize("code", OTHERS)
def test_what_was_taken_for_granted_of_an_engine_is_translated(code):
    bare = EngineProfile(displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="both")
    assert len(bare.assumed) == 4
    assert language(code).words("; ".join(bare.assumed)).language == code


@pytest.mark.parametrize("code", OTHERS)
def test_whatever_the_picture_may_name_is_translated(code):
    said = [told for name in AGAIN if (told := whole_picture.in_words(name, 0.05, -0.01, 0.02))]
    assert len(said) > 300
    for told in said:
        assert language(code).words(f"part load: {told}").language == code, told


@pytest.mark.parametrize("code", OTHERS)
def test_a_doubtful_barometer_is_said_in_every_language(code):
    day = the_barometer("350m", "1013hPa")
    engine = Path(__file__).resolve().parents[2] / "examples" / "demo-job" / "engine.toml"
    judged = weigh([], load_profile(engine), codes=["P0106"], barometer=day).verdict
    assert judged.doubts
    for text in (*answer(judged), day.says):
        assert language(code).words(text).language == code, text


REFUSED = [
    *map(misread.swap, misread.SWAPS),
    *(
        f"the manifold pressure reads as if it were {misread.named(unit)} {said}: {where}, and it moves with the load; "
        f"{misread.WAY_OUT}"
        for unit in misread.PRESSURE_UNITS
        for said in ("under a heading that says kPa", "though it was guessed to be in inHg")
        for where in (misread.AS_THE_DAY, misread.AS_IT_BREATHES, misread.TOO_MUCH)
    ),
    *(
        f"the air flow reads as if it were {unit} under a heading that says g/s: as it stands it is 3.6 times what an "
        f"engine of 1.998 L breathes; check the engine's size too, and {misread.WAY_OUT}"
        for unit in misread.FLOW_UNITS
    ),
    "the recording holds engine speed only 3 times: record some minutes",
    "the manifold pressure falls to 34 kPa absolute and moves with the engine, as only a throttle makes it, and the "
    "engine is said to be a diesel: check what it burns, or the pressure's heading and unit",
]


@pytest.mark.parametrize("code", OTHERS)
def test_why_nothing_is_judged_is_said_in_every_language(code):
    for text in REFUSED:
        assert language(code).words(sentence(text)).language == code, text
