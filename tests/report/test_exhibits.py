"""Exhibits: what is drawn, what is not and why, the same bytes every time, nothing half-written."""

from __future__ import annotations

import struct
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from invented_weighings import PROFILE, all_traces, cause, signal, verdict, weighing
from numpy.typing import NDArray

from airproof.diagnosis.weighing import Barometer, RelationTrace
from airproof.engine.profile import EngineProfile
from airproof.errors import UnusableFile, UnusableRequest
from airproof.quantities.wishes import Wish, wish_of
from airproof.report import exhibits as module
from airproof.report.exhibits import NOT_OF_A_DIESEL, Exhibit, check_folder, draw_exhibits, drawing_of
from airproof.report.language.language import language
from airproof.report.pictures.dressed import dressed
from airproof.report.pictures.sheet import Drawing, NotDrawn, style

Floats = NDArray[np.float64]
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> tuple[Exhibit, ...]:
    return draw_exhibits(weighing(), tmp_path_factory.mktemp("exhibits") / "made" / "here")


def png_size(path: Path) -> tuple[int, int]:
    head = path.read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", head[16:24])
    return int(width), int(height)


class Images(HTMLParser):
    """Collects what the page says of its images."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[dict[str, str | None]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "img":
            self.found.append(dict(attrs))


def test_all_five_are_drawn(drawn: tuple[Exhibit, ...]) -> None:
    assert [one.number for one in drawn] == [1, 2, 3, 4, 5]
    assert all(one.not_drawn is None for one in drawn)


def test_svg_is_xml_with_a_title_and_a_description(drawn: tuple[Exhibit, ...]) -> None:
    for one in drawn:
        assert one.svg is not None
        root = ET.parse(one.svg).getroot()
        assert root.tag == f"{SVG}svg"
        assert root.findtext(f"{SVG}title") == one.title
        assert root.findtext(f"{SVG}desc") == one.alt
        assert "<dc:date>" not in one.svg.read_text(encoding="utf-8")


def test_png_is_sharp_and_upright_enough_for_a_phone(drawn: tuple[Exhibit, ...]) -> None:
    for one in drawn:
        assert one.png is not None
        width, height = png_size(one.png)
        assert width == 1120
        assert 0.5 * width < height < 1.6 * width


def test_captions_are_one_sentence_with_a_number(drawn: tuple[Exhibit, ...]) -> None:
    for one in drawn:
        assert any(letter.isdigit() for letter in one.caption)
        assert one.caption.endswith(".")
        assert ". " not in one.caption
        assert one.alt


def test_the_point_of_each(drawn: tuple[Exhibit, ...]) -> None:
    titles = [one.title for one in drawn]
    assert titles[0] == "Engine off, the manifold pressure sensor reads 8.0 kPa above the barometer"
    assert titles[1] == "With the engine at rest, pressure stands 8.0 kPa above the barometer instead of level with it"
    assert titles[2] == "Measured air flow is 10 % above the expected"
    assert titles[3] == "Fuel trim is +12 % at light load, +1 % at high load"
    assert titles[4] == "Boost settles within 1 kPa of its target"


def test_titles_are_plain_letters_and_heard_in_the_words_for_who_cannot_see(drawn: tuple[Exhibit, ...]) -> None:
    for one in drawn:
        assert one.title.isascii()
        assert one.alt.isascii()
        assert one.alt.endswith(f"{one.title}.")


def test_the_page_lists_them(drawn: tuple[Exhibit, ...]) -> None:
    assert drawn[0].svg is not None
    page = (drawn[0].svg.parent / "exhibits.html").read_text(encoding="utf-8")
    reader = Images()
    reader.feed(page)
    assert [image["src"] for image in reader.found] == [one.png.name for one in drawn if one.png is not None]
    assert [image["alt"] for image in reader.found] == [one.alt for one in drawn]


def test_the_same_weighing_gives_the_same_bytes(drawn: tuple[Exhibit, ...], tmp_path: Path) -> None:
    again = draw_exhibits(weighing(), tmp_path)
    for one, two in zip(drawn, again, strict=True):
        for before, after in ((one.svg, two.svg), (one.png, two.png)):
            assert before is not None
            assert after is not None
            assert before.read_bytes() == after.read_bytes()


def test_what_cannot_be_drawn_says_why(tmp_path: Path) -> None:
    time = np.arange(0.0, 30.0, 0.2)
    only = {"engine_speed": signal("engine_speed", "1/min", time, np.full(time.size, 800.0))}
    found = draw_exhibits(weighing(signals=only, traces=()), tmp_path)
    assert all(one.not_drawn for one in found)
    assert "record ten seconds" in (found[0].not_drawn or "")
    assert {p.name for p in tmp_path.iterdir()} == {"exhibits.html"}
    page = (tmp_path / "exhibits.html").read_text(encoding="utf-8")
    assert page.count("not drawn, because") == 5


def test_without_a_compressor_there_is_no_boost_to_draw(tmp_path: Path) -> None:
    plain = EngineProfile(**{**PROFILE.model_dump(), "induction": "naturally-aspirated"})
    assert draw_exhibits(weighing(profile=plain), tmp_path)[4].not_drawn == "the engine has no compressor"


def test_without_a_target_charge_pressure_stands_against_the_barometer(tmp_path: Path) -> None:
    made = weighing()
    signals = {n: s for n, s in made.recording.signals.items() if n != "charge_pressure_target"}
    title = draw_exhibits(weighing(signals=signals), tmp_path)[4].title
    assert title == "Without boost, charge pressure reads 9.8 kPa above the barometer"


def test_a_healthy_engine_is_said_to_be_one(tmp_path: Path) -> None:
    time = np.arange(12.0, 120.0)
    pressure = 90.0 + 60.0 * np.sin(time / 7.0)
    traces = [replace(one, measured=one.expected) for one in all_traces(time, pressure)]
    titles = [one.title for one in draw_exhibits(weighing(offset_kpa=0.0, traces=traces), tmp_path)]
    assert titles[0] == "Engine off, the manifold pressure sensor agrees with the barometer within 0.1 kPa"
    assert titles[1] == "Manifold pressure stays where a healthy engine has it 100 % of the time"
    assert titles[2] == "Air flow and pressure agree: measured air flow is level with the expected"
    assert titles[3] == "Fuel trim is as a healthy engine has it: 0 % by the median"


def leaky_traces(time: Floats, low_percent: float) -> list[RelationTrace]:
    """Traces of an air flow that is short by that much at the first fifth of the time, and right else."""
    pressure = 90.0 + 60.0 * np.sin(time / 7.0)
    short = np.where(np.arange(time.size) < time.size / 5, 1.0 - low_percent / 100.0, 1.0)
    found = []
    for one in all_traces(time, pressure):
        if one.id == "air-flow":
            flow = np.linspace(2.0, 60.0, time.size)
            found.append(replace(one, measured=short * flow, expected=flow, low=0.95 * flow, high=1.05 * flow))
        elif one.id == "manifold-pressure":
            found.append(replace(one, measured=one.expected * 1.4))
        else:
            found.append(one)
    return found


def test_a_title_never_says_all_is_well_over_a_point_outside_the_band(tmp_path: Path) -> None:
    traces = leaky_traces(np.arange(12.0, 120.0), 30.0)
    title = draw_exhibits(weighing(offset_kpa=0.0, traces=traces), tmp_path)[2].title
    assert title.startswith("Measured air flow leaves the healthy band near ")
    assert title.endswith(" g/s: 30 % below the expected")


def test_a_pressure_that_the_air_flow_does_not_make_is_not_laid_at_the_sensors_door(tmp_path: Path) -> None:
    traces = leaky_traces(np.arange(12.0, 120.0), 30.0)
    title = draw_exhibits(weighing(offset_kpa=0.0, traces=traces), tmp_path)[1].title
    assert title == "Pressure and measured air flow disagree: pressure is 40 % higher than that air flow makes"


def test_where_only_the_sensor_itself_tells_the_pressure_of_the_day_none_is_said_to_agree(tmp_path: Path) -> None:
    made = weighing(offset_kpa=0.0)
    signals = {"manifold_pressure": made.recording["manifold_pressure"]}
    unknown = replace(
        weighing(signals=signals, offset_kpa=0.0), barometer=Barometer(98.0, 3.0, "the engine-off pressure")
    )
    title = draw_exhibits(unknown, tmp_path)[0].title
    assert title == "Engine off, the manifold pressure sensor reads 98 kPa; only an altitude can judge that"


def test_where_the_day_is_stated_the_sensors_are_held_against_it_as_in_the_findings(tmp_path: Path) -> None:
    stated = replace(weighing(), weather=Barometer(98.1, 0.4, "the barometer as it was stated"))
    first = draw_exhibits(stated, tmp_path)[0]
    assert first.title == "Engine off, the manifold pressure sensor reads 7.9 kPa above the barometer"
    assert "as it was stated" in first.caption
    loose = replace(weighing(), weather=Barometer(101.0, 4.5, "nothing is known of the place"))
    assert draw_exhibits(loose, tmp_path)[0].title.endswith("8.0 kPa above the barometer")


def test_a_barometer_that_lies_is_held_against_the_other_sensors(tmp_path: Path) -> None:
    made = weighing(offset_kpa=0.0, said=verdict(cause("baro-sensor", 0.9), cause("none", 0.1)))
    own = made.recording["barometric_pressure"]
    signals = {**made.recording.signals, own.name: replace(own, values=own.values + 9.0)}
    lying = replace(
        made, recording=replace(made.recording, signals=signals), barometer=Barometer(106.0, 1.0, "its own")
    )
    assert draw_exhibits(lying, tmp_path)[0].title == (
        "Engine off, the car's own barometer reads 9.0 kPa above the other sensors"
    )


def test_a_long_recording_is_thinned(tmp_path: Path) -> None:
    made = draw_exhibits(weighing(seconds=7200.0), tmp_path)
    for one in made:
        assert one.svg is not None
        assert one.svg.stat().st_size < 800_000


def test_a_file_name_full_of_signs_is_shown_as_it_is(tmp_path: Path) -> None:
    found = draw_exhibits(weighing(label="<b>&$x_1$ \N{DEGREE SIGN}.csv"), tmp_path)
    assert found[0].svg is not None
    ET.parse(found[0].svg)
    assert "&lt;b&gt;&amp;$x_1$" in (tmp_path / "exhibits.html").read_text(encoding="utf-8")


def test_exhibits_of_an_earlier_run_that_no_longer_hold_are_taken_away(tmp_path: Path) -> None:
    draw_exhibits(weighing(), tmp_path)
    keep = tmp_path / "my notes.txt"
    keep.write_text("mine", encoding="utf-8")
    draw_exhibits(weighing(traces=()), tmp_path)
    assert not (tmp_path / "exhibit-3-air-flow.svg").exists()
    assert (tmp_path / "exhibit-1-engine-off.svg").exists()
    assert keep.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("name", ["exhibits.html", "exhibit-1-engine-off.svg", "exhibit-4-trims.png"])
def test_what_somebody_else_wrote_is_neither_written_over_nor_taken_away(tmp_path: Path, name: str) -> None:
    file = tmp_path / name
    file.write_text("<h1>mine</h1>", encoding="utf-8")
    for refuse in (check_folder, lambda folder: draw_exhibits(weighing(traces=()), folder)):
        with pytest.raises(UnusableFile, match="Airproof did not write it"):
            refuse(tmp_path)
    assert [one.name for one in tmp_path.iterdir()] == [name]
    assert file.read_text(encoding="utf-8") == "<h1>mine</h1>"


def test_nothing_is_left_half_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "no space left on device")

    monkeypatch.setattr(module.os, "fdopen", full)
    with pytest.raises(UnusableRequest, match="no space left"):
        draw_exhibits(weighing(), tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_written_when_drawing_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from airproof.report.pictures import boost

    monkeypatch.setattr(boost, "draw", lambda _: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        draw_exhibits(weighing(), tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("mine", encoding="utf-8")
    for folder in (file, file / "below"):
        with pytest.raises(UnusableRequest, match="folder"):
            check_folder(folder)
        with pytest.raises(UnusableRequest):
            draw_exhibits(weighing(), folder)
    assert file.read_text(encoding="utf-8") == "mine"


def test_the_users_own_drawing_settings_stay_out_and_stay_as_they_were(
    drawn: tuple[Exhibit, ...], tmp_path: Path
) -> None:
    import matplotlib as mpl

    with mpl.rc_context({"font.size": 30.0, "axes.facecolor": "yellow"}):
        again = draw_exhibits(weighing(), tmp_path)
        assert mpl.rcParams["font.size"] == 30.0
    assert drawn[0].svg is not None
    assert again[0].svg is not None
    assert drawn[0].svg.read_bytes() == again[0].svg.read_bytes()


def test_the_interactive_front_end_is_never_loaded(drawn: tuple[Exhibit, ...]) -> None:
    assert drawn
    assert "matplotlib.pyplot" not in sys.modules


def test_boost_that_never_settled_is_not_called_low(tmp_path: Path) -> None:
    """While a turbocharger comes up the pressure is below its target on any car."""
    made = weighing()
    findings = tuple(finding for finding in made.verdict.findings if finding.id != "boost-error")
    brief = replace(made, verdict=replace(made.verdict, findings=findings))
    assert draw_exhibits(brief, tmp_path)[4].title == "Boost is asked for too briefly to settle"


def axes_of(number: int, wish: Wish) -> tuple[list[str], list[float], list[str]]:
    """Labels of the axes of an exhibit, where its upper axis is marked, and its marks."""
    with style():
        drawing = drawing_of(number, weighing())
        assert isinstance(drawing, Drawing)
        drawing = dressed(drawing, language("en"), wish)
        drawing.figure.canvas.draw()
        axes = drawing.figure.axes
        labels = [text for one in axes for text in (one.get_xlabel(), one.get_ylabel()) if text]
        upper = axes[0].yaxis
        return labels, list(upper.get_ticklocs()), [tick.get_text() for tick in upper.get_ticklabels()]


def test_a_vacuum_on_an_axis_is_counted_from_the_air_outside_and_what_is_drawn_stays() -> None:
    day = weighing().barometer.kpa
    labels, places, marks = axes_of(2, wish_of("kPa", vacuum=True, barometer_kpa=day))
    assert "manifold pressure,\nkPa gauge" in [label.replace("\N{NO-BREAK SPACE}", " ") for label in labels]
    assert [float(mark) for mark in marks] == pytest.approx([place - day for place in places])
    assert min(float(mark) for mark in marks) < 0.0


def test_what_is_held_against_the_air_itself_stays_absolute_on_its_axis() -> None:
    day = weighing().barometer.kpa
    labels, _, _ = axes_of(1, wish_of("kPa", vacuum=True, barometer_kpa=day))
    assert any(label.endswith("kPa absolute") for label in labels)


def test_without_a_barometer_an_axis_stays_absolute() -> None:
    labels, _, _ = axes_of(2, wish_of("kPa", vacuum=True))
    assert any(label.endswith("kPa absolute") for label in labels)


def test_what_is_not_judged_of_a_diesel_is_not_drawn() -> None:
    profile = PROFILE.model_copy(update={"fuel": "diesel"})
    speed = signal("engine_speed", "1/min", np.arange(3.0), np.full(3, 900.0))
    with style():
        found = [drawing_of(number, weighing(profile=profile)) for number in (3, 4)]
        found.append(drawing_of(5, weighing(profile=profile, signals={"engine_speed": speed})))
    for one in found:
        assert isinstance(one, NotDrawn)
        assert language("de").words(one.because).language == "de"
    because = [one.because for one in found if isinstance(one, NotDrawn)]
    assert because[:2] == [NOT_OF_A_DIESEL] * 2
    assert "target" in because[2]
