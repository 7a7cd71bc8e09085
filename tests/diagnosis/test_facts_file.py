"""Facts from files: every kind, corrections and withdrawals, and every way to get one wrong in a line."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_cases import TURBO

from airproof.diagnosis.facts import Facts, FreezeFrame, Noted, Readiness, StoredCode
from airproof.diagnosis.facts_file import load_facts
from airproof.diagnosis.readings import EngineOffReading, Outcome
from airproof.diagnosis.weigh import weigh
from airproof.errors import AirproofError, UnusableFile
from airproof.knowledge.load import knowledge
from airproof.report.as_json import as_json

KNOWN = knowledge()

EVERYTHING = """
[[code]]
id = "p0106"
status = "pending"
order = 1
note = "read on the road"

[[code]]
id = "P0171"

[[freeze_frame]]
code = "P0106"
engine_speed = "780 1/min"
manifold_pressure = "15,4 inHg"
short_trim_1 = "4 %"
coolant_temperature = "190 F"
fuel_system_status = "closed loop"
lambda = 1.02

[readiness]
codes_read = true
misfire = "complete"
fuel_system = "incomplete"
egr = "not supported"

[[symptom]]
id = "rough idle"

[[look]]
id = "plug off"
found = false

[[history]]
id = "intake-work"

[[condition]]
id = "only-cold"

[[reading]]
step = "look-hoses"
found = false

