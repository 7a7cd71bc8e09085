"""The whole job as a user does it, on a phone and on a laptop."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from playwright.sync_api import expect
from visiting import DEMO, Visitor, add_codes, give, job_with_recording, new_job, unfold, weighed

REAL = Path(os.environ.get("AIRPROOF_REALDATA") or "no such folder")


class TestTheDemoJob:
    def test_says_what_is_wrong_and_why_down_to_the_source(self, visitor: Visitor) -> None:
        page = visitor.opens("/job/1")
        answer = weighed(page)
        expect(answer).to_contain_text("he manifold pressure sensor reads about 8 kPa high")
        chance = re.search(r"Chance: (more than )?\d+ in 100", " ".join(answer.inner_text().split()))
        assert chance is not None
        cause = page.locator(".cause").first
        expect(cause.locator(".bar")).to_have_attribute("aria-label", chance[0])
        cause.locator("summary", has_text="The evidence").click()
        piece = cause.locator("details details", has_text="105.0 kPa").first
        piece.locator("summary").click()
        expect(piece).to_contain_text("every pressure sensor must read the pressure of the day")
        expect(piece).to_contain_text("p_sensor - p_day = 0")
        expect(piece).to_contain_text("ISO 2533")
        expect(piece.get_by_role("link", name="Exhibit 1")).to_be_visible()

    def test_shows_its_exhibits(self, visitor: Visitor) -> None:
        page = visitor.opens("/job/1")
        for number in range(1, 6):
            page.locator(f"#exhibit-{number}").evaluate("e => e.scrollIntoView()")
            picture = page.locator(f"#exhibit-{number} img")
            expect(picture).to_have_js_property("complete", value=True)
            page.wait_for_function(f"document.querySelector('#exhibit-{number} img').naturalWidth > 0")
            assert picture.get_attribute("alt")

    def test_names_the_next_step_with_its_price_against_the_habit(self, visitor: Visitor) -> None:
        page = visitor.opens("/job/1")
        weighed(page)
        text = page.locator("#page").inner_text()
        assert "is expected to take" in text
        assert "Fitting a new sensor at once" in text or "out of habit" in text
        part = unfold(page, "Where it leads")
        expect(part).to_contain_text("Other ways to begin")

    def test_says_that_it_is_invented(self, visitor: Visitor) -> None:
        page = visitor.opens("/job/1")
        expect(page.locator("#page")).to_contain_text("A demo: car, complaint and fault are invented")


class TestFromIntakeToTheEnd:
    def test_a_job_is_opened_weighed_worked_on_and_closed(self, visitor: Visitor, tmp_path: Path) -> None:
        page = job_with_recording(visitor, "hesitates, lamp on")
        page.get_by_role("link", name="Replace the manifold pressure sensor").first.click()
        page.wait_for_url("**/step/replace-map-sensor")
        expect(page.locator(".care").first).to_contain_text("hot parts, turning belts")
        page.get_by_label("Done, and the trouble is still there.").check()
        unfold(page, "What it took").get_by_label("Minutes").fill("20")
        page.get_by_role("button", name="Keep it, and go on").click()
        page.wait_for_url("**/job/*#next")
        expect(page.locator("#page")).to_contain_text(
            "Replace the manifold pressure sensor: Done, and the trouble is still there. It took 20 minutes."
        )
        expect(weighed(page)).not_to_contain_text("Next: Replace the manifold pressure sensor")
        part = unfold(page, "Close the job")
        part.get_by_label("What it was").select_option("map-offset")
        part.get_by_role("button", name="Close the job").click()
        expect(page.locator("#page")).to_contain_text("Closed: Manifold pressure sensor reads a constant")
        unfold(page, "Take the whole job along")
        with page.expect_download() as taken:
            page.get_by_role("link", name="Export the job as one file").click()
        taken.value.save_as(tmp_path / "job.zip")
        with zipfile.ZipFile(tmp_path / "job.zip") as file:
            assert "job.json" in file.namelist()

    def test_what_was_typed_survives_a_refusal(self, visitor: Visitor) -> None:
        page = visitor.opens("/new")
        page.get_by_label("The complaint").fill("lamp on")
        page.get_by_label("Displacement, litres").fill("2.0")
        page.get_by_role("button", name="Open the job").click()
        expect(page.get_by_role("alert")).to_contain_text("the engine lacks its number of cylinders, induction")
        assert page.get_by_label("The complaint").input_value() == "lamp on"

    def test_codes_are_found_in_any_text_and_unknown_ones_are_kept(self, visitor: Visitor) -> None:
        page = new_job(visitor, "codes")
        add_codes(page, "ECM: p0299 pending?, also B1234-00 and P 0069; nothing else")
        said = page.locator("#page")
        for code in ("P0299", "B1234", "P0069"):
            expect(said).to_contain_text(code)
        expect(page.locator("#aloud")).to_contain_text("Found: P0299 (pending), B1234, P0069.")
        expect(page.locator("#aloud")).to_contain_text("B1234 kept; not among those that are weighed here")
        part = unfold(page, "Add codes")
        part.get_by_label("Paste or type them").fill("no idea, sorry")
        part.get_by_role("button", name="Find the codes").click()
        expect(part.get_by_role("alert")).to_contain_text("no code was found in that")

    def test_a_code_that_cannot_be_read_is_named_and_what_was_typed_stays(self, phone: Visitor) -> None:
        page = phone.opens("/new")
        page.get_by_label("Codes, as you have them").fill("P0106, P106, P17")
        page.get_by_role("button", name="Open the job").click()
        expect(page.get_by_role("alert")).to_contain_text("'P106', 'P17' cannot be read as codes")
        expect(page.get_by_label("Codes, as you have them")).to_have_value("P0106, P106, P17")
        page = new_job(phone, "codes typed wrong")
        part = unfold(page, "Add codes")
        part.get_by_label("Paste or type them").fill("P0171 P030")
        part.get_by_role("button", name="Find the codes").click()
        expect(part.get_by_role("alert")).to_contain_text("Near P030")
        expect(part.get_by_label("Paste or type them")).to_have_value("P0171 P030")
        part = unfold(page, "What the car says after the repair")
        part.get_by_label("Codes that it holds now").fill("P171")
        part.get_by_role("button", name="Keep").click()
        expect(part.get_by_role("alert")).to_contain_text("Near P171: P0171")
        expect(page.locator("#page")).not_to_contain_text("no codes")
        part.get_by_label("Codes that it holds now").fill("")
        part.get_by_role("button", name="Keep").click()
        expect(part.get_by_role("alert")).to_contain_text("nothing was said")
        part.get_by_label("All codes were read").check()
        part.get_by_label("Codes were", exact=True).select_option("no")
        part.get_by_role("button", name="Keep").click()
        expect(page.locator("#page")).to_contain_text("no codes, codes not cleared")

    def test_a_step_said_anew_stands_once(self, phone: Visitor) -> None:
        page = new_job(phone, "looked twice")
        job = page.url.removeprefix(phone.address).partition("#")[0]
        for label in ("Everything is where it belongs.", "A split, loose or missing hose or clamp is seen."):
            page = phone.opens(f"{job}/step/look-hoses")
            page.get_by_label(label).check()
            page.get_by_role("button", name="Keep it, and go on").click()
            page.wait_for_url("**/job/*#next")
        page.locator("#weighing").wait_for()
        assert page.locator("summary", has_text="Look and listen along hoses and pipes").count() == 1

    def test_a_freeze_frame_is_pasted_as_it_stands(self, visitor: Visitor) -> None:
        page = new_job(visitor, "frame")
        part = unfold(page, "Add a freeze frame")
        part.get_by_label("Its values").fill("Engine speed: 780 rpm\nMAP 52 kPa\nnothing here\nCoolant temp = 88 C")
        part.get_by_role("button", name="Keep the freeze frame").click()
        expect(page.locator("#page")).to_contain_text("Freeze frame of P0106")
        expect(page.locator("#aloud")).to_contain_text("Nothing was made of: nothing here")

    def test_a_wrong_file_is_refused_in_words(self, visitor: Visitor, tmp_path: Path) -> None:
        page = new_job(visitor, "wrong file")
        wrong = tmp_path / "<img src=x onerror=alert(1)>.csv"
        wrong.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(2000))
        said = give(page, wrong)
        expect(said).to_contain_text("was not taken")
        assert "/tmp" not in said.inner_text()
        expect(page.locator("#page")).to_contain_text("None yet. What tells most")

    @pytest.mark.parametrize(
        ("content", "says"),
        [
            (b"", "The file is empty"),
            (b"Time (s),Engine speed (1/min)\n", "no line of numbers under them"),
            (b"a letter to my aunt\nwith two lines\n", "no table in it"),
        ],
        ids=["nothing", "headings alone", "a letter"],
    )
    def test_a_file_without_a_recording_is_refused_in_words(
        self, phone: Visitor, tmp_path: Path, content: bytes, says: str
    ) -> None:
        page = new_job(phone, "no recording")
        file = tmp_path / "given.csv"
        file.write_bytes(content)
        expect(give(page, file)).to_contain_text(says)
        expect(page.locator("#page")).to_contain_text("None yet. What tells most")

    def test_a_recording_given_twice_is_one(self, phone: Visitor) -> None:
        page = job_with_recording(phone, "given twice")
        expect(give(page, DEMO / "recording.csv")).to_contain_text("is in the job already")
        expect(page.locator("#page a[href*='/recording/']")).to_have_count(1)
        page.get_by_label("What it is").select_option("after")
        expect(give(page, DEMO / "recording.csv")).to_contain_text("now it is")
        expect(page.locator("#page")).to_contain_text("This car, after the repair.")
        expect(page.locator("#page a[href*='/recording/']")).to_have_count(1)

    def test_a_form_pressed_twice_is_sent_once(self, phone: Visitor) -> None:
        page = phone.opens("/new")
        page.get_by_label("The complaint").fill("pressed by an eager thumb")
        page.get_by_role("button", name="Open the job").dblclick()
        page.wait_for_url("**/job/*")
        found = phone.opens("/?words=eager")
        assert found.locator("#page ul.evidence > li").count() == 1

    @pytest.mark.realdata
    @pytest.mark.skipif(not REAL.is_dir(), reason="set AIRPROOF_REALDATA to the folder of real recordings")
    def test_a_real_recording_is_read_and_weighed(self, visitor: Visitor) -> None:
        page = new_job(visitor, "a real drive")
        recording = sorted(REAL.rglob("road_na_petrol*/*.csv*"))[0]
        expect(give(page, recording)).to_contain_text("It is in the job")
        expect(weighed(page)).to_contain_text("Chance")


class TestTheProof:
    def test_a_repair_is_proved_written_up_and_learned_from(self, visitor: Visitor, tmp_path: Path) -> None:
        page = job_with_recording(visitor, "to be proved")
        page.get_by_role("link", name="Replace the manifold pressure sensor").first.click()
        page.wait_for_url("**/step/replace-map-sensor")
        page.get_by_label("Done, and the trouble is gone.").check()
        page.get_by_role("button", name="Keep it, and go on").click()
        page.wait_for_url("**/job/*#proof")
        expect(weighed(page)).to_contain_text("Record again as before, in the same regimes, and prove the repair")
        expect(page.locator("#page")).not_to_contain_text("Next: Replace the manifold pressure sensor")
        expect(page.locator("#page")).not_to_contain_text("Nothing yet.")
        page.get_by_label("What it is").select_option("after")
        expect(give(page, drive_after(tmp_path / "after.csv"))).to_contain_text("It is in the job")
        proof = page.get_by_label("The proof")
        expect(proof).to_contain_text("What changed", timeout=30_000)
        expect(proof).to_contain_text("kPa")
        part = unfold(page, "What the car says after the repair")
        part.get_by_label("All codes were read").check()
        part.get_by_label("Codes were", exact=True).select_option("yes")
        part.get_by_label("Days since the repair").fill("14")
        part.get_by_role("button", name="Keep").click()
        expect(page.get_by_label("The proof")).to_contain_text("Whether it holds", timeout=30_000)
        part = unfold(page, "Close the job")
        part.get_by_label("What it was").select_option("map-offset")
        part.get_by_role("button", name="Close the job").click()
        expect(page.get_by_label("The answer")).to_contain_text("The job is closed: nothing is left to do.")
        page.get_by_role("button", name="Let the shop learn from it").click()
        expect(page.locator("#aloud")).to_contain_text("is counted")
        expect(page.locator("#page")).to_contain_text(re.compile("it is counted as [0-9a-f]{32}"))
        page.get_by_role("button", name="Take it back from what the shop learned").click()
        expect(page.locator("#aloud")).to_contain_text("is taken back")
        expect(page.get_by_role("button", name="Let the shop learn from it")).to_be_visible()
        unfold(page, "Write it up")
        address = page.url.partition("#")[0] + "/write-up"
        written = visitor.context.request.get(f"{address}?form=pdf&language=de&paper=letter&private=no")
        assert written.ok
        assert written.body().startswith(b"%PDF")
        text = visitor.context.request.get(f"{address}?form=html").text()
        assert "manifold pressure sensor" in text.lower()
        assert "<script" not in text
        unfolded = page.locator("summary", has_text="The proof of before")
        expect(unfolded).to_have_count(0)
        page.get_by_role("button", name="Open the job again").click()
        proof = page.get_by_label("The proof")
        expect(proof).to_contain_text("The job was opened again since its proof")
        expect(page.get_by_label("The answer")).to_contain_text("Prove the repair")
        page.get_by_role("button", name="Prove the repair again").click()
        expect(proof).to_contain_text("Whether it holds", timeout=30_000)
        expect(page.get_by_label("The answer")).to_contain_text("The repair is proved: close the job.")
        page.locator("summary", has_text="done, and the trouble is gone").last.click()
        page.get_by_role("button", name=re.compile("^Take this back: Replace")).last.click()
        expect(page.get_by_label("The proof")).to_contain_text("What was proved here is of before")
        expect(page.get_by_label("The answer")).to_contain_text("Next: ", timeout=30_000)


def drive_after(path: Path) -> Path:
    """The demo's car, driven again with a sound sensor: a rehearsal."""
    words = ["rehearse", "--engine", str(DEMO / "engine.toml"), "--altitude", "350m", "--ambient", "18C", "--seed", "7"]
    subprocess.run([sys.executable, "-m", "airproof", *words, "--out", str(path)], check=True, capture_output=True)
    return path


