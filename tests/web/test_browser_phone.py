"""What happens to a phone in a workshop: the connection breaks, a thumb presses twice, a form is left half sent."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect
from visiting import DEMO, Visitor, give, new_job, unfold

AFTER = "What the car says after the repair"


def test_what_is_sent_without_a_connection_stays(phone: Visitor) -> None:
    page = new_job(phone, "out of reach")
    part = unfold(page, "A note")
    part.get_by_label("Anything else").fill("the bolt is loose")
    page.evaluate("window.socket.disconnect()")
    part.get_by_role("button", name="Keep the note").click()
    expect(page.locator("#aloud")).to_contain_text("nothing was sent")
    page.reload()
    part = unfold(page, "A note")
    expect(part.get_by_label("Anything else")).to_have_value("the bolt is loose")
    part.get_by_role("button", name="Keep the note").click()
    expect(page.locator("#page summary", has_text="the bolt is loose")).to_have_count(1)


def test_a_job_opened_again_by_two_presses_is_opened_once(phone: Visitor) -> None:
    page = new_job(phone, "two presses")
    part = unfold(page, "Close the job")
    part.get_by_label("What it was").select_option("map-offset")
    part.get_by_role("button", name="Close the job").click()
    page.get_by_role("button", name="Open the job again").dblclick()
    expect(page.locator("#aloud")).to_contain_text("open again")
    page.wait_for_timeout(1000)
    expect(page.locator("#page summary", has_text="opened again")).to_have_count(1)


def test_of_several_files_each_is_answered(phone: Visitor, tmp_path: Path) -> None:
    page = new_job(phone, "several files")
    picture = tmp_path / "photo.csv"
    picture.write_bytes(b"\xff\xd8\xff\xe0\x00\x10JFIF" + bytes(2000))
    page.locator(".drop input[type=file]").set_input_files([picture, DEMO / "recording.csv"])
    place = page.locator(".drop")
    expect(place).to_contain_text("recording.csv: 6 min")
    expect(place).to_contain_text("photo.csv was not taken. This is a picture.")
    expect(give(page, picture)).to_contain_text("photo.csv was not taken")
    expect(place).not_to_contain_text("recording.csv: 6 min")  # what was said of other files before is gone


def test_a_form_that_was_taken_folds_and_one_goes_on_from_there(visitor: Visitor) -> None:
    page = visitor.opens("/new")
    page.get_by_label("The complaint").fill("no engine yet")
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/job/*")
    part = unfold(page, "Say more about car, engine and place")
    part.get_by_label("Altitude of the place").fill("350")
    part.get_by_role("button", name="Keep").click()
    expect(page.locator("#page")).to_contain_text("altitude 350")
    summary = page.locator("summary", has_text="Say more about car, engine and place")
    expect(summary).to_be_focused()
    expect(summary).to_be_in_viewport()


@pytest.mark.parametrize("path", ["/new", "/job/1", "/job/1/step/measure-key-on-signal", "/settings"])
def test_nothing_is_wider_than_a_phone_that_shows_everything_twice_as_large(
    browser: Browser, served: str, path: str
) -> None:
    visitor = Visitor(browser, served, (195, 422))
    page = visitor.opens(path)
    page.wait_for_load_state("networkidle")
    page.evaluate("document.querySelectorAll('#page details').forEach(one => { one.open = true; })")
    page.wait_for_timeout(800)
    assert page.evaluate("document.documentElement.scrollWidth") <= 195
    visitor.context.close()


def test_a_printed_chance_is_a_bar_and_what_was_not_drawn_leaves_no_frame(phone: Visitor) -> None:
    page = phone.opens("/job/1")
    page.locator(".bar div").first.wait_for()
    page.emulate_media(media="print")
    bar = page.locator(".bar div").first
    assert bar.evaluate("one => getComputedStyle(one).printColorAdjust") == "exact"
    expect(page.locator("figure.waiting").first).to_be_hidden()


def test_columns_named_by_half_outlive_a_reload_and_what_was_read_is_said(phone: Visitor, tmp_path: Path) -> None:
    page = new_job(phone, "columns by half")
    path = tmp_path / "odd.csv"
    rows = (f"{n / 2:.1f};{800 + n % 7};{36 + n % 3}" for n in range(120))
    path.write_text("\n".join(["mark one;mark two;mark three", *rows]), encoding="utf-8")
    give(page, path).get_by_role("link", name="what its columns are").click()
    page.wait_for_url("**/headings/*")
    for name, signal, unit in (("one", "time", "s"), ("two", "engine_speed", "1/min")):
        page.get_by_label(f"mark {name} is").select_option(signal)
        page.get_by_label(f"Unit of mark {name}").fill(unit)
    page.reload()
    expect(page.get_by_label("mark two is")).to_have_value("engine_speed")
    expect(page.get_by_label("Unit of mark two")).to_have_value("1/min")
    page.get_by_label("mark three is").select_option("manifold_pressure")
    page.get_by_label("Unit of mark three").fill("kPa")
    page.get_by_role("button", name="Read it so from now on").click()
    page.wait_for_url(re.compile(r"/job/\d+$"))
    expect(page.locator("p.news")).to_contain_text("odd.csv: 60 s, 2 signals understood. It is in the job.")


class TestReadingsOfAWorksheet:
    STEP = "/step/measure-key-on-signal"

    def test_are_kept_by_who_goes_on(self, phone: Visitor) -> None:
        page = new_job(phone, "goes on")
        page.goto(page.url.partition("#")[0] + self.STEP)
        page.get_by_label("The sensor's line").select_option("absolute-250-kpa")
        page.get_by_label("At the plug, V").fill("1,89")
        page.get_by_label("The voltage fits today's air pressure.").check()
        page.get_by_role("button", name="Keep it, and go on").click()
        page.wait_for_url("**/job/*#next")
        expect(page.locator("#aloud")).to_contain_text("So are the readings.")  # said where one has come to
        expect(page.locator("#page")).to_contain_text("measurement with a meter")

    def test_that_cannot_be_read_are_told_at_their_field_and_nothing_is_left_behind(self, phone: Visitor) -> None:
        page = new_job(phone, "cannot go on")
        page.goto(page.url.partition("#")[0] + self.STEP)
        page.get_by_label("At the plug, V").fill("1,9 volts or so")
        page.get_by_label("The voltage fits today's air pressure.").check()
        page.get_by_role("button", name="Keep it, and go on").click()
        expect(page.get_by_role("alert").filter(has_text="At the plug, V, in the worksheet")).to_be_visible()
        expect(page.get_by_label("At the plug, V")).to_have_attribute("aria-invalid", "true")
        assert page.url.endswith(self.STEP)

    def test_are_told_without_numbers_of_a_file(self, phone: Visitor) -> None:
        page = new_job(phone, "no unit")
        page.goto(page.url.partition("#")[0] + self.STEP)
        page.get_by_label("Live data at that moment").fill("98")
        said = page.locator("form").first
        expect(said).to_contain_text("Not yet")
        expect(said).not_to_contain_text("measured 1")


class TestWhatIsTyped:
    def test_a_value_of_a_freeze_frame_without_its_unit_is_asked_for(self, phone: Visitor) -> None:
        page = new_job(phone, "frame without units")
        part = unfold(page, "Add a freeze frame")
        part.get_by_label("Its values").fill("Freeze frame\nEngine speed: 780 rpm\nMAP 36")
        part.get_by_role("button", name="Keep the freeze frame").click()
        expect(part.get_by_role("alert")).to_contain_text("'MAP 36'. Wanted: each value with a unit")
        part.get_by_label("Its values").fill("Freeze frame\nEngine speed: 780 rpm\nMAP 36 kPa")
        part.get_by_role("button", name="Keep the freeze frame").click()
        expect(page.locator("#page")).to_contain_text("manifold pressure 36")
        expect(page.locator("#aloud")).to_contain_text("Kept 2 values. Nothing was made of: Freeze frame")

    def test_a_pressure_alone_is_taken_in_the_unit_of_its_label(self, phone: Visitor) -> None:
        page = new_job(phone, "key on")
        part = unfold(page, "A pressure read with the key on")
        part.get_by_label("What it shows, absolute, kPa").fill("29")
        part.get_by_role("button", name="Keep").click()
        expect(part.get_by_role("alert")).to_contain_text("29 inHg")
        expect(part.get_by_role("alert")).not_to_contain_text("reading 1")
        part.get_by_label("What it shows, absolute, kPa").fill("98,2")
        part.get_by_role("button", name="Keep").click()
        expect(page.locator("#page")).to_contain_text("manifold pressure 98,2")

    def test_a_correction_is_checked_like_what_it_corrects(self, phone: Visitor) -> None:
        page = new_job(phone, "corrected without a unit")
        part = unfold(page, "A pressure read with the key on")
        part.get_by_label("What it shows, absolute, kPa").fill("98")
        part.get_by_role("button", name="Keep").click()
        fact = unfold(page, "manifold pressure 98")
        fact.get_by_label("Pressure, absolute, with its unit").fill("97")
        fact.get_by_role("button", name="Correct it").click()
        expect(fact.get_by_role("alert")).to_contain_text("it has no unit")
        fact.get_by_label("Pressure, absolute, with its unit").fill("97 kPa")
        fact.get_by_role("button", name="Correct it").click()
        expect(page.locator("#page")).to_contain_text("manifold pressure 97")

    def test_thousands_of_money_are_thousands(self, phone: Visitor) -> None:
        page = new_job(phone, "dear")
        part = unfold(page, "What was repaired")
        part.get_by_label("What mended it").select_option("replace-map-sensor")
        part.get_by_label("Money it took").fill("1.200")
        part.get_by_role("button", name="Keep").click()
        expect(page.locator("#page")).to_contain_text("It took 1200 in money.")

    def test_what_it_was_is_not_chosen_by_itself(self, phone: Visitor) -> None:
        page = phone.opens("/new")
        page.get_by_label("The complaint").fill("never weighed")
        page.get_by_role("button", name="Open the job").click()
        page.wait_for_url("**/job/*")
        part = unfold(page, "Close the job")
        part.get_by_role("button", name="Close the job").click()
        expect(part.get_by_role("alert")).to_contain_text("What it was: nothing was said of it")

    @pytest.mark.parametrize(("typed", "km"), [("187.000", "187000"), ("187,000", "187000"), ("12 345", "12345")])
    def test_thousands_of_an_odometer_are_thousands(self, phone: Visitor, typed: str, km: str) -> None:
        page = phone.opens("/new")
        page.get_by_label("The complaint").fill("far driven")
        unfold(page, "Which car").get_by_label("Odometer, km").fill(typed)
        page.get_by_role("button", name="Open the job").click()
        page.wait_for_url("**/job/*")
        expect(page.locator("#page")).to_contain_text(f"odometer {km} km")


def test_from_what_is_to_be_proved_one_is_led_to_where_a_repair_is_said_to_be_in_vain(phone: Visitor) -> None:
    page = new_job(phone, "in vain")
    part = unfold(page, "What was repaired")
    part.get_by_label("What mended it").select_option("replace-map-sensor")
    part.get_by_role("button", name="Keep").click()
    page.get_by_role("link", name="Say what came of it: replace the manifold pressure sensor").click()
    page.wait_for_url("**/step/replace-map-sensor")
    page.get_by_label("Done, and the trouble is still there.").check()
    page.get_by_role("button", name="Keep it, and go on").click()
    page.wait_for_url("**/job/*#next")
    expect(page.get_by_label("The answer")).to_contain_text("Next: ", timeout=30_000)


def test_after_a_repair_nothing_is_said_of_codes_that_nobody_has_said(phone: Visitor) -> None:
    page = new_job(phone, "back again")
    part = unfold(page, AFTER)
    part.get_by_label("The trouble is back").check()
    part.get_by_role("button", name="Keep").click()
    expect(page.locator("#page")).to_contain_text("after the repair: the trouble is back")
