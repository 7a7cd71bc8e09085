"""What a visitor does on the pages, in words."""

from __future__ import annotations

import re
from pathlib import Path

from playwright.sync_api import Browser, Locator, Page, Request, expect

PROJECT = Path(__file__).resolve().parents[2]
DEMO = PROJECT / "examples" / "demo-job"
PHONE, LAPTOP = (390, 844), (1440, 900)
PATIENT_MS = 30_000
expect.set_options(timeout=PATIENT_MS)  # two cores that run every other test as well may take a while
ENGINE = {"Displacement, litres": "2.0", "Cylinders": "4"}
CHOICES = {"Induction": "turbocharged", "How it meters its air": "air-flow sensor"}


class Visitor:
    """Somebody with a browser; everything it asked for, and everything that went wrong in it, is kept."""

    def __init__(self, browser: Browser, address: str, size: tuple[int, int], *, dark: bool = False) -> None:
        self.address = address
        self.context = browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            color_scheme="dark" if dark else "light",
            accept_downloads=True,
        )
        self.context.set_default_timeout(PATIENT_MS)
        self.asked: list[str] = []
        self.trouble: list[str] = []
        self.context.on("request", self._ask)
        self.context.on("weberror", lambda fault: self.trouble.append(str(fault.error)))

    def _ask(self, request: Request) -> None:
        self.asked.append(request.url)

    def opens(self, path: str) -> Page:
        """A page of ours in a tab of its own."""
        page = self.context.new_page()
        page.goto(self.address + path)
        page.locator("h1").wait_for()
        return page

    def outside(self) -> list[str]:
        """What was asked of anybody but our own server."""
        return [one for one in self.asked if not one.startswith((self.address, "data:", "blob:"))]


def unfold(page: Page, text: str) -> Locator:
    """Open what is folded under that text; the opened part."""
    part = page.locator("details", has=page.locator("summary", has_text=text)).last
    if part.get_attribute("open") is None:
        part.locator("summary").first.click()
    return part


def new_job(visitor: Visitor, complaint: str) -> Page:
    """Open a job with the demo's engine, by the form."""
    page = visitor.opens("/new")
    page.get_by_label("The complaint").fill(complaint)
    for label, value in ENGINE.items():
        page.get_by_label(label).fill(value)
    for label, value in CHOICES.items():
        page.get_by_label(label, exact=True).select_option(value)
    page.get_by_label("Altitude of the place").fill("350m")
    page.get_by_label("Temperature outside").fill("18C")
    page.get_by_label("Codes, as you have them").fill("found: P0106 (stored)")
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/job/*")
    page.locator("#weighing").wait_for()
    return page


def give(page: Page, path: Path) -> Locator:
    """Give a recording; what the page says of it."""
    page.locator(".drop input[type=file]").set_input_files(path)
    return page.locator(".drop [data-said]")


def weighed(page: Page) -> Locator:
    """The answer, once there is one."""
    answer = page.locator(".answer")
    answer.wait_for()
    return answer


def add_codes(page: Page, text: str) -> None:
    """Paste codes into the job; the form folds when they were taken."""
    part = unfold(page, "Add codes")
    part.get_by_label("Paste or type them").fill(text)
    part.get_by_role("button", name="Find the codes").click()
    expect(part).not_to_have_attribute("open", re.compile(""))


def job_with_recording(visitor: Visitor, complaint: str) -> Page:
    """A job with the demo's recording, weighed."""
    page = new_job(visitor, complaint)
    expect(give(page, DEMO / "recording.csv")).to_contain_text("It is in the job")
    expect(weighed(page)).to_contain_text("8 kPa high")
    return page
