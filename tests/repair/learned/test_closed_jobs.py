"""What a closed job may say, what it counts, and what is refused."""

from __future__ import annotations

import json
import math
import string
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from airproof.errors import UnusableFile
from airproof.knowledge.load import knowledge
from airproof.repair.learned.closed_job import ClosedJob, fitted, load_closed_job
from airproof.repair.learned.counts import JobCounts, counts_of, remarks_on
from airproof.repair.learned.judged_weights import judged_weights

KNOWN = knowledge()
EXAMPLE = Path(__file__).resolve().parents[3] / "examples" / "closed-job" / "job.toml"
SHARE = judged_weights().unproved.share


def said(**changed: Any) -> dict[str, Any]:
    table = tomllib.loads(EXAMPLE.read_text(encoding="utf-8"))
    return {**table, **changed}


def job(**changed: Any) -> ClosedJob:
    return fitted(ClosedJob.model_validate(said(**changed)), KNOWN, "job.toml")


def counted(**changed: Any) -> JobCounts:
    return counts_of(job(**changed), KNOWN)


def steps(*taken: tuple[str, str], **rest: Any) -> list[dict[str, Any]]:
    return [{"id": name, "outcome": outcome, **rest} for name, outcome in taken]


PAIR = {"causes": ["map-offset", "vacuum-leak"], "how_sure": "proved"}


def test_the_example_says_it_is_invented_and_counts_what_it_tells() -> None:
    assert load_closed_job(EXAMPLE, KNOWN).invented
    found = counted()
    assert found.causes == {"map-slow": 1.0}
    assert found.tells == {"look-plug-and-wiring": False, "sweep-with-hand-pump": True}
    assert found.cures == {"clean-map-sensor": {"map-slow": (1.0, 0.0)}}
    assert found.month == "2026-03"
    assert found.prices == {"sensor-cleaner": pytest.approx((1.0, math.log(6.5), math.log(6.5) ** 2))}
    assert "smoke-test-intake" not in json.dumps(found.model_dump(mode="json"))


def test_what_stood_set_up_is_added_to_the_minutes() -> None:
    # The sensor was out from the sweep: eight of the cleaning's 25 minutes were spared, so 20 stand for 20 x 25 / 17.
    _, total, _ = counted().minutes["clean-map-sensor"]
    assert math.exp(total) == pytest.approx(20.0 * 25.0 / 17.0)


def test_json_says_the_same(tmp_path: Path) -> None:
    file = tmp_path / "job.json"
    file.write_text(json.dumps(said(), default=str), encoding="utf-8")
    assert counts_of(load_closed_job(file, KNOWN), KNOWN) == counted()


def test_a_failed_repair_and_the_one_that_helped_both_count() -> None:
    found = counted(step=steps(("clean-map-sensor", "did not help"), ("replace-map-sensor", "helped")))
    assert found.cures == {"clean-map-sensor": {"map-slow": (0.0, 1.0)}, "replace-map-sensor": {"map-slow": (1.0, 0.0)}}


def test_what_comes_after_the_cure_and_what_is_done_again_says_nothing() -> None:
    found = counted(
        step=steps(
            ("sweep-with-hand-pump", "found"),
            ("sweep-with-hand-pump", "not found"),
            ("clean-map-sensor", "helped"),
            ("record-idle", "not found"),
            minutes=10.0,
        )
    )
    assert found.tells == {"sweep-with-hand-pump": True}
    assert found.minutes["sweep-with-hand-pump"][0] == 2.0
    assert "record-idle" in found.minutes


def test_of_two_causes_each_counts_half_and_nothing_is_said_of_what_one_shows() -> None:
    found = counted(
        found=PAIR,
        step=steps(
            ("look-hoses", "found"),
            ("replace-map-sensor", "helped"),
            ("smoke-test-intake", "found"),
            ("mend-vacuum-leak", "helped"),
        ),
    )
    assert found.causes == {"map-offset": 0.5, "vacuum-leak": 0.5}
    assert found.two
    assert found.tells == {}
    assert found.cures == {
        "replace-map-sensor": {"map-offset": (1.0, 0.0)},
        "mend-vacuum-leak": {"vacuum-leak": (1.0, 0.0)},
    }


def test_where_a_repair_can_cure_both_it_must_say_which() -> None:
    both = {"causes": ["map-offset", "map-slow"], "how_sure": "proved"}
    silent = job(found=both, step=steps(("replace-map-sensor", "helped")))
    assert counts_of(silent, KNOWN).cures == {}
    assert "cured" in " ".join(remarks_on(silent, KNOWN))
    told = counted(found=both, step=steps(("replace-map-sensor", "helped"), cured=["map-slow"]))
    assert told.cures == {"replace-map-sensor": {"map-slow": (1.0, 0.0), "map-offset": (0.0, 1.0)}}


def test_what_is_only_believed_counts_as_it_was_believed() -> None:
    belief = {"map-slow": 0.6, "vacuum-leak": 0.3}
    found = counted(found={"causes": ["map-slow"], "how_sure": "believed"}, belief=belief)
    assert found.causes == pytest.approx({c: SHARE * p for c, p in belief.items()})
    assert found.cures == {"clean-map-sensor": {"map-slow": pytest.approx((SHARE * 0.6, 0.0))}}
    without = counted(found={"causes": ["map-slow"], "how_sure": "believed"})
    assert without.causes == {"map-slow": SHARE}
    handed = counted(found={"how_sure": "handed over"}, step=steps(("look-hoses", "found"), minutes=9.0))
    assert (handed.causes, handed.cures) == ({}, {})
    assert handed.minutes["look-hoses"][0] == 1.0


