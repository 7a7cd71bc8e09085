"""What moves between a healthy and a faulty drive: known changes in a drive made by hand, and two real rehearsals."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.air.build import Details
from airproof.engine.rehearsal.compare import COMPARED, Comparison, Move, as_recording, compare, noticeable
from airproof.engine.rehearsal.faults import parse_fault
from airproof.engine.rehearsal.rehearse import Request, rehearse
from airproof.engine.rehearsal.written.logger import Log, log, logger_named
from airproof.recording.recording import Floats, Recording, Signal
from airproof.recording.regimes import Regime, find_regimes
from airproof.recording.signals import glossary, signal_kind

Change = Callable[[Floats, Floats], Floats]
"""From the time and the healthy values to the faulty ones."""

# Seconds and levels, straight lines between: key on, start, idle, snap, cruise, pull, coast, idle.
COURSE: Mapping[str, tuple[tuple[float, float], ...]] = {
    "engine_speed": (
        (0, 0), (12, 0), (12.5, 250), (13.5, 250), (14, 900), (15, 750), (50, 750), (50.6, 3000), (51.4, 3000),
        (53, 750), (57, 750), (62, 2000), (90, 2000), (91, 2000), (100, 5000), (101, 4700), (108, 1600), (111, 750),
        (130, 750),
    ),
    "manifold_pressure": (
        (0, 100), (12, 100), (13.5, 60), (15, 30), (50, 30), (50.3, 92), (50.9, 92), (51.2, 22), (54, 30), (57, 30),
        (62, 45), (90, 45), (91.3, 97), (100, 97), (100.3, 22), (108, 22), (111, 30), (130, 30),
    ),
    "throttle": (
        (0, 14), (15, 12), (50, 12), (50.2, 85), (50.8, 85), (50.9, 12), (57, 12), (62, 20), (90, 20), (91, 85),
        (100, 85), (100.2, 12), (130, 12),
    ),
    "pedal": (
        (0, 0), (50, 0), (50.2, 90), (50.8, 90), (50.9, 0), (57, 0), (62, 25), (90, 25), (91, 95), (100, 95),
        (100.1, 0), (130, 0),
    ),
    "vehicle_speed": ((0, 0), (57, 0), (62, 50), (91, 50), (100, 120), (108, 40), (111, 0), (130, 0)),
    "air_flow": (
        (0, 0), (13, 0), (15, 2.4), (50, 2.4), (50.4, 30), (51, 30), (53, 2.4), (57, 2.4), (62, 11), (90, 11), (92, 30),
        (100, 70), (100.5, 7), (108, 4), (111, 2.4), (130, 2.4),
    ),
    "short_trim_1": ((0, 0), (130, 0)),
    "long_trim_1": ((0, -2), (130, -2)),
    "barometric_pressure": ((0, 100), (130, 100)),
    "fuel_system_status": ((0, 2), (130, 2)),
}  # fmt: skip
TIME = np.arange(0.0, 130.0, 0.1)


def driven(changes: Mapping[str, Change] | None = None, *, resolution: float | None = None) -> Recording:
    signals = {}
    for name, points in COURSE.items():
        seconds, levels = np.array(points, dtype=np.float64).T
        values = np.interp(TIME, seconds, levels)
        if changes and name in changes:
            values = changes[name](TIME, values)
        signals[name] = Signal(name, signal_kind(name).unit, TIME, values, resolution)
    return Recording(signals)


def more(amount: float) -> Change:
    return lambda _, values: values + amount


HEALTHY = driven()


def moved(comparison: Comparison, kind: str = "level") -> dict[tuple[str, str], Move]:
    return {(str(move.regime), move.signal): move for move in comparison.moves if move.kind == kind}


def test_the_drive_made_by_hand_has_every_regime() -> None:
    assert set(compare(HEALTHY, HEALTHY).stretches) == set(COMPARED)


def test_a_recording_against_itself_moves_nothing() -> None:
    found = compare(HEALTHY, HEALTHY)
    assert not found.moves
    assert not found.apart
    assert {one.signal for one in found.still} == {
        "manifold_pressure", "barometric_pressure", "air_flow", "throttle",
        "total_trim_1", "short_trim_1", "long_trim_1",
    }  # fmt: skip
    assert all(one.most == 0.0 for one in found.still)


@settings(max_examples=25, deadline=None)
@given(amount=st.floats(-25.0, 25.0))
def test_an_offset_is_found_where_it_is_large_enough_and_nowhere_else(amount: float) -> None:
    found = compare(HEALTHY, driven({"manifold_pressure": more(amount)}))
    assert {move.signal for move in found.moves} <= {"manifold_pressure"}
    for regime, level in (("key-on", 100.0), ("idle", 30.0), ("overrun", 22.0)):
        move = moved(found).get((regime, "manifold_pressure"))
        least = noticeable()["manifold_pressure"].least(level, None)
        assert (move is not None) == (abs(amount) >= least) or abs(amount) == pytest.approx(least)
        if move is not None:
            assert move.healthy == pytest.approx(level)
            assert move.change == pytest.approx(amount)
            assert move.clearness == pytest.approx(abs(amount) / least)
    assert not moved(found, "swing")
    assert not moved(found, "delay")


def test_a_shift_also_lifts_the_highest_value_of_a_snap_and_of_a_pull() -> None:
    peaks = moved(compare(HEALTHY, driven({"manifold_pressure": more(12.0)})), "highest")
    assert peaks["snap", "manifold_pressure"].healthy == pytest.approx(92.0)
    assert peaks["snap", "manifold_pressure"].change == pytest.approx(12.0)
    assert peaks["full-load", "manifold_pressure"].change == pytest.approx(12.0)


def test_clearest_first() -> None:
    found = compare(HEALTHY, driven({"manifold_pressure": more(12.0), "air_flow": lambda _, v: 1.3 * v}))
    clearness = [round(move.clearness, 1) for move in found.moves]
    assert clearness == sorted(clearness, reverse=True)
    assert found.moves[0].signal == "manifold_pressure"
    assert min(clearness) >= 1.0


@settings(max_examples=10, deadline=None)
@given(order=st.permutations(sorted(COURSE)))
def test_the_order_of_signals_is_irrelevant(order: list[str]) -> None:
    faulty = driven({"manifold_pressure": more(7.0), "long_trim_1": more(9.0), "throttle": more(-2.0)})
    shuffled = Recording({name: faulty[name] for name in order})
    assert compare(HEALTHY, shuffled) == compare(HEALTHY, faulty)


@pytest.mark.parametrize("amount", [-11.0, 6.0])
def test_healthy_and_faulty_changed_about_change_the_sign(amount: float) -> None:
    faulty = driven({"manifold_pressure": more(amount)})
    there, back = moved(compare(HEALTHY, faulty)), moved(compare(faulty, HEALTHY))
    assert there.keys() == back.keys()
    for place, move in there.items():
        assert back[place].change == pytest.approx(-move.change)


def test_two_trims_that_nobody_notices_add_up_to_one_that_is_seen() -> None:
    found = compare(HEALTHY, driven({"short_trim_1": more(3.0), "long_trim_1": more(3.0)}))
    assert {move.signal for move in found.moves} == {"total_trim_1"}
    assert moved(found)["idle", "total_trim_1"].change == pytest.approx(6.0)
    assert ("key-on", "total_trim_1") not in moved(found)  # with the engine off a trim is only remembered


def test_a_loose_plug_is_restless_but_moves_no_level() -> None:
    def broken(time: Floats, values: Floats) -> Floats:
        return np.where(time % 8.0 < 0.2, 10.0, values)

    found = compare(HEALTHY, driven({"manifold_pressure": broken}))
    swing = moved(found, "swing")["idle", "manifold_pressure"]
    assert swing.healthy == pytest.approx(0.0, abs=0.2)
    assert swing.faulty == pytest.approx(20.0, abs=0.2)
    assert ("idle", "manifold_pressure") not in moved(found)


def test_a_fouled_port_comes_late() -> None:
    """A first-order lag comes half-way down later by its time constant times ln 2."""
    constant = 0.6

    def late(_: Floats, values: Floats) -> Floats:
        out = values.copy()
        for k in range(1, out.size):
            out[k] = out[k - 1] + (values[k] - out[k - 1]) * (1.0 - np.exp(-0.1 / constant))
        return out

    found = compare(HEALTHY, driven({"manifold_pressure": late}))
    delay = moved(found, "delay")["full-load", "manifold_pressure"]
    assert delay.unit == "s"
    assert delay.change == pytest.approx(constant * np.log(2.0), abs=0.15)
    assert not {("idle", "manifold_pressure"), ("key-on", "manifold_pressure")} & moved(found).keys()


def test_a_coarse_item_hides_what_a_fine_one_shows() -> None:
    change = {"manifold_pressure": more(5.0)}
    assert moved(compare(HEALTHY, driven(change)))
    coarse = compare(driven(resolution=4.0), driven(change, resolution=4.0))
    assert "manifold_pressure" not in {move.signal for move in coarse.moves}
    assert "manifold_pressure" not in {one.signal for one in coarse.still}  # nor can it be said to stay


def test_what_wanders_by_itself_is_not_seen_to_move() -> None:
    def restless(time: Floats, values: Floats) -> Floats:
        return values + 5.0 * np.sin(6.0 * time)

    found = compare(
        driven({"manifold_pressure": restless}), driven({"manifold_pressure": lambda t, v: restless(t, v) + 6.0})
    )
    assert ("idle", "manifold_pressure") not in moved(found)


def test_two_levels_that_change_places_a_little_are_no_move() -> None:
    """An idle at two levels, half the time each: the medians lie on either side of the gap, no moment differs."""
    seconds = np.concatenate([np.arange(a, b, 0.1) for a, b in compare(HEALTHY, HEALTHY).stretches[Regime.IDLE]])
    half = float(np.median(seconds))
    one, other = ({"air_flow": up_from(half + shift)} for shift in (1.0, -1.0))
    assert ("idle", "air_flow") not in moved(compare(driven(one), driven(other)))


def up_from(start: float) -> Change:
    return lambda time, values: values + 3.0 * (time >= start)


def test_a_start_that_comes_a_little_later_is_no_swing_of_the_key_on() -> None:
    one, other = ({"throttle": lambda t, v, a=a: v + 15.0 * ((t > a) & (t < 15.0))} for a in (11.75, 12.05))
    assert ("key-on", "throttle") not in moved(compare(driven(one), driven(other)), "swing")


def test_the_flare_of_a_start_is_no_snap() -> None:
    flaring = driven(
        {
            "engine_speed": lambda t, v: np.where((t > 13.4) & (t < 15.0), 1900.0, v),
            "throttle": lambda t, v: np.where((t > 13.0) & (t < 14.0), 60.0, v),
        }
    )
    assert find_regimes(flaring).intervals(Regime.SNAP)[0][0] < 20.0
    assert all(a > 40.0 for a, _ in compare(flaring, flaring).stretches[Regime.SNAP])


def test_a_stab_at_the_pedal_is_no_full_load_to_be_read() -> None:
    def stab(by: float) -> Change:
        return lambda t, v: np.where((t > 70.0) & (t < 71.2), by, v)

    stabbed = driven({"pedal": stab(95.0), "throttle": stab(85.0), "manifold_pressure": stab(96.0)})
    assert len(find_regimes(stabbed).intervals(Regime.FULL_LOAD)) == 2
    assert len(compare(stabbed, stabbed).stretches[Regime.FULL_LOAD]) == 1


def test_a_peak_that_one_sample_caught_neither_moves_nor_stays() -> None:
    found = compare(HEALTHY, driven({"manifold_pressure": lambda t, v: np.where(np.abs(t - 50.6) < 0.04, 130.0, v)}))
    assert ("snap", "manifold_pressure") not in moved(found, "highest")
    assert "manifold_pressure" not in {one.signal for one in found.still}


def test_a_state_is_told_by_its_code() -> None:
    found = compare(HEALTHY, driven({"fuel_system_status": lambda _, v: 8.0 * np.ones_like(v)}))
    states = moved(found, "state")
    assert states["idle", "fuel_system_status"].faulty == 8.0
    assert ("snap", "fuel_system_status") not in states


def test_a_pull_that_takes_longer_moves_nothing_but_the_pull() -> None:
    """From 100 s on everything happens three seconds later: what is out of step is left out."""

    def later(name: str) -> Change:
        seconds, levels = np.array(COURSE[name], dtype=np.float64).T
        return lambda time, _: np.interp(np.where(time < 100.0, time, np.maximum(time - 3.0, 100.0)), seconds, levels)

    found = compare(HEALTHY, driven({name: later(name) for name in COURSE}))
    assert {str(move.regime) for move in found.moves} <= {"full-load"}
    assert sum(b - a for a, b in found.stretches[Regime.IDLE]) > 40.0


def test_what_the_faulty_car_never_does_is_said_to_be_apart() -> None:
    names = ("engine_speed", "vehicle_speed", "manifold_pressure", "pedal", "throttle", "air_flow")

    def stays(time: Floats, values: Floats) -> Floats:
        return np.where(time > 57.0, values[-1], values)

    found = compare(HEALTHY, driven(dict.fromkeys(names, stays)))
    assert {str(regime) for regime in found.apart} == {"cruise", "overrun"}
    assert not {"cruise", "overrun"} & {str(move.regime) for move in found.moves}


def test_other_drives_are_held_against_each_other_regime_by_regime() -> None:
    """The faulty one cruises at another time and speed, so that medians are compared."""

    def slower(_: Floats, values: Floats) -> Floats:
        return 0.7 * values

    found = compare(HEALTHY, driven({"vehicle_speed": slower, "manifold_pressure": more(12.0)}))
    assert moved(found)["cruise", "manifold_pressure"].change == pytest.approx(12.0, abs=0.5)


def test_signals_that_one_lacks_are_passed_over() -> None:
    faulty = driven({"air_flow": more(5.0)})
    without = Recording({name: signal for name, signal in faulty.signals.items() if name != "air_flow"})
    assert compare(HEALTHY, without).moves == ()
    assert compare(HEALTHY, Recording({})) == Comparison((), (), {})
    assert compare(Recording({}), HEALTHY) == Comparison((), (), {})


def test_a_log_becomes_a_recording() -> None:
    time = np.array([0.0, 0.5, 1.0, 1.5])
    columns = {
        "manifold_pressure": np.array([100.0, np.nan, 98.0, 97.0]),
        "short_trim_1": np.array([0.78125, -0.78125, np.nan, np.nan]),
    }
    recording = as_recording(Log(time, columns), "by hand")
    assert recording.label == "by hand"
    assert recording["manifold_pressure"].time.tolist() == [0.0, 1.0, 1.5]
    assert recording["manifold_pressure"].resolution == 1.0
    assert recording["short_trim_1"].resolution == 0.78125
    fine = as_recording(Log(time, {"manifold_pressure": np.array([100.03125, 99.0, 98.0, 97.0])}), "")
    assert fine["manifold_pressure"].resolution == 0.03125
    own = as_recording(Log(time, {"manifold_pressure": np.array([61, 62, 65, 60]) * 400.0 / 255.0}), "")
    assert own["manifold_pressure"].resolution == pytest.approx(400.0 / 255.0)


def test_every_threshold_is_of_a_known_signal_and_says_who_judged() -> None:
    for name, seen in noticeable().items():
        assert name.startswith("total_trim_") or name in glossary().signals
        assert seen.source.startswith("judged: Airproof authors")
        assert not seen.goes_with or seen.goes_with in noticeable()
        assert seen.unit


AIR_FLOW = EngineProfile(
    displacement_l=1.6, cylinders=4, induction="naturally-aspirated", air_metering="air-flow sensor", idle_rpm=750.0
)
SPEED_DENSITY = AIR_FLOW.model_copy(update={"air_metering": "speed-density"})
TURBO = EngineProfile(
    displacement_l=1.984,
    cylinders=4,
    induction="turbocharged",
    air_metering="air-flow sensor",
    idle_rpm=720.0,
    rated_boost_kpa=110.0,
)


def rehearsed(profile: EngineProfile, fault: str) -> Comparison:
    recordings = []
    for text in ("", fault):
        faults = (parse_fault(text, profile, Details()),) if text else ()
        trace = rehearse(Request(profile, faults=faults, seed=3)).trace
        recordings.append(as_recording(log(trace, logger_named("fast"), np.random.default_rng(3)), text or "healthy"))
    return compare(*recordings, idle_rpm=profile.idle_rpm)


def test_rehearsed_a_sensor_that_reads_high_moves_alone_on_an_air_flow_car() -> None:
    found = rehearsed(TURBO, "map-offset=12kPa")
    for regime in ("key-on", "idle", "overrun"):
        assert moved(found)[regime, "manifold_pressure"].change == pytest.approx(12.0, abs=1.0)
    still = {one.signal for one in found.still}
    assert {"total_trim_1", "barometric_pressure", "throttle", "lambda"} <= still


def test_rehearsed_a_vacuum_leak_lifts_the_trims_at_idle_not_at_load() -> None:
    """CHECK_VALUES 7E: air-flow metered, large and positive at idle, near 0 at load."""
    levels = moved(rehearsed(AIR_FLOW, "vacuum-leak=3mm"))
    assert levels["idle", "total_trim_1"].change > 20.0
    assert levels["idle", "manifold_pressure"].change > 0.0
    at_load = levels.get(("full-load", "total_trim_1"))
    assert at_load is None or at_load.change < 0.3 * levels["idle", "total_trim_1"].change


def test_rehearsed_a_vacuum_leak_hardly_moves_the_trims_of_a_speed_density_car() -> None:
    """CHECK_VALUES 7E: speed-density, pressure rises (or the throttle closes to hold the idle), trims hardly move."""
    found = rehearsed(SPEED_DENSITY, "vacuum-leak=3mm")
    assert "total_trim_1" in {one.signal for one in found.still}
    assert moved(found)["idle", "throttle"].change < 0.0
    assert moved(found)["overrun", "manifold_pressure"].change > 0.0
