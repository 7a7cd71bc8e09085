"""What was told (codes, symptoms, outcomes of steps) against an outside Bayesian network with the same tables.

The tables of the network are made here, from the entries of the knowledge and by the rules of docs/weighing.md
sections 1 and 5 and of docs/evidence.md, not by the code under test. Inference is pyAgrum's.
"""

from __future__ import annotations

import numpy as np
import pytest
from reference_networks import NO, YES, asked, told_network
from small_cases import NATURAL, NATURAL_BY_FLOW, TURBO

from airproof.diagnosis.bayes import posterior_of, weigh_testimonies
from airproof.diagnosis.hypotheses import Hypotheses, hypotheses_for
from airproof.diagnosis.readings import Outcome
from airproof.diagnosis.testimony import Testimony as Told  # under its own name it would be collected as a test
from airproof.diagnosis.told import from_codes, from_outcomes, from_symptoms
from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import EngineProfile
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Witness

KNOWN = knowledge()
PROFILES = {"turbo": TURBO, "natural": NATURAL, "natural-by-flow": NATURAL_BY_FLOW}
LEAST_SHARE = 0.25  # docs/weighing.md, section 5: at the least size a quarter of what holds from the typical size on

# codes, symptoms, outcomes of steps; among them codes of one family, and outcomes of both kinds
TOLD: dict[str, tuple[tuple[str, ...], tuple[str, ...], tuple[Outcome, ...]]] = {
    "one code": (("P0106",), (), ()),
    "one symptom": ((), ("rough-idle",), ()),
    "one outcome": ((), (), (Outcome("look-hoses", True),)),
    "lean and rough": (("P0171",), ("rough-idle", "high-idle"), ()),
    "both banks are one family": (("P0171", "P0174"), (), ()),
    "a family of three and another": (("P0105", "P0106", "P0107", "P0299"), ("low-power",), ()),
    "nothing found": (("P0106", "P0069"), (), (Outcome("look-hoses", False), Outcome("look-plug-and-wiring", False))),
    "much": (
        ("P0101", "P0106", "P0107", "P0171", "P0299", "P0300", "P0401", "P0507"),
        ("lamp-on", "rough-idle", "hesitation", "limp-mode", "thirst"),
        (Outcome("look-hoses", False), Outcome("compare-barometer", True)),
    ),
}


def made(profile: EngineProfile) -> Hypotheses:
    return hypotheses_for(KNOWN, profile, frozenset({"manifold_pressure", "charge_pressure"}), healthy_share=0.2)


def chance_of(witness: Witness, hypotheses: Hypotheses) -> np.ndarray:
    """P(there) under every hypothesis, (H,)."""
    chances = []
    for cause, sizes in hypotheses.sizes.items():
        known = KNOWN.causes[cause].size
        noticed = np.ones(sizes.size)
        if known is not None and sizes.size > 1:
            between = np.log(np.abs(sizes) / known.low) / np.log(known.typical / known.low)
            noticed = np.minimum(LEAST_SHARE + (1.0 - LEAST_SHARE) * np.maximum(between, 0.0), 1.0)
        named = witness.sets.get(cause, witness.by_chance)
        chances.append(witness.by_chance + (named - witness.by_chance) * noticed)
    return np.concatenate(chances)


def outside(
    hypotheses: Hypotheses, codes: tuple[str, ...], symptoms: tuple[str, ...], outcomes: tuple[Outcome, ...]
) -> dict[str, np.ndarray]:
    """Posterior of every size of every cause by the outside library, by cause."""
    chances = {name: chance_of(KNOWN.codes[name], hypotheses) for name in codes}
    chances |= {name: chance_of(KNOWN.symptoms[name], hypotheses) for name in symptoms}
    family = {name: KNOWN.codes[name].family for name in codes}
    family |= {name: KNOWN.symptoms[name].family or name for name in symptoms}
    evidence = dict.fromkeys((*codes, *symptoms), YES)
    for outcome in outcomes:
        step = KNOWN.steps[outcome.step]
        assert step.otherwise is not None
        chances[step.id] = np.concatenate(
            [np.full(sizes.size, step.tells.get(c, step.otherwise)) for c, sizes in hypotheses.sizes.items()]
        )
        family[step.id] = step.id
        evidence[step.id] = YES if outcome.found else NO
    families = {
        one: (KNOWN.families[one].alike if one in KNOWN.families else 0.0, [n for n in chances if family[n] == one])
        for one in dict.fromkeys(family.values())
    }
    prior = np.concatenate([np.exp(rows) for rows in hypotheses.log_prior.values()])
    found = asked(told_network(prior, chances, families), evidence, "which")
    edges = np.cumsum([sizes.size for sizes in hypotheses.sizes.values()])[:-1]
    return dict(zip(hypotheses.sizes, np.split(found, edges), strict=True))


