"""The documents as a site: it builds without a warning and fetches nothing; the walked-through job runs as it says."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from airproof.cli.main import run

ROOT = Path(__file__).resolve().parents[1]
WALK = (ROOT / "docs" / "walkthrough.md").read_text(encoding="utf-8")
FETCHED = re.compile(
    r"""<(?:script|img|link|iframe|source|audio|video)\b[^>]*\b(?:src|href|srcset)=["'](?P<address>[^"']*)["']"""
    r"""|url\(\s*["']?(?P<styled>[^"')]+)|@import\s+["'](?P<imported>[^"']+)"""
)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site") / "site"
    done = subprocess.run(
        [sys.executable, "-m", "mkdocs", "build", "--strict", "--quiet", "--site-dir", str(folder)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


def test_the_site_has_every_document(site):
    pages = {path.relative_to(site).with_suffix("").as_posix() for path in site.rglob("*.html")}
    assert {path.stem for path in (ROOT / "docs").glob("*.md")} <= pages
    assert (site / "schemas" / "verdict-1.json").is_file()


def test_every_document_is_in_the_navigation(site):
    text = (ROOT / "mkdocs.yml").read_text(encoding="utf-8")
    named = set(re.findall(r"(\w+\.md)", text))
    assert {path.name for path in (ROOT / "docs").glob("*.md")} == named


def test_its_pages_fetch_nothing(site):
    for page in (*site.rglob("*.html"), *site.rglob("*.css")):
        for found in FETCHED.finditer(page.read_text(encoding="utf-8")):
            address = found["address"] or found["styled"] or found["imported"] or ""
            assert not re.match(r"(?:https?:)?//", address), f"{page.name} fetches {address}"


def test_the_job_walked_through_runs_as_it_says(tmp_path, monkeypatch, capsys):
    for name in ("engine.toml", "recording.csv"):
        shutil.copy(ROOT / "examples" / "demo-job" / name, tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("AIRPROOF_DATA", str(tmp_path / "jobs"))
    monkeypatch.setenv("COLUMNS", "200")
    said, commands = "", 0
    for line in re.findall(r"^    (.+)$", WALK, re.MULTILINE):
        if not line.startswith("airproof "):
            assert line in said, line
            continue
        commands += 1
        with pytest.raises(SystemExit) as ended:
            run(shlex.split(line)[1:])
        out = capsys.readouterr()
        assert not ended.value.code, out.err
        said = " ".join(out.out.split())
    assert commands == 9
    assert (tmp_path / "job-1.pdf").read_bytes().startswith(b"%PDF")
    assert (tmp_path / "sheet" / "exhibit-3.png").is_file()
