"""What an address or a field may ask of the traces: numbers that there are, kept within the recording."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from airproof.errors import UnusableRequest
from airproof.jobs.prepared import open_prepared
from airproof.knowledge.load import knowledge
from airproof.report.trace import figure
from airproof.web.bench import Bench
from airproof.web.trace_page import Viewer, _asked, _seconds, _viewer, shown_by

DEMO = Path(__file__).parents[2] / "examples" / "demo-job"


@pytest.mark.parametrize(("typed", "seconds"), [("", 0.0), ("-3.5", -3.5), ("2,25", 2.25), ("1e2", 100.0)])
def test_seconds_as_typed(typed: str, seconds: float) -> None:
    assert _seconds(typed) == seconds


@pytest.mark.parametrize("typed", ["nan", "inf", "-inf", "1e999", "soon", "3 s", "1,000.5"])
def test_what_is_no_number_of_seconds_is_refused(typed: str) -> None:
    with pytest.raises(UnusableRequest, match="seconds, as a number"):
        _seconds(typed)


@pytest.mark.parametrize(
    ("asked", "window"),
    [
        ({"from": "3", "to": "9.5"}, (3.0, 9.5)), ({}, None), ({"from": "3"}, None), ({"from": "9", "to": "3"}, None),
        ({"from": "-1", "to": "3"}, None), ({"from": "0", "to": "inf"}, None), ({"from": "nan", "to": "3"}, None),
        ({"from": "0", "to": "nan"}, None), ({"from": "<b>", "to": "3"}, None), ({"from": "3", "to": "3"}, None),
    ],
)  # fmt: skip
def test_a_stretch_in_an_address(asked: dict[str, str], window: tuple[float, float] | None) -> None:
    assert _asked(asked) == window


class Drawn:
    """In the place of a browser: what was drawn last."""

    def redraw(self, drawn: dict[str, Any]) -> None:
        json.dumps(drawn, allow_nan=False)
        self.figure = drawn


@pytest.fixture(scope="module")
def viewer(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Viewer]:
    bench = Bench(tmp_path_factory.mktemp("viewer"), "me")
    job = open_prepared(bench.store, DEMO, knowledge())
    state = bench.store.state(job)
    (fact,) = state.recordings.values()
    made = _viewer(bench, job, state, fact)
    made.plot = Drawn()  # type: ignore[assignment]
    yield made
    bench.close()


class TestLooking:
    def test_at_first_all_of_it_is_seen(self, viewer: Viewer) -> None:
        viewer._look(viewer.whole)
        assert viewer.view.window == pytest.approx(viewer.whole)
        json.dumps(figure(viewer.seen, viewer.view), allow_nan=False)

    @settings(
        deadline=None, derandomize=True, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture]
    )
    @given(
        st.lists(
            st.tuples(st.sampled_from(["move", "scale", "look"]), st.floats(-3.0, 3.0), st.floats(-1e4, 1e4)),
            max_size=6,
        )
    )
    def test_wherever_one_goes_one_stays_within_the_recording(
        self, viewer: Viewer, ways: list[tuple[str, float, float]]
    ) -> None:
        viewer._look(viewer.whole)
        for way, by, far in ways:
            if way == "move":
                viewer._move(by)
            elif way == "scale":
                viewer._scale(abs(by) + 0.01)
            else:
                viewer._look((far, far + by))
            start, end = viewer.view.window
            assert viewer.whole[0] - 1e-9 <= start < end <= viewer.whole[1] + 1e-9
            assert end - start >= 0.5 - 1e-9

    @pytest.mark.parametrize(
        ("said", "window"),
        [
            ({"xaxis.range[0]": 10, "xaxis.range[1]": 20.5}, (10.0, 20.5)),
            ({"xaxis.range": [10, 20.5]}, (10.0, 20.5)),
            ({"xaxis.autorange": True}, None),
            ({"xaxis.range[0]": "x", "xaxis.range[1]": 3}, (1.0, 2.0)),
            ({"yaxis.range[0]": 1}, (1.0, 2.0)),
            ("nonsense", (1.0, 2.0)),
            (None, (1.0, 2.0)),
        ],
    )
    def test_what_the_browser_says_of_zooming(
        self, viewer: Viewer, said: object, window: tuple[float, float] | None
    ) -> None:
        viewer._look((1.0, 2.0))

        class Event:
            args = said

        viewer._zoomed(Event())
        assert viewer.view.window == pytest.approx(window or viewer.whole)

    def test_around_a_stretch_there_is_some_more(self, viewer: Viewer) -> None:
        start, end = viewer._around((100.0, 110.0))
        assert (start, end) == (98.0, 112.0)
        assert viewer._around((0.0, 1.0))[0] == viewer.whole[0]
        assert np.isfinite(viewer._around((0.0, 1e9))).all()


class TestPlacesOfAFinding:
    def test_few_have_a_button_each_and_many_have_one(self) -> None:
        few = shown_by(((0.0, 12.0), (356.0, 366.0)))
        assert few == [("Show 0:00 to 0:12", ((0.0, 12.0),)), ("Show 5:56 to 6:06", ((356.0, 366.0),))]
        places = tuple((float(start), start + 4.0) for start in range(10, 60, 10))
        assert shown_by(places) == [("Show 0:10 to 0:54, 5 places", places)]
