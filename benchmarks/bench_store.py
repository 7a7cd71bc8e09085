"""How long the store of jobs takes with 5,000 jobs and 50 GB of recordings, and what 200 killed writers lose.

    python benchmarks/bench_store.py [--jobs 5000] [--kills 200] [--postgresql URL]

Recordings are files of their sizes in the places of the store, with nothing in them (sparse: they take no room), since
lists and searches never open one. Each search stands beside a plain sqlite3 query for the same rows over the same file,
in the same run; the ratio is what our layers add.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from airproof.jobs.events import Draft
from airproof.jobs.kinds import payload_of
from airproof.jobs.opening import FILE, open_store
from airproof.jobs.store import Store, Wanted

GB = 10**9
MAKES = ("Northern", "Falcon", "Hill", "Marsh")
OWNERS = ("Meier", "Okafor", "Dubois", "Svensson", "Rossi", "Nowak")
COMPLAINTS = ("lamp on, hesitates when pulling away", "limp mode on the motorway", "rough idle when cold", "thirsty")
CODES = ("P0106", "P0107", "P0171", "P0299", "P0101", "P2263")
CAUSES = ("map-offset", "vacuum-leak", "boost-leak", "maf-scale", "none")
REPEATS = 15
WANTED_MS = 300.0
"""For a list or a search of all that."""


def drafts(number: int, chance: random.Random, recorded: int) -> list[Draft]:
    """Some fifteen facts of one invented job, a verdict of usual length among them."""
    cause = chance.choice(CAUSES)
    verdict = {
        "schema": "airproof.verdict/1",
        "causes": [{"id": cause, "probability": 0.9, "evidence": [{"says": "x" * 80}] * 20}],
        "timeline": [{"from_s": n, "to_s": n + 10, "p_wrong": 0.02, "causes": {}} for n in range(60)],
    }
    said: list[tuple[str, dict[str, Any]]] = [
        ("car", {"make": chance.choice(MAKES), "model": f"M{number % 40}", "year": 1996 + number % 30,
                 "plate": f"AB-{number % 90:02d} {number:05d}", "vin": f"{number:017d}",
                 "owner": f"{chance.choice(OWNERS)} {number}"}),
        ("complaint", {"text": chance.choice(COMPLAINTS)}),
        ("place", {"altitude": f"{chance.randint(0, 900)}m", "ambient": "18C"}),
        *(("code", {"id": code}) for code in chance.sample(CODES, 2)),
        ("symptom", {"id": "hesitation"}),
        ("look", {"id": "plug-loose", "found": False}),
        *(("recording", {"sha256": f"{number:032x}{part:032x}", "bytes": recorded // 2, "name": "drive.csv"})
          for part in range(2)),
        ("step", {"id": "look-hoses", "outcome": "not found", "minutes": 5}),
        ("note", {"text": f"called back on day {number % 30}; " + "something was said " * 10}),
        ("verdict", {"verdict": verdict, "program": "x", "facts_sha256": "0" * 64}),
    ]  # fmt: skip
    if chance.random() < 0.7:
        said.append(("closed", {"cause": cause, "standing": "proved"}))
    return [Draft(kind, payload_of(kind, data)) for kind, data in said]


def median_ms(what: Callable[[], object]) -> float:
    what()
    took = []
    for _ in range(REPEATS):
        begun = time.perf_counter()
        what()
        took.append((time.perf_counter() - begun) * 1e3)
    return statistics.median(took)


SEARCHES: dict[str, tuple[dict[str, Any], str, tuple[str, ...]]] = {
    "the last 50": ({"limit": 50}, "ORDER BY changed_at DESC, number DESC LIMIT 50", ()),
    "all of them": ({}, "ORDER BY changed_at DESC, number DESC", ()),
    "a plate, in part": ({"wanted": Wanted(plate="04711")}, "WHERE plate_key LIKE ?", ("%04711%",)),
    "a VIN": ({"wanted": Wanted(vin="00000000000004711")}, "WHERE vin_key LIKE ?", ("%00000000000004711%",)),
    "an owner": ({"wanted": Wanted(owner="okafor")}, "WHERE lower(owner) LIKE ?", ("%okafor%",)),
    "a code": ({"wanted": Wanted(code="P0299")}, "WHERE codes LIKE ?", ("% P0299 %",)),
    "a cause, open": (
        {"wanted": Wanted(cause="vacuum-leak", closed=False)},
        "WHERE cause LIKE ? AND closed = ''", ("%vacuum-leak%",)),
    "two words anywhere": (
        {"wanted": Wanted(words="motorway nowak")},
        "JOIN job_words ON job = number WHERE words LIKE ? AND words LIKE ?", ("%motorway%", "%nowak%")),
    "a word that is nowhere": (
        {"wanted": Wanted(words="zeppelin")}, "JOIN job_words ON job = number WHERE words LIKE ?", ("%zeppelin%",)),
}  # fmt: skip
COLUMNS = "number, uid, opened_at, changed_at, last_event, car, plate, owner, complaint, cause, closed"


def recordings(folder: Path, jobs: int, recorded: int) -> float:
    """Empty files in the places and of the sizes of all recordings; how much they seem to be, GB."""
    for number in range(jobs):
        for part in range(2):
            sha256 = f"{number:032x}{part:032x}"
            path = folder / "recordings" / sha256[:2] / f"{sha256}.original"
            path.parent.mkdir(parents=True, exist_ok=True)
            with path.open("wb") as file:
                file.truncate(recorded // 2)
    return sum(path.stat().st_size for path in folder.rglob("*.original")) / GB


def searches(store: Store, plain: sqlite3.Connection | None) -> float:
    """Every search beside its plain query; the slowest of ours, ms."""
    slowest = 0.0
    print(f"{'search':26} {'found':>6} {'ms':>8} {'plain ms':>9} {'ratio':>6}")
    for name, (asked, where, values) in SEARCHES.items():
        ours = median_ms(lambda asked=asked: store.jobs(**asked))
        slowest = max(slowest, ours)
        found = len(store.jobs(**asked))
        if plain is None:
            print(f"{name:26} {found:6} {ours:8.1f}")
            continue
        query = f"SELECT {COLUMNS} FROM jobs {where}"
        theirs = median_ms(lambda query=query, values=values: plain.execute(query, values).fetchall())
        assert found == len(plain.execute(query, values).fetchall())
        print(f"{name:26} {found:6} {ours:8.1f} {theirs:9.1f} {ours / theirs:6.1f}")
    return slowest


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--jobs", type=int, default=5000)
    words.add_argument("--kills", type=int, default=200)
    words.add_argument("--postgresql", default=None, help="the address of an empty database, to measure it as well")
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for address in [None, *([asked.postgresql] if asked.postgresql else [])]:
            chance = random.Random(1)
            with open_store(folder, address) as store:
                begun = time.perf_counter()
                for number in range(asked.jobs):
                    store.new_job(drafts(number, chance, 50 * GB // asked.jobs), "bench")
                took = time.perf_counter() - begun
                size = store.recorded_bytes() / GB
                print(f"{store.where}: {store.count()} jobs, {size:.0f} GB of recordings, written in {took:.0f} s")
                if os.name != "nt":  # there a file of a size takes it
                    seem = recordings(folder, asked.jobs, 50 * GB // asked.jobs)
                    print(f"in the folder: {2 * asked.jobs} files of {seem:.0f} GB together, empty")
                plain = sqlite3.connect(folder / FILE) if address is None else None
                slowest = searches(store, plain)
                print(f"the slowest list or search: {slowest:.0f} ms (wanted {WANTED_MS:.0f})")
                seen = store.last_event(7)
                one = median_ms(lambda: store.state(7))
                begun, times = time.perf_counter(), 30
                for more in range(times):
                    store.append(7, [Draft("note", payload_of("note", {"text": "x"}))], seen=seen + more)
                each = (time.perf_counter() - begun) / times * 1e3
                print(f"one job read and folded {one:.1f} ms; one fact added, on the disk, {each:.1f} ms")
                if plain is not None:
                    plain.close()
        for words_ in (["list"], ["list", "motorway", "nowak"], ["show", "7"]):
            order = [sys.executable, "-m", "airproof", "job", *words_, "--data", name, "--json"]
            took_ms = median_ms(lambda order=order: json.loads(subprocess.run(order, capture_output=True).stdout))
            print(f"airproof job {' '.join(words_)}, as a whole process: {took_ms:.0f} ms")
        killing = Path(__file__).resolve().parents[1] / "tests" / "jobs" / "killed_writers.py"
        subprocess.run([sys.executable, killing, folder / "killed", str(asked.kills), "1"], check=True)


if __name__ == "__main__":
    main()
