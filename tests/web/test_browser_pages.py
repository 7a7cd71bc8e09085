"""Every page by itself: without a mouse, without sight of colours, in the dark, in other units; and what goes wrong."""

from __future__ import annotations

import re
import time
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect
from visiting import LAPTOP, PHONE, Visitor, give, new_job, unfold, weighed

from airproof.web.drawing import LIBRARY

PAGES = ("/", "/new", "/job/1", "/job/1/step/measure-key-on-signal", "/settings", "/rehearse", "/job/1/delete")
SERIOUS = ("serious", "critical")


def serious(page: Page) -> list[str]:
    """Serious faults of accessibility, by axe-core, where they are."""
    found = Axe().run(page).response["violations"]
    return [f"{one['id']}: {node['html'][:160]}" for one in found if one["impact"] in SERIOUS for node in one["nodes"]]


class TestForEveryone:
    @pytest.mark.parametrize("path", PAGES)
    @pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
    def test_axe_finds_no_serious_fault(self, browser: Browser, served: str, path: str, dark: bool) -> None:
        visitor = Visitor(browser, served, PHONE, dark=dark)
        page = visitor.opens(path)
        page.wait_for_load_state("networkidle")
        if path == "/job/1":
            weighed(page)
            page.locator(".cause summary").first.click()
        if path == "/rehearse":
            page.get_by_label("What is wrong").wait_for()
        page.evaluate("document.querySelectorAll('main details').forEach(one => { one.open = true; })")
        page.wait_for_timeout(800)
        assert serious(page) == []
        visitor.context.close()

    def test_a_recording_of_the_job_as_well(self, phone: Visitor) -> None:
        page = phone.opens("/job/1")
        page.locator("a[href*='/recording/']").first.click()
        page.locator(".trace .main-svg").first.wait_for()
        assert serious(page) == []

    def test_nothing_is_wider_than_a_phone(self, phone: Visitor) -> None:
        for path in PAGES:
            page = phone.opens(path)
            page.wait_for_load_state("networkidle")
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= PHONE[0], path
            page.close()

    def test_what_is_pressed_is_large_enough_for_a_thumb(self, phone: Visitor) -> None:
        page = phone.opens("/job/1")
        weighed(page)
        heights = page.locator("main button:visible, main a.press:visible, main summary:visible").evaluate_all(
            "all => all.map(e => e.getBoundingClientRect().height)"
        )
        assert min(heights) >= 24  # WCAG 2.2, 2.5.8; those for gloves are larger
        assert np.median(heights) >= 35

    def test_a_code_is_added_without_a_mouse(self, browser: Browser, served: str) -> None:
        visitor = Visitor(browser, served, LAPTOP)
        page = new_job(visitor, "by keyboard")
        page.keyboard.press("Tab")
        expect(page.locator(":focus")).to_have_text("To the page itself")
        page.keyboard.press("Enter")
        summary = page.locator("summary", has_text="Add codes")
        for _ in range(80):
            page.keyboard.press("Tab")
            if summary.evaluate("e => e === document.activeElement"):
                break
        expect(summary).to_be_focused()
        if page.locator("details", has=summary).get_attribute("open") is None:
            page.keyboard.press("Enter")
        page.get_by_label("Paste or type them").wait_for()
        page.keyboard.press("Tab")
        page.keyboard.type("P0299")
        page.keyboard.press("Tab")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        expect(page.locator("#page")).to_contain_text("P0299, stored")
        assert visitor.outside() == []
        visitor.context.close()