class TestCorrecting:
    def test_a_reading_is_corrected_and_nothing_is_lost(self, visitor: Visitor) -> None:
        page = new_job(visitor, "reading")
        part = unfold(page, "A pressure read with the key on")
        part.get_by_label("What it shows, absolute").fill("98.2kPa")
        part.get_by_role("button", name="Keep").click()
        fact = unfold(page, "manifold pressure 98.2 kPa")
        fact.get_by_label("Pressure, absolute, with its unit").fill("105 kPa")
        fact.get_by_role("button", name="Correct it").click()
        expect(page.locator("#page")).to_contain_text("manifold pressure 105 kPa")
        assert page.get_by_text("manifold pressure 98.2 kPa", exact=False).count() == 0
        history = unfold(page, "All that was said")
        expect(history).to_contain_text("manifold pressure 98.2 kPa")
        expect(history).to_contain_text("corrects")

    def test_a_code_is_taken_back(self, visitor: Visitor) -> None:
        page = new_job(visitor, "taken back")
        fact = unfold(page, "P0106, stored")
        fact.get_by_role("button", name="Take this back").click()
        expect(page.locator("#page")).to_contain_text("No codes yet")

    def test_a_value_that_cannot_be_is_refused_and_the_words_say_why(self, visitor: Visitor) -> None:
        page = new_job(visitor, "refused")
        part = unfold(page, "A pressure read with the key on")
        part.get_by_label("What it shows, absolute").fill("29")
        part.get_by_role("button", name="Keep").click()
        expect(part.get_by_role("alert")).to_contain_text("Wanted")


