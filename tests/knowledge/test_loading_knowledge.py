"""The loader takes what is sound and refuses the rest, naming file and entry."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from airproof.errors import BrokenKnowledge
from airproof.knowledge.load import knowledge, load_folder

JUDGED = 'source = "judged: these tests, because something must stand here"'

SOUND = {
    "causes.toml": f"""
[causes.none]
title = "Nothing"
says = "Nothing is wrong."
weight = 1.0
{JUDGED}

[causes.leak]
title = "A leak"
says = "Air enters."
weight = 2.0
unit = "mm"
size = {{low = 1.0, typical = 3.0, high = 9.0, signed = false}}
{JUDGED}
""",
    "codes.toml": f"""
[families.lean]
title = "lean"
{JUDGED}

[codes.P0171]
title = "Lean"
claims = "It is lean."
family = "lean"
sets = {{leak = 0.5}}
by_chance = 0.01
check_first = ["smoke"]
{JUDGED}

[codes.P0174]
like = "P0171"
title = "Lean, bank 2"
""",
    "steps.toml": f"""
[sources.a-manual]
title = "A manual"
taken = "a figure"
standing = "read"

[steps.smoke]
title = "Smoke"
kind = "measure"
minutes = 30
how = ["Smoke it."]
tells = {{leak = 0.9}}
otherwise = 0.05
if_so = "It smokes."
if_not = "It does not."
source = "a-manual"

[steps.mend]
title = "Mend"
kind = "repair"
part = "hose"
minutes = 40
how = ["Mend it."]
cures = {{leak = 0.9}}
after = ["smoke"]
{JUDGED}

[steps.hand-over]
title = "Hand over"
kind = "specialist"
minutes = 10
how = ["Go."]
ends = true
{JUDGED}

[prices]
currency = "USD"
labour_per_hour = 100
{JUDGED}

