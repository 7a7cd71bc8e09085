"""What the pages cost: seconds until one sees and can use them, and memory. python benchmarks/bench_pages.py [JOBS]

Everything is measured in a real browser against `airproof serve` in a process of its own, three times, the median told;
beside it the bare page of a wrong address from the same server, so that a slow machine shows as such.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Browser, Page, Playwright, expect, sync_playwright

PROJECT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(PROJECT / "tests" / "web"), str(PROJECT / "tests" / "jobs")]
from test_browser_pages import long_recording  # noqa: E402
from visiting import DEMO, LAPTOP, Visitor, give, job_with_recording, new_job, unfold  # noqa: E402

from airproof.jobs.events import Draft  # noqa: E402
from airproof.jobs.kinds import Code, Complaint, payload_of  # noqa: E402
from airproof.jobs.opening import open_store  # noqa: E402
from conftest import chromium  # noqa: E402

TIMES = 3
SHARES = (0.9, 0.7, 0.95, 0.6, 0.85, 0.55, 0.8, 0.65, 0.75)
SETTLED_MS = 1500
CODES = ("P0299", "P0171", "P0236", "P0101", "P0121", "P0234")


def seconds(act: Callable[[], object]) -> float:
    """How long it takes."""
    began = time.perf_counter()
    act()
    return time.perf_counter() - began


def memory_mb(process: int) -> float:
    """Memory that the server holds, MB (Linux)."""
    for line in Path(f"/proc/{process}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return float("nan")


def fill(folder: Path, jobs: int) -> None:
    """A store with many jobs, each with a complaint and a code; invented."""
    with open_store(folder) as store:
        for number in range(jobs):
            text = f"complaint {number} hesitates {'uphill' if number % 7 else 'downhill'}"
            complaint = Draft("complaint", payload_of("complaint", Complaint(text=text).model_dump()))
            store.new_job([complaint, Draft("code", Code(id=CODES[number % len(CODES)]))], "bench")


def tell(what: str, figures: list[float], wanted: str) -> None:
    """One line."""
    every = ", ".join(f"{x:.2f}" for x in figures)
    busy = f"{os.getloadavg()[0]:.1f} programs at work" if hasattr(os, "getloadavg") else "load unknown"
    print(
        f"{what:46} {statistics.median(figures):6.2f} s, at worst {max(figures):.2f} (wanted {wanted}; {every}; {busy})"
    )


HEARD = """async () => {
  const heard = new Promise((done) => new MutationObserver(done).observe(
    document.getElementById("heard"), { childList: true, characterData: true, subtree: true }));
  const began = performance.now(), frame = () => new Promise((done) => requestAnimationFrame(done));
  [...document.querySelectorAll("button")].find((one) => one.innerText === "Find the codes").click();
  await heard;  // the page says so when it shows a verdict that has heard more
  await frame();
  const verdict = performance.now() - began;
  while (document.body.innerText.includes("is being reckoned")) await frame();
  return [verdict / 1000, (performance.now() - began) / 1000];
}"""
"""In the browser itself: from sending a code to the frame that shows the verdict which has heard it, and its plan."""


def fact(page: Page, code: str) -> tuple[float, float]:
    """Seconds from sending a new fact to the verdict that has heard it, and to its next step."""
    unfold(page, "Add codes").get_by_label("Paste or type them").fill(code)
    verdict, step = page.evaluate(HEARD)
    page.wait_for_timeout(SETTLED_MS)
    return verdict, step


def main(jobs: int) -> None:
    """Measure and tell."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        fill(Path(folder), jobs)
        words = [sys.executable, "-m", "airproof", "serve", "--data", folder, "--demo", str(DEMO)]
        surroundings = os.environ | {"PYTHONUNBUFFERED": "1"}
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=surroundings) as process:
            try:
                measure(process, playwright, Path(folder), jobs)
            finally:
                process.terminate()


