"""A car on the line, from a job's page: the stand-in answers, in a process of its own over the loopback network."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, expect
from visiting import DEMO, PHONE, Visitor, new_job, unfold, weighed

PACE = "5"
GROUP = f"udp_multicast:239.74.163.{1 + os.getpid() % 250}"
"""A bus of our own: other tests have theirs."""


@pytest.fixture(scope="module")
def stand_in() -> Iterator[None]:
    """An invented car whose sensor reads 12 kPa high."""
    words = [
        *(sys.executable, "-m", "airproof", "link", "stand-in", "--engine", str(DEMO / "engine.toml")),
        *("--cause", "map-offset=12kPa", "--pace", PACE, "--adapter", GROUP),
    ]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        try:
            assert process.stdout is not None
            first = process.stdout.readline()
            if "stands in" not in first:
                pytest.skip(f"no multicast on the loopback network here: {first}")
            yield
        finally:
            process.terminate()
            process.wait(timeout=20)


@pytest.mark.usefixtures("stand_in")
def test_a_car_is_found_read_recorded_and_judged_while_it_drives(browser: Browser, served: str) -> None:
    visitor = Visitor(browser, served, PHONE)
    page = new_job(visitor, "on the line")
    page.get_by_role("link", name="Or record it from here").click()
    page.wait_for_url("**/line")
    expect(page.locator(".care").first).to_contain_text("never alone on a public road")
    page.get_by_label("Adapter").fill(GROUP)
    unfold(page, "More about it").get_by_label("Pace").fill(PACE)
    page.get_by_role("button", name="Find the car").click()
    expect(page.locator("#page")).to_contain_text("2 control units", timeout=60_000)
    page.get_by_role("button", name="Read codes, freeze frames and readiness").click()
    expect(page.locator("#page")).to_contain_text("What it said", timeout=60_000)
    page.get_by_role("button", name="Begin to record").click()
    expect(page.locator("[role=status].news")).to_contain_text("recording", timeout=30_000)
    page.get_by_role("button", name="Mark this moment").click()
    expect(page.locator(".answer")).to_contain_text(re.compile(r"reads about .*\skPa\shigh"), timeout=120_000)
    expect(page.locator(".trace .main-svg").first).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "wider than the phone"
    page.get_by_role("button", name="Read codes, freeze frames and readiness").click()
    expect(page.get_by_role("alert").filter(has_text="a recording is under way")).to_be_visible()
    page.get_by_role("button", name="Stop, and keep it in the job").click()
    page.wait_for_url("**/job/*#weighing")
    expect(weighed(page)).to_contain_text("manifold pressure sensor reads about")
    expect(page.locator("#page")).to_contain_text("P0106, stored")
    expect(page.locator("#page")).to_contain_text("drive-")
    assert visitor.outside() == []
    assert visitor.trouble == []
    visitor.context.close()


@pytest.mark.usefixtures("stand_in")
def test_codes_are_cleared_only_when_asked_twice_and_everything_is_saved(browser: Browser, served: str) -> None:
    visitor = Visitor(browser, served, PHONE)
    page = new_job(visitor, "to be cleared")
    page.goto(page.url + "/line")
    if page.get_by_label("Adapter").count():
        page.get_by_label("Adapter").fill(GROUP)
        page.get_by_role("button", name="Find the car").click()
    part = unfold(page, "After the repair, when everything readable")
    part.get_by_label("Type clear").fill("clear")
    part.get_by_label("And once more").fill("no")
    part.get_by_role("button", name="Read out, save, and clear").click()
    expect(part.get_by_role("alert")).to_contain_text("Nothing was cleared")
    part.get_by_label("And once more").fill("clear")
    part.get_by_role("button", name="Read out, save, and clear").click()
    # The stand-in drives by now, or stands with its key on: cleared or refused, never anything between.
    expect(part).to_contain_text(re.compile("the engine turns at|cleared", re.IGNORECASE), timeout=60_000)
    visitor.context.close()


def test_who_finds_nothing_is_told_what_to_look_at(browser: Browser, served: str) -> None:
    visitor = Visitor(browser, served, PHONE)
    page = new_job(visitor, "nothing answers")
    page.goto(page.url + "/line")
    let_go = page.get_by_role("button", name="Let go of the car")
    if let_go.count():
        let_go.click()
    page.get_by_label("Adapter").fill("no_such_kind:0")
    page.get_by_role("button", name="Find the car").click()
    expect(page.get_by_role("alert").first).to_contain_text("Wanted")
    expect(unfold(page, "Nothing answers?")).to_contain_text("Is the key on?")
    visitor.context.close()
