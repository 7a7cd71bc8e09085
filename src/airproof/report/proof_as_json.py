"""The proof as JSON, "airproof.proof/1"; keys are added over time, never renamed."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from airproof import __version__
from airproof.repair.proof.proof import Proof

SCHEMA = "airproof.proof/1"


def proof_object(proof: Proof) -> dict[str, Any]:
    """The proof as an object of JSON: the fields of `Proof` by name, and whether each regime was enough."""
    told = asdict(proof)
    for row, one in zip(told["regimes"], proof.regimes, strict=True):
        row["enough"] = one.enough
    plain: dict[str, Any] = json.loads(json.dumps({"schema": SCHEMA, "program": f"airproof {__version__}", **told}))
    return plain


def as_json(proof: Proof) -> str:
    """The proof as text."""
    return json.dumps(proof_object(proof), indent=1, allow_nan=False, ensure_ascii=False)
