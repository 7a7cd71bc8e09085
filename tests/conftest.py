"""What all tests share."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("patient", deadline=None)  # no test is judged by the clock
settings.load_profile("patient")

BESIDE_THE_CHECKOUT = Path(__file__).resolve().parents[2] / "shared" / "data"


@pytest.fixture(scope="session")
def realdata() -> Path:
    """The folder of real recordings; the test is skipped where there is none."""
    folder = Path(os.environ.get("AIRPROOF_REALDATA", BESIDE_THE_CHECKOUT))
    if not folder.is_dir():
        pytest.skip("the real recordings are not here: set AIRPROOF_REALDATA to their folder")
    return folder
