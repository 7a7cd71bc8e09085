"""The whole picture: testimonies that add up to what was learnt, shares, words, and what a missing stretch is worth."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_cases import NATURAL, TURBO, case_of, changed, workshop_round

from airproof.diagnosis.case import Case
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.hypotheses import hypotheses_for
from airproof.diagnosis.picture import check as whole_picture
from airproof.diagnosis.picture import unsteadiness
from airproof.diagnosis.picture.check import Picture
from airproof.diagnosis.picture.features import AGAIN, FIRST, NEEDS_THE_DAY, first_time
from airproof.diagnosis.picture.hearing import heard, in_full, with_share
from airproof.diagnosis.picture.learned import KINDS, PARTS, learned, shaken
from airproof.diagnosis.picture.summaries import NAMES, summaries
from airproof.diagnosis.picture.words import CAR, NAMED, PLACES, place_of
from airproof.diagnosis.picture.worth import worth_of
from airproof.diagnosis.testimony import Testimony as Told
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE

GOOD = workshop_round(TURBO)


@pytest.fixture(scope="module")
def case() -> Case:
    return case_of(GOOD, TURBO)


@pytest.mark.parametrize(("kind", "features"), list(zip(KINDS, (FIRST, AGAIN), strict=True)))
def test_the_learned_files_belong_to_the_summaries_there_are(kind: str, features: tuple[str, ...]) -> None:
    known = learned(kind)
    assert known.forest.features == shaken(kind).features == features
    assert known.forest.causes == shaken(kind).causes
    assert set(known.forest.causes) == set(knowledge().causes)
    assert known.said.keys() == set(PLACES)
    for strangeness in (0.0, 0.005, 1.0):
        shares = known.shares(strangeness)
        assert 0.0 < shares["checks"] <= 1.0
        assert 0.0 < shares["picture"] <= len(PARTS)
        for causes, shares in known.kin_shares(strangeness).items():
            assert set(causes) <= set(known.forest.causes) - {NONE}
            assert all(0.0 < share <= 1.0 for share in shares.values())
    for shares in known.kin_shares(1.0).values():  # what is strange is heard as ever: physics, and some of the picture
        assert shares == known.shares(1.0)


def test_every_summary_has_a_title_a_place_and_a_way_to_be_shown() -> None:
    assert list(NAMED) == list(NAMES)
    for name, named in NAMED.items():
        assert named.title
        assert named.place in PLACES
        assert place_of(f"since {name}") == named.place
        shown = named.scale.shown(0.1, -1e-9, 40.0)  # no overflow, however odd the recording
        told = re.fullmatch(r"[-+]?[0-9.]+(?P<unit>| [^ ].*) \(healthy: [-+]?[0-9.]+ to [-+]?[0-9.]+(?P=unit)\)", shown)
        assert told is not None, shown
        assert told["unit"] or name == "full_rich", name  # lambda has no unit
        changes = named.scale.changed(0.0, -1e-9, 0.0)
        for text in filter(None, (shown, changes)):
            assert not re.search(r"-0(\.0+)?( |$)", text), name
        assert changes is None or re.match(r"\+0(\.0+)? ", changes), name
    assert place_of("car boost") == CAR


@pytest.mark.parametrize(
    ("name", "really", "unit"),
    [
        ("full_n", 3200.0, "1/min"),
        ("over_n", 2400.0, "1/min"),
        ("idle_p", 35.0, "%"),
        ("light_p", 40.0, "%"),
        ("ko_map", 0.0, "kPa"),
        ("full_thr", 90.0, "%"),
        ("breaks", 0.0, "times"),
    ],
)
def test_a_number_told_is_the_one_in_the_recording(case: Case, name: str, really: float, unit: str) -> None:
    found = dict(zip(NAMES, summaries(case, case.barometer.kpa), strict=True))
    number, told = NAMED[name].scale.shown(found[name], 0.0, 0.0).split(" ", 1)
    assert told.startswith(f"{unit} (healthy: ")
    assert float(number) == pytest.approx(really, rel=0.02, abs=0.3)


def test_what_changed_is_told_in_words_that_are_a_change() -> None:
    good = workshop_round(TURBO)
    case = case_of(changed(good, "air_flow", lambda v: 1.1 * v), TURBO, baselines=[good])
    told = " ".join(one.finding.says for one in whole_picture.check(case).testimonies)
    assert "since it was known good, volumetric efficiency by metered air" in told
    assert "+10 %" in told


def test_testimonies_of_the_places_add_up_to_all_its_parts(case: Case) -> None:
    known = learned("first")
    causes = known.forest.causes
    features = first_time(case)
    added, before = known.contributions(features, known.forest.strangeness(features))
    whole = added.sum(axis=0) + before
    told = whole_picture.check(case).testimonies
    for cause, sizes in case.sizes.items():
        k, none = causes.index(cause), causes.index(NONE)
        total = sum((one.log_likelihood[cause] for one in told), np.zeros(sizes.size))
        assert total == pytest.approx(np.full(sizes.size, whole[k] - whole[none]), abs=1e-9)


def test_a_part_of_a_strange_recording_is_as_strange(case: Case) -> None:
    part = replace(case, strange_at_least=0.6)
    assert whole_picture.check(part).strangeness == 0.6
    assert whole_picture.check(replace(part, strange_at_least=0.0)).strangeness == whole_picture.strangeness_of(case)
    known, features = learned("first"), first_time(case)
    shaken_alone = shaken("first").contributions(features)
    assert np.allclose(known.contributions(features, 0.6)[0], shaken_alone[0], atol=1e-12)


def test_with_next_to_nothing_recorded_there_is_no_picture() -> None:
    speed = GOOD["engine_speed"].between(20.0, 30.0)
    assert whole_picture.check(case_of(replace(GOOD, signals={"engine_speed": speed}), TURBO)).testimonies == ()


def test_a_sensor_is_not_set_against_a_day_that_only_it_tells() -> None:
    stated = case_of(GOOD, TURBO)
    wide, narrow = (replace(stated, weather=replace(stated.weather, sd_kpa=sd)) for sd in (4.5, 0.4))
    assert np.isnan(first_time(wide)[list(NEEDS_THE_DAY)]).all()
    assert np.isfinite(first_time(narrow)[NEEDS_THE_DAY[0]])


@pytest.mark.parametrize("factor", [0.9, 1.1])
def test_air_flow_moves_the_summaries_of_air_and_no_pressure(case: Case, factor: float) -> None:
    day = case.weather.kpa
    before = dict(zip(NAMES, summaries(case, day), strict=True))
    other = case_of(changed(GOOD, "air_flow", lambda v: factor * v), TURBO)
    after = dict(zip(NAMES, summaries(other, day), strict=True))
    for load in ("idle", "light", "middle", "high"):
        assert after[f"{load}_ve"] - before[f"{load}_ve"] == pytest.approx(np.log(factor), abs=1e-6)
        assert after[f"{load}_p"] == before[f"{load}_p"]
    assert after["full_ve"] - before["full_ve"] == pytest.approx(np.log(factor), abs=1e-6)


def test_dropouts_of_a_long_recording_are_counted_over_as_long_as_was_rehearsed(
    case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(unsteadiness.signal_health, "breaks_of", lambda run: np.arange(run.time.size) < 6)
    counted = dict(zip(NAMES, summaries(case, case.weather.kpa), strict=True))["breaks"]
    assert np.expm1(counted) == pytest.approx(6.0)  # no longer than what is learnt from
    run = unsteadiness.signal_health.running_part(case)
    assert run is not None
    monkeypatch.setattr(unsteadiness, "REHEARSED_S", float(run.time[-1] - run.time[0]) / 4.0)
    counted = dict(zip(NAMES, summaries(case, case.weather.kpa), strict=True))["breaks"]
    assert np.expm1(counted) == pytest.approx(1.5)


LOG_PRIOR = {
    name: row
    for name, row in hypotheses_for(knowledge(), NATURAL, frozenset(), healthy_share=0.2).log_prior.items()
    if name in (NONE, "map-offset", "vacuum-leak")
}


def said(seed: int) -> list[Told]:
    rng = np.random.default_rng(seed)
    return [
        Told(Finding(f"f{k}", 0.0, 1.0, "%", (0.0, 1.0), (), "says"),
                  {c: rng.normal(size=row.size) * 3.0 for c, row in LOG_PRIOR.items()})
        for k in range(4)
    ]  # fmt: skip


@given(st.integers(0, 10_000), st.floats(0.05, 1.0))
@settings(max_examples=40)
def test_a_share_is_taken_of_what_is_said_of_a_cause_and_nothing_of_its_sizes(seed: int, share: float) -> None:
    told = said(seed)
    shared = with_share(told, LOG_PRIOR, share)
    for cause, prior in LOG_PRIOR.items():
        sizes = prior - np.logaddexp.reduce(prior)
        full = sizes + sum(one.log_likelihood[cause] for one in told)
        less = sizes + sum(one.log_likelihood[cause] for one in shared)
        assert np.logaddexp.reduce(less) == pytest.approx(share * np.logaddexp.reduce(full), abs=1e-9)
        assert less - np.logaddexp.reduce(less) == pytest.approx(full - np.logaddexp.reduce(full), abs=1e-9)


@given(st.integers(0, 10_000), st.floats(0.05, 1.0), st.floats(0.05, 1.0))
@settings(max_examples=40)
def test_kin_are_told_from_each_other_with_a_share_of_its_own(seed: int, share: float, within: float) -> None:
    told, kin = said(seed), tuple(cause for cause in LOG_PRIOR if cause != NONE)[:2]
    shared = with_share(told, LOG_PRIOR, share, {kin: within})

    def evidence(some: list[Told]) -> dict[str, float]:
        found = {}
        for cause, prior in LOG_PRIOR.items():
            rows = prior - np.logaddexp.reduce(prior) + sum(one.log_likelihood[cause] for one in some)
            found[cause] = float(np.logaddexp.reduce(rows))
        return found

    before = {cause: float(np.logaddexp.reduce(prior)) for cause, prior in LOG_PRIOR.items()}
    full, less = evidence(told), evidence(shared)
    together = np.logaddexp(*(before[c] + full[c] for c in kin)) - np.logaddexp(*(before[c] for c in kin))
    first, second = kin
    assert less[first] - less[second] == pytest.approx(within * (full[first] - full[second]), abs=1e-9)
    for cause in kin:
        assert less[cause] == pytest.approx(share * together + within * (full[cause] - together), abs=1e-9)
    for cause in LOG_PRIOR.keys() - set(kin):
        assert less[cause] == pytest.approx(share * full[cause], abs=1e-9)
    same = with_share(told, LOG_PRIOR, share, {kin: share})
    for one, other in zip(same, with_share(told, LOG_PRIOR, share), strict=True):
        for cause, row in one.log_likelihood.items():
            assert row == pytest.approx(other.log_likelihood[cause], abs=1e-9)


def test_without_a_picture_the_checks_are_heard_in_full() -> None:
    told = said(3)
    assert heard(told, Picture((), 0.0), LOG_PRIOR, known_car=False) == told


def test_the_stranger_a_recording_the_less_the_picture_is_heard() -> None:
    rows = {cause: np.full_like(row, row.mean()) for cause, row in said(7)[0].log_likelihood.items()}
    seen = [replace(said(7)[0], log_likelihood=rows)]  # of sizes a picture says nothing
    loud = [
        heard(said(6), Picture(tuple(seen), strangeness), LOG_PRIOR, known_car=False)[-1].log_likelihood["map-offset"]
        for strangeness in (0.0, 0.005, 1.0)
    ]
    for row, strangeness in zip(loud, (0.0, 0.005, 1.0), strict=True):
        share = learned("first").shares(strangeness)["picture"]
        assert row == pytest.approx(share * seen[0].log_likelihood["map-offset"])
    assert np.abs(loud[0]).sum() > np.abs(loud[1]).sum() > np.abs(loud[2]).sum()


def test_what_each_said_by_itself_is_kept() -> None:
    told = said(4)
    shared = heard(told, Picture(tuple(said(5)[:1]), 0.0), LOG_PRIOR, known_car=False, in_full=["f2"])
    by_id = {one.finding.id: one for one in shared[:4]}
    assert by_id["f2"].log_likelihood is told[2].log_likelihood
    for one in in_full(shared[:4]):
        assert one.log_likelihood is told[int(one.finding.id[1:])].log_likelihood


class TestWorth:
    LEVEL = dict.fromkeys(("map-offset", "baro-sensor", "maf-scale"), 1.0 / 3.0)

    def test_it_lies_between_nothing_and_knowing(self) -> None:
        for place, worth in worth_of(self.LEVEL, PLACES).items():
            assert 0.0 <= worth.nepers <= np.log(3.0) + 1e-9, place
            assert worth.before == pytest.approx(3.0)
            assert 1.0 <= worth.after <= 3.0

    def test_engine_off_tells_a_sensor_from_a_barometer_better_than_idle(self) -> None:
        worth = worth_of({"map-offset": 0.5, "baro-sensor": 0.5}, ("engine-off", "over-time"))
        assert worth["engine-off"].nepers > 2.0 * worth["over-time"].nepers

    def test_when_nothing_is_in_question_nothing_is_worth_recording(self) -> None:
        assert worth_of({"map-offset": 1.0}, PLACES) == {}

    def test_the_expected_information_is_that_of_its_definition(self) -> None:
        """Entropy now less the mean entropy then, by plain loops over the kept rehearsals."""
        known, chance = learned("first"), {"map-offset": 0.7, "vacuum-leak": 0.3}
        at = [known.forest.causes.index(cause) for cause in chance]
        p = np.array(list(chance.values()))
        left = 0.0
        for k, cause_place in enumerate(at):
            for row in known.said["idle"][cause_place]:
                then = p * np.exp(known.shares(1.0)["picture"] * row[at])
                then /= then.sum()
                left -= p[k] * float(then @ np.log(then)) / known.said["idle"].shape[1]
        expected = max(-float(p @ np.log(p)) - left, 0.0)
        assert worth_of(chance, ("idle",))["idle"].nepers == pytest.approx(expected, abs=1e-9)


def test_no_band_is_from_nothing_to_nothing() -> None:
    scales = {one.scale for one in NAMED.values() if one.scale.change == "logarithm"}
    assert scales
    for one in scales:
        told = one.changed(0.02, -0.002, 0.003)
        assert told is not None
        assert re.search(r"healthy: (?P<low>[-+0-9.]+) to (?!(?P=low)[ )])", told), told
        nothing = one.changed(0.02, 0.0, 0.0)
        assert nothing is not None
        assert nothing.endswith("(healthy: hardly anything but +0)")
