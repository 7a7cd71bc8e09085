"""What was learned as one JSON object, "airproof.learned-report/1": keys are added over time, never renamed."""

from __future__ import annotations

import json

from airproof.repair.learned.sharpen import Learned

SCHEMA = "airproof.learned-report/1"


def as_json(learned: Learned, notes: tuple[str, ...] = ()) -> str:
    """The object as text; every number that moved, what moved most first."""
    found = {
        "schema": SCHEMA,
        "jobs": learned.jobs,
        "numbers": [
            {
                "about": one.about,
                "of": one.of,
                "given": one.given or None,
                "before": one.before,
                "after": one.after,
                "low": one.interval[0],
                "high": one.interval[1],
                "jobs": one.jobs,
            }
            for one in learned.numbers
        ],
        "remarks": [*notes, *learned.remarks],
    }
    return json.dumps(found, indent=1, allow_nan=False)
