"""A fixed set of drawn rehearsals, judged as benchmarks/verdict_quality.py judges a thousand: a guard, not a proof.

The limits lie below what the benchmark measures on fresh cases (docs/whole_picture.md).
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).resolve().parents[2] / "benchmarks"))
verdict_quality = pytest.importorskip("verdict_quality")

SEED = 5
FAULTY, HEALTHY = 48, 16


def test_a_fixed_set_of_rehearsals() -> None:
    faulty = [verdict_quality.judge(k, seed=SEED, way="plain", faulty=True) for k in range(FAULTY)]
    healthy = [verdict_quality.judge(k, seed=SEED, way="plain", faulty=False) for k in range(FAULTY, FAULTY + HEALTHY)]
    first = sum(one.first == one.really for one in faulty) / FAULTY
    three = sum(one.really in one.three for one in faulty) / FAULTY
    sure_and_wrong = sum(one.first not in (one.really, "none") and one.first_p > 0.5 for one in faulty)
    assert first > 0.6
    assert three > 0.85
    assert sure_and_wrong <= 5
    assert sum(one.first != "none" for one in healthy) <= 1