class TestUnits:
    def test_are_as_the_user_likes_everywhere_at_once(self, phone: Visitor) -> None:
        page = phone.opens("/settings")
        page.get_by_label("Pressures", exact=True).select_option("inHg")
        page.get_by_label("Temperatures").select_option("degF")
        page.get_by_role("button", name="Keep").first.click()
        page.wait_for_load_state("networkidle")
        job = phone.opens("/job/1")
        expect(weighed(job)).to_contain_text("reads about 2.4 inHg high")
        job.locator("#exhibit-1").evaluate("e => e.scrollIntoView()")
        expect(job.locator("#exhibit-1 img")).to_have_attribute("alt", re.compile("inHg"))
        page = phone.opens("/settings")
        expect(page.get_by_label("Pressures", exact=True)).to_have_value("inHg")
        page.get_by_label("Pressures", exact=True).select_option("kPa")
        page.get_by_label("Temperatures").select_option("degC")
        page.get_by_role("button", name="Keep").first.click()
        page.wait_for_load_state("networkidle")
        job.reload()
        expect(weighed(job)).to_contain_text("reads about 8 kPa high")

    def test_a_vacuum_is_counted_from_the_air_of_the_job(self, phone: Visitor) -> None:
        """350 m of the standard atmosphere are 97.2 kPa (ISO 2533): 52 kPa there are a vacuum of 45."""
        job = new_job(phone, "vacuum")
        part = unfold(job, "Add a freeze frame")
        part.get_by_label("Its values").fill("MAP 52 kPa\nCoolant temp = 88 C")
        part.get_by_role("button", name="Keep the freeze frame").click()
        expect(job.locator("#page")).to_contain_text("manifold pressure 52 kPa absolute")
        page = phone.opens("/settings")
        page.get_by_label("Count pressures from the air outside").check()
        page.get_by_role("button", name="Keep").first.click()
        page.wait_for_load_state("networkidle")
        try:
            job.reload()
            expect(job.locator("#page")).to_contain_text("manifold pressure 45 kPa vacuum")
            demo = phone.opens("/job/1")
            expect(weighed(demo)).to_contain_text("reads about 8 kPa high (6 to 10)")  # a difference stays one
            demo.locator(".cause summary").first.click()
            expect(demo.locator(".cause").first).to_contain_text("105.0 kPa absolute with the engine off")
        finally:
            page = phone.opens("/settings")
            page.get_by_label("Count pressures from the air outside").uncheck()
            page.get_by_role("button", name="Keep").first.click()
            page.wait_for_load_state("networkidle")


class TestTraces:
    def test_come_closer_and_go_back(self, visitor: Visitor) -> None:
        page = visitor.opens("/job/1")
        page.locator("a[href*='/recording/']").first.click()
        page.locator(".trace .main-svg").first.wait_for()
        whole = self.window(page)
        page.get_by_role("button", name="Closer").click()
        page.wait_for_function(f"document.querySelector('.trace').layout.xaxis.range[1] < {whole[1] - 10}")
        close = self.window(page)
        assert close[1] - close[0] == pytest.approx((whole[1] - whole[0]) / 2, rel=0.01)
        page.get_by_role("button", name="Show all of it").click()
        page.wait_for_function(f"document.querySelector('.trace').layout.xaxis.range[1] > {whole[1] - 1}")
        expect(page.locator("#page")).to_contain_text("What is not as on a healthy engine")
        page.get_by_role("button", name=re.compile("Show 3:22")).click()
        page.wait_for_function("document.querySelector('.trace').layout.xaxis.range[0] > 100")

    def test_what_draws_them_is_fetched_while_the_job_is_read(self, visitor: Visitor) -> None:
        page = visitor.opens("/job/1")
        sent = "name => performance.getEntriesByName(new URL(name, location.href).href).map(one => one.transferSize)"
        page.wait_for_function(f"name => ({sent})(name).length", arg=LIBRARY)
        page.locator("a[href*='/recording/']").first.click()
        page.locator(".trace .main-svg").first.wait_for()
        assert set(page.evaluate(sent, LIBRARY)) == {0}  # nothing was sent for it again

    def test_half_a_million_points_stay_few_on_the_screen(self, phone: Visitor, tmp_path: Path) -> None:
        page = new_job(phone, "long")
        expect(give(page, long_recording(tmp_path / "long.csv"))).to_contain_text("It is in the job", timeout=60_000)
        page.locator("a[href*='/recording/']").first.click()
        page.locator(".trace .main-svg").first.wait_for()
        points = page.evaluate("document.querySelector('.trace').data.map(one => one.x.length)")
        assert max(points) < 3000

    @staticmethod
    def window(page: Page) -> list[float]:
        found: list[float] = page.evaluate("document.querySelector('.trace').layout.xaxis.range")
        return found


def long_recording(path: Path, rows: int = 100_000) -> Path:
    """Five signals, five hundred thousand values: invented."""
    time_s = np.arange(rows) * 0.05
    wave = np.sin(time_s / 40.0)
    columns = {
        "Time (s)": time_s,
        "Engine speed (1/min)": 1800.0 + 1000.0 * wave,
        "Manifold pressure (kPa)": 50.0 + 20.0 * wave,
        "Throttle position (%)": 20.0 + 10.0 * wave,
        "Air mass flow (g/s)": 12.0 + 8.0 * wave,
        "Coolant temperature (degC)": np.full(rows, 88.0),
    }
    table = np.column_stack(list(columns.values()))
    np.savetxt(path, table, delimiter=",", fmt="%.3f", header=",".join(columns), comments="")
    return path


