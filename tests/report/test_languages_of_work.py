"""What is said of steps and of readings with a meter, in other languages: every step, every outcome, in every form."""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from dataclasses import replace
from itertools import permutations
from pathlib import Path
from types import SimpleNamespace
from typing import get_args

import numpy as np
import pytest
from invented_case import case

from airproof.diagnosis import gaps
from airproof.diagnosis.facts import facts_of
from airproof.diagnosis.gaps import nothing_recorded
from airproof.diagnosis.meter.judged import Judged, judge
from airproof.diagnosis.meter.lines import Line
from airproof.diagnosis.meter.measured import Measured, Measurements, Sensor
from airproof.diagnosis.meter.typed_values import Point, Taken, taken
from airproof.diagnosis.picture import check as whole_picture
from airproof.diagnosis.picture.words import NAMED
from airproof.diagnosis.readings import Outcome
from airproof.diagnosis.verdict import Pair
from airproof.diagnosis.weigh import weigh
from airproof.diagnosis.weighing import Barometer
from airproof.engine.profile import EngineProfile
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Fuel, Step
from airproof.quantities.wishes import AS_IT_IS, wish_of
from airproof.recording.recording import Signal
from airproof.repair.proof.taken_out import taken_out
from airproof.report.language.language import LANGUAGES, language
from airproof.report.wording import sentence
from airproof.report.write_up import owner
from airproof.report.write_up.content import words_in
from airproof.report.write_up.figures import Exhibits
from airproof.report.write_up.owner import owner_page
from airproof.report.write_up.writing import Writer
from airproof.report.write_up.written import write_up_of

sys.path.append(str(Path(__file__).resolve().parents[1] / "diagnosis" / "meter"))
from sessions import GOOD_METER, line, session

KNOWN = knowledge()
OTHERS = [code for code in LANGUAGES if code != "en"]
DAY = Barometer(98.0, 0.4, "stated")
ENGINE = EngineProfile(displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="both")
HERTZ = Line("stated", "a line that was stated", "Hz", 80.0, 0.6, 15.0, 105.0, 5.0)
NB = "\N{NO-BREAK SPACE}"


def outcomes_of(step: Step) -> tuple[str, ...]:
    return ("found", "not found", "could not") if step.tells else ("done", "could not")