def test_a_repair_that_is_not_known_to_cure_it_is_remarked_on() -> None:
    odd = job(step=steps(("mend-vacuum-leak", "helped"), money=20.0))
    assert counts_of(odd, KNOWN).cures == {}
    assert "not known to cure map-slow" in " ".join(remarks_on(odd, KNOWN))
    assert not remarks_on(job(), KNOWN)


def test_codes_nobody_read_are_not_codes_that_were_not_there() -> None:
    table = said()
    del table["codes"]
    silent = fitted(ClosedJob.model_validate(table), KNOWN, "")
    assert counts_of(silent, KNOWN).codes is None
    assert counted(codes=[]).codes == ()


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"schema": "airproof.closed-job/2"}, "airproof.closed-job/1"),
        ({"vin": "WVW"}, "vin is not a known key"),
        ({"owner": "Smith"}, "owner is not a known key"),
        ({"found": {"causes": ["map-slo"], "how_sure": "proved"}}, "Near: map-slow"),
        ({"found": {"causes": ["none", "map-slow"], "how_sure": "proved"}}, "alone"),
        ({"found": {"causes": ["map-slow", "map-slow"], "how_sure": "proved"}}, "different"),
        ({"found": {"causes": [], "how_sure": "proved"}}, "one or two causes"),
        ({"found": {"causes": ["map-slow"], "how_sure": "handed over"}}, "one or two causes"),
        ({"found": {"causes": ["map-slow"], "how_sure": "sure"}}, "proved"),
        ({"belief": {"map-slow": 0.9}}, "beside a proved cause"),
        ({"found": {"how_sure": "handed over"}, "belief": {"map-slow": 0.9, "map-gain": 0.9}}, "at most 1"),
        ({"found": {"how_sure": "handed over"}, "belief": {"map-slow": -0.1}}, "at least 0"),
        ({"step": steps(("clean-map-sensr", "helped"))}, "Near: clean-map-sensor"),
        ({"step": steps(("clean-map-sensor", "found"))}, '"helped" or "did not help"'),
        ({"step": steps(("look-hoses", "helped"))}, '"found" or "not found"'),
        ({"step": steps(("look-hoses", "maybe"))}, "where"),
        ({"step": steps(("look-hoses", "found"), minutes=-3.0)}, "at least 0"),
        ({"step": steps(("look-hoses", "found"), minutes=math.inf)}, "number"),
        ({"step": steps(("look-hoses", "found"), cured=["map-slow"])}, "helped"),
        ({"step": steps(("clean-map-sensor", "helped"), cured=["map-gain"])}, "of the causes found"),
        ({"codes": ["X0106"]}, "not a code"),
        ({"symptoms": ["grumpy"]}, "not a symptom"),
        ({"engine": {"induction": "naturally-aspirated", "air_metering": "both"}, "found": {"causes": ["boost-leak"],
          "how_sure": "proved"}}, "cannot be on this engine"),
        ({"engine": {"induction": "supercharged", "air_metering": "both", "equipment": ["jug"]}}, "unknown equipment"),
        ({"closed": "soon"}, "closed"),
        ({"currency": "dollars"}, "currency"),
        ({"id": ""}, "id is empty"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_line(tmp_path: Path, changed: dict[str, Any], says: str) -> None:
    file = tmp_path / "job.json"
    file.write_text(json.dumps(said(**changed), default=str), encoding="utf-8")
    with pytest.raises(UnusableFile, match=says.replace("(", r"\(")) as refused:
        load_closed_job(file, KNOWN)
    assert "\n" not in str(refused.value)
    assert str(file) in str(refused.value)


@settings(max_examples=80, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.one_of(st.text(string.printable, max_size=300), st.binary(max_size=300)), st.sampled_from((".toml", ".json")))
def test_no_file_crashes_it(tmp_path: Path, text: str | bytes, ending: str) -> None:
    file = tmp_path / f"job{ending}"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(UnusableFile):
        load_closed_job(file, KNOWN)


@settings(
    max_examples=150, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.sampled_from(sorted(said())),
    st.recursive(
        st.none() | st.booleans() | st.integers(-9, 9) | st.floats() | st.text(max_size=9),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner, max_size=3),
        max_leaves=6,
    ),
)
def test_no_value_crashes_it(tmp_path: Path, key: str, value: object) -> None:
    file = tmp_path / "job.json"
    file.write_text(json.dumps({**said(), key: value}, default=str), encoding="utf-8")
    try:
        counts_of(load_closed_job(file, KNOWN), KNOWN)
    except UnusableFile as fault:
        refused = str(fault)
    else:
        refused = ""
    assert "\n" not in refused


def test_a_repair_of_which_nobody_knows_whether_it_helped_counts_its_minutes_alone() -> None:
    found = counted(step=steps(("clean-map-sensor", "done"), minutes=20))
    assert found.cures == {}
    assert list(found.minutes) == ["clean-map-sensor"]