class TestTheRehearsal:
    def test_a_size_is_moved_and_the_data_follow(self, visitor: Visitor) -> None:
        page = visitor.opens("/rehearse")
        page.get_by_label("What is wrong").select_option("vacuum-leak", timeout=60_000)
        expect(page.locator("#page")).to_contain_text("Unmetered air enters between throttle and valves: 4 mm")
        before = page.locator("table").inner_text()
        page.locator("input[type=range]").evaluate(
            "e => { e.value = e.max; e.dispatchEvent(new Event('input', {bubbles: true})); }"
        )
        page.wait_for_function(
            "before => document.querySelector('table') && document.querySelector('table').innerText !== before",
            arg=before,
        )

    def test_is_kept_to_practise_on_with_its_truth_out_of_sight(self, phone: Visitor) -> None:
        page = phone.opens("/rehearse")
        page.get_by_label("What is wrong").select_option("maf-scale", timeout=60_000)
        expect(page.locator("#page")).to_contain_text("Air flow sensor reads too much or too little: ")
        page.get_by_role("button", name="Save it as a job").click()
        page.wait_for_url("**/job/*")
        expect(weighed(page)).to_contain_text("A job to practise on")
        for place in ("#page", "#heard"):
            expect(page.locator(place)).not_to_contain_text("Chance:")
            expect(page.locator(place)).not_to_contain_text("in 100")
        page.get_by_role("button", name="Show what the program says").click()
        expect(page.locator("#page")).to_contain_text("Chance:")
        truth = page.locator("details", has=page.locator("summary", has_text="lay the truth open")).last
        assert "%" not in truth.inner_text()
        truth.locator("summary").click()
        expect(truth).to_contain_text("Air flow sensor reads too much or too little:")


class TestTheWorksheet:
    def test_says_what_the_readings_say_while_they_are_typed(self, visitor: Visitor) -> None:
        page = visitor.opens("/job/1/step/measure-key-on-signal")
        page.get_by_label("The sensor's line").select_option("absolute-250-kpa")
        page.get_by_label("At the plug").fill("1.85 V")
        expect(page.locator("#page")).to_contain_text("What these readings say")
        page.get_by_label("At the plug").fill("one volt or so")
        expect(page.locator("#page")).to_contain_text("Not yet:")


class TestWhatGoesWrong:
    @pytest.mark.parametrize(
        "path", ["/job/9999", "/nowhere", "/job/1/step/no-such-step", "/job/1/recording/" + "0" * 64]
    )
    def test_is_one_page_in_plain_words(self, phone: Visitor, path: str) -> None:
        page = phone.opens(path)
        expect(page.locator("h1")).to_have_text("Nothing here")
        page.get_by_role("link", name="All jobs").click()
        expect(page.locator("h1")).to_have_text("Jobs")

    def test_markup_in_what_was_typed_stays_text(self, phone: Visitor) -> None:
        page = new_job(phone, "<script>document.title='taken'</script><b>bold</b>")
        expect(page.locator("#page")).to_contain_text("<b>bold</b>")
        time.sleep(0.3)
        assert page.title() != "taken"
        assert page.locator("#page b").count() == 0

    def test_a_job_is_deleted_only_when_asked_twice(self, phone: Visitor) -> None:
        page = new_job(phone, "to be deleted")
        number = page.url.rpartition("/")[2]
        page.goto(f"{phone.address}/job/{number}/delete")
        page.get_by_label("The job's number").fill(number)
        page.get_by_label("And once more").fill("7777")
        page.get_by_role("button", name="Delete it for good").click()
        expect(page.get_by_role("alert")).to_contain_text("Nothing was deleted")
        page.get_by_label("And once more").fill(number)
        page.get_by_role("button", name="Delete it for good").click()
        page.wait_for_url(f"{phone.address}/")
        expect(phone.opens(f"/job/{number}").locator("h1")).to_have_text("Nothing here")


class TestSearching:
    def test_finds_a_job_by_any_word_of_it(self, phone: Visitor) -> None:
        new_job(phone, "whistles like a kettle uphill")
        page = phone.opens("/")
        page.get_by_label("Search").fill("kettle")
        page.get_by_role("button", name="Search").click()
        expect(page.locator("#page")).to_contain_text("whistles like a kettle")
        page.get_by_label("Search").fill("no such word anywhere")
        page.get_by_role("button", name="Search").click()
        expect(page.locator("#page")).to_contain_text("No job speaks of")
