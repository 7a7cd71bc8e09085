"""The whole discrete layer against an outside Bayesian network (pyAgrum) made of the same entries, to 1e-9.

Small networks are spelt out cause by cause: every cause that brings an observation has a node of its own, so has the
leak, and so has every cause that keeps it away; a last node says "something brings it, and nothing keeps it away". The
shipped catalogue is asked with one node for the hypothesis, pairs of causes among its states, and with the hidden
parents of docs/evidence.md spelt out.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference_networks import NO, YES, asked, spelt_out, told_network
from small_cases import NATURAL, TURBO

from airproof.diagnosis.facts import Facts, FreezeFrame, Noted, Readiness, StoredCode, entries_of
from airproof.diagnosis.hypotheses import Hypotheses, hypotheses_for
from airproof.diagnosis.network import Link, Told
from airproof.diagnosis.pair_network import plausible_pairs, posterior_with_pairs
from airproof.diagnosis.pairs import TWO_SHARE
from airproof.diagnosis.readings import Outcome
from airproof.diagnosis.told import SHOWN_IS_STORED, told_of
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE

KNOWN = knowledge()
LEAST_SHARE = 0.25  # docs/weighing.md, section 5


# Small networks, spelt out


@st.composite
def small(draw: st.DrawFn) -> tuple[list[float], list[float], list[list[float]], list[bool]]:
    causes, witnesses = draw(st.integers(2, 4)), draw(st.integers(1, 4))
    p = st.floats(0.01, 0.99)
    weights = draw(st.lists(p, min_size=causes, max_size=causes))
    leaks = draw(st.lists(st.floats(0.01, 0.6), min_size=witnesses, max_size=witnesses))
    given = [draw(st.lists(p, min_size=causes, max_size=causes)) for _ in leaks]
    there = draw(st.lists(st.booleans(), min_size=witnesses, max_size=witnesses))
    return weights, leaks, given, there


@given(small())
@settings(max_examples=40, deadline=None)
def test_noisy_or_with_leak_and_inhibitors_and_two_causes(
    case: tuple[list[float], list[float], list[list[float]], list[bool]],
) -> None:
    weights, leaks, given, there = case
    single = np.array([1.0, *weights]) / (1.0 + sum(weights))
    names = (NONE, *(f"cause-{k}" for k in range(len(weights))))
    log_prior = {name: np.log([p]) for name, p in zip(names, single, strict=True)}
    told = []
    for k, leak in enumerate(leaks):
        chance = np.array([leak, *given[k]])
        fails = np.where(chance > leak, (1.0 - chance) / (1.0 - leak), 1.0)
        lets = np.where(chance < leak, chance / leak, 1.0)
        told.append(Told(f"x{k}", "", (Link(leak, fails, lets),), (there[k],), f"x{k}"))
    found = posterior_with_pairs(log_prior, told)
    sets = [(), *((k,) for k in range(len(weights))), *itertools.combinations(range(len(weights)), 2)]
    prior = {
        one: single[0]
        if not one
        else single[1 + one[0]] * (2 * TWO_SHARE * single[1 + one[1]] if len(one) > 1 else 1.0)
        for one in sets
    }
    whole = sum(prior.values())
    net = spelt_out({one: p / whole for one, p in prior.items()}, leaks, given)
    wanted = asked(net, {f"x{k}": YES if yes else NO for k, yes in enumerate(there)}, "which")
    assert sum(found.values()) == pytest.approx(1.0, abs=1e-12)
    for one, p in zip(sets, wanted, strict=True):
        key = tuple(f"cause-{k}" for k in one) or (NONE,)
        assert found[key] == pytest.approx(p, abs=1e-9)


# The shipped catalogue


WIDE = "components"  # so many codes are its, that a library asked of their absence takes half a minute
NARROW = sorted({*KNOWN.monitors} - {WIDE})


@st.composite
def facts(draw: st.DrawFn, ready_of: Sequence[str] = ()) -> Facts:
    """Random evidence of every kind; codes of one family among it, statuses, orders, a frame, readiness."""
    family = draw(st.sampled_from(sorted(KNOWN.families)))
    own = [code for code, one in KNOWN.codes.items() if one.family == family]
    some = draw(st.lists(st.sampled_from(sorted(KNOWN.codes)), max_size=3, unique=True))
    together = draw(st.lists(st.sampled_from(own), max_size=3, unique=True)) if own else []
    codes = [
        StoredCode(code, draw(st.sampled_from(sorted(KNOWN.statuses))), draw(st.sampled_from([None, 1, 2])))
        for code in dict.fromkeys([*some, *together])
    ]
    noted = [
        Noted(kind, name, draw(st.booleans()))
        for kind in ("symptom", "look", "history", "condition")
        for name in draw(st.lists(st.sampled_from(sorted(entries_of(kind, KNOWN))), max_size=3, unique=True))  # type: ignore[arg-type]
    ]
    steps = sorted(name for name, step in KNOWN.steps.items() if step.tells)
    outcomes = [
        Outcome(step, draw(st.booleans())) for step in draw(st.lists(st.sampled_from(steps), max_size=2, unique=True))
    ]
    complete = draw(st.lists(st.sampled_from(NARROW), max_size=3, unique=True))
    ready = Readiness(dict.fromkeys([*complete, *ready_of], True), codes_read=bool(ready_of) or draw(st.booleans()))
    frames = tuple(FreezeFrame(one.id, {}) for one in codes[:1]) if draw(st.booleans()) else ()
    return Facts(tuple(codes), tuple(noted), tuple(outcomes), frames, ready)


def chance(leak: float, given: Mapping[str, float], which: Sequence[Mapping[str, float]]) -> np.ndarray:
    """P(there) for every set of causes, each with the share of it that is noticed, by the equations of the page."""
    out = []
    for causes in which:
        comes, gets_past = 1.0 - leak, 1.0
        for cause, noticed in causes.items():
            p = leak + (given.get(cause, leak) - leak) * noticed
            if p > leak:
                comes *= (1.0 - p) / (1.0 - leak)
            else:
                gets_past *= p / leak
        out.append((1.0 - comes) * gets_past)
    return np.array(out)


def outside(hypotheses: Hypotheses, said: Facts, shown: Mapping[str, float], *, pairs: bool) -> dict[object, float]:
    """Posterior of single hypotheses (cause, size), and of pairs of causes where each has one size."""
    net, evidence, keys = network_of(hypotheses, said, shown, pairs=pairs)
    return dict(zip(keys, asked(net, evidence, "which").tolist(), strict=True))


def network_of(hypotheses: Hypotheses, said: Facts, shown: Mapping[str, float], *, pairs: bool):  # type: ignore[no-untyped-def]
    """The outside network, what is observed in it, and whose the states of its node "which" are."""
    keys: list[object] = []
    which: list[dict[str, float]] = []
    prior: list[float] = []
    for cause, sizes in hypotheses.sizes.items():
        size = KNOWN.causes[cause].size
        for k, value in enumerate(sizes):
            noticed = 1.0
            if size is not None and sizes.size > 1:
                between = np.log(abs(value) / size.low) / np.log(size.typical / size.low)
                noticed = min(LEAST_SHARE + (1.0 - LEAST_SHARE) * max(between, 0.0), 1.0)
            keys.append((cause, k))
            which.append({} if cause == NONE else {cause: noticed})
            prior.append(float(np.exp(hypotheses.log_prior[cause][k])))
    if pairs:
        weight = {cause: float(np.exp(rows[0])) for cause, rows in hypotheses.log_prior.items()}
        for a, b in plausible_pairs(list(hypotheses.sizes)):
            keys.append((a, b))
            which.append({a: 1.0, b: 1.0})
            prior.append(2.0 * TWO_SHARE * weight[a] * weight[b])
    chances, family, evidence, reports = _tables(said, shown, which)
    shared = {
        one: (KNOWN.families[one].alike if one in KNOWN.families else 0.0, [n for n in chances if family[n] == one])
        for one in dict.fromkeys(family.values())
    }
    return told_network(np.array(prior), chances, shared, reports), evidence, keys


def _tables(said: Facts, shown: Mapping[str, float], which: Sequence[Mapping[str, float]]):  # type: ignore[no-untyped-def]
    """Chances, families, evidence and reports of none, from the entries and docs/evidence.md."""
    chances: dict[str, np.ndarray] = {}
    family: dict[str, str] = {}
    evidence: dict[str, int] = {}
    reports: dict[str, tuple[float, list[str]]] = {}
    ordered = [one for one in said.codes if one.order is not None]
    earliest = [one for one in ordered if one.order == min(other.order or 0 for other in ordered)]
    first = earliest[0].id if len(earliest) == 1 else None
    framed = {frame.code for frame in said.frames}
    if not ordered and len(framed) == 1 and not KNOWN.families[KNOWN.codes[next(iter(framed))].family].displaces:
        first = next(iter(framed))
    for one in said.codes:
        code, status = KNOWN.codes[one.id], KNOWN.statuses[one.status]
        own = KNOWN.families[code.family]
        strength = {
            cause: max((p - code.by_chance) / (1.0 - code.by_chance), 0.0) for cause, p in code.sets.items()
        }  # that the cause brings it; a status may weaken it
        odds = status.chance_odds * code.by_chance / (1.0 - code.by_chance)
        follows = own.in_the_wake if first not in (None, one.id) and KNOWN.codes[first].family != code.family else 0.0
        rows = []
        for causes in which:
            comes, past = (1.0 - odds / (1.0 + odds)) * (1.0 - follows), 1.0
            for cause, noticed in causes.items():
                p = code.by_chance + (code.sets.get(cause, code.by_chance) - code.by_chance) * noticed
                if p > code.by_chance:
                    comes *= 1.0 - strength[cause] * noticed * status.weakens.get(cause, 1.0)
                else:
                    past *= p / code.by_chance
            rows.append((1.0 - comes) * past)
        p = np.array(rows)
        if one.id in shown:
            p = own.frame_shows * SHOWN_IS_STORED * shown[one.id] + (1.0 - own.frame_shows) * p
        chances[one.id], family[one.id], evidence[one.id] = p, code.family, YES
    for noted in said.noted:
        entry = entries_of(noted.kind, KNOWN)[noted.id]
        if _covered(noted, said):
            continue
        name = f"{noted.kind} {noted.id}"
        chances[name] = chance(entry.by_chance, entry.sets, which)
        family[name], evidence[name] = entry.family or name, YES if noted.found else NO
    for outcome in said.outcomes:
        if any(KNOWN.looks[look].step == outcome.step for look in said.of("look")):
            continue
        step = KNOWN.steps[outcome.step]
        details = [KNOWN.looks[look] for look in said.of("look", found=False) if KNOWN.looks[look].step == step.id]
        shares = [look.family for look in details if look.family] if outcome.found else []
        assert step.otherwise is not None
        whole = [dict.fromkeys(causes, 1.0) or {NONE: 1.0} for causes in which]
        chances[f"step {step.id}"] = chance(step.otherwise, step.tells, whole)
        family[f"step {step.id}"] = shares[0] if shares else f"step {step.id}"
        evidence[f"step {step.id}"] = YES if outcome.found else NO
    if said.readiness is not None and said.readiness.codes_read:
        for one in KNOWN.families.values():
            if one.monitor is None or not said.readiness.complete.get(one.monitor, False):
                continue
            missing = [
                code
                for code in KNOWN.codes.values()
                if code.family == one.id and code.id not in {c.id for c in said.codes}
            ]
            for code in missing:
                chances[f"not {code.id}"] = chance(code.by_chance, code.sets, which)
                family[f"not {code.id}"] = one.id
            if missing:
                reports[f"no code {one.id}"] = (
                    KNOWN.monitors[one.monitor].looked,
                    [f"not {code.id}" for code in missing],
                )
                evidence[f"no code {one.id}"] = YES
    return chances, family, evidence, reports


def _covered(noted: Noted, said: Facts) -> bool:
    """A look not found, where its whole step found nothing."""
    if noted.kind != "look" or noted.found:
        return False
    return any(step.step == KNOWN.looks[noted.id].step and not step.found for step in said.outcomes)


def hypotheses(profile, *, sizes: bool) -> Hypotheses:  # type: ignore[no-untyped-def]
    made = hypotheses_for(KNOWN, profile, frozenset({"manifold_pressure"}), healthy_share=0.2)
    if sizes:
        return made
    typical = {c: np.array([cause.size.typical if cause.size else 0.0]) for c, cause in made.causes.items()}
    return Hypotheses(
        made.causes, typical, {c: np.atleast_1d(np.logaddexp.reduce(r)) for c, r in made.log_prior.items()}
    )


@given(facts(), st.floats(0.0, 1.0), st.sampled_from([TURBO, NATURAL]))
@settings(max_examples=25, deadline=None)
def test_the_catalogue_with_random_evidence_and_pairs(said: Facts, odd: float, profile) -> None:  # type: ignore[no-untyped-def]
    _equal_with_pairs(said, odd, profile)


@given(facts((WIDE,)), st.floats(0.0, 1.0))
@settings(max_examples=2, deadline=None)
def test_the_same_where_many_codes_were_looked_for(said: Facts, odd: float) -> None:
    _equal_with_pairs(said, odd, TURBO)


def _equal_with_pairs(said: Facts, odd: float, profile) -> None:  # type: ignore[no-untyped-def]
    own = hypotheses(profile, sizes=False)
    shown = {frame.code: odd for frame in said.frames}
    found = posterior_with_pairs(own.log_prior, told_of(said, KNOWN, own.sizes, shown))
    wanted = outside(own, said, shown, pairs=True)
    assert len(found) == len(wanted)
    for key, p in wanted.items():
        assert isinstance(key, tuple)
        ours = found[(key[0],)] if isinstance(key[1], int) else found[key]
        assert ours == pytest.approx(p, abs=1e-9)


@given(facts())
@settings(max_examples=4, deadline=None)
def test_the_catalogue_with_every_size(said: Facts) -> None:
    from airproof.diagnosis.bayes import posterior_of
    from airproof.diagnosis.network import Layout, as_testimonies

    own = hypotheses(TURBO, sizes=True)
    told = told_of(said, KNOWN, own.sizes)
    found = posterior_of(own.log_prior, as_testimonies(told, Layout.of(own.sizes)))
    wanted = outside(own, said, {}, pairs=False)
    for cause, sizes in own.sizes.items():
        rows = np.array([wanted[(cause, k)] for k in range(sizes.size)])
        assert found.probability[cause] == pytest.approx(rows.sum(), abs=1e-9)
        np.testing.assert_allclose(found.sizes[cause] * found.probability[cause], rows, atol=1e-9)