def ours(
    hypotheses: Hypotheses, codes: tuple[str, ...], symptoms: tuple[str, ...], outcomes: tuple[Outcome, ...]
) -> list[Told]:
    return [
        *from_codes(codes, KNOWN, hypotheses.sizes),
        *from_symptoms(symptoms, KNOWN, hypotheses.sizes),
        *from_outcomes(outcomes, KNOWN, hypotheses.sizes),
    ]


@pytest.mark.parametrize("which", TOLD)
def test_causes_and_sizes_equal_those_of_an_outside_network(which: str) -> None:
    hypotheses = made(TURBO)
    found = posterior_of(hypotheses.log_prior, ours(hypotheses, *TOLD[which]))
    wanted = outside(hypotheses, *TOLD[which])
    assert sum(rows.sum() for rows in wanted.values()) == pytest.approx(1.0, abs=1e-12)
    for cause, rows in wanted.items():
        assert found.probability[cause] == pytest.approx(rows.sum(), abs=1e-9)
        np.testing.assert_allclose(found.sizes[cause], rows / rows.sum(), atol=1e-9)
    # the evidence did speak: a network left at its prior would not pass
    moved = max(abs(found.probability[cause] - found.prior[cause]) for cause in hypotheses.sizes)
    assert moved > 0.02


@pytest.mark.parametrize("profile", PROFILES)
def test_on_every_kind_of_engine(profile: str) -> None:
    hypotheses = made(PROFILES[profile])
    found = posterior_of(hypotheses.log_prior, ours(hypotheses, *TOLD["much"]))
    for cause, rows in outside(hypotheses, *TOLD["much"]).items():
        assert found.probability[cause] == pytest.approx(rows.sum(), abs=1e-9)


@pytest.mark.parametrize("which", ["one code", "lean and rough", "a family of three and another", "nothing found"])
def test_decibans_lead_from_the_prior_odds_to_the_network_s(which: str) -> None:
    hypotheses = made(TURBO)
    found = weigh_testimonies(hypotheses.log_prior, ours(hypotheses, *TOLD[which]))
    for cause, rows in outside(hypotheses, *TOLD[which]).items():
        total = found.before[cause] + sum(weights[cause] for weights in found.weights)
        assert total == pytest.approx(10.0 * np.log10(rows.sum() / (1.0 - rows.sum())), abs=1e-6)


def test_the_verdict_on_codes_and_symptoms_alone_is_the_network_s() -> None:
    """Through the front door, priors included: they are worked out here from the weights of the causes.

    Nothing recorded: equipment that no signal shows counts half, and `none` has its share of all weights.
    """
    codes, symptoms = ("P0106", "P0171"), ("rough-idle", "stalling")
    verdict = weigh([], TURBO, codes=codes, symptoms=symptoms).verdict
    applying = {
        name: cause.weight * (0.5 if cause.applies.needs else 1.0)
        for name, cause in KNOWN.causes.items()
        if cause.applies.to(TURBO.induction, TURBO.air_metering, TURBO.fuel)
    }
    healthy = KNOWN.causes["none"].weight / sum(cause.weight for cause in KNOWN.causes.values())
    faulty = sum(weight for name, weight in applying.items() if name != "none")
    share = {name: (1.0 - healthy) * weight / faulty for name, weight in applying.items()} | {"none": healthy}
    grids = made(TURBO)
    spread = {c: np.exp(rows - np.logaddexp.reduce(rows)) for c, rows in grids.log_prior.items()}
    own = Hypotheses(grids.causes, grids.sizes, {c: np.log(share[c] * spread[c]) for c in grids.sizes})
    assert {one.id for one in verdict.causes} == set(share)
    for cause, rows in outside(own, codes, symptoms, ()).items():
        assert verdict.probability(cause) == pytest.approx(rows.sum(), abs=1e-9)
