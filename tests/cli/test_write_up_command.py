"""`airproof job write-up` and the teaching sheets, as a user runs them."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
from command_line import Airproof, Car

from airproof.report.exhibits import check_folder


@pytest.fixture
def job(airproof: Airproof, car: Car, tmp_path: Path) -> list[str]:
    data = ["--data", str(tmp_path / "jobs")]
    told = ["--plate", "AB C 123", "--owner", "Erika Beispiel", "--complaint", "lamp on", "--altitude", "350m"]
    assert airproof("job", "new", *told, "--engine", car.engine, "--code", "P0106", *data).status == 0
    assert airproof("job", "add", "1", "--recording", car.lying, *data).status == 0
    return data


def test_both_files_from_one_command(airproof, job, tmp_path):
    pdf, html = tmp_path / "it.pdf", tmp_path / "it.html"
    ended = airproof("job", "write-up", "1", "--out", pdf, "--out", html, "--units", "inHg", *job)
    assert ended.status == 0, ended.err
    assert pdf.read_bytes().startswith(b"%PDF-1.7")
    page = html.read_text(encoding="utf-8")
    assert "inHg" in page
    assert "Erika Beispiel" in page
    assert str(pdf) in ended.out.replace("\n", "")


def test_private_data_and_language(airproof, job, tmp_path):
    html = tmp_path / "it.html"
    ended = airproof(
        "job", "write-up", "1", "--out", html, "--language", "de", "--without-private", "--json", *job
    )  # fmt: skip
    assert ended.status == 0, ended.err
    assert json.loads(ended.out)["files"] == [str(html)]
    page = html.read_text(encoding="utf-8")
    assert "Beispiel" not in page
    assert "AB C 123" not in page
    assert "Woher wir das wissen" in page


def test_a_job_without_anything_to_weigh_is_written_up(airproof, tmp_path):
    data, html = ["--data", str(tmp_path / "jobs")], tmp_path / "it.html"
    assert airproof("job", "new", "--complaint", "lamp on", *data).status == 0
    ended = airproof("job", "write-up", "1", "--out", html, *data)
    assert ended.status == 0, ended.err
    assert "Nothing was judged yet." in html.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ([], "--out is missing"),
        (["--out", "it.docx"], ".pdf and .html"),
        (["--out", "it.pdf", "--paper", "a3"], "a4, letter"),
        (["--out", "it.pdf", "--units", "furlong"], "kPa, inHg, psi, bar, mmHg"),
        (["--out", "it.pdf", "--language", "tlh"], "en, de, fr, es"),
        (["--out", "https://example.org/it.pdf"], "an address on the network"),
        (["--out", "no/such/folder/it.pdf"], "a folder that exists"),
    ],
)
def test_what_is_refused_says_what_is_wanted(airproof, job, tmp_path, monkeypatch, options, says):
    monkeypatch.chdir(tmp_path)
    ended = airproof("job", "write-up", "1", *options, *job)
    assert ended.status == 2
    assert says in ended.line
    assert not list(tmp_path.glob("it.*"))


@pytest.mark.parametrize("ending", ["pdf", "html"])
def test_only_a_write_up_of_before_is_written_over(airproof, car, job, tmp_path, ending):
    out = tmp_path / f"it.{ending}"
    out.write_text("<p>mine</p>", encoding="utf-8")
    for words in (("job", "write-up", "1", "--out", out, *job),
                  ("weigh", "--engine", car.engine, "--code", "P0106", "--write-up", out)):  # fmt: skip
        refused = airproof(*words)
        assert refused.status == 2
        assert "Airproof did not write it" in refused.line
        assert out.read_text(encoding="utf-8") == "<p>mine</p>"
    out.unlink()
    for _ in range(2):
        assert airproof("job", "write-up", "1", "--out", out, *job).status == 0


def test_a_fault_and_a_job_are_taught(airproof, car, job, tmp_path):
    one, other = tmp_path / "one", tmp_path / "other"
    ended = airproof("rehearse", "--engine", car.engine, "--cause", "map-offset=12kPa", "--compare", "--sheet", one)
    assert ended.status == 0, ended.err
    names = {"sheet.pdf", "sheet.html"} | {f"exhibit-{n}.{ending}" for n in (1, 2, 3) for ending in ("svg", "png")}
    assert {file.name for file in one.iterdir()} == names
    check_folder(one, names)  # may be made anew
    refused = airproof("job", "teach", "1", "--out", other, *job)
    assert refused.status == 2
    assert "airproof job weigh 1" in refused.line
    assert airproof("job", "add", "1", "--closed", "map-offset", *job).status == 0
    assert airproof("job", "teach", "1", "--out", other, *job).status == 0
    assert {file.name for file in other.iterdir()} == names


def test_a_sheet_needs_a_fault(airproof, car, tmp_path):
    ended = airproof("rehearse", "--engine", car.engine, "--compare", "--sheet", tmp_path / "one")
    assert ended.status == 2
    assert "--cause" in ended.line


def test_a_verdict_without_a_job_is_written_up(airproof, car, tmp_path):
    html, pdf = tmp_path / "verdict.html", tmp_path / "verdict.pdf"
    facts = tmp_path / "facts.toml"
    facts.write_text(
        '[[freeze_frame]]\ncode = "P0106"\nmanifold_pressure = "42 kPa"\nengine_speed = "780 1/min"\n'
        '[readiness]\ncodes_read = true\nmisfire = "complete"\n[[look]]\nid = "plug-loose"\nfound = false\n'
        '[[reading]]\nstep = "smoke-test-intake"\nfound = false\n'
        '[[reading]]\nsignal = "barometric_pressure"\nvalue = "97.3 kPa"\n',
        encoding="utf-8",
    )
    words = ["weigh", car.lying, "--engine", car.engine, "--code", "P0106", "--altitude", "350m", "--reading", facts]
    ended = airproof(*words, "--write-up", html, "--write-up", pdf, "--language", "fr")
    assert ended.status == 0, ended.err
    page = html.read_text(encoding="utf-8")
    assert hashlib.sha256(car.lying.read_bytes()).hexdigest() in page
    for told in ("42\xa0kPa absolus", "97,3\xa0kPa absolus", "Fiche du capteur lâche", "Tester l'admission à la fumée"):
        assert told in page, told
    assert pdf.read_bytes().startswith(b"%PDF")
