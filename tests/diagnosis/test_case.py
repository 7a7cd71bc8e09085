"""What a pressure reads with the engine off, where it drifted while the car was recorded."""

from __future__ import annotations

import numpy as np
import pytest
from small_cases import DAY, TURBO, case_of, changed, workshop_round

from airproof.diagnosis.weigh import weigh
from airproof.recording.regimes import Regime

ROUND = workshop_round(TURBO)
LATE = changed(ROUND, "manifold_pressure", lambda v: v + np.where(np.arange(v.size) > 0.5 * v.size, 9.0, 0.0))


def test_what_it_reads_last_is_so_now() -> None:
    case = case_of(LATE, TURBO)
    values, stretches = case.at_rest("manifold_pressure")
    assert len(case.regimes.intervals(Regime.KEY_ON)) == 2
    assert stretches == case.regimes.intervals(Regime.KEY_ON)[-1:]
    assert float(np.median(values)) == pytest.approx(DAY + 9.0, abs=0.2)


def test_where_it_did_not_drift_all_of_it_counts() -> None:
    case = case_of(ROUND, TURBO)
    values, stretches = case.at_rest("manifold_pressure")
    assert stretches == case.regimes.intervals(Regime.KEY_ON)
    assert values.size == case.in_regime("manifold_pressure", Regime.KEY_ON).size
    assert case.at_rest("lambda")[0].size == 0


def test_the_sensor_that_drifted_is_named() -> None:
    finding = next(one for one in weigh([LATE], TURBO).verdict.findings if one.id == "key-on-baro")
    assert "107.0 kPa" in finding.says
