"""The interactive picture: no extreme lost, no more points than can be seen, and nothing that is no number."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import plotly.graph_objects as go
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_weighings import BAROMETER, signal, weighing
from numpy.typing import NDArray

from airproof.diagnosis.weighing import RelationTrace
from airproof.quantities.wishes import Wish
from airproof.recording.recording import Recording, Signal
from airproof.recording.regimes import Regime, Regimes
from airproof.recording.signals import glossary
from airproof.report.trace import (
    COLUMNS,
    GROUPS,
    LEAST_SHADED,
    MOST_SHAPES,
    STYLES,
    Seen,
    View,
    figure,
    groups_of,
    key,
    peaks,
)

Floats = NDArray[np.float64]
WINDOW = (0.0, 120.0)


def seen(**changes: Any) -> Seen:
    made = weighing(**changes)
    return Seen(made.recording, made.regimes, made.traces, made.verdict.findings)


def view(**changes: Any) -> View:
    return View(**{"window": WINDOW, "groups": ("pressures",), **changes})


def lines_of(drawn: dict[str, Any], name: str) -> list[dict[str, Any]]:
    return [trace for trace in drawn["data"] if trace["name"] == name]


def line_of(drawn: dict[str, Any], name: str) -> dict[str, Any]:
    (found,) = lines_of(drawn, name)
    return found


def as_curve(steps: Sequence[tuple[float, float]]) -> tuple[Floats, Floats]:
    """Times that never decrease, and any values."""
    return np.cumsum([step for step, _ in steps]), np.array([value for _, value in steps], dtype=float)


curves = st.lists(st.tuples(st.floats(0.0, 5.0), st.floats(-1e6, 1e6)), max_size=400).map(as_curve)
edges = st.tuples(st.floats(-10.0, 2000.0), st.floats(0.1, 2000.0)).map(lambda pair: (pair[0], pair[0] + pair[1]))


class TestPeaks:
    @settings(deadline=None, derandomize=True, max_examples=200)
    @given(curves, edges, st.integers(1, 40))
    def test_no_extreme_is_lost_and_no_more_is_drawn_than_can_be_seen(
        self, curve: tuple[Floats, Floats], window: tuple[float, float], columns: int
    ) -> None:
        time, values = curve
        t, v = peaks(time, values, window, columns)
        assert t.size == v.size <= 3 * columns + 1
        inside = (time >= window[0]) & (time <= window[1])
        if inside.any():
            drawn = v[(t >= window[0]) & (t <= window[1])]
            assert values[inside].max() in v
            assert values[inside].min() in v
            assert set(drawn) <= set(values[inside])
        assert np.all(np.diff(t) >= 0.0)
        pairs = set(zip(time.tolist(), values.tolist(), strict=True))
        assert set(zip(t.tolist(), v.tolist(), strict=True)) <= pairs  # nothing is made up

    @settings(deadline=None, derandomize=True, max_examples=60)
    @given(st.integers(100, 5000), st.integers(1, 60), st.randoms(use_true_random=False))
    def test_every_stretch_keeps_its_own_peak(self, count: int, columns: int, random: Any) -> None:
        time = np.arange(count, dtype=float)
        values = np.zeros(count)
        place = random.randrange(count)
        values[place] = 1.0
        t, v = peaks(time, values, (0.0, float(count)), columns)
        assert float(place) in t[v == 1.0]

    def test_half_a_million_points_become_what_a_screen_shows(self) -> None:
        rng = np.random.default_rng(1)
        time, values = np.arange(500_000) * 0.01, rng.normal(0.0, 1.0, 500_000)
        values[[3, 250_001, 499_998]] = 50.0, -60.0, 70.0
        t, v = peaks(time, values, (0.0, 5000.0))
        assert t.size <= 3 * COLUMNS
        assert {50.0, -60.0, 70.0} <= set(v)

    def test_few_points_stay_as_they_are_with_one_beyond_each_edge(self) -> None:
        time, values = np.arange(20.0), np.arange(20.0) ** 2
        t, v = peaks(time, values, (4.5, 8.5))
        assert t.tolist() == [4.0, 5.0, 6.0, 7.0, 8.0, 9.0]
        assert v.tolist() == [16.0, 25.0, 36.0, 49.0, 64.0, 81.0]

    @pytest.mark.parametrize("columns", [3, 900])
    def test_lines_run_to_the_border_however_many_points_there_are(self, columns: int) -> None:
        time = np.arange(0.0, 100.0, 0.5)
        t, _ = peaks(time, np.sin(time), (20.2, 70.3), columns)
        assert t[0] <= 20.2
        assert t[-1] >= 70.3

    @pytest.mark.parametrize(
        ("window", "kept"),
        [((0.0, 9.0), (0.0, 9.0)), ((3.0, 5.0), (2.0, 6.0)), ((-5.0, -1.0), (0.0, 0.0)), ((20.0, 30.0), (9.0, 9.0)),
         ((4.2, 4.4), (4.0, 5.0)), ((-5.0, 50.0), (0.0, 9.0))],
    )  # fmt: skip
    def test_edges(self, window: tuple[float, float], kept: tuple[float, float]) -> None:
        t, _ = peaks(np.arange(10.0), np.zeros(10), window)
        assert (t[0], t[-1]) == kept

    def test_nothing_stays_nothing(self) -> None:
        t, v = peaks(np.empty(0), np.empty(0), (0.0, 1.0))
        assert t.size == v.size == 0


class TestGroups:
    def test_each_signal_is_in_one_group_and_no_more(self) -> None:
        every = [name for _, names in GROUPS for name in names]
        assert len(every) == len(set(every))
        assert set(every) <= set(glossary().signals)

    def test_signals_of_one_group_have_one_unit(self) -> None:
        for _, names in GROUPS:
            assert len({glossary().signals[name].unit for name in names}) == 1

    def test_what_is_in_no_group_stands_by_its_own_title(self) -> None:
        time = np.arange(5.0)
        names = ("time", "supply_voltage", "throttle")
        recording = Recording({n: signal(n, "", time, time) for n in names[1:]})
        assert groups_of(recording) == ("throttle and pedal", glossary().signals["supply_voltage"].title)

    @pytest.mark.parametrize("name", sorted(glossary().signals))
    def test_any_signal_alone_can_be_drawn(self, name: str) -> None:
        kind = glossary().signals[name]
        time = np.arange(0.0, 10.0)
        middle = np.full(10, sum(kind.possible) / 2.0)
        recording = Recording({name: signal(name, kind.unit, time, middle)})
        one = Seen(recording, Regimes({}))
        drawn = figure(one, view(groups=groups_of(recording), window=(0.0, 10.0)))
        assert line_of(drawn, kind.title)["y"] == pytest.approx(tuple(middle.tolist()), rel=1e-4)
        sound(drawn)


def sound(drawn: dict[str, Any]) -> None:
    """A figure that a browser can take and the library knows every word of."""
    text = json.dumps(drawn, allow_nan=False)
    again = json.loads(text)
    go.Figure(data=again["data"], layout=again["layout"])


class TestFigure:
    def test_it_is_plain_data_with_a_row_for_each_group(self) -> None:
        made = seen()
        drawn = figure(made, view(groups=groups_of(made.recording)))
        sound(drawn)
        axes = [name for name in drawn["layout"] if name.startswith("yaxis")]
        assert axes == ["yaxis", "yaxis2"]
        assert {trace.get("yaxis", "y") for trace in drawn["data"]} == {"y", "y2"}
        assert drawn["layout"]["xaxis"]["range"] == [0.0, 120.0]

    def test_rows_lie_below_each_other(self) -> None:
        time = np.arange(0.0, 10.0)
        names = ("manifold_pressure", "engine_speed", "throttle", "air_flow", "lambda")
        recording = Recording({n: signal(n, glossary().signals[n].unit, time, time + 1.0) for n in names})
        layout = figure(Seen(recording, Regimes({})), view(groups=groups_of(recording)))["layout"]
        domains = [layout[name]["domain"] for name in layout if name.startswith("yaxis")]
        assert len(domains) == 6
        for above, below in pairwise(domains):
            assert 1.0 >= above[1] > above[0] >= below[1] > below[0] >= 0.0

    def test_what_the_engine_was_doing_is_shown_where_it_is_known(self) -> None:
        drawn = figure(seen(), view())
        assert drawn["layout"]["yaxis"]["visible"] is True
        unknown = figure(replace(seen(), regimes=Regimes({})), view())
        sound(unknown)
        assert unknown["layout"]["yaxis"]["visible"] is False
        assert unknown["layout"]["height"] < drawn["layout"]["height"]

    def test_without_any_group_what_the_engine_was_doing_is_left(self) -> None:
        drawn = figure(seen(), view(groups=()))
        sound(drawn)
        assert [trace["name"] for trace in drawn["data"]] == ["what the engine was doing"]

    @pytest.mark.parametrize("dark", [False, True])
    @pytest.mark.parametrize("window", [(0.0, 120.0), (15.0, 15.5), (-3.0, 0.1), (119.0, 300.0), (500.0, 600.0)])
    def test_any_window_can_be_drawn(self, window: tuple[float, float], dark: bool) -> None:
        made = seen()
        sound(figure(made, view(window=window, dark=dark, marked=((1.0, 2.0), (500.0, 501.0)))))

    def test_no_more_points_than_a_screen_shows(self) -> None:
        made = seen(seconds=20_000.0)
        drawn = figure(made, view(window=(0.0, 20_000.0)))
        assert made.recording["manifold_pressure"].time.size == 100_000
        assert all(len(trace["x"]) <= 3 * COLUMNS for trace in drawn["data"])

    def test_the_ways_of_the_engine_are_those_of_the_recording_within_the_window(self) -> None:
        drawn = figure(seen(), view(window=(5.0, 50.0)))
        doing = line_of(drawn, "what the engine was doing")
        rows = {str(regime): row for row, regime in enumerate(Regime)}
        assert doing["x"] == (5.0, 11.0, None, 20.0, 50.0, None)
        assert doing["y"] == (rows["key-on"], rows["key-on"], None, rows["idle"], rows["idle"], None)
        assert drawn["layout"]["yaxis"]["ticktext"] == list(rows)

    def test_shaded_and_marked_stretches(self) -> None:
        shapes = figure(seen(), view(marked=((30.0, 31.0), (200.0, 210.0))))["layout"]["shapes"]
        assert [(one["x0"], one["x1"]) for one in shapes] == [(0.0, 11.0), (20.0, 60.0), (80.0, 84.0), (30.0, 31.0)]
        assert [one["line"].get("dash") for one in shapes] == [None, None, None, "dash"]

    def test_more_stretches_than_can_be_seen_are_not_drawn_and_what_was_found_is(self) -> None:
        often = tuple((2.0 * n, 2.0 * n + 1.0) for n in range(1000))
        made = replace(seen(), regimes=Regimes({Regime.IDLE: often}))
        window = (0.0, 1.0 / LEAST_SHADED)
        shapes = figure(made, view(window=window, marked=((3.0, 4.0),)))["layout"]["shapes"]
        assert len(shapes) == 126
        assert figure(made, view(window=(0.0, 2000.0), marked=()))["layout"]["shapes"] == []
        many = figure(made, view(window=window, marked=often))["layout"]["shapes"]
        assert len(many) <= MOST_SHAPES
        assert all(one["line"].get("dash") == "dash" for one in many[-125:])

    def test_what_stands_for_words_is_drawn_in_steps(self) -> None:
        time = np.arange(0.0, 10.0)
        signals = {
            "fuel_system_status": signal("fuel_system_status", "1", time, np.where(time < 5.0, 1.0, 2.0)),
            "lambda": Signal("lambda", "1", time, np.ones(10), 0.01),
        }
        recording = Recording(signals)
        drawn = figure(Seen(recording, Regimes({})), view(groups=groups_of(recording)))
        shapes = {trace["name"]: trace["line"].get("shape") for trace in drawn["data"][1:]}
        assert sorted(shapes.values()) == ["hv", "linear"]
        assert shapes[glossary().signals["lambda"].title] == "linear"

    def test_a_signal_without_samples_is_an_empty_line(self) -> None:
        recording = Recording({"engine_speed": signal("engine_speed", "1/min", np.empty(0), np.empty(0))})
        drawn = figure(Seen(recording, Regimes({})), view(groups=("engine speed",)))
        sound(drawn)
        assert line_of(drawn, "engine speed")["x"] == ()


class TestHealthyRange:
    def test_it_lies_over_its_signal_as_upright_strokes(self) -> None:
        made = seen()
        (relation,) = [one for one in made.relations if one.id == "manifold-pressure"]
        band = lines_of(figure(made, view()), "healthy range")[0]
        assert len(band["x"]) == 3 * min(relation.time.size, COLUMNS // 3)
        assert band["x"][:3] == (*[round(float(relation.time[0]), 3)] * 2, None)
        assert band["y"][:2] == pytest.approx((relation.low[0], relation.high[0]), rel=1e-4)

    def test_points_that_are_not_known_are_left_out(self) -> None:
        made = seen()
        (one,) = [relation for relation in made.relations if relation.id == "manifold-pressure"]
        holes = replace(one, low=np.where(np.arange(one.low.size) % 2 == 0, np.nan, one.low))
        drawn = figure(replace(made, relations=(holes,)), view())
        sound(drawn)
        assert None not in line_of(drawn, "healthy range")["x"][0::3]

    def test_none_known_at_all_is_no_stroke(self) -> None:
        time = np.arange(3.0)
        nothing = RelationTrace("air-flow", "air flow", "g/s", *(np.full(3, np.nan) for _ in range(6)))
        recording = Recording({"air_flow": signal("air_flow", "g/s", time, time)})
        drawn = figure(Seen(recording, Regimes({}), (replace(nothing, time=time),)), view(groups=("air flow",)))
        sound(drawn)
        assert line_of(drawn, "healthy range")["x"] == ()


class TestAnotherRecording:
    def test_it_lies_below_in_broad_grey_and_is_moved(self) -> None:
        made, other = seen(), seen(offset_kpa=0.0).recording
        drawn = figure(made, view(over=other, over_name="before", shift_s=-2.5))
        sound(drawn)
        title = glossary().signals["manifold_pressure"].title
        grey, ink = line_of(drawn, f"before: {title}"), line_of(drawn, title)
        assert drawn["data"].index(grey) < drawn["data"].index(ink)
        assert grey["line"]["width"] > ink["line"]["width"]
        plain = line_of(figure(made, view(over=other, over_name="before")), f"before: {title}")
        assert plain["x"][0] == 0.0
        assert grey["x"][0] == pytest.approx(-0.1)  # the last one before the window
        was = dict(zip(plain["x"], plain["y"], strict=True))
        pairs = list(zip(grey["x"], grey["y"], strict=True))[:500]
        assert all(was[round(x + 2.5, 3)] == y for x, y in pairs)

    def test_only_what_both_have_is_laid_over(self) -> None:
        time = np.arange(0.0, 5.0)
        other = Recording({"engine_speed": signal("engine_speed", "1/min", time, time)})
        drawn = figure(seen(), view(over=other))
        assert not any(trace["name"].startswith("other: ") for trace in drawn["data"])


class TestUnits:
    def titled(self, made: Seen, wish: Wish, window: tuple[float, float] = WINDOW) -> tuple[str, dict[str, Any]]:
        drawn = figure(made, view(wish=wish, window=window))
        sound(drawn)
        return drawn["layout"]["annotations"][0]["text"], drawn

    @pytest.mark.parametrize(
        ("wish", "unit", "factor"),
        [(Wish(), "kPa absolute", 1.0), (Wish("inHg", "degF"), "inHg absolute", 1 / 3.386389),
         (Wish("psi"), "psi absolute", 1 / 6.894757), (Wish("bar"), "bar absolute", 0.01)],
    )  # fmt: skip
    def test_pressures_as_wished(self, wish: Wish, unit: str, factor: float) -> None:
        """Factors: NIST SP 811 (2008), appendix B.8: inch of mercury (conventional), psi, bar."""
        made = seen()
        title, drawn = self.titled(made, wish)
        assert title == f"pressures, {unit}"
        name = glossary().signals["manifold_pressure"].title
        shown = line_of(drawn, name)
        assert shown["hovertemplate"].endswith(unit)
        assert shown["y"] == pytest.approx(made.recording["manifold_pressure"].values * factor, rel=1e-4)

    def test_temperatures_as_wished(self) -> None:
        time = np.arange(0.0, 5.0)
        recording = Recording({"coolant_temperature": signal("coolant_temperature", "degC", time, np.full(5, 100.0))})
        drawn = figure(Seen(recording, Regimes({})), view(groups=("temperatures",), wish=Wish("inHg", "degF")))
        assert drawn["layout"]["annotations"][0]["text"] == "temperatures, degF"
        assert drawn["data"][-1]["y"] == (212.0,) * 5

    def test_what_has_no_unit_shows_none(self) -> None:
        time = np.arange(0.0, 5.0)
        recording = Recording({"lambda": signal("lambda", "1", time, np.ones(5))})
        drawn = figure(Seen(recording, Regimes({})), view(groups=("lambda",)))
        assert drawn["layout"]["annotations"][0]["text"] == "lambda"

    def test_below_the_air_outside_everything_in_a_row_is_counted_one_way_at_any_window(self) -> None:
        """The car boosts: then what is below the air outside is negative, in every window and for every line."""
        made = seen()
        wish = Wish("kPa", "degC", True, BAROMETER.kpa)
        name = glossary().signals["manifold_pressure"].title.removesuffix(" (absolute)")
        one = made.recording["manifold_pressure"]
        values = dict(zip(one.time.round(3), one.values, strict=True))
        for window in (WINDOW, (32.0, 40.0)):  # in the second it does not boost
            title, drawn = self.titled(made, wish, window)
            assert title == "pressures, kPa gauge"
            for trace in drawn["data"][1:]:
                assert trace.get("hovertemplate", "gauge").endswith("gauge")
            shown = line_of(drawn, name)
            wanted = [values[x] - BAROMETER.kpa for x in shown["x"]]
            assert shown["y"] == pytest.approx(wanted, rel=1e-4)
            band = lines_of(drawn, "healthy range")[0]
            lows = [y for y in band["y"] if y is not None]
            assert min(lows) < 0.0

    def test_a_car_that_never_boosts_shows_a_vacuum(self) -> None:
        time = np.arange(0.0, 10.0)
        signals = {"manifold_pressure": signal("manifold_pressure", "kPa", time, np.linspace(30.0, 98.0, 10))}
        recording = Recording(signals)
        drawn = figure(Seen(recording, Regimes({})), view(wish=Wish("kPa", "degC", True, 98.0), window=(0.0, 10.0)))
        assert drawn["layout"]["annotations"][0]["text"] == "pressures, kPa vacuum"
        assert drawn["data"][-1]["y"] == pytest.approx(np.linspace(68.0, 0.0, 10), rel=1e-4, abs=1e-9)


class TestKey:
    def test_each_line_in_words(self) -> None:
        (told,) = key(seen(), view())
        assert told.startswith("Pressures: unbroken ")
        assert told.endswith("broad grey strokes: where 90 in 100 healthy engines lie.")
        for name in ("manifold_pressure", "charge_pressure", "charge_pressure_target", "barometric_pressure"):
            assert glossary().signals[name].title in told

    def test_one_line_alone_needs_no_key(self) -> None:
        time = np.arange(3.0)
        recording = Recording({"engine_speed": signal("engine_speed", "1/min", time, time)})
        assert key(Seen(recording, Regimes({})), view(groups=("engine speed",))) == []

    def test_no_two_lines_of_a_row_look_alike(self) -> None:
        assert all(len(names) <= len(STYLES) for _, names in GROUPS)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(
    st.lists(st.sampled_from(sorted(glossary().signals)), min_size=1, max_size=6, unique=True),
    curves,
    edges,
    st.sampled_from([Wish(), Wish("inHg", "degF"), Wish("psi", "degC", True, 97.0)]),
    st.floats(-50.0, 50.0),
)  # fmt: skip
def test_whatever_was_recorded_can_be_drawn(
    names: Sequence[str], curve: tuple[Floats, Floats], window: tuple[float, float], wish: Wish, shift: float
) -> None:
    recording = Recording({name: signal(name, glossary().signals[name].unit, *curve) for name in names})
    made = Seen(recording, Regimes({Regime.IDLE: ((0.0, 50.0),)}))
    json.dumps(
        figure(made, view(window=window, groups=groups_of(recording), wish=wish, over=recording, shift_s=shift)),
        allow_nan=False,
    )


class TestTime:
    @pytest.mark.parametrize(
        ("window", "marks"),
        [
            ((0.0, 366.25), ["0:00", "1:00", "2:00", "3:00", "4:00", "5:00", "6:00"]),
            ((200.0, 226.0), ["3:20", "3:25", "3:30", "3:35", "3:40", "3:45"]),
            ((59.0, 61.0), ["0:59.0", "0:59.5", "1:00.0", "1:00.5", "1:01.0"]),
            ((0.0, 8000.0), ["0:00", "30:00", "60:00", "90:00", "120:00"]),
        ],
    )
    def test_is_marked_as_every_sentence_writes_it(self, window: tuple[float, float], marks: list[str]) -> None:
        assert figure(seen(), view(window=window))["layout"]["xaxis"]["ticktext"] == marks
