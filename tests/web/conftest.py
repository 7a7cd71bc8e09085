"""The pages in a real browser: the system's Chromium, driven by Playwright, against `airproof serve` in a process."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright
from visiting import DEMO, LAPTOP, PHONE, Visitor

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")


def chromium() -> str | None:
    """The system's Chromium, or the one that AIRPROOF_CHROMIUM names."""
    named = os.environ.get("AIRPROOF_CHROMIUM", "")
    return named or next((found for name in NAMES if (found := shutil.which(name))), None)


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of pages over a store of their own, with the demo job as job 1."""
    if chromium() is None:
        pytest.skip("no Chromium here: install the system's, or name one in AIRPROOF_CHROMIUM")
    folder = tmp_path_factory.mktemp("pages")
    words = [sys.executable, "-m", "airproof", "serve", "--data", str(folder), "--demo", str(DEMO)]
    surroundings = os.environ | {"PYTHONUNBUFFERED": "1", "AIRPROOF_AUTHOR": "tester"}
    surroundings.pop("PYTEST_CURRENT_TEST", None)  # the pages' own library looks for it and then is no server
    with subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, encoding="utf-8", env=surroundings
    ) as process:
        try:
            assert process.stdout is not None
            first = process.stdout.readline()
            assert "http://127.0.0.1:" in first, first + process.stdout.read()
            yield first.split()[-1].removesuffix("/job/1")
        finally:
            process.terminate()
            process.wait(timeout=20)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for a file of tests: no test of ours needs a loop of its own beside it."""
    path = chromium()
    if path is None:
        pytest.skip("no Chromium here: install the system's, or name one in AIRPROOF_CHROMIUM")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture(params=[PHONE, LAPTOP], ids=["phone", "laptop"])
def visitor(request: pytest.FixtureRequest, browser: Browser, served: str) -> Iterator[Visitor]:
    """A visitor on a phone and one on a laptop, neither of whom ever asks for anything from outside."""
    yield from _visits(browser, served, request.param)


@pytest.fixture
def phone(browser: Browser, served: str) -> Iterator[Visitor]:
    """A visitor on a phone."""
    yield from _visits(browser, served, PHONE)


def _visits(browser: Browser, served: str, size: tuple[int, int]) -> Iterator[Visitor]:
    visitor = Visitor(browser, served, size)
    yield visitor
    visitor.context.close()
    assert visitor.outside() == []
    assert visitor.trouble == []