[[reading]]
signal = "manifold_pressure"
value = "108.5 kPa"
"""


def written(folder: Path, text: str, name: str = "facts.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def read(folder: Path, *texts: str) -> Facts:
    return load_facts([written(folder, text, f"{k}.toml") for k, text in enumerate(texts)], KNOWN)


def test_every_kind_of_fact(tmp_path: Path) -> None:
    facts = read(tmp_path, EVERYTHING)
    assert facts.codes == (StoredCode("P0106", "pending", 1), StoredCode("P0171", "stored", None))
    assert facts.noted == (
        Noted("symptom", "rough-idle"),
        Noted("look", "plug-loose", found=False),
        Noted("history", "intake-work"),
        Noted("condition", "only-cold"),
    )
    assert facts.readings == (Outcome("look-hoses", False), EngineOffReading("manifold_pressure", 108.5))
    assert facts.readiness == Readiness({"misfire": True, "fuel-system": False, "egr": False}, codes_read=True)
    (frame,) = facts.frames
    assert frame.code == "P0106"
    # 1 inHg = 3386.389 Pa; 190 degF = 87.778 degC; item 03 of SAE J1979 has bit 1 for closed loop
    assert frame.values["manifold_pressure"] == pytest.approx(15.4 * 3.386389, abs=1e-4)
    assert frame.values["coolant_temperature"] == pytest.approx(87.7778, abs=1e-3)
    assert (frame.values["fuel_system_status"], frame.values["lambda"]) == (2.0, 1.02)


def test_the_file_on_the_page_can_be_read(tmp_path: Path) -> None:
    page = (Path(__file__).parents[2] / "docs" / "evidence.md").read_text(encoding="utf-8")
    facts = read(tmp_path, page.split("```toml\n")[1].split("```")[0])
    assert facts.codes[0] == StoredCode("P0106", "pending", 1)
    assert len(facts.frames) == len(facts.noted) == len(facts.readings) == 1


def test_flags_are_said_first_and_a_file_corrects_them(tmp_path: Path) -> None:
    path = written(tmp_path, '[[code]]\nid = "P0106"\nwithdrawn = true\n[[symptom]]\nid = "stalling"\nfound = false\n')
    facts = load_facts([path], KNOWN, codes=["P0106", "P0171"], symptoms=["rough-idle", "stalling"])
    assert facts.codes == (StoredCode("P0171"),)
    assert set(facts.noted) == {Noted("symptom", "rough-idle"), Noted("symptom", "stalling", found=False)}


LATER = {
    "a code's status": (
        '[[code]]\nid = "P0106"\nstatus = "stored"\norder = 1\n',
        "codes",
        StoredCode("P0106", "stored", 1),
    ),
    "a look": ('[[look]]\nid = "plug-loose"\n', "noted", Noted("look", "plug-loose")),
    "a frame": (
        '[[freeze_frame]]\ncode = "P0106"\nengine_speed = "900 rpm"\n',
        "frames",
        FreezeFrame("P0106", {"engine_speed": 900.0}),
    ),
}


@pytest.mark.parametrize("what", LATER)
def test_a_later_entry_takes_the_earlier_one_s_place(tmp_path: Path, what: str) -> None:
    text, field, wanted = LATER[what]
    before, after = read(tmp_path, EVERYTHING), read(tmp_path, EVERYTHING, text)
    assert wanted in getattr(after, field)
    assert len(getattr(after, field)) == len(getattr(before, field))


def test_readings_are_corrected_by_their_id(tmp_path: Path) -> None:
    first = '[[reading]]\nid = "by torch"\nstep = "look-hoses"\nfound = false\n'
    again = '[[reading]]\nid = "by torch"\nstep = "look-hoses"\nfound = true\n'
    assert read(tmp_path, first, again).readings == (Outcome("look-hoses", True),)
    assert read(tmp_path, first, '[[reading]]\nid = "by torch"\nwithdrawn = true\n').readings == ()
    with pytest.raises(UnusableFile, match="under two ids"):
        read(tmp_path, first, again.replace("by torch", "by daylight"))


TAKEN_BACK = {
    "code": ('[[code]]\nid = "P0299"\norder = 1\n', '[[code]]\nid = "P0299"\nwithdrawn = true\n'),
    "frame": (
        '[[freeze_frame]]\nid = "f1"\ncode = "P0171"\nengine_speed = "2000 rpm"\n'
        'manifold_pressure = "40 kPa"\nair_flow = "40 g/s"\n',
        '[[freeze_frame]]\nid = "f1"\nwithdrawn = true\n',
    ),
    "symptom": ('[[symptom]]\nid = "whistle"\n', '[[symptom]]\nid = "whistle"\nwithdrawn = true\n'),
    "look": ('[[look]]\nid = "hose-split"\n', '[[look]]\nid = "split hose"\nwithdrawn = true\n'),
    "history": ('[[history]]\nid = "ran-dry"\nfound = false\n', '[[history]]\nid = "ran-dry"\nwithdrawn = true\n'),
    "condition": ('[[condition]]\nid = "over-bumps"\n', '[[condition]]\nid = "over-bumps"\nwithdrawn = true\n'),
    "step": (
        '[[reading]]\nid = "r"\nstep = "look-throttle"\nfound = true\n',
        '[[reading]]\nid = "r"\nwithdrawn = true\n',
    ),
    "pressure": (
        '[[reading]]\nsignal = "barometric_pressure"\nvalue = "90 kPa"\n',
        '[[reading]]\nsignal = "barometric_pressure"\nvalue = "90 kPa"\nwithdrawn = true\n',
    ),
}


@pytest.mark.parametrize("what", TAKEN_BACK)
def test_what_is_withdrawn_was_never_said(tmp_path: Path, what: str) -> None:
    """The whole verdict, to the last digit, as if it had not been; and it did move while it stood."""
    said, taken_back = TAKEN_BACK[what]
    never = as_json(weigh([], TURBO, facts=read(tmp_path, EVERYTHING)))
    while_it_stood = as_json(weigh([], TURBO, facts=read(tmp_path, EVERYTHING, said)))
    assert while_it_stood != never
    assert as_json(weigh([], TURBO, facts=read(tmp_path, EVERYTHING, said, taken_back))) == never
    in_place = said + "withdrawn = true\n"
    assert as_json(weigh([], TURBO, facts=read(tmp_path, EVERYTHING, in_place))) == never


BAD = {
    "an empty file": ("", "no other fact"),
    "no such code": ('[[code]]\nid = "P01"\n', "'P01' is not a code"),
    "a code of elsewhere": ('[[code]]\nid = "P0700"\n', "transmission"),
    "no such status": ('[[code]]\nid = "P0106"\nstatus = "active"\n', "active"),
    "an order from nought": ('[[code]]\nid = "P0106"\norder = 0\n', "order"),
    "no such look": ('[[look]]\nid = "hose-splitt"\n', "hose-split"),
    "no such condition": ('[[condition]]\nid = "on Sundays"\n', "only-cold"),
    "a word for found": ('[[history]]\nid = "ran-dry"\nfound = "maybe"\n', "found"),
    "a frame without code": ('[[freeze_frame]]\nengine_speed = "780 1/min"\n', "'' is not a code"),
    "a frame without values": ('[[freeze_frame]]\ncode = "P0106"\n', "no value"),
    "a signal that is none": ('[[freeze_frame]]\ncode = "P0106"\nengine_sped = "780 1/min"\n', "engine_speed"),
    "a value without unit": ('[[freeze_frame]]\ncode = "P0106"\nengine_speed = 780\n', "780"),
    "a gauge pressure": ('[[freeze_frame]]\ncode = "P0106"\nmanifold_pressure = "5 psig"\n', "absolute"),
    "beyond what can be": ('[[freeze_frame]]\ncode = "P0106"\nengine_speed = "99999 1/min"\n', "16383"),
    "a unit of another kind": ('[[freeze_frame]]\ncode = "P0106"\nair_flow = "3 kPa"\n', "mass flow"),
    "a ratio in words": ('[[freeze_frame]]\ncode = "P0106"\nlambda = "rich"\n', "rich"),
    "no such monitor": ('[readiness]\nexhaust = "complete"\n', "exhaust"),
    "no such readiness": ('[readiness]\nmisfire = "yes"\n', "yes"),
    "taking back nothing": ('[[reading]]\nid = "x"\nwithdrawn = true\n', "was not said"),
    "taking back without id": ("[[reading]]\nwithdrawn = true\n", "no id"),
    "twice without an id": ('[[reading]]\nstep = "look-hoses"\nfound = true\n' * 2, "twice"),
    "an unknown table": ('[[rumour]]\nid = "x"\n', "rumour"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_file_is_one_line(tmp_path: Path, name: str) -> None:
    text, named = BAD[name]
    path = written(tmp_path, text)
    with pytest.raises(UnusableFile) as caught:
        load_facts([path], KNOWN)
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith(str(path))
    assert named in message
    assert caught.value.way_out


keys = st.sampled_from(
    ["id", "code", "status", "order", "found", "withdrawn", "engine_speed", "step", "signal", "value"]
)
values = st.one_of(
    st.booleans(), st.integers(-3, 200), st.floats(allow_nan=False, allow_infinity=False),
    st.text("ab 1.\"\n", max_size=8),
    st.sampled_from(["P0106", "plug-loose", "780 1/min", "complete", "look-hoses", "manifold_pressure", "98 kPa"]),
)  # fmt: skip
tables = st.sampled_from(["code", "freeze_frame", "symptom", "look", "history", "condition", "reading", "readiness"])


@given(st.lists(st.tuples(tables, st.dictionaries(keys, values, max_size=4)), max_size=4))
def test_any_file_is_read_or_refused_in_words(tmp_path_factory: pytest.TempPathFactory, entries: list) -> None:  # type: ignore[type-arg]
    import json

    def written_as(value: object) -> str:
        return json.dumps(value) if not isinstance(value, float) else repr(value)

    text = ""
    for table, entry in entries:
        head = f"[{table}]" if table == "readiness" else f"[[{table}]]"
        text += head + "\n" + "".join(f"{key} = {written_as(value)}\n" for key, value in entry.items())
    path = written(tmp_path_factory.mktemp("fuzz"), text)
    try:
        assert isinstance(load_facts([path], KNOWN), Facts)
    except AirproofError as fault:
        refused = fault
    else:
        return
    assert "\n" not in str(refused)
    assert refused.way_out
