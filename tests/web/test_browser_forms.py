"""What a form says when something in it cannot be, and what a page says of what was added to its job."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect
from visiting import CHOICES, DEMO, ENGINE, Visitor, add_codes, give, new_job, unfold


def filled(visitor: Visitor, **others: str) -> Page:
    """The form of a new job, filled in, not sent."""
    page = visitor.opens("/new")
    page.get_by_label("The complaint").fill("lamp on")
    for label, value in (ENGINE | others).items():
        page.get_by_label(label.replace("_", " ")).fill(value)
    for label, value in CHOICES.items():
        page.get_by_label(label, exact=True).select_option(value)
    return page


def told_at(page: Page, label: str) -> Locator:
    """What is said to be wrong with the field of that label, which has the focus and is in sight."""
    field = page.get_by_label(label)
    expect(field).to_have_attribute("aria-invalid", "true")
    expect(field).to_be_focused()
    expect(field).to_be_in_viewport()
    keys = (field.get_attribute("aria-describedby") or "").split()
    return page.locator(f"[id='{keys[0]}']")


@pytest.mark.parametrize(
    ("label", "typed", "says"),
    [
        ("Temperature outside", "64", r'"64", in degC.*-60 to 60 degC.*Perhaps 64 degF\?'),
        ("Temperature outside", "warm", '"warm"'),
        ("Altitude of the place", "11500", r"Perhaps 11500 ft\?"),
        ("Or its air pressure", "1013", r'"1013", in kPa.*Perhaps 1013 hPa\?'),
        ("Displacement, litres", "1984", r'"1984".*at most 12.*1984 cm3 are 1\.984 litres'),
        ("Cylinders", "four", r'"four".*a whole number'),
        ("Cylinders", "40", r'"40".*at most 16'),
    ],
)
def test_what_cannot_be_is_told_at_its_field(visitor: Visitor, label: str, typed: str, says: str) -> None:
    page = filled(visitor)
    page.get_by_label(label).fill(typed)
    page.get_by_role("button", name="Open the job").click()
    expect(told_at(page, label)).to_have_text(re.compile(says))
    expect(page.get_by_role("alert")).to_contain_text(f"{label}")
    assert page.get_by_label(label).input_value() == typed
    page.get_by_label(label).fill(ENGINE.get(label, ""))
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/job/*")


def test_a_bare_number_is_taken_in_the_unit_of_its_label(phone: Visitor) -> None:
    page = filled(phone, Altitude_of_the_place="350", Temperature_outside="18")
    expect(page.get_by_label("Altitude of the place, m", exact=True)).to_be_visible()
    expect(page.get_by_label("Temperature outside, \N{DEGREE SIGN}C", exact=True)).to_be_visible()
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/job/*")
    expect(page.locator("#page")).to_contain_text(re.compile(r"350\sm\b.*18\s°C"))


def test_a_field_that_is_folded_away_is_laid_open(phone: Visitor) -> None:
    page = filled(phone)
    part = unfold(page, "More about it")
    part.get_by_label("Warm idle").fill("80")
    part.locator("summary").first.click()
    page.get_by_role("button", name="Open the job").click()
    expect(told_at(page, "Warm idle, 1/min")).to_contain_text("at least 300")


class TestTheWorksheet:
    def test_takes_volts_without_their_unit_and_says_so(self, phone: Visitor) -> None:
        page = new_job(phone, "worksheet")
        page.goto(f"{page.url.partition('#')[0]}/step/measure-key-on-signal")
        page.get_by_label("The sensor's line").select_option("absolute-250-kpa")
        page.get_by_label("At the plug, V").fill("1,89")
        expect(page.locator("form").first).to_contain_text(re.compile("What these readings say.*1.89 V", re.DOTALL))
        page.get_by_role("button", name="Keep these readings").click()
        expect(page.locator("#aloud")).to_contain_text("Kept")
        expect(page.get_by_label("At the plug, V")).not_to_have_attribute("aria-invalid", "true")
        page.reload()
        expect(page.get_by_label("At the plug, V")).to_have_value("1,89 V")

    def test_asks_for_the_unit_where_it_may_be_one_or_another(self, phone: Visitor) -> None:
        page = new_job(phone, "worksheet")
        page.goto(f"{page.url.partition('#')[0]}/step/measure-key-on-signal")
        page.get_by_label("Live data at that moment").fill("98")
        page.get_by_role("button", name="Keep these readings").click()
        expect(told_at(page, "Live data at that moment")).to_contain_text("it has no unit")


class TestWhatOthersAdded:
    def test_ones_own_upload_is_not_announced_as_somebody_elses(self, visitor: Visitor) -> None:
        page = new_job(visitor, "own upload")
        page.evaluate(
            "() => { window.said = []; new MutationObserver(() => window.said.push(aloud.textContent))"
            ".observe(aloud, { childList: true, characterData: true, subtree: true }); }"
        )
        expect(give(page, DEMO / "recording.csv")).to_contain_text("It is in the job")
        expect(page.locator("#page a[href*='/recording/']")).to_have_count(1)
        page.wait_for_timeout(2500)  # two looks
        assert [text for text in page.evaluate("window.said") if text] == []

    def test_what_another_page_adds_is_announced_beside_what_one_reads(self, visitor: Visitor, tmp_path: Path) -> None:
        page = new_job(visitor, "two pages")
        other = visitor.context.new_page()
        other.goto(page.url)
        other.locator("#weighing").wait_for()
        add_codes(page, "P0299")
        said = other.locator("#aloud")
        expect(said).to_contain_text("Added meanwhile: P0299")
        box, column = said.bounding_box(), other.locator("#page").bounding_box()
        assert box is not None
        assert column is not None
        size = other.viewport_size or {"width": 0, "height": 0}
        if size["width"] > 1200:
            assert box["x"] >= column["x"] + column["width"]  # in the margin
        else:
            assert box["y"] + box["height"] >= size["height"] - 1  # at the very edge, and small
            assert box["height"] < 0.12 * size["height"]
        said.click()
        expect(said).to_have_text("")


class TestAFileThatIsNotUnderstoodYet:
    def file(self, folder: Path) -> Path:
        path = folder / "odd.csv"
        rows = (f"{n / 2:.1f};{800 + n % 7};{36 + n % 3};{n}".replace(".", ",") for n in range(120))
        path.write_text("\n".join([f"Sekunden;Tours;Unterdruckdose;{folder.name}", *rows]), encoding="utf-8")
        return path

    def test_its_columns_are_named_and_it_is_read(self, visitor: Visitor, tmp_path: Path) -> None:
        page = new_job(visitor, "odd headings")
        said = give(page, self.file(tmp_path))
        expect(said).to_contain_text("was not taken")
        assert "MAP.toml" not in said.inner_text()
        said.get_by_role("link", name="what its columns are").click()
        page.wait_for_url("**/headings/*")
        page.get_by_label("Sekunden is").select_option("time")
        page.get_by_label("Unit of Sekunden").fill("s")
        page.get_by_label("Tours is").select_option("engine_speed")
        page.get_by_label("Unit of Tours").fill("kPa")
        page.get_by_label("Unterdruckdose is").select_option("manifold_pressure")
        page.get_by_label("Unit of Unterdruckdose").fill("kPa")
        page.get_by_role("button", name="Read it so from now on").click()
        expect(told_at(page, "Unit of Tours")).to_contain_text("cannot be in 'kPa'")
        page.get_by_label("Unit of Tours").fill("1/min")
        page.get_by_role("button", name="Read it so from now on").click()
        page.wait_for_url(re.compile(r"/job/\d+$"))
        expect(page.locator("#page a[href*='/recording/']")).to_contain_text("odd.csv")
        told = page.locator("p.news", has_text="odd.csv")
        expect(told).to_contain_text("2 signals understood. It is in the job.")
        page.reload()
        expect(page.locator("#page a[href*='/recording/']")).to_contain_text("odd.csv")
        expect(told).to_have_count(0)
        other = new_job(visitor, "the same headings again")
        expect(give(other, self.file(tmp_path))).to_contain_text("It is in the job")

    def test_plain_german_headings_are_understood(self, phone: Visitor, tmp_path: Path) -> None:
        page = new_job(phone, "German headings")
        path = tmp_path / "fahrt.csv"
        rows = (f"{n / 2:.1f};{800 + n % 7};{36 + n % 3}".replace(".", ",") for n in range(120))
        path.write_text("\n".join(["Zeit [s];Drehzahl [1/min];Saugrohrdruck [kPa]", *rows]), encoding="utf-8")
        expect(give(page, path)).to_contain_text("2 signals understood. It is in the job")


class TestAUnitThatCannotBe:
    def file(self, folder: Path) -> Path:
        """The demo's recording, its manifold pressure in psi under a heading that says kPa."""
        first, *rows = (DEMO / "recording.csv").read_text(encoding="utf-8").splitlines()
        column = first.split(",").index("Manifold pressure (kPa)")

        def in_psi(row: str) -> str:
            cells = row.split(",")
            if cells[column]:
                cells[column] = f"{float(cells[column]) / 6.894757:.2f}"
            return ",".join(cells)

        path = folder / "drive.csv"
        path.write_text("\n".join([first, *map(in_psi, rows)]), encoding="utf-8")
        return path

    def test_leads_to_where_it_is_put_right(self, phone: Visitor, tmp_path: Path) -> None:
        page = new_job(phone, "pounds")
        job = page.url.partition("#")[0]
        expect(give(page, self.file(tmp_path))).to_contain_text("It is in the job")
        answer = page.locator(".answer")
        expect(answer).to_contain_text("reads as if it were psi")
        assert "--signals" not in answer.inner_text()
        answer.get_by_role("link", name="Put a heading or unit of drive.csv right").click()
        page.wait_for_url("**/recording/*")
        part = unfold(page, "Put a heading or unit right")
        part.get_by_label("Heading").select_option("Manifold pressure (kPa)")
        part.get_by_label("It is").select_option("manifold_pressure")
        part.get_by_label("Its unit").fill("psi")
        with page.expect_navigation():  # the page is drawn anew: nothing may be opened before
            part.get_by_role("button", name="Read it so from now on").click()
        page.goto(job)
        expect(page.locator(".answer")).to_contain_text("8 kPa high")
