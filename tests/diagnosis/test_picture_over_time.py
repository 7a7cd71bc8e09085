"""Changes within a recording, against its own beginning."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_cases import TURBO, case_of, workshop_round

from airproof.diagnosis.picture import loads
from airproof.diagnosis.picture.over_time import over_time
from airproof.recording.recording import Recording

BEGINS = 120.0


def growing(factor: float) -> Recording:
    """A round whose air flow reads that factor too high from BEGINS on."""
    good = workshop_round(TURBO)
    flow = good["air_flow"]
    values = np.where(flow.time >= BEGINS, factor * flow.values, flow.values)
    return replace(good, signals={**good.signals, "air_flow": replace(flow, values=values)})


def changes(recording: Recording) -> dict[str, float]:
    case = case_of(recording, TURBO)
    day = case.barometer.kpa
    return over_time(case, loads.quantities(case, day), loads.places(case.points, day))


def test_a_sensor_that_goes_wrong_half_way_parts_the_values_of_like_loads() -> None:
    before, after = changes(growing(1.0)), changes(growing(1.2))
    assert after["ve_apart"] > before["ve_apart"] + np.log(3.0)
    assert 0.5 * np.log(1.2) < after["ve_later"] - before["ve_later"] < np.log(1.2) + 0.01


def test_what_does_not_concern_the_air_flow_stays() -> None:
    before, after = changes(growing(1.0)), changes(growing(1.2))
    for name in ("idle_p_later", "idle_n_later", "area_later"):
        assert after[name] == pytest.approx(before[name], abs=1e-9)
