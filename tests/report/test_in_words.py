"""The words for each kind of verdict."""

from __future__ import annotations

from dataclasses import replace

import pytest
from invented_weighings import cause, offset_verdict, verdict, weighing

from airproof.diagnosis.finding import Finding
from airproof.diagnosis.verdict import CauseVerdict, Size
from airproof.knowledge.load import knowledge
from airproof.recording.recording import ColumnReading, ReadReport
from airproof.repair.plan import Plan, make_plan
from airproof.report.in_words import Part, answer, as_text, below, in_words, strength


def first_line(*causes: CauseVerdict) -> str:
    return answer(verdict(*causes))[0]


def parts(**options: object) -> dict[str, Part]:
    return {part.id: part for part in in_words(weighing(**options))}  # type: ignore[arg-type]


def plan_for(*causes: CauseVerdict) -> Plan:
    return make_plan({c.id: c.probability for c in causes}, knowledge(), knowledge().prices)


def test_a_sure_answer() -> None:
    assert answer(offset_verdict()) == (
        "The manifold pressure sensor reads about 8.1 kPa high (7.2 to 9.0). Chance: 93 in 100.",
    )


@pytest.mark.parametrize(
    ("probability", "begins"),
    [
        (0.97, "The manifold pressure sensor reads"),
        (0.75, "Probably: the manifold pressure sensor reads"),
        (0.45, "Not sure. Perhaps: the manifold pressure sensor reads"),
        (0.20, "Cannot tell from this."),
    ],
)
def test_words_are_hedged_by_probability(probability: float, begins: str) -> None:
    said = first_line(cause("map-offset", probability, Size(8.1, 7.2, 9.0, "kPa")), cause("none", 1.0 - probability))
    assert said.startswith(begins)
    assert f"{100 * probability:.0f} in 100" in said


@pytest.mark.parametrize(("probability", "chance"), [(0.9999, "more than 99 in 100"), (0.93, "93 in 100")])
def test_nothing_is_certain(probability: float, chance: str) -> None:
    assert chance in first_line(cause("ignition", probability), cause("none", 1.0 - probability))


@pytest.mark.parametrize(
    ("name", "size", "words"),
    [
        ("map-offset", Size(-6.0, -8.0, -4.0, "kPa"), "reads about 6 kPa low (4 to 8)"),
        ("map-gain", Size(-10.0, -11.2, -8.8, "%"), "reads about 10 % too little (9 to 11)"),
        ("map-slow", Size(0.52, 0.13, 2.3, "s"), "answers late, by about 0.5 s (0.1 to 2.3)"),
        ("vacuum-leak", Size(4.0, 3.6, 4.4, "mm"), "as through a sharp round hole of about 4.0 mm (3.6 to 4.4)"),
        (
            "throttle-deposits",
            Size(28.0, 22.0, 34.0, "% of area at idle"),
            "(about 28 % of the opening at idle covered",
        ),
        ("intake-restriction", Size(3.0, 2.0, 4.0, "x"), "(about 3 times the normal pressure drop, 2 to 4)"),
        ("ignition", None, "Sparks fail"),
        ("map-offset", Size(-39.5, -39.9, -39.0, "kPa", beyond=True), "reads about 39.0 kPa low (or more)"),
        ("map-offset", Size(39.5, 39.0, 39.9, "kPa", beyond=True), "reads about 39.0 kPa high (or more)"),
        (
            "intake-restriction",
            Size(19.0, 18.1, 19.9, "x", beyond=True),
            "(about 18.1 times the normal pressure drop or",
        ),
        (
            "fuel-delivery",
            Size(1.0, -2.0, 4.0, "%"),
            "More or less fuel is delivered than was asked for (either way: -2 to 4 %)",
        ),
    ],
)
def test_sizes_are_said_with_sign_unit_and_interval(name: str, size: Size | None, words: str) -> None:
    assert words in first_line(cause(name, 0.95, size), cause("none", 0.05))


def test_every_cause_that_is_known_can_be_said() -> None:
    for one in knowledge().causes.values():
        size = Size(5.0, 4.0, 6.0, one.unit) if one.size else None
        bare = Size(5.0, 4.0, 6.0, one.unit, told=False) if one.size else None
        for shown in (size, bare):
            said = first_line(replace(cause(one.id, 0.95, shown), title=one.title), cause("none", 0.05))
            assert one.id == "none" or "{" not in said
            assert said.endswith("in 100.")
            assert shown is not bare or "5" not in said.removesuffix("Chance: 95 in 100.")


def test_a_cause_that_the_words_do_not_know_is_said_by_its_title() -> None:
    assert first_line(cause("new-cause", 0.95, Size(1.0, 0.5, 1.5, "mm")), cause("none", 0.05)).startswith(
        "Title of new-cause (1.0 mm, 0.5 to 1.5)."
    )


