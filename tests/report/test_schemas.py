"""The published schemas hold what the program really reads and writes, and nothing that is written is unpublished."""

from __future__ import annotations

import json
import re
import tomllib
import zipfile
from copy import deepcopy
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from published_schemas import FOLDER, as_text, made
from referencing import Registry, Resource

from airproof.cli.main import run
from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.rehearse import Request
from airproof.engine.rehearsal.road.drives import of_stretches
from airproof.repair.proof.proof import Amount, Change, Compared, Missing, Proof
from airproof.report.proof_as_json import proof_object
from airproof.report.readout_as_json import cleared_as_json, found_as_json, readout_as_json
from airproof.vehicle.link.adapter import Adapter
from airproof.vehicle.link.addresses import TWENTY_NINE
from airproof.vehicle.link.clearing import Cleared
from airproof.vehicle.link.finding import find
from airproof.vehicle.readout.read_out import read_out
from airproof.vehicle.stand_in.manners import manners_named
from airproof.vehicle.stand_in.rehearsed_car import rehearsed_car
from airproof.vehicle.stand_in.simulated_bus import SimulatedBus, SimulatedClock
from airproof.vehicle.stand_in.stand_in import StandIn
from airproof.vehicle.stand_in.units import units_of

ROOT = FOLDER.parents[1]
EXAMPLES = ROOT / "examples"
SCHEMAS = {path.name: json.loads(path.read_text(encoding="utf-8")) for path in sorted(FOLDER.glob("*.json"))}
REGISTRY: Registry[Any] = Registry().with_resources(
    [(schema["$id"], Resource.from_contents(schema)) for schema in SCHEMAS.values()]
)


def validator(name: str, *, closed: bool = False) -> Draft202012Validator:
    """For one schema; `closed` refuses keys that it does not list."""
    schema = deepcopy(SCHEMAS[name])
    return Draft202012Validator(_closed(schema) if closed else schema, registry=REGISTRY)


def _closed(value: Any) -> Any:
    if isinstance(value, list):
        return [_closed(one) for one in value]
    if not isinstance(value, dict):
        return value
    there = {key: _closed(one) for key, one in value.items()}
    if "properties" in there and there.get("type") == "object":
        there.setdefault("additionalProperties", False)
    return there


def holds(name: str, value: Any, *, closed: bool = False) -> None:
    faults = sorted(validator(name, closed=closed).iter_errors(value), key=str)
    assert not faults, "\n".join(f"{list(one.absolute_path)}: {one.message[:200]}" for one in faults[:5])


def toml(text: str) -> Any:
    """As JSON would have it."""
    return json.loads(json.dumps(tomllib.loads(text), default=lambda day: day.isoformat()))


def said(capsys: pytest.CaptureFixture[str], *words: object) -> str:
    """What a command prints."""
    with pytest.raises(SystemExit) as ended:
        run([str(word) for word in words])
    out = capsys.readouterr()
    assert not ended.value.code, out.err
    return out.out


@pytest.fixture(scope="module")
def demo() -> list[object]:
    folder = EXAMPLES / "demo-job"
    return [folder / "recording.csv", "--engine", folder / "engine.toml", "--code", "P0106", "--altitude", "350m"]


def test_every_schema_is_one():
    assert len(SCHEMAS) >= 11
    for schema in SCHEMAS.values():
        Draft202012Validator.check_schema(schema)


def test_those_of_models_are_as_the_models_are_now():
    """If not: python tests/report/published_schemas.py."""
    for name, schema in made().items():
        assert (FOLDER / name).read_text(encoding="utf-8") == as_text(schema), name


def test_verdict_and_plan(capsys, demo, tmp_path):
    verdict = json.loads(said(capsys, "weigh", *demo, "--json"))
    holds("verdict-1.json", verdict, closed=True)
    file = tmp_path / "verdict.json"
    file.write_text(json.dumps(verdict), encoding="utf-8")
    plan = json.loads(said(capsys, "plan", file, "--json"))
    holds("plan-1.json", plan, closed=True)
    assert not validator("verdict-1.json").is_valid({**verdict, "causes": []})
    assert not validator("plan-1.json").is_valid({key: value for key, value in plan.items() if key != "tree"})


def test_a_verdict_without_a_recording_and_a_refusal(capsys, demo, tmp_path):
    told = json.loads(
        said(capsys, "weigh", "--engine", demo[2], "--code", "P0107", "--symptom", "hesitation", "--json")
    )
    holds("verdict-1.json", told, closed=True)
    diesel = tmp_path / "engine.toml"
    text = Path(str(demo[2])).read_text(encoding="utf-8")
    diesel.write_text(re.sub(r'fuel = "\w+"', 'fuel = "diesel"', text), encoding="utf-8")
    refused = json.loads(said(capsys, "weigh", demo[0], "--engine", diesel, "--json"))
    assert refused["refusal"]
    holds("verdict-1.json", refused, closed=True)


