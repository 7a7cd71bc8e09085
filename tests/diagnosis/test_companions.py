from __future__ import annotations

from dataclasses import replace

import numpy as np
from small_cases import NATURAL, case_of, changed, workshop_round

from airproof.diagnosis.companions import doubtful_good, odd_companions
from airproof.recording.recording import Recording, Signal
from airproof.report.wording import sentence

TIME = np.arange(50, dtype=np.float64)


def recording(label: str, **values: float) -> Recording:
    signals = {name: Signal(name, "", TIME, np.full(TIME.size, value)) for name, value in values.items()}
    return Recording(signals, label=label)


def test_recordings_of_one_car_raise_no_doubt() -> None:
    one = recording("a", air_flow=3.0, barometric_pressure=97.0)
    other = recording("b", air_flow=9.0, barometric_pressure=99.0)
    assert odd_companions([one, other], [recording("c", air_flow=3.0)]) == ()
    assert odd_companions([one], []) == ()


def test_signals_that_only_one_holds_are_asked_about() -> None:
    one = recording("a", air_flow=3.0, charge_pressure=100.0)
    (line,) = odd_companions([one], [recording("b", engine_speed=800.0)])
    assert "a and b" in line
    assert "air flow and charge pressure" in line
    assert line.endswith("?")


def test_a_file_keeps_its_name_at_the_beginning_of_a_sentence() -> None:
    (odd,) = odd_companions([recording("hose.csv", air_flow=3.0)], [recording("b.csv", engine_speed=800.0)])
    (high,) = odd_companions(
        [recording("hose.csv", barometric_pressure=97.0), recording("b.csv", barometric_pressure=83.0)], []
    )
    lying = case_of(changed(workshop_round(NATURAL), "manifold_pressure", lambda v: v + 8.0), NATURAL)
    (bad,) = doubtful_good([replace(lying, recording=replace(lying.recording, label="good.csv"))])
    assert "Hose.csv" not in sentence(odd) + sentence(high)
    assert "Good.csv" not in sentence(bad)


def test_two_altitudes_are_noticed() -> None:
    (line,) = odd_companions(
        [recording("low", barometric_pressure=97.0), recording("high", barometric_pressure=83.0)], []
    )
    assert "97 and 83 kPa absolute" in line


def test_a_baseline_that_contradicts_itself_is_doubted() -> None:
    good = case_of(workshop_round(NATURAL), NATURAL)
    assert doubtful_good([good]) == ()
    lying = case_of(changed(workshop_round(NATURAL), "manifold_pressure", lambda v: v + 8.0), NATURAL)
    (line,) = doubtful_good([good, lying])
    assert "8 kPa too high with the engine off" in line
