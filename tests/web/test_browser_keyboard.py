"""A whole job by keyboard alone, and pages as a screen reader walks through them."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise

import pytest
from playwright.sync_api import Browser, Locator, Page, expect
from visiting import DEMO, LAPTOP, PHONE, Visitor, weighed

FAR = 250  # presses of Tab: no page of ours has so much to stop at
PAGES = ("/", "/new", "/job/1", "/job/1/step/measure-key-on-signal", "/settings", "/rehearse", "/job/1/delete")


def go_to(page: Page, place: Locator) -> None:
    """Press Tab until that has the focus."""
    for _ in range(FAR):
        page.keyboard.press("Tab")
        if place.evaluate("e => e === document.activeElement"):
            return
    raise AssertionError(f"no way to {place} by Tab")


def type_into(page: Page, label: str, text: str) -> None:
    """Fill a field by keys; in a choice, the first letters of what is meant."""
    go_to(page, page.get_by_label(label, exact=True))
    page.keyboard.type(text)


def press(page: Page, place: Locator) -> None:
    """Go there and press Enter."""
    go_to(page, place)
    page.keyboard.press("Enter")


def test_a_whole_job_needs_no_mouse(browser: Browser, served: str) -> None:
    visitor = Visitor(browser, served, LAPTOP)
    page = visitor.opens("/")
    press(page, page.get_by_role("link", name="Open a new job"))
    page.wait_for_url("**/new")
    type_into(page, "The complaint, in the owner's words", "by keys alone")
    type_into(page, "Displacement, litres", "2.0")
    type_into(page, "Cylinders", "4")
    type_into(page, "Induction", "turbo")
    type_into(page, "How it meters its air", "by an air")
    type_into(page, "Altitude of the place, m", "350m")
    type_into(page, "Codes, as you have them", "P0106")
    press(page, page.get_by_role("button", name="Open the job"))
    page.wait_for_url("**/job/*")
    page.locator("#weighing").wait_for()
    with page.expect_file_chooser() as asked:  # asked for before the way there: it takes the browser a moment to heed
        press(page, page.locator(".drop input[type=file]"))
    asked.value.set_files(DEMO / "recording.csv")
    expect(page.locator(".drop [data-said]")).to_contain_text("It is in the job")
    expect(weighed(page)).to_contain_text("8 kPa high")
    expect(page.locator("#heard")).to_contain_text(re.compile("Weighed. .*the manifold pressure sensor", re.I))
    page.reload()  # the focus begins at the top again
    press(page, weighed(page).get_by_role("link", name="Replace the manifold pressure sensor"))
    page.wait_for_url("**/step/replace-map-sensor")
    go_to(page, page.get_by_role("radio").first)
    page.keyboard.press("Space")
    press(page, page.get_by_role("button", name="Keep it, and go on"))
    page.wait_for_url("**/job/*#proof")
    expect(page.locator("#page")).to_contain_text("A repair is proved when")
    press(page, page.locator("summary", has_text="Close the job"))
    press(page, page.get_by_role("button", name="Close the job"))
    expect(page.locator("#page")).to_contain_text("Closed: Manifold pressure sensor")
    assert visitor.outside() == []
    visitor.context.close()


@pytest.mark.parametrize("path", PAGES)
def test_headings_go_down_step_by_step(browser: Browser, served: str, path: str) -> None:
    """One heading of the first level, and none that is two levels below the one before."""
    visitor = Visitor(browser, served, PHONE)
    page = visitor.opens(path)
    READY.get(path, lambda page: None)(page)
    page.evaluate("document.querySelectorAll('main details').forEach(one => { one.open = true; })")
    page.wait_for_timeout(1500)
    levels = page.locator("#page :is(h1, h2, h3, h4, h5)").evaluate_all("all => all.map(e => Number(e.tagName[1]))")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels)), levels
    assert page.get_by_role("main").count() == 1
    visitor.context.close()


READY: dict[str, Callable[[Page], object]] = {
    "/job/1": weighed,
    "/rehearse": lambda page: page.locator("table").wait_for(),
}