def test_nothing_wrong() -> None:
    assert first_line(cause("none", 0.92), cause("ignition", 0.08)) == (
        "Nothing wrong that this recording can show. Chance: 92 in 100."
    )
    assert first_line(cause("none", 0.7), cause("ignition", 0.3)).endswith("Chance: 70 in 100.")
    assert first_line(cause("none", 0.4), cause("ignition", 0.35)).startswith("This recording cannot tell")


def test_a_refusal_says_why_and_judges_nothing() -> None:
    said = verdict(cause("none", 0.6), cause("map-offset", 0.4), refusal="this is a diesel, which is not throttled")
    found = parts(said=said)
    assert found["answer"].lines == ("This is not judged.", "This is a diesel, which is not throttled.")
    assert set(found) == {"answer", "cautions", "read"}
    (caution,) = found["cautions"].lines
    assert "maker's service data" in caution
    assert "Taken for granted" not in "\n".join(found["read"].lines)


def test_the_three_strongest_pieces_come_first_and_what_speaks_against_is_not_hidden() -> None:
    why = parts()["why"].lines
    assert len(why) == 4
    assert "106.1 kPa" in why[0]
    assert "very strongly for it (+21 decibans)" in why[0]
    assert "clearly for it" in why[1]
    assert "a little for it" in why[2]
    assert "a little against it (-4 decibans)" in why[3]


def test_where_nothing_speaks_up_that_is_said() -> None:
    (line,) = parts(said=verdict(cause("ignition", 0.5), cause("none", 0.5), findings=()))["why"].lines
    assert line.startswith("No single piece of evidence speaks up")


def test_for_a_healthy_engine_the_checks_are_counted() -> None:
    why = parts(said=verdict(cause("none", 0.9), cause("ignition", 0.1)))["why"].lines
    assert why[0] == "Of 3 things checked, 2 lie where a healthy engine has them."
    assert why[1] == "Not there: Reads 8.1 kPa above the barometer."


def test_of_what_time_a_verdict_is_stands_before_its_reasons() -> None:
    all_along = weighing()
    for there, words in (
        (((536.0, 804.0),), "judged where it shows most, 8:56 to 13:24."),
        (((60.0, 90.0), (200.0, 230.0)), "judged where it shows most, 1:00 to 1:30, and 1 more."),
    ):
        why = {part.id: part for part in in_words(replace(all_along, there=there))}["why"]
        assert why.lines[0] == f"The trouble seems not to have been there all along: {words}"
        assert why.lines[1:] == parts()["why"].lines


def finding(name: str, value: float, expected: tuple[float, float], unit: str = "%") -> Finding:
    return Finding(name, value, 1.0, unit, expected, ((0.0, 9.0),), f"{name} says so")


def test_where_all_is_well_that_is_said_in_a_line() -> None:
    said = verdict(cause("none", 0.9), cause("ignition", 0.1), findings=[finding(n, 0.0, (-5.0, 5.0)) for n in "abc"])
    assert parts(said=said)["why"].lines[0] == "All 3 things checked lie where a healthy engine has them."


def test_a_range_that_tells_nobody_anything_is_not_given_as_a_reason() -> None:
    told = [("wide", 4.0, "wide says so"), ("narrow", 4.0, "narrow says so")]
    findings = [finding("wide", 40.0, (-79.0, 371.0)), finding("narrow", 10.0, (-5.0, 5.0))]
    said = verdict(cause("vacuum-leak", 0.7, told=told), cause("none", 0.3), findings=findings)
    (line,) = parts(said=said)["why"].lines
    assert line == "Narrow says so. That speaks a little for it (+4 decibans)."
    far = verdict(cause("vacuum-leak", 0.7, told=told), findings=[finding("wide", 400.0, (-79.0, 371.0))])
    assert len(parts(said=far)["why"].lines) == 2


def test_a_reason_inside_the_healthy_range_says_so() -> None:
    told = [("level", 6.0, "level says so")]
    said = verdict(cause("vacuum-leak", 0.7, told=told), findings=[finding("level", 3.0, (-5.0, 5.0))])
    (line,) = parts(said=said)["why"].lines
    assert "A healthy engine may show that too, yet it is likelier with this fault" in line
    assert line.endswith("it speaks clearly for it (+6 decibans).")


def test_a_place_as_usual_as_a_whole_does_not_call_what_lies_out_of_it_healthy() -> None:
    told = [("picture-idle", 24.0, "idle: unsteadiness of lambda 4.3 % (healthy: 0.0 to 1.8 %); load 20 %")]
    findings = [finding("picture-idle", 0.8, (0.0, 1.0), "usual ranges")]
    said = verdict(cause("ignition", 0.93, told=told), findings=findings)
    (line,) = parts(said=said)["why"].lines
    assert "healthy engine may show that too" not in line
    assert "yet together they are likelier with this fault: they speak very strongly for it (+24 decibans)" in line


def test_the_word_for_a_weight_fits_the_number_beside_it() -> None:
    said = verdict(cause("ignition", 0.7, told=[("a", 4.6, "a says so")]), findings=())
    assert parts(said=said)["why"].lines == ("A says so. That speaks clearly for it (+5 decibans).",)


