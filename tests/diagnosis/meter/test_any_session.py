"""Whatever is measured: a verdict in words, finite numbers, never a crash."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from airproof.diagnosis.conditions import UNKNOWN_PLACE
from airproof.diagnosis.meter.judged import judge
from airproof.diagnosis.meter.measured_file import load_measurements
from airproof.errors import AirproofError
from airproof.knowledge.load import knowledge

KNOWN = knowledge()

volts = st.floats(-0.5, 14.0).map(lambda v: f"{v:.2f} V")
hertz = st.floats(0.0, 500.0).map(lambda v: f"{v:.1f} Hz")
shown = st.floats(0.0, 300.0).map(lambda v: f"{v:.0f} kPa")
ohms = st.one_of(st.just("endless"), st.floats(0.0, 2e6).map(lambda v: f"{v:.1f} ohm"))
pressures = st.one_of(
    st.floats(0.0, 29.0).map(lambda v: f"{v:.1f} inHg vacuum"),
    st.floats(-90.0, 300.0).map(lambda v: f"{v:.1f} kPa gauge"),
    st.floats(0.0, 400.0).map(lambda v: f"{v:.1f} kPa abs"),
)


def maybe(name: str, values: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    return st.one_of(st.just({}), values.map(lambda v: {name: v}))


def entry(what: str, *parts: st.SearchStrategy[dict[str, Any]]) -> st.SearchStrategy[dict[str, Any]]:
    return st.tuples(*parts).map(lambda found: {"what": what} | {k: v for part in found for k, v in part.items()})


def points(reading: st.SearchStrategy[str]) -> st.SearchStrategy[dict[str, Any]]:
    return st.lists(st.tuples(pressures, reading), min_size=2, max_size=7).map(
        lambda p: {"points": [list(x) for x in p]}
    )


against = maybe("against", st.sampled_from(["sensor ground", "battery minus"]))
entries = st.tuples(
    st.one_of(st.none(), entry("supply", volts.map(lambda v: {"value": v}), against)),
    st.one_of(st.none(), entry("ground", volts.map(lambda v: {"value": v}))),
    st.one_of(
        st.none(), entry("signal", st.one_of(volts, hertz).map(lambda v: {"value": v}), maybe("shown", shown), against),
    ),
    st.one_of(
        st.none(),
        entry(
            "sweep", st.one_of(points(volts), points(hertz), points(shown)), maybe("creeps", st.booleans()),
            maybe("jumps", st.booleans()), maybe("gauge", st.sampled_from(["0 kPa", "2.5 kPa", "3 % of 30 inHg"])),
        ),
    ),
    st.one_of(
        st.none(),
        entry("thermistor", st.one_of(ohms, volts).map(lambda v: {"value": v}),
              st.floats(-50.0, 150.0).map(lambda t: {"temperature": f"{t:.0f} C"})),
    ),
    st.one_of(st.none(), entry("digital", volts.map(lambda v: {"value": v}))),
    st.one_of(
        st.none(), entry("wire", ohms.map(lambda v: {"value": v}), maybe("to", st.sampled_from(["ground", "supply"]))),
    ),
)  # fmt: skip
sensors = st.tuples(
    maybe("line", st.sampled_from([name for name, one in KNOWN.sensors.items() if one.known])),
    maybe("thermistor", st.sampled_from(list(KNOWN.thermistors))),
    maybe("temperature", st.floats(-60.0, 150.0).map(lambda t: f"{t:.0f} C")),
    maybe("output", st.sampled_from(["0 ohm", "10 kohm"])),
).map(lambda found: {k: v for part in found for k, v in part.items()})


def finite(value: Any) -> bool:
    if isinstance(value, dict):
        return all(finite(one) for one in value.values())
    if isinstance(value, list):
        return all(finite(one) for one in value)
    return not isinstance(value, float) or math.isfinite(value)


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    entries, sensors, st.sampled_from([{}, {"accuracy": "0.5 % + 2 digits"}, {"accuracy": "0.1 %", "input": "1 kohm"}])
)
def test_any_session_is_judged(
    tmp_path: Path, found: tuple[dict[str, Any] | None, ...], sensor: dict[str, Any], meter: dict[str, str]
) -> None:
    from airproof.cli.meter_asked import as_toml
    from airproof.report.meter_as_json import judged_as_json
    from airproof.report.meter_in_words import judged_in_words

    measured = [one for one in found if one is not None]
    path = tmp_path / "any.toml"
    path.write_text(as_toml({"meter": meter, "sensor": sensor, "measured": measured}), encoding="utf-8")
    try:
        session = load_measurements(path, KNOWN)
    except AirproofError:
        return
    judged = judge(session, UNKNOWN_PLACE, KNOWN)
    assert len(judged.items) == len(measured)
    assert finite(json.loads(judged_as_json(judged)))
    for part in judged_in_words(judged, session, KNOWN):
        assert all("nan" not in line.split() and "inf" not in line.split() for line in part.lines)