class TestTwoAtOnce:
    def test_whoever_looks_at_a_job_that_is_deleted_is_told(self, phone: Visitor) -> None:
        page = new_job(phone, "deleted elsewhere")
        number = page.url.rpartition("/")[2]
        other = phone.opens(f"/job/{number}/delete")
        other.get_by_label("The job's number").fill(number)
        other.get_by_label("And once more").fill(number)
        other.get_by_role("button", name="Delete it for good").click()
        expect(other).to_have_url(f"{phone.address}/")  # it is done, and the jobs that are left are listed
        page.bring_to_front()
        expect(page.locator("#page")).to_contain_text("somebody has deleted it")

    def test_each_sees_what_the_other_adds(self, visitor: Visitor) -> None:
        one = new_job(visitor, "two tabs")
        other = visitor.opens(one.url.removeprefix(visitor.address))
        add_codes(one, "P0299")
        expect(other.locator("#page")).to_contain_text("P0299")
        expect(other.locator("#aloud")).to_contain_text("Added meanwhile")

    def test_what_one_presses_stays_under_the_finger(self, visitor: Visitor) -> None:
        page = new_job(visitor, "a slow finger")
        expect(weighed(page)).to_contain_text("Chance")
        page.add_style_tag(content="* { overflow-anchor: none }")  # as in browsers that hold no place by themselves
        part = unfold(page, "A note")
        part.get_by_label("Anything else").fill("kept in the end")
        keep = part.get_by_role("button", name="Keep the note")
        keep.hover()
        before, height = keep.bounding_box(), page.evaluate("document.body.scrollHeight")
        page.mouse.down()
        other = visitor.opens(page.url.removeprefix(visitor.address).partition("#")[0])
        add_codes(other, "P0171 P0299 P0234")
        expect(other.locator("#page")).to_contain_text("P0299")
        page.bring_to_front()
        page.wait_for_function(f"document.body.scrollHeight > {height} + 60")
        assert keep.bounding_box() == pytest.approx(before, abs=2.0)
        page.mouse.up()
        expect(page.locator("#page")).to_contain_text("kept in the end")

    def test_neither_overwrites_the_other_silently(self, visitor: Visitor) -> None:
        one = new_job(visitor, "two tongues")
        other = visitor.opens(one.url.removeprefix(visitor.address))
        for page, text in ((one, "mine"), (other, "yours")):
            unfold(page, "Write down or correct the complaint").get_by_label("The complaint").fill(text)
        other.route("**/*", lambda route: route.continue_())
        one.get_by_role("button", name="Keep").first.click()
        expect(one.locator("#page")).to_contain_text("mine")
        expect(other.locator("#page")).to_contain_text("mine")

    def test_a_reload_in_the_middle_loses_nothing(self, visitor: Visitor) -> None:
        page = job_with_recording(visitor, "reloaded")
        add_codes(page, "P0299")
        expect(page.locator("#page")).to_contain_text("P0299")
        page.reload()
        expect(page.locator("#page")).to_contain_text("P0299")
        expect(weighed(page)).to_contain_text("Chance")

    def test_what_was_typed_and_not_sent_outlives_a_reload(self, visitor: Visitor) -> None:
        page = new_job(visitor, "half said")
        part = unfold(page, "A note")
        part.get_by_label("Anything else").fill("the hose behind the")
        page.reload()
        page.locator("#weighing").wait_for()
        part = unfold(page, "A note")
        expect(part.get_by_label("Anything else")).to_have_value("the hose behind the")
        part.get_by_label("Anything else").fill("the hose behind the throttle is new")
        part.get_by_role("button", name="Keep the note").click()
        expect(page.locator("summary", has_text="the hose behind the throttle is new").first).to_be_visible()
        page.reload()
        page.locator("#weighing").wait_for()
        expect(unfold(page, "A note").get_by_label("Anything else")).to_have_value("")

    def test_an_outcome_that_was_chosen_outlives_a_reload_and_what_others_add(self, visitor: Visitor) -> None:
        page = new_job(visitor, "chosen, not sent")
        job = page.url.partition("#")[0]
        step = visitor.opens(f"{job.removeprefix(visitor.address)}/step/smoke-test-intake")
        chosen = step.get_by_role("radio").nth(1)
        unfold(step, "What it took").get_by_label("Minutes").fill("20")
        chosen.check()
        add_codes(page, "P0299")
        expect(step.locator("#aloud")).to_contain_text("P0299")
        expect(chosen).to_be_checked()
        step.reload()
        expect(chosen).to_be_checked()
        expect(unfold(step, "What it took").get_by_label("Minutes")).to_have_value("20")
        step.get_by_role("radio").nth(0).check()
        step.reload()
        expect(step.get_by_role("radio").nth(0)).to_be_checked()
        step.get_by_role("button", name="Keep it, and go on").click()
        step.wait_for_url(re.compile(r"/job/\d+#"))

    def test_what_was_refused_outlives_a_reload_as_well(self, visitor: Visitor) -> None:
        page = new_job(visitor, "refused, then away")
        part = unfold(page, "A pressure read with the key on")
        part.get_by_label("What it shows, absolute").fill("29")
        part.get_by_role("button", name="Keep").click()
        expect(part.get_by_role("alert")).to_contain_text("Wanted")
        page.reload()
        page.locator("#weighing").wait_for()
        part = unfold(page, "A pressure read with the key on")
        expect(part.get_by_label("What it shows, absolute")).to_have_value("29")

    def test_the_next_job_begins_with_an_empty_page(self, visitor: Visitor) -> None:
        new_job(visitor, "the one before")
        page = visitor.opens("/new")
        expect(page.get_by_label("The complaint")).to_have_value("")