def test_what_else_leaves_out_the_improbable() -> None:
    (line,) = parts()["else"].lines
    assert line == "The manifold pressure sensor reads about 8 % too much (6 to 11): 5 in 100."


def test_the_next_step_stands_against_the_habit() -> None:
    leak = (cause("vacuum-leak", 0.9, Size(4.0, 3.0, 5.0, "mm")), cause("none", 0.1))
    plan = plan_for(*leak)
    lines = next(p for p in in_words(weighing(said=verdict(*leak)), plan) if p.id == "next").lines
    assert lines[0].startswith(plan.next_steps[0].title)
    assert f"{plan.next_steps[0].minutes:.0f} minutes" in lines[0]
    assert lines[-1].startswith("Begun with a new sensor out of habit: ")


def test_where_the_habit_is_right_it_is_said_so() -> None:
    plan = plan_for(*offset_verdict().causes)
    assert plan.habit is not None
    step = replace(plan.next_steps[0], id="replace-map-sensor", title="Replace the manifold pressure sensor")
    right = replace(plan, next_steps=(step,), habit=replace(plan.habit, worth_it_below_part_price=120.0))
    lines = next(p for p in in_words(weighing(), right) if p.id == "next").lines
    assert lines[-1] == "Fitting a new sensor at once is right here, as long as it costs less than 120 USD."
    free = replace(right, habit=replace(plan.habit, worth_it_below_part_price=0.0))
    lines = next(p for p in in_words(weighing(), free) if p.id == "next").lines
    assert "less than 0" not in lines[-1]
    assert below(0.4, "USD") == "next to nothing"
    assert below(0.5, "USD").startswith("less than")


def test_what_was_read_guessed_and_left_out_is_told() -> None:
    text = "\n".join(parts()["read"].lines)
    assert "invented.csv: 2 min, 4 signals, 600 rows, 2 of them set aside." in text
    assert "key-on 12 s, idle 60 s" in text
    assert "full-load" not in text
    assert "Guessed: Charge pressure, unit not stated; guessed kPa." in text
    assert "Left out: Odometer" in text
    assert "Taken for granted" in text


def test_many_guesses_and_remarks_are_shortened() -> None:
    made = weighing()
    columns = tuple(ColumnReading(f"H{n}", f"s{n}", "kPa", "guessed", f"s{n} guessed kPa") for n in range(9))
    report = ReadReport("x", columns, ("Time (s): time in s", *(f"remark {n}" for n in range(9))))
    recording = replace(made.recording, report=report)
    text = "\n".join(next(p for p in in_words(replace(made, recording=recording)) if p.id == "read").lines)
    assert "s0 in kPa, s1 in kPa" in text
    assert "And 3 more remarks like these" in text
    assert text.count("\n") < 12
    assert "time in s" not in text


def test_a_ratio_is_called_one() -> None:
    made = weighing()
    few = [ColumnReading("Lambda", "lambda_target", "1", "guessed", "lambda target, guessed 1")]
    many = [ColumnReading("WG", "wastegate", "1", "guessed", "guessed 1")] * 4
    for columns, words in ((few, "no unit is stated: lambda target."), (many, "wastegate as a plain ratio, ")):
        recording = replace(made.recording, report=ReadReport("x", tuple(columns), ()))
        text = "\n".join(next(p for p in in_words(replace(made, recording=recording)) if p.id == "read").lines)
        assert words in text
        assert "guessed 1" not in text
        assert "in 1" not in text


def test_as_text_keeps_the_answer_on_the_first_line() -> None:
    text = as_text(in_words(weighing()))
    assert text.splitlines()[0].startswith("The manifold pressure sensor reads about 8.1 kPa high")
    assert "\nWhy\n  " in text


@pytest.mark.parametrize(
    ("decibans", "word"),
    [(25.0, "very strongly"), (-12.0, "strongly"), (6.0, "clearly"), (2.5, "a little"), (0.3, "hardly")],
)
def test_strength(decibans: float, word: str) -> None:
    assert strength(decibans) == word


def test_of_two_recordings_it_is_said_of_which_a_unit_was_guessed() -> None:
    made = weighing()
    reports = [
        ReadReport("x", tuple(ColumnReading(f"H{n}", f"s{n}", "kPa", "guessed", "guessed") for n in range(many)),
                   ("a remark",))
        for many in (5, 5, 4)
    ]  # fmt: skip
    recordings = [replace(made.recording, label=f"{name}.csv", report=report)
                  for name, report in zip(("a", "b", "c"), reports, strict=True)]  # fmt: skip
    lines = next(p for p in in_words(made, recordings=recordings) if p.id == "read").lines
    guesses = [line for line in lines if "guessed from the values" in line]
    assert [line.partition(": ")[0] for line in guesses] == ["a.csv, b.csv", "c.csv"]
    assert guesses[0].count("s0 in kPa") == 1
    assert "a.csv, b.csv, c.csv: A remark." in lines
