"""The simulated engine along a healthy recording from a test bench: LiU-ICE benchmark (arXiv:2408.13269), wltp_NF.

What comes out is an error, and no outside source says how large it may be: every bound here is a regression guard, the
error of the day rounded up by about a quarter. `python benchmarks/bench_recording.py` prints the errors themselves.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytestmark = pytest.mark.realdata

SCRIPT = Path(__file__).resolve().parents[3] / "benchmarks" / "bench_recording.py"

# of all moments after the fitted 600 s: %, median size, what nine in ten stay below, size of the bias
BOUNDS = {
    "as a user gets it": {
        "manifold_pressure": (12.0, 24.0, 5.0),
        "air_flow": (31.0, 44.0, 31.0),
        "charge_pressure": (0.7, 9.0, 0.5),
    },
    "seven numbers fitted": {
        "manifold_pressure": (7.0, 20.0, 3.0),
        "air_flow": (6.0, 19.0, 3.0),
        "charge_pressure": (0.7, 9.0, 0.5),
    },
    "thirteen fitted, breathing by load": {
        "manifold_pressure": (5.5, 16.0, 3.0),
        "air_flow": (4.0, 15.0, 3.0),
        "charge_pressure": (0.7, 8.0, 0.5),
    },
}


@pytest.fixture(scope="module")
def script() -> Any:
    spec = importlib.util.spec_from_file_location(SCRIPT.stem, SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # its dataclasses look themselves up
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def bench(script: Any, realdata: Path) -> Any:
    return script.load(realdata)


@pytest.mark.parametrize("title", BOUNDS)
def test_it_follows_the_recording(script: Any, bench: Any, title: str) -> None:
    off = script.deviations(script.drive(script.SETTINGS[title](), bench), bench)
    judged = script.moments(bench)["all"]
    for name, bounds in BOUNDS[title].items():
        middle, most, bias = script.stated(off[name][judged])
        assert middle < bounds[0], name
        assert most < bounds[1], name
        assert abs(bias) < bounds[2], name


def test_the_fitted_plate_leaks_and_breathes_as_the_recording_shows(script: Any, bench: Any) -> None:
    """Idle and coasting, where the throttle is choked and charge pressure plays no part."""
    setting = script.SETTINGS["thirteen fitted, breathing by load"]()
    off = script.deviations(script.drive(setting, bench), bench)
    closed = script.moments(bench)["closed throttle (below 30 kPa)"]
    assert script.stated(off["air_flow"][closed])[0] < 2.5
    assert script.stated(off["manifold_pressure"][closed])[0] < 4.0


def test_driving_a_part_says_the_same_as_driving_all(script: Any, bench: Any) -> None:
    setting = script.SETTINGS["seven numbers fitted"]()
    part, whole = script.drive(setting, bench, 100.0), script.drive(setting, bench)
    for name, values in part.items():
        assert 500 < values.size < bench.time.size // 10
        np.testing.assert_array_equal(values, whole[name][: values.size])
