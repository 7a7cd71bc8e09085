"""Takes the pictures of the pages that the documents show, with the demo job: benchmarks/take_pictures.py [FOLDER]

Every picture is made here and none by hand, so that they can be made anew whenever a page changes. With a folder, every
page is taken into it at both sizes, light and dark, to be looked at; the documents' own stay as they are.
"""

from __future__ import annotations

import io
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, Playwright, sync_playwright

PROJECT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(PROJECT / "tests" / "web"))
from visiting import DEMO, LAPTOP, PHONE  # noqa: E402

from conftest import chromium  # noqa: E402

INTO = PROJECT / "docs" / "pictures"
COLOURS = 48  # of a picture: ink, paper and greys need no more, and it stays small
LONGEST = 4200  # pixels of a page's height; to be looked at, all of it


def take(page: Page, name: str, size: tuple[int, int], into: Path) -> None:
    """One picture of a whole page."""
    page.wait_for_timeout(900)
    raw = page.screenshot(full_page=True, clip=None)
    picture = Image.open(io.BytesIO(raw)).convert("RGB")
    if into == INTO:
        picture = picture.crop((0, 0, picture.width, min(picture.height, LONGEST)))
    device = "phone" if size == PHONE else "laptop"
    path = into / f"{name}_{device}.png"
    picture.quantize(COLOURS, method=Image.Quantize.MEDIANCUT).save(path, optimize=True)
    print(f"{path.name}: {picture.width} x {picture.height}, {path.stat().st_size // 1024} kB")


def job(page: Page, address: str) -> None:
    """The demo job with its evidence open and its exhibits drawn."""
    page.goto(f"{address}/job/1")
    page.locator(".answer").wait_for()
    page.locator(".cause summary").first.click()
    page.locator("#exhibit-1").evaluate("e => e.scrollIntoView()")
    for number in range(1, 6):  # all are drawn when somebody looks at the first
        page.locator(f"#exhibit-{number} img").wait_for()
        page.locator(f"#exhibit-{number} img").evaluate("e => e.scrollIntoView()")
    page.wait_for_load_state("networkidle")
    page.evaluate("window.scrollTo(0, 0)")


def pages(page: Page, address: str, size: tuple[int, int], into: Path, look: str = "") -> None:
    """Every page of which the documents speak; `look` stands in the names of the pictures."""

    def took(name: str) -> None:
        take(page, f"{name}{look}", size, into)

    job(page, address)
    took("job")
    page.goto(f"{address}/job/1/step/measure-key-on-signal")
    page.get_by_label("The sensor's line").select_option("absolute-250-kpa")
    page.get_by_label("At the plug").fill("2.01 V")
    page.get_by_text("What these readings say").wait_for()
    took("step")
    page.goto(f"{address}/job/1")
    page.locator("a[href*='/recording/']").first.click()
    page.locator(".trace .main-svg").first.wait_for()
    page.get_by_text("What is not as on a healthy engine").wait_for()
    took("traces")
    page.goto(f"{address}/rehearse")
    page.get_by_label("What is wrong").select_option("vacuum-leak", timeout=90_000)
    page.locator("table").wait_for()
    took("rehearsal")
    more = (("delete", "/job/1/delete"), ("line", "/job/1/line"), ("nothing_here", "/nowhere")) if into != INTO else ()
    for name, path in (("jobs", "/"), ("new_job", "/new"), ("settings", "/settings"), *more):
        page.goto(address + path)
        took(name)


def write_up(folder: str, into: Path) -> None:
    """The first page of the demo job's write-up."""
    words = [sys.executable, "-m", "airproof", "job", "write-up", "1", "--data", "demo", "--out", "job-1.pdf"]
    subprocess.run([*words, "--without-private"], check=True, cwd=folder, stdout=subprocess.DEVNULL)
    draw = ["pdftoppm", "-r", "70", "-png", "-singlefile", "-l", "1", "job-1.pdf", "first_page"]
    subprocess.run(draw, check=True, cwd=folder)
    path = into / "write_up_first_page.png"
    Image.open(Path(folder) / "first_page.png").save(path, optimize=True)
    print(f"{path.name}: {path.stat().st_size // 1024} kB")


def main(into: Path) -> None:
    """Serve, visit, take."""
    into.mkdir(exist_ok=True, parents=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        words = [sys.executable, "-m", "airproof", "serve", "--data", "demo", "--demo", str(DEMO)]
        surroundings = os.environ | {"PYTHONUNBUFFERED": "1", "AIRPROOF_AUTHOR": "mechanic"}
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=surroundings, cwd=folder) as process:
            try:
                visit(process, playwright, into)
                write_up(folder, into)
            finally:
                process.terminate()


def visit(process: subprocess.Popen[str], playwright: Playwright, into: Path) -> None:
    """Everything, against a server that is starting."""
    assert process.stdout is not None
    address = process.stdout.readline().split()[-1].removesuffix("/job/1")
    browser = playwright.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
    for size in (LAPTOP, PHONE):
        context = browser.new_context(viewport={"width": size[0], "height": size[1]})
        pages(context.new_page(), address, size, into)
        context.close()
        dark = browser.new_context(viewport={"width": size[0], "height": size[1]}, color_scheme="dark")
        page = dark.new_page()
        if into != INTO:
            pages(page, address, size, into, "_dark")
        elif size == PHONE:
            job(page, address)
            take(page, "job_dark", PHONE, into)
        dark.close()
    browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve() if len(sys.argv) > 1 else INTO)
