"""The worked examples of docs/extending.md do what the page says."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import airproof.knowledge
from airproof.diagnosis import examine
from airproof.diagnosis import weigh as weighing
from airproof.diagnosis.facts import facts_of
from airproof.diagnosis.facts_file import load_facts
from airproof.engine.profile import load_profile
from airproof.errors import UnusableFile
from airproof.knowledge.load import load_folder
from airproof.knowledge.model import Knowledge
from airproof.recording.assemble import assemble
from airproof.recording.readers import read_recording
from airproof.report.explained import explain

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "docs" / "extending.md").read_text(encoding="utf-8")
DEMO = ROOT / "examples" / "demo-job"


def blocks(heading: str) -> list[str]:
    """The examples under a heading."""
    section = re.split(r"^## ", PAGE, flags=re.MULTILINE)
    text = next(one for one in section if one.startswith(heading + "\n"))
    return re.findall(r"```\w+\n(.*?)```", text, re.DOTALL)


def known_with(folder: Path, *tables: str, looks: str = "") -> Knowledge:
    """All that ships, with tables added."""
    data = folder / "data"
    shutil.copytree(Path(str(airproof.knowledge.__path__[0])) / "data", data)
    (data / "added.toml").write_text("\n".join(tables), encoding="utf-8")
    if looks:
        there = data / "told" / "looks.toml"
        there.write_text(there.read_text(encoding="utf-8") + "\n" + looks, encoding="utf-8")
    return load_folder(data)


def namespace(code: str) -> SimpleNamespace:
    found: dict[str, object] = {"__name__": "example"}
    exec(compile(code, "docs/extending.md", "exec"), found)
    return SimpleNamespace(**found)


def test_a_step(tmp_path):
    known = known_with(tmp_path, *blocks("A step"))
    told = explain("feel-charge-hoses", known)
    assert told.title == "Squeeze the charge hoses"
    assert any("Charge air escapes" in line for part in told.parts for line in part.lines)
    file = tmp_path / "looked.toml"
    file.write_text('[[reading]]\nstep = "feel-charge-hoses"\nfound = true\n', encoding="utf-8")
    profile = load_profile(DEMO / "engine.toml")
    without = weighing.weigh([], profile, facts=facts_of(["P0299"], []), known=known).verdict
    with_it = weighing.weigh([], profile, facts=load_facts([file], known, ["P0299"]), known=known).verdict
    assert with_it.probability("boost-leak") > 1.5 * without.probability("boost-leak")


def test_a_cause(tmp_path):
    table, look = blocks("A cause")
    known = known_with(tmp_path, table, looks=look)
    file = tmp_path / "looked.toml"
    file.write_text('[[look]]\nid = "cooler-iced"\n', encoding="utf-8")
    profile = load_profile(DEMO / "engine.toml")
    verdict = weighing.weigh([], profile, facts=load_facts([file], known), known=known).verdict
    assert verdict.first.id == "charge-cooler-iced"
    assert sum(cause.probability for cause in verdict.causes) == pytest.approx(1.0)
    recorded = weighing.weigh([read_recording(DEMO / "recording.csv")], profile, known=known).verdict
    assert 0.0 < recorded.probability("charge-cooler-iced") < 0.02
    naturally = profile.model_copy(update={"induction": "naturally-aspirated", "rated_boost_kpa": None})
    assert "charge-cooler-iced" not in {one.id for one in weighing.weigh([], naturally, known=known).verdict.causes}


def test_a_check(monkeypatch):
    check = namespace(blocks("A check")[0]).check
    recording, profile = read_recording(DEMO / "recording.csv"), load_profile(DEMO / "engine.toml")
    before = weighing.weigh([recording], profile).verdict
    monkeypatch.setattr(examine, "CHECKS", (*examine.CHECKS, check))
    after = weighing.weigh([recording], profile).verdict
    found = next(one for one in after.findings if one.id == "supply-at-idle")
    assert 13.0 < found.value < 14.5
    assert not found.unexpected
    assert "at idle (healthy: 13.3 to 14.7)" in found.says
    assert after.first.id == before.first.id
    evidence = after.first.evidence
    odds = after.first.probability / (1.0 - after.first.probability)
    assert sum(one.decibans for one in evidence) == pytest.approx(10.0 * np.log10(odds), abs=1e-6)


def test_a_sensor(tmp_path):
    known = known_with(tmp_path, *blocks("A sensor"))
    line = known.sensors["example-absolute-300-kpa"]
    assert line.slope_per_kpa is not None
    assert line.offset is not None
    for kpa, volts in line.points:
        assert 5.0 * (line.slope_per_kpa * kpa + line.offset) == pytest.approx(volts, abs=1e-3)


def test_a_reader(tmp_path):
    read = namespace(blocks("A reader")[0]).read_pairs
    file = tmp_path / "drive.txt"
    rows = (f"time [s]={t / 2}; engine speed [1/min]=780; manifold pressure [kPa]={36 + t % 2}; x=1" for t in range(40))
    file.write_text("\n".join(rows), encoding="utf-8")
    recording = assemble(read(file), file.name, None)
    assert set(recording) == {"engine_speed", "manifold_pressure"}
    assert recording["manifold_pressure"].values[:2] == pytest.approx([36.0, 37.0])
    assert recording.duration_s == pytest.approx(19.5)
    file.write_text("no pairs here", encoding="utf-8")
    with pytest.raises(UnusableFile, match="line 1"):
        read(file)
