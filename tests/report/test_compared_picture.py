"""The teaching picture: which rows it has, that it is a file whole and the same every time, and fits a phone."""

from __future__ import annotations

import struct
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from airproof.engine.rehearsal.compare import Comparison, Move, Still
from airproof.errors import UnusableFile, UnusableRequest
from airproof.recording.recording import Recording, Signal
from airproof.recording.regimes import Regime
from airproof.recording.signals import signal_kind
from airproof.report.pictures.compared import draw_compared, picture
from airproof.report.pictures.sheet import Drawing, NotDrawn, style

TITLE = "The sensor reads 12 kPa high, and the trims do not mind"
TIME = np.arange(0.0, 200.0, 0.1)
LEVELS = {
    "manifold_pressure": 30.0 + 180.0 * ((TIME > 150.0) & (TIME < 158.0)),
    "throttle": 12.0 + 70.0 * ((TIME > 150.0) & (TIME < 158.0)),
    "engine_speed": 750.0 + 2000.0 * (TIME > 100.0),
    "short_trim_1": 0.0 * TIME,
    "long_trim_1": 0.0 * TIME,
    "air_flow": 2.4 + 10.0 * (TIME > 100.0),
}
STRETCHES = {
    Regime.IDLE: ((10.0, 80.0),),
    Regime.SNAP: ((85.0, 88.0), (92.0, 95.0)),
    Regime.FULL_LOAD: ((151.0, 158.0),),
}


def recording(offset: float = 0.0) -> Recording:
    values = LEVELS | {"manifold_pressure": LEVELS["manifold_pressure"] + offset}
    return Recording({name: Signal(name, signal_kind(name).unit, TIME, level) for name, level in values.items()})


IDLE = Move(Regime.IDLE, "manifold_pressure", "level", 30.0, 42.0, "kPa", 6.0)
PEAK = Move(Regime.FULL_LOAD, "manifold_pressure", "highest", 210.0, 222.0, "kPa", 1.9)
SNAP = Move(Regime.SNAP, "engine_speed", "highest", 3000.0, 2000.0, "1/min", 9.0)
STILL = (Still("throttle", 0.0, "%"), Still("air_flow", 0.0, "g/s"), Still("total_trim_1", 0.4, "%"))


def drawn(*moves: Move, still: tuple[Still, ...] = STILL) -> Drawing:
    with style():
        found = picture(Comparison(moves, still, STRETCHES), recording(), recording(12.0), TITLE)
    assert isinstance(found, Drawing)
    return found


def headings(drawing: Drawing, where: str = "left") -> list[str]:
    return [axes.get_title(loc=where) for axes in drawing.figure.axes]


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_it_is_a_file_and_the_same_every_time(tmp_path: Path, ending: str) -> None:
    comparison = Comparison((IDLE, PEAK), STILL, STRETCHES)
    one, other = tmp_path / f"one.{ending}", tmp_path / f"other.{ending}"
    for path in (one, other):
        draw_compared(comparison, recording(), recording(12.0), TITLE, path)
    assert one.read_bytes() == other.read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == [one.name, other.name]
    if ending == "svg":
        assert ET.parse(one).getroot().findtext("{http://www.w3.org/2000/svg}title") == TITLE
    else:
        width, height = struct.unpack(">II", one.read_bytes()[16:24])
        assert width == 1120
        assert 0.5 * width < height < 1.6 * width


def test_rows_are_the_clearest_moves_and_then_what_stays_trims_first() -> None:
    drawing = drawn(IDLE, PEAK, SNAP)
    assert headings(drawing) == ["manifold pressure, kPa", "total fuel trim, %", "throttle, %"]
    assert headings(drawing, "right") == ["+12 kPa at idle", "no lasting change", "no lasting change"]


def test_a_snap_is_shown_close_up() -> None:
    drawing = drawn(SNAP, IDLE)
    assert headings(drawing)[0] == "engine speed, 1/min"
    start, end = drawing.figure.axes[0].get_xlim()
    assert 70.0 < start < 85.0
    assert 88.0 < end < 100.0
    assert headings(drawing, "right")[0] == "\N{MINUS SIGN}1000 1/min in a snap"


def test_there_are_five_rows_at_most() -> None:
    names = ("manifold_pressure", "throttle", "engine_speed", "short_trim_1", "long_trim_1", "air_flow")
    moves = [Move(Regime.IDLE, name, "level", 1.0, 30.0, "%", 3.0) for name in names]
    assert len(drawn(*moves, still=()).figure.axes) == 5


def test_a_move_at_idle_is_not_lost_beside_the_boost_of_a_pull() -> None:
    low, high = drawn(IDLE).figure.axes[0].get_ylim()
    assert 12.0 / (high - low) >= 0.1 - 1e-9
    assert low < 30.0 < 42.0 < high


def test_where_nothing_moves_what_stays_is_drawn() -> None:
    assert set(headings(drawn(), "right")) == {"no lasting change"}


def test_the_caption_and_the_words_for_who_cannot_see_hold_the_numbers() -> None:
    drawing = drawn(IDLE)
    assert "manifold pressure +12 kPa at idle" in drawing.caption
    assert "manifold pressure +12 kPa at idle" in drawing.alt
    assert TITLE in drawing.alt


def test_nothing_in_common_is_no_picture(tmp_path: Path) -> None:
    nothing = Comparison((), (), {})
    with style():
        assert isinstance(picture(nothing, recording(), recording(), TITLE), NotDrawn)
    with pytest.raises(UnusableRequest, match="no signal could be compared"):
        draw_compared(nothing, recording(), recording(), TITLE, tmp_path / "none.png")
    assert not list(tmp_path.iterdir())


def test_another_ending_or_a_missing_folder_is_refused(tmp_path: Path) -> None:
    comparison = Comparison((IDLE,), STILL, STRETCHES)
    with pytest.raises(UnusableRequest, match=r"svg or \.png"):
        draw_compared(comparison, recording(), recording(), TITLE, tmp_path / "picture.txt")
    with pytest.raises(UnusableFile, match="cannot be written"):
        draw_compared(comparison, recording(), recording(), TITLE, tmp_path / "nowhere" / "picture.png")
