"""A comparison of two rehearsals in words: numbers that add up, regimes in their order, nothing said that is not so."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.engine.rehearsal.compare import COMPARED, Comparison, Kind, Move, Still, noticeable
from airproof.errors import UnusableRequest
from airproof.quantities.wishes import wish_of
from airproof.recording.regimes import Regime
from airproof.report.in_words import Part, as_text
from airproof.report.rehearsal_in_words import (
    change_in_words,
    compared_as_rows,
    compared_as_table,
    compared_in_words,
    said,
    the_point,
    told,
)

EVERYWHERE = dict.fromkeys(COMPARED, ((0.0, 10.0),))
PRESSURE = Move(Regime.IDLE, "manifold_pressure", "level", 28.4, 40.4, "kPa", 6.0)
TRIM = Move(Regime.IDLE, "total_trim_1", "level", -1.5625, 50.0, "%", 10.3)
LONG_TRIM = Move(Regime.IDLE, "long_trim_1", "level", -1.5625, 25.0, "%", 6.6)


def move(kind: Kind, healthy: float, faulty: float, unit: str = "kPa", signal: str = "manifold_pressure") -> Move:
    return Move(Regime.SNAP, signal, kind, healthy, faulty, unit, 2.0)


def parts_of(comparison: Comparison, healthy: tuple[str, ...] = (), faulty: tuple[str, ...] = ()) -> dict[str, Part]:
    return {part.id: part for part in compared_in_words(comparison, healthy, faulty, "A sensor that reads high")}


def test_each_kind_of_move_has_its_own_sentence() -> None:
    assert said(PRESSURE) == "manifold pressure shows 40 kPa instead of 28 (+12)"
    assert said(move("highest", 230.9, 133.1)) == "manifold pressure goes up to 133 kPa instead of 231 (-98)"
    assert (
        said(move("swing", 0.4, 17.9)) == "manifold pressure swings by 18 kPa instead of 0 (+18) within three seconds"
    )
    assert (
        said(move("swing", 7.1, 0.0))
        == "manifold pressure stands still instead of swinging by 7.1 kPa within three seconds"
    )
    assert (
        said(move("delay", 0.19, 0.51, "s"))
        == "manifold pressure follows the lifted foot after 0.51 s instead of 0.19 (+0.32)"
    )
    status = move("state", 2.0, 8.0, "1", "fuel_system_status")
    assert said(status) == "fuel control says open loop by a fault instead of closed loop"
    assert change_in_words(status) == "open loop by a fault"


def test_what_a_running_engine_draws_is_counted_from_the_air_outside_where_that_is_wished_for() -> None:
    vacuum = wish_of("inHg", vacuum=True, barometer_kpa=101.3)
    assert said(PRESSURE, vacuum) == "manifold pressure shows 18.0 inHg vacuum instead of 21.5 (-3.5)"
    assert (
        said(move("highest", 230.9, 133.1), vacuum)
        == "manifold pressure goes up to 9.4 inHg gauge instead of 38.3 (-28.9)"
    )
    assert said(move("swing", 0.4, 17.9), vacuum).startswith(
        "manifold pressure swings by 5.3 inHg instead of 0.1 (+5.2)"
    )
    assert said(PRESSURE, wish_of("inHg")) == "manifold pressure shows 11.9 inHg absolute instead of 8.4 (+3.5)"
    assert said(TRIM, vacuum) == said(TRIM)
    rows = compared_as_rows(Comparison((PRESSURE,), (), EVERYWHERE), vacuum)
    assert rows[1] == ("idle", "manifold pressure, inHg vacuum", "21.5", "18.0", "-3.5 inHg")


def test_what_has_no_unit_shows_none() -> None:
    assert said(move("level", 1.0, 1.21, "1", "lambda")) == "measured lambda shows 1.21 instead of 1.00 (+0.21)"


@given(
    healthy=st.floats(-100.0, 6000.0), faulty=st.floats(-100.0, 6000.0), signal=st.sampled_from(sorted(noticeable()))
)
def test_the_numbers_shown_add_up(healthy: float, faulty: float, signal: str) -> None:
    if noticeable()[signal].states or healthy == faulty:
        return
    text = said(Move(Regime.IDLE, signal, "level", healthy, faulty, "kPa", 2.0))
    now, was, change = (float(number) for number in re.findall(r"[-+]?\d+(?:\.\d+)?", text.partition("shows")[2]))
    assert now - was == pytest.approx(change, abs=1e-9)
    assert "-0 " not in text


def test_the_point_names_the_clearest_move_and_what_stays() -> None:
    found = Comparison((PRESSURE,), (Still("total_trim_1", 2.3, "%"),), EVERYWHERE)
    assert the_point(found) == (
        "At idle, manifold pressure shows 40 kPa instead of 28 (+12), while total fuel trim stays as it was"
    )
    assert the_point(Comparison((), (), EVERYWHERE)) == "Nothing moves that a person with a scan tool would notice"
    assert "nothing in common" in the_point(Comparison((), (), {}))


def test_parts_come_in_the_order_of_the_drive() -> None:
    moves = tuple(Move(regime, "manifold_pressure", "level", 30.0, 42.0, "kPa", 3.0) for regime in reversed(COMPARED))
    parts = compared_in_words(Comparison(moves, (), EVERYWHERE), (), (), "A sensor that reads high")
    assert [part.id for part in parts] == ["answer", *(f"at-{regime}" for regime in COMPARED), "codes"]
    assert parts[0].heading == ""
    assert parts[0].lines[0] == "A sensor that reads high."
    assert all(line[0].isupper() and line.endswith(".") for part in parts for line in part.lines)
    assert as_text(parts)


def test_what_only_goes_with_another_is_left_to_the_table() -> None:
    found = Comparison((TRIM, LONG_TRIM), (), EVERYWHERE)
    assert told(found.moves) == [TRIM]
    assert told([LONG_TRIM]) == [LONG_TRIM]
    assert not any("long trim" in line.lower() for line in parts_of(found)["at-idle"].lines)
    assert "long trim" in compared_as_table(found)


def test_many_moves_are_cut_short_and_counted() -> None:
    names = [name for name, seen in noticeable().items() if not seen.goes_with and not seen.states][:9]
    moves = tuple(Move(Regime.IDLE, name, "level", 1.0, 99.0, "%", 3.0) for name in names)
    lines = parts_of(Comparison(moves, (), EVERYWHERE))["at-idle"].lines
    assert len(lines) == 7
    assert lines[-1] == "And 3 more; the table has them all."


def test_what_stays_is_said_with_how_closely() -> None:
    still = (Still("total_trim_1", 2.34, "%"), Still("long_trim_1", 1.0, "%"), Still("throttle", 0.01, "%"))
    lines = parts_of(Comparison((PRESSURE,), still, {Regime.IDLE: ((0.0, 9.0),), Regime.KEY_ON: ((9.0, 12.0),)}))
    assert lines["still"].lines == (
        "Total fuel trim settles within 2.3 % of where it was.",
        "Throttle settles where it was.",
        "Nothing moves with the engine off.",
    )


def test_a_regime_that_cannot_be_compared_says_so() -> None:
    found = Comparison((), (), {Regime.IDLE: ((0.0, 9.0),)}, apart=(Regime.CRUISE,))
    assert "never did the same" in parts_of(found)["at-cruise"].lines[0]


def test_codes_with_their_titles() -> None:
    lines = parts_of(Comparison((), (), EVERYWHERE), ("P0420",), ("P0106", "P0420", "P1999"))["codes"].lines
    assert lines[0] == "Set by the fault: P0106 Manifold pressure: implausible."
    assert any(line.startswith("Set by the fault: P1999 concerns") for line in lines)
    assert any(line.startswith("Stored in both: P0420") for line in lines)
    assert parts_of(Comparison((), (), EVERYWHERE))["codes"].lines == ("No code is stored, with the fault or without.",)
    with pytest.raises(UnusableRequest):
        parts_of(Comparison((), (), EVERYWHERE), (), ("nonsense",))


def test_the_table_is_aligned() -> None:
    status = move("state", 2.0, 8.0, "1", "fuel_system_status")
    lines = compared_as_table(Comparison((TRIM, PRESSURE, status), (), EVERYWHERE)).splitlines()
    assert lines[0].split() == ["regime", "signal", "healthy", "faulty", "change"]
    assert [line.split()[0] for line in lines[1:]] == ["idle", "idle", "snap"]
    assert len({len(line) for line in lines}) == 1
    assert max(map(len, lines)) <= 100
    assert compared_as_table(Comparison((), (), EVERYWHERE)) == ""
