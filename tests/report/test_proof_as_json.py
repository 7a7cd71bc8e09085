"""The proof as JSON: every field by its name, nothing that JSON has not."""

from __future__ import annotations

import json
from dataclasses import fields

from airproof.repair.proof.proof import OUTCOMES, Amount, Change, Compared, Missing, Proof
from airproof.report.proof_as_json import as_json


def invented() -> Proof:
    return Proof(
        judgement="not proved yet",
        says="the offset went from 8.1 to 0.2 kPa; not proved yet: no idle after the repair",
        cause="map-offset",
        cause_title="Manifold pressure sensor reads a constant amount wrong",
        steps=("replace-map-sensor",),
        probabilities=dict.fromkeys(OUTCOMES, 0.2),
        even_probability=0.2,
        changes=(
            Change(
                "size map-offset",
                "the offset",
                "kPa",
                Amount(8.1, 7.2, 9.0),
                Amount(0.2, -0.4, 0.8),
                Amount(-7.9, -9.0, -6.8),
                None,
                "",
                True,
                "the offset went from 8.1 to 0.2 kPa",
            ),
        ),
        regimes=(Compared("idle", 60.0, 3.0, 20.0), Compared("cruise", 60.0, 80.0, 60.0)),
        missing=(Missing("idle", 17.0, "17 s more of warm idle"),),
        codes=None,
        holding=None,
        drive=(),
    )


def test_every_field_is_told_by_its_name() -> None:
    told = json.loads(as_json(invented()))
    assert told["schema"] == "airproof.proof/1"
    assert set(told) == {"schema", "program", *(one.name for one in fields(Proof))}
    assert [row["enough"] for row in told["regimes"]] == [False, True]
    assert told["changes"][0]["after"] == {"value": 0.2, "low": -0.4, "high": 0.8}
