"""The page of HTML in a browser: nothing is fetched, nothing is too wide, and whoever cannot see is not lost."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from invented_case import case
from playwright.sync_api import Browser, sync_playwright

from airproof.quantities.wishes import AS_IT_IS
from airproof.report.language.language import language
from airproof.report.write_up.html import as_html
from airproof.report.write_up.written import write_up_of

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = next((found for name in NAMES if (found := shutil.which(name))), None)
    if path is None:
        pytest.skip(f"no browser is installed: one of {', '.join(NAMES)}")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("page") / "write-up.html"
    file.write_text(as_html(write_up_of(case(), language("de"), AS_IT_IS)), encoding="utf-8")
    return file


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1200])
def test_in_light_and_dark_on_a_phone_and_a_desk(browser, page_file, width, scheme):
    page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme, java_script_enabled=True)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(page_file.as_uri())
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate("[...document.images].every(one => one.complete && one.naturalWidth > 0)")
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    page.close()


def test_it_reads_without_script(browser, page_file):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(page_file.as_uri())
    assert "Woher wir das wissen" in page.inner_text("body")
    context.close()