def measure(process: subprocess.Popen[str], playwright: Playwright, folder: Path, jobs: int) -> None:
    """Everything, against a server that is starting."""
    assert process.stdout is not None
    address = process.stdout.readline().split()[-1].rpartition("/job/")[0]
    browser = playwright.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
    visitor = Visitor(browser, address, LAPTOP)
    time.sleep(5.0)  # what warms up in the background has done so before a person has found the address
    page = visitor.opens("/")
    tell(
        "a bare page of the same server",
        [seconds(lambda: page.goto(address + "/nowhere")) for _ in range(TIMES)],
        "-",
    )

    def see(path: str, what: str) -> None:
        page.goto(address + path)
        page.locator(what).first.wait_for()

    tell("first page", [seconds(lambda: see("/", "h1")) for _ in range(TIMES)], "1")
    found = [seconds(lambda: see("/?words=downhill", "main ul")) for _ in range(TIMES)]
    tell(f"a search among {jobs} jobs, its page drawn", found, "0.3 in the store")
    job = job_with_recording(visitor, "measured")
    path = job.url.removeprefix(address)
    page.bring_to_front()
    tell("the page of a weighed job", [seconds(lambda: see(path, ".answer")) for _ in range(TIMES)], "1")
    job.bring_to_front()
    facts = [fact(job, code) for code in CODES]
    tell("verdict after a new fact", [verdict for verdict, _ in facts], "0.5")
    tell("and its next step", [step for _, step in facts], "-")
    short = job.locator("a[href*='/recording/']").first.get_attribute("href") or ""
    long = new_job(visitor, "long")
    expect(give(long, long_recording(folder / "long.csv"))).to_contain_text("in the job", timeout=90_000)
    href = long.locator("a[href*='/recording/']").first.get_attribute("href") or ""
    page.bring_to_front()  # what is behind is drawn when the browser has time
    page.goto(address + short)  # from here on this browser knows what draws
    page.locator(".trace .main-svg").first.wait_for()
    times = [seconds(lambda: see(href, ".trace .main-svg")) for _ in range(TIMES)]
    tell("500,000 points on the screen", times, "1.5")

    def closer() -> None:
        before = page.evaluate("document.querySelector('.trace').layout.xaxis.range[1]")
        page.get_by_role("button", name="Closer").click()
        page.wait_for_function(f"document.querySelector('.trace').layout.xaxis.range[1] !== {before}")

    tell("and closer", [seconds(closer) for _ in range(TIMES)], "-")
    page.bring_to_front()
    page.goto(address + "/rehearse")
    page.locator("table").wait_for(timeout=90_000)
    page.locator(".trace .main-svg").first.wait_for()
    page.wait_for_timeout(SETTLED_MS)
    tell("a slider moved, the data drawn", [slide(page, share) for share in SHARES], "0.3")
    for number in range(2):
        job_with_recording(visitor, f"another {number}")
    print(f"memory, three jobs weighed, traces, a rehearsal: {memory_mb(process.pid):.0f} MB (wanted 600)")
    page.close()
    for path, what in ((short, "six minutes"), (href, "500,000 points")):
        firsts = [first_traces(browser, address, path) for _ in range(TIMES)]
        tell(f"the first traces ever in a browser, {what}", [whole for whole, _ in firsts], "1.5")
        tell("of that, after its page has loaded", [after for _, after in firsts], "-")
    browser.close()


def first_traces(browser: Browser, address: str, path: str) -> tuple[float, float]:
    """Seconds until a browser that has never drawn any shows traces: in all, and from when their page has loaded.

    It comes from the page of the job, as anyone does, who has looked at that for a second and a half.
    """
    context = browser.new_context(viewport={"width": LAPTOP[0], "height": LAPTOP[1]})
    page = context.new_page()
    page.goto(address + path.partition("/recording/")[0])
    page.locator("h1").wait_for()
    page.wait_for_timeout(SETTLED_MS)
    loading = seconds(lambda: page.goto(address + path))
    after = seconds(lambda: page.locator(".trace .main-svg").first.wait_for())
    context.close()
    return loading + after, after


MOVED = """async (share) => {
  const slider = document.querySelector("input[type=range]"), plot = document.querySelector(".trace");
  const lines = () => JSON.stringify(plot.data.map((one) => one.y.slice(0, 20)));
  const before = lines();
  const drawn = new Promise((done) => {
    const look = () => { if (lines() !== before) { plot.removeListener("plotly_afterplot", look); done(); } };
    plot.on("plotly_afterplot", look);
  });
  const began = performance.now();
  slider.value = Number(slider.min) + share * (slider.max - slider.min);
  slider.dispatchEvent(new Event("input", { bubbles: true }));
  await drawn;
  await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
  return (performance.now() - began) / 1000;
}"""
"""In the browser itself: from moving the slider to the frame after the one in which the lines are others."""


def slide(page: Page, share: float) -> float:
    """Seconds from moving the slider until the data are drawn; the next move comes when everything has settled."""
    took = float(page.evaluate(MOVED, share))
    page.wait_for_timeout(SETTLED_MS)
    return took


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
