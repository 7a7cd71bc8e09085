"""The published schemas of files whose shape is a model: made from the model, and written to docs/schemas.

    python tests/report/published_schemas.py

The others (verdict, plan, truth) are written by hand; tests/report/test_schemas.py holds all of them to real files.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import BaseModel, TypeAdapter

from airproof.diagnosis import facts_file
from airproof.diagnosis.meter import measured_file
from airproof.engine.profile import _ProfileFile
from airproof.engine.rehearsal.air.build import Details
from airproof.jobs.job_file import JobInside
from airproof.jobs.kinds import MODELS
from airproof.recording.mapping import SignalMap
from airproof.repair.learned.closed_job import ClosedJob
from airproof.repair.learned.shop_file import Shop
from airproof.repair.prices import _PriceFile
from airproof.repair.proof.proof import Proof

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "schemas"
DRAFT = "https://json-schema.org/draft/2020-12/schema"
Schema = dict[str, Any]


def of_model(model: type[BaseModel], name: str, title: str) -> Schema:
    """The schema of a model as a file of its own."""
    return headed(model.model_json_schema(by_alias=True), name, title)


def headed(schema: Schema, name: str, title: str) -> Schema:
    """With what a published schema begins with; the models' own words stay out, they are for who reads the code."""
    plain = without(schema, ("title", "description"))
    return {"$schema": DRAFT, "$id": f"urn:airproof:{name}", "title": title, **plain}


def without(value: Any, keys: tuple[str, ...], *, named: bool = False) -> Any:
    """A schema without those keywords; `named` where the keys are names of properties and no keywords."""
    if isinstance(value, dict):
        kept = value.items() if named else ((k, v) for k, v in value.items() if k not in keys)
        return {k: without(v, keys, named=not named and k in ("properties", "$defs")) for k, v in kept}
    return [without(one, keys) for one in value] if isinstance(value, list) else value


def engine() -> Schema:
    schema = of_model(_ProfileFile, "engine", "Engine profile (TOML)")
    details = without(Details.model_json_schema(), ("title", "description"))
    schema["$defs"] |= details.pop("$defs", {}) | {"Details": details}
    schema["properties"]["rehearsal"] = {"$ref": "#/$defs/Details"}
    return schema


def signal_map() -> Schema:
    schema = of_model(SignalMap, "signals", "Which heading is which signal (TOML)")
    schema["properties"].pop("source")
    short_or_long = [{"type": "string"}, schema["properties"]["signals"]["additionalProperties"]]
    schema["properties"]["signals"]["additionalProperties"] = {"anyOf": short_or_long}
    return schema


def reading() -> Schema:
    """Facts and measurements stand in one file; each is read by a model of its own."""
    schema = of_model(facts_file._File, "reading", "Facts and measurements (TOML)")
    measured = without(measured_file._File.model_json_schema(), ("title", "description"))
    schema["$defs"] |= measured["$defs"]
    for name in measured_file.TABLES:
        schema["properties"][name] = measured["properties"][name]
    return schema


def job() -> Schema:
    """job.json of a job file; each kind of event with its payload."""
    schema = of_model(JobInside, "job-file:1", "A whole job: job.json of a job file")
    for kind, model in MODELS.items():
        payload = without(model.model_json_schema(), ("title", "description"))
        schema["$defs"] |= payload.pop("$defs", {}) | {f"payload-{kind}": payload}
    schema["$defs"]["EventInside"]["allOf"] = [
        {
            "if": {"properties": {"kind": {"const": kind}}},
            "then": {"properties": {"payload": {"$ref": f"#/$defs/payload-{kind}"}}},
        }
        for kind in MODELS
    ]
    schema["$defs"]["payload-verdict"]["properties"]["verdict"] = {"$ref": "urn:airproof:verdict:1"}
    return schema


def proof() -> Schema:
    schema = headed(TypeAdapter(Proof).json_schema(), "proof:1", "The proof of a repair")
    schema["properties"] |= {"schema": {"const": "airproof.proof/1"}, "program": {"type": "string"}}
    schema["$defs"]["Compared"]["properties"]["enough"] = {"type": "boolean"}
    schema["required"] = ["schema", *schema["required"]]
    return schema


def shop() -> Schema:
    schema = of_model(Shop, "learned:1", "What a shop has learned")
    schema["properties"]["jobs"]["additionalProperties"] = False  # its keys are fingerprints
    return schema


def made() -> dict[str, Schema]:
    """All of them by the name of their file."""
    return {
        "engine.json": engine(),
        "signals.json": signal_map(),
        "prices.json": of_model(_PriceFile, "prices", "A shop's own prices (TOML)"),
        "reading.json": reading(),
        "job-file-1.json": job(),
        "proof-1.json": proof(),
        "learned-1.json": shop(),
        "closed-job-1.json": of_model(ClosedJob, "closed-job:1", "A closed job to learn from (TOML or JSON)"),
    }


def as_text(schema: Schema) -> str:
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    for name, schema in made().items():
        (FOLDER / name).write_text(as_text(schema), encoding="utf-8", newline="\n")