def test_the_truth_of_a_rehearsal(capsys, demo, tmp_path):
    out = tmp_path / "drive.csv"
    words = ["rehearse", "--engine", demo[2], "--cause", "map-offset=9kPa:from=60s:over=30s", "--out", out]
    printed = json.loads(said(capsys, *words, "--compare", "--json"))
    holds("truth-1.json", printed, closed=True)
    written = json.loads((tmp_path / "drive.truth.json").read_text(encoding="utf-8"))
    holds("truth-1.json", written, closed=True)


def test_a_job_file_carries_the_verdict(capsys, demo, tmp_path):
    data = ["--data", tmp_path / "jobs"]
    said(capsys, "job", "new", "--plate", "AB C 123", "--complaint", "lamp on", *demo[1:], *data)
    said(capsys, "job", "add", "1", "--recording", demo[0], "--reading", EXAMPLES / "meter" / "readings.toml", *data)
    said(capsys, "job", "weigh", "1", *data)
    said(capsys, "job", "export", "1", "--out", tmp_path / "job.zip", *data)
    with zipfile.ZipFile(tmp_path / "job.zip") as packed:
        inside = json.loads(packed.read("job.json"))
    holds("job-file-1.json", inside)
    verdict = next(event["payload"]["verdict"] for event in inside["events"] if event["kind"] == "verdict")
    holds("verdict-1.json", verdict, closed=True)
    broken = deepcopy(inside)
    broken["events"][0]["payload"]["wheels"] = 4
    assert not validator("job-file-1.json").is_valid(broken)


def test_what_a_shop_has_learned(capsys, tmp_path):
    shop, closed = tmp_path / "shop.json", EXAMPLES / "closed-job" / "job.toml"
    holds("closed-job-1.json", toml(closed.read_text(encoding="utf-8")))
    said(capsys, "learn", closed, "--shop", shop)
    holds("learned-1.json", json.loads(shop.read_text(encoding="utf-8")))


def test_files_that_people_write():
    holds("engine.json", toml((EXAMPLES / "demo-job" / "engine.toml").read_text(encoding="utf-8")))
    for file in sorted((EXAMPLES / "meter").glob("*.toml")):
        holds("reading.json", toml(file.read_text(encoding="utf-8")))
    evidence = (ROOT / "docs" / "evidence.md").read_text(encoding="utf-8")
    holds("reading.json", toml(evidence.split("```toml\n")[1].split("```")[0]))
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = {block.split("```")[0] for block in readme.split("```toml\n")[1:]}
    signals = next(block for block in blocks if block.startswith("[signals]"))
    holds("signals.json", toml(signals))
    holds("signals.json", {"signals": {"manifold_pressure": "MAP"}})
    holds("prices.json", toml('currency = "EUR"\nlabour_per_hour = 85\n[parts]\nmap-sensor = 39.90'))


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("engine.json", {"engine": {"displacement_l": 2.0}}),
        ("engine.json", {"engine": {"displacement_l": 2.0, "cylinders": 4, "induction": "turbo",
                                    "air_metering": "both"}}),
        ("signals.json", {"signal": {}}),
        ("prices.json", {"labour_per_hour": -1}),
        ("reading.json", {"code": [{"id": "P0106", "stat": "stored"}]}),
        ("reading.json", {"measured": [{"what": "smell"}]}),
        ("closed-job-1.json", {"schema": "airproof.closed-job/1", "id": "1", "closed": str(date(2026, 3, 4))}),
        ("learned-1.json", {"schema": "airproof.learned/1", "jobs": {"not a fingerprint": {}}}),
    ],
)  # fmt: skip
def test_what_is_none_is_refused(name, value):
    assert not validator(name).is_valid(value)


def test_a_proof():
    amount = Amount(8.1, 7.2, 9.0)
    change = Change(
        "size map-offset", "offset", "kPa", amount, Amount(0.2, None, 0.8), amount, (-1.0, 1.0), "", True, "x"
    )
    missing = Missing("full-load", 8.0, "no full-load interval after the repair")
    proof = Proof("not proved yet", "not proved yet", "map-offset", "Sensor", ("replace-map-sensor",), {"fixed": 0.9},
                  0.8, (change,), (Compared("idle", 60.0, 61.0, 20.0),), (missing,), None, None, ())  # fmt: skip
    holds("proof-1.json", proof_object(proof), closed=True)


@pytest.mark.parametrize("newer", [False, True])
def test_a_car_on_the_line(newer):
    profile = EngineProfile(displacement_l=1.6, cylinders=4, induction="naturally-aspirated", air_metering="both")
    car = rehearsed_car(Request(profile, drive=of_stretches("stands", [(15, "off", 0)]), earlier_drives=0))
    clock = SimulatedClock()
    stand_in = StandIn(units_of(car, TWENTY_NINE, newer_style=newer), manners_named("polite"), TWENTY_NINE)

    def opener(*_):
        return SimulatedBus(stand_in, clock)

    found = find(Adapter("virtual"), clock, opener)
    holds("car-1.json", json.loads(found_as_json(found)), closed=True)
    read = read_out(found.connect(clock, opener), found)
    holds("readout-1.json", json.loads(readout_as_json(read)), closed=True)
    cleared = Cleared({"7E8": True, "7E9": "conditions are not right"})
    holds("cleared-1.json", json.loads(cleared_as_json(cleared, read)), closed=True)