[prices.parts.hose]
title = "hose"
low = 5
typical = 10
high = 20
{JUDGED}
""",
}


def write(folder: Path, change: tuple[str, str, str] | None = None) -> Path:
    """The sound files, with one text in one of them changed."""
    for name, text in SOUND.items():
        if change is not None and name == change[0]:
            assert change[1] in text
            text = text.replace(change[1], change[2], 1)
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def test_sound_files_load(tmp_path: Path) -> None:
    known = load_folder(write(tmp_path))
    assert set(known.causes) == {"none", "leak"}
    assert known.steps["smoke"].positive_given("leak") == 0.9
    assert known.steps["smoke"].positive_given("none") == 0.05
    assert known.steps["smoke"].source == ("a-manual",)
    assert known.prices.part("hose") == 10.0
    assert known.prices.part(None) == 0.0


def test_a_code_like_another_takes_what_it_does_not_say(tmp_path: Path) -> None:
    known = load_folder(write(tmp_path))
    twin, first = known.codes["P0174"], known.codes["P0171"]
    assert twin.title == "Lean, bank 2"
    assert twin.id == "P0174"
    assert (twin.claims, twin.sets, twin.by_chance, twin.source) == (
        first.claims,
        first.sets,
        first.by_chance,
        first.source,
    )


@pytest.mark.parametrize(
    ("file", "old", "new", "names"),
    [
        ("causes.toml", JUDGED, "", "causes.toml, cause none: source"),
        ("causes.toml", JUDGED, 'source = ""', "causes.toml, cause none: source"),
        ("causes.toml", JUDGED, "source = []", "causes.toml, cause none: source"),
        ("causes.toml", JUDGED, 'source = "no-such-key"', "causes.toml, causes none: .*no-such-key"),
        ("causes.toml", JUDGED, 'source = "judged: me"', "causes.toml, causes none: "),
        ("causes.toml", "weight = 2.0", "weight = 0.0", "causes.toml, cause leak: weight"),
        ("causes.toml", "low = 1.0", "low = 4.0", "cause leak: size: .*4.0, 3.0, 9.0"),
        ("causes.toml", "low = 1.0", "low = -1.0", "cause leak: size.low"),
        ("causes.toml", 'unit = "mm"', "", "cause leak: entry: .*a size needs a unit"),
        ("causes.toml", "weight = 2.0", "weight = 2.0\ncolour = 'red'", "cause leak: colour"),
        ("causes.toml", "[causes.leak]", "[causes.Leak]", "cause Leak: id"),
        ("causes.toml", "[causes.none]", "[causes.nothing]", "no cause none"),
        ("causes.toml", "[causes.leak]", "[causes.none]", "causes.toml: not valid TOML"),
        ("causes.toml", "[causes.leak]", "[faults.leak]", r"causes.toml: unknown table \[faults\]"),
        ("codes.toml", "[families.lean]", "families = 3\n[x]", r"codes.toml: unknown table \[families\]"),
        (
            "causes.toml",
            "weight = 2.0",
            'weight = 2.0\napplies = {needs = ["wings"]}',
            "causes leak: unknown equipment wings",
        ),
        ("codes.toml", "leak = 0.5", "leek = 0.5", "codes.toml, codes P0171: unknown cause leek"),
        ("codes.toml", "leak = 0.5", "leak = 0.0", "codes.toml, code P0171: sets.leak"),
        ("codes.toml", "leak = 0.5", "leak = 1.0", "codes.toml, code P0171: sets.leak"),
        ("codes.toml", "leak = 0.5", "none = 0.5", "code P0171: entry: .*by_chance"),
        ("codes.toml", "by_chance = 0.01", "by_chance = 1.0", "code P0171: by_chance"),
        ("codes.toml", "by_chance = 0.01", "", "code P0171: by_chance"),
        ("codes.toml", 'family = "lean"', 'family = "fat"', "codes P0171: unknown family fat"),
        ("codes.toml", '["smoke"]', '["fog"]', "codes P0171: unknown step fog"),
        ("codes.toml", "[codes.P0171]", "[codes.P0G71]", "P0"),
        ("codes.toml", 'like = "P0171"', 'like = "P0999"', "codes.toml, codes P0174: like = 'P0999'"),
        ("codes.toml", 'like = "P0171"', 'like = "P0174"', "codes.toml, codes P0174: like = 'P0174'"),
        ("steps.toml", "leak = 0.9", "leek = 0.9", "steps.toml, steps smoke: unknown cause leek"),
        ("steps.toml", "otherwise = 0.05", "", "steps.toml, step smoke: .*otherwise"),
        ("steps.toml", "otherwise = 0.05", "otherwise = 0", "steps.toml, step smoke: otherwise"),
        ("steps.toml", 'if_so = "It smokes."', "", "step smoke: .*if_so"),
        ("steps.toml", "cures = {leak = 0.9}", "", "step mend: .*tell, cure, or end"),
        ("steps.toml", "cures = {leak = 0.9}", "cures = {leak = 1.1}", "step mend: cures.leak"),
        ("steps.toml", "cures = {leak = 0.9}", "cures = {none = 0.9}", "step mend: .*only watching"),
        ("steps.toml", "cures = {leak = 0.9}", "cures = {leek = 0.9}", "steps mend: unknown cause leek"),
        ("steps.toml", "ends = true", "ends = true\ncures = {leak = 0.9}", "step hand-over: .*one of three"),
        ("steps.toml", "ends = true", "cures = {leak = 0.9}", "no step ends the job"),
        ("steps.toml", 'after = ["smoke"]', 'after = ["mend"]', "steps mend: it must come after itself"),
        ("steps.toml", 'after = ["smoke"]', 'after = ["fog"]', "steps mend: unknown step fog"),
        ("steps.toml", 'part = "hose"', 'part = "pipe"', "steps mend: unknown part pipe"),
        ("steps.toml", "minutes = 40", "minutes = -1", "step mend: minutes"),
        ("steps.toml", 'kind = "repair"', 'kind = "pray"', "step mend: kind"),
        ("steps.toml", 'standing = "read"', 'standing = "rumour"', "source a-manual: standing"),
        ("steps.toml", 'currency = "USD"', 'currency = "dollars"', "prices: currency"),
        ("steps.toml", "typical = 10", "typical = 30", "prices: parts.hose: .*30"),
        ("steps.toml", "[prices.parts.hose]", "[prices.parts]", "parts are not tables"),
    ],
)
def test_unsound_data_is_refused_by_file_and_entry(tmp_path: Path, file: str, old: str, new: str, names: str) -> None:
    with pytest.raises(BrokenKnowledge) as refused:
        load_folder(write(tmp_path, (file, old, new)))
    assert re.search(names, str(refused.value)), str(refused.value)
    assert refused.value.exit_status == 1


def test_an_id_in_two_files_is_refused(tmp_path: Path) -> None:
    write(tmp_path)
    (tmp_path / "more.toml").write_text(SOUND["causes.toml"], encoding="utf-8")
    with pytest.raises(BrokenKnowledge, match=r"more.toml, causes none: none is already in causes.toml"):
        load_folder(tmp_path)


def test_a_folder_without_files_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BrokenKnowledge, match=r"no \.toml file"):
        load_folder(tmp_path)


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    write(tmp_path)
    (tmp_path / "codes.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BrokenKnowledge, match=r"codes\.toml: not valid TOML"):
        load_folder(tmp_path)


def test_what_ships_loads_once() -> None:
    assert knowledge() is knowledge()


def test_every_source_is_used() -> None:
    known = knowledge()
    used = {
        source
        for entries in (
            known.causes,
            known.equipment,
            known.families,
            known.areas,
            known.codes,
            known.symptoms,
            known.setups,
            known.looks,
            known.history,
            known.conditions,
            known.monitors,
            known.statuses,
            known.steps,
            known.prices.parts,
            known.sensors,
            known.thermistors,
            known.sensor_kinds,
            known.meter_tasks,
        )
        for entry in entries.values()
        for source in entry.source
    }
    assert set(known.sources) <= used


def test_no_data_file_is_too_long_to_read_at_one_sitting() -> None:
    folder = Path(__file__).parents[2] / "src/airproof/knowledge/data"
    for file in folder.rglob("*.toml"):
        text = file.read_text(encoding="utf-8")
        assert tomllib.loads(text)
        assert text.count("\n") <= 450, file.name


LOOK = f"""
[looks.split]
title = "Split"
says = "It is split."
if_not = "It is whole."
step = "smoke"
sets = {{leak = 0.4}}
by_chance = 0.02
{JUDGED}
"""


def with_told(folder: Path, name: str, text: str) -> Path:
    write(folder)
    (folder / "told").mkdir()
    (folder / "told" / name).write_text(text, encoding="utf-8")
    return folder


def test_what_is_told_is_read_when_it_is_asked_for(tmp_path: Path) -> None:
    known = load_folder(with_told(tmp_path, "looks.toml", LOOK))
    assert list(known.looks) == ["split"]
    assert known.looks["split"].step == "smoke"
    assert list(known.history) == []
    # a fault in a file that nobody asks for keeps nobody from their verdict
    (tmp_path / "told" / "history.toml").write_text("[history", encoding="utf-8")
    again = load_folder(tmp_path)
    assert again.causes
    with pytest.raises(BrokenKnowledge, match=r"history\.toml: not valid TOML"):
        len(again.history)


@pytest.mark.parametrize(
    ("old", "new", "names"),
    [
        ("leak = 0.4", "lek = 0.4", "looks.toml, looks split: unknown cause lek"),
        ('step = "smoke"', 'step = "mend"', "looks split: unknown step that tells mend"),
        ('step = "smoke"', 'family = "hoses"', "looks split: unknown family hoses"),
        (JUDGED, "", "looks.toml, look split: source"),
        (JUDGED, 'source = "hearsay"', "looks split: source 'hearsay'"),
        ("[looks.split]", "[causes.split]", r"unknown table \[causes\]"),
        ("by_chance = 0.02", "by_chance = 1.0", "look split: by_chance"),
    ],
)
def test_what_is_told_and_unsound_is_refused(tmp_path: Path, old: str, new: str, names: str) -> None:
    assert old in LOOK
    known = load_folder(with_told(tmp_path, "looks.toml", LOOK.replace(old, new, 1)))
    with pytest.raises(BrokenKnowledge, match=names):
        len(known.looks)


def test_families_name_monitors_that_there_are() -> None:
    known = knowledge()
    assert known.monitors
    used = {code.family for code in known.codes.values()}
    looked_for = {name: known.families[name].monitor for name in used}
    # No car needs to have what these speak of: that none is stored says nothing.
    assert {name for name, one in looked_for.items() if one is None} == {
        "particulate-filter",
        "exhaust-pressure-sensor",
        "boost-position",
    }
    assert {one for one in looked_for.values() if one is not None} <= set(known.monitors)
    assert all(0.0 < known.families[name].alike < 1.0 for name in used)