@pytest.mark.parametrize("code", OTHERS)
def test_the_owner_reads_every_step_and_outcome_in_one_language(code: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(owner, "MOST_STEPS", 1000)
    # A step counts as it was last noted: one job for each outcome.
    for outcome in ("found", "not found", "done", "could not"):
        said = [("step", {"id": id_, "outcome": outcome}) for id_, step in KNOWN.steps.items()
                if outcome in outcomes_of(step)]  # fmt: skip
        page = owner_page(Writer(language(code), AS_IT_IS, case(*said)), Exhibits((), ()))
        done = [one for section in page if section.id == "done" for one in words_in((section,))]
        assert len(done) > len(said)
        for one in done:
            assert one.language == code, one.text
            assert code != "fr" or not any(f"{letter}:" in one.text for letter in "abcdefghijklmnopqrstuvwxyz"), one


@pytest.mark.parametrize("code", LANGUAGES)
def test_a_step_that_nobody_knows_here_is_still_said(code: str) -> None:
    page = owner_page(Writer(language(code), AS_IT_IS, case(("step", {"id": "of-another-shop", "outcome": "done"}))),
                      Exhibits((), ()))  # fmt: skip
    assert any(one.text.startswith("Of-another-shop") for one in words_in(page))


@pytest.mark.parametrize("code", OTHERS)
def test_every_step_is_heard_as_evidence_in_the_language(code: str) -> None:
    for step in KNOWN.steps.values():
        for found in (True, False):
            weighed = weigh([], ENGINE, readings=[Outcome(step.id, found)], known=KNOWN).verdict
            said = {one.says for cause in weighed.causes[:1] for one in cause.evidence} | set(weighed.cannot_tell)
            for text in said:
                assert language(code).words(text).language == code, text


def measured(what: str, read: str = "", **said: object) -> Measured:
    reading = taken(read, "V", "Hz", "ohm") if read else None
    return Measured(what, 1, value=reading, **said)  # type: ignore[arg-type]


def at(*volts: float, of: str = "V") -> tuple[Point, ...]:
    return tuple(
        Point(-20.0 * step, True, "", taken(f"{one:.3f} {of}", "V", "Hz", "kPa")) for step, one in enumerate(volts)
    )


THERMISTOR = Sensor(line=line(), thermistor=KNOWN.thermistors["ntc-2500-ohm"])
NO_LINE = Sensor()
IN_HERTZ = Sensor(line=HERTZ)
LONELY: tuple[tuple[Sensor, Measured], ...] = (
    *((Sensor(line=line()), measured("supply", read))
      for read in ("5,02 V", "4.8V", "5.3 V", "4,20 V", "11.8 V", "20 mV")),
    *((Sensor(line=line()), measured("ground", read)) for read in ("0,03 V", "150 mV", "-0.5 V")),
    (NO_LINE, measured("ground", "0.15 V")),
    *((Sensor(line=line()), measured("signal", read)) for read in ("1,80 V", "1.89 V", "1.70 V", "0.02 V", "4.98 V")),
    (NO_LINE, measured("signal", "1.80 V")),
    *((IN_HERTZ, measured("signal", read)) for read in ("139 Hz", "150 Hz", "0.12kHz", "100 Hz", "0 Hz")),
    (NO_LINE, measured("signal", "139 Hz")),
    *((NO_LINE, Measured("signal", 1, shown=taken(read, "kPa"))) for read in ("98 kPa", "31.0 inHg", "880 mbar")),
    *((NO_LINE, measured("digital", read)) for read in ("2.9 V", "0.05 V", "4.95 V")),
    *((NO_LINE, measured("wiggle", found=found)) for found in (True, False)),
    *((NO_LINE, measured("wire", read, wire=wire, to=to))
      for read in ("0,3 ohm", "40 ohm", "2.31kohm", "1.2 Mohm", "OL")
      for wire in ("supply", "signal", "ground", "temperature") for to in ("control unit", "ground", "supply")
      if not wire == to == "supply"),
    *((THERMISTOR, measured("thermistor", read, temperature_c=20.0))
      for read in ("2.5 kohm", "300 ohm", "9kohm", "OL")),
    (NO_LINE, measured("thermistor", "2,5 kohm", temperature_c=20.0)),
    (THERMISTOR, measured("thermistor", "2.5 V", temperature_c=20.0)),
    (NO_LINE, measured("sweep", creeps=True)),
    *((NO_LINE, measured("sweep", jumps=jumps)) for jumps in (True, False)),
    (NO_LINE, measured("sweep", points=at(1.80, 1.40, 1.00))),
    (NO_LINE, measured("sweep", points=at(139.0, 127.0, 115.0, of="Hz"))),
    (Sensor(line=line()), measured("sweep", points=at(1.80, 1.80, 1.80))),
    (Sensor(line=line()), measured("sweep", points=at(1.80, 1.10, 1.00))),
    (Sensor(line=line()), measured("sweep", points=at(1.80, 1.40, 1.00), jumps=True)),
    (Sensor(line=line()), measured("sweep", points=at(1.80)[:1])),
    *((NO_LINE, measured("sweep", points=at(*kpa, of="kPa")))
      for kpa in ((98.0, 78.0, 58.0), (106.0, 86.0, 66.0), (98.0, 70.0, 42.0), (98.0, 98.0, 98.0), (98.0, 60.0, 58.0))),
    (NO_LINE, measured("sweep", points=at(98.0, 78.0, of="kPa"), creeps=True)),
)  # fmt: skip


def every_judgement() -> Iterator[Judged]:
    for sensor, item in LONELY:
        yield from judge(Measurements((item,), GOOD_METER, sensor), DAY, KNOWN).items
    difference = line("difference-250-kpa")
    for one in (
        session(), session(offset=8.0), session(gain=0.1), session(true=difference, expected=difference, offset=6.0),
        session(true=line("absolute-400-kpa"), expected=line()),
    ):  # fmt: skip
        yield from judge(one, DAY, KNOWN).items


def test_every_outcome_of_meter_work_is_among_them() -> None:
    came = {(one.task, one.outcome) for one in every_judgement()}
    wanted = {(task.id, outcome) for task in KNOWN.meter_tasks.values() for outcome in task.outcomes}
    assert wanted - came == set()


@pytest.mark.parametrize("code", OTHERS)
@pytest.mark.parametrize("pressure", ["kPa", "inHg"])
def test_every_judged_reading_is_said_in_the_language(code: str, pressure: str) -> None:
    for one in every_judgement():
        said = language(code).words(one.says, wish_of(pressure))
        assert said.language == code, one.says


@pytest.mark.parametrize("code", OTHERS)
def test_what_the_weighing_hears_of_readings_is_said_in_the_language(code: str) -> None:
    wires = tuple(measured("wire", "0.3 ohm", wire=wire) for wire in ("supply", "signal"))
    sessions = [
        session(), session(offset=8.0), session(true=line("absolute-400-kpa"), expected=line()),
        *(Measurements((replace(session().items[-1], creeps=seen, jumps=seen),), GOOD_METER, Sensor(line=line()))
          for seen in (True, False)),
        Measurements(wires, GOOD_METER, NO_LINE),
    ]  # fmt: skip
    for one in sessions:
        verdict = weigh([], ENGINE, readings=[one], barometer=DAY, known=KNOWN, facts=facts_of(codes=["P0106"])).verdict
        for text in (
            {e.says for e in verdict.causes[0].evidence} | set(verdict.cannot_tell) | set(nothing_recorded(ENGINE))
        ):
            assert language(code).words(text).language == code, text


@pytest.mark.parametrize("code", OTHERS)
def test_all_that_was_taken_out_of_a_proof_is_said_in_the_language(code: str) -> None:
    def day(kpa: float, air_k: float, fuel: str, every_s: float) -> SimpleNamespace:
        time = np.arange(0.0, 60.0, every_s)
        pressure = Signal("manifold_pressure", "kPa", time, np.full(time.size, 40.0), 1.0)
        return SimpleNamespace(
            barometer=SimpleNamespace(kpa=kpa), points=SimpleNamespace(intake_temperature=np.full(9, air_k)),
            path=SimpleNamespace(profile=SimpleNamespace(fuel=fuel)), recording={"manifold_pressure": pressure},
        )  # fmt: skip

    for fuel, other in permutations(get_args(Fuel), 2):
        sides = SimpleNamespace(
            before=day(97.2, 300.0, fuel, 0.36), after=day(99.1, 268.0, other, 0.13), replaced=True
        )  # fmt: skip
        said = taken_out(sides)  # type: ignore[arg-type]
        assert len(said) == 7
        for text in said:
            assert language(code).words(sentence(text)).language == code, text


@pytest.mark.parametrize("code", ["fr", "es"])
def test_one_load_stands_against_another_behind_one_preposition(code: str) -> None:
    said = [
        told for name, one in NAMED.items() if " against at " in one.title
        and (told := whole_picture.in_words(name, 0.05, -0.01, 0.02))
    ]  # fmt: skip
    assert len(said) > 5
    for text in said:
        words = language(code).words(text)
        assert words.language == code, text
        assert re.search(r"\b(face|frente) (à|au|a|al) (?!à|au\b|a\b|al\b)", words.text), words.text


def test_a_reading_has_one_decimal_sign_in_a_sentence() -> None:
    says = (
        judge(Measurements((measured("signal", "1,89V"),), GOOD_METER, Sensor(line=line())), DAY, KNOWN).items[0].says
    )
    assert says.startswith("The signal is 1.89 V: by the line that is 104.5 kPa absolute, 6.5 kPa")
    german = language("de").words(says).text
    assert german.startswith(
        f"Das Signal beträgt 1,89{NB}V: nach der Kennlinie sind das 104,5{NB}kPa absolut, 6,5{NB}kPa"
    )


@pytest.mark.parametrize(
    ("typed", "said"),
    [("1,89 V", "1.89 V"), ("1890mV", "1890 mV"), ("2.310 kohm", "2.310 kohm"), ("122 hertz", "122 Hz"),
     ("open", "endless"), ("-0,02 V", "-0.02 V"), ("29,1 inHg abs", "29.1 inHg absolute")],
)  # fmt: skip
def test_a_reading_is_said_as_typed_in_one_spelling(typed: str, said: str) -> None:
    one: Taken = taken(typed, "V", "ohm", "Hz", "kPa")
    assert (one.said, one.typed) == (said, typed)


@pytest.mark.parametrize("code", OTHERS)
def test_what_cannot_be_told_is_translated(code: str) -> None:
    """The sentences of gaps.py as the source has them, but for those with values in them."""
    tree = ast.parse(Path(gaps.__file__).read_text(encoding="utf-8"))
    notes = {id(one.value) for one in ast.walk(tree) if isinstance(one, ast.Expr)}
    filled = {id(part) for one in ast.walk(tree) if isinstance(one, ast.JoinedStr) for part in one.values}
    said = [one.value for one in ast.walk(tree) if isinstance(one, ast.Constant) and isinstance(one.value, str)
            and len(one.value) > 30 and id(one) not in notes | filled]  # fmt: skip
    assert len(said) > 10
    pair = Pair(("map-offset", "wastegate-stuck-open"), 0.2)
    for text in (*said, gaps.two_at_once(pair, KNOWN)):
        assert language(code).words(text).language == code, text


@pytest.mark.parametrize("code", LANGUAGES)
def test_without_a_recording_no_exhibit_speaks_of_what_is_not_in_it(code: str) -> None:
    told = weigh([], ENGINE, codes=["P0106"], known=KNOWN)
    said = write_up_of(case(weighing=told), language(code), AS_IT_IS)
    shown = next(section for section in said.trade if section.id == "exhibits")
    words = [one.text for one in words_in((shown,))]
    assert len(words) == 3  # the heading, "Not drawn:", and why
    assert language(code).words("there is no recording").text in words[-1]
