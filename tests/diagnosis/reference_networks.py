"""Bayesian networks of an outside library, pyAgrum, for checks of our own inference."""

from __future__ import annotations

import itertools
import warnings
from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its bindings warn when they are loaded; as an error that would end the process
    pyagrum = pytest.importorskip(
        "pyagrum",
        reason="pyagrum cannot be loaded; on Debian and Ubuntu it needs: apt install libgomp1",
        exc_type=ImportError,
    )

NO, YES = 0, 1


def naive_bayes(prior: Mapping[str, np.ndarray], chances: Mapping[str, Mapping[str, np.ndarray]]) -> pyagrum.BayesNet:
    """A network of a cause, its size given the cause, and witnesses that hang on both.

    `prior[c]` (S_c,) of cause and size together; `chances[w][c]` (S_c,) that the witness is there. Sizes that a cause
    does not have get probability 0.
    """
    causes, most = list(prior), max(rows.size for rows in prior.values())
    net = pyagrum.BayesNet()
    net.add(pyagrum.LabelizedVariable("cause", "", causes))
    net.add(pyagrum.RangeVariable("size", "", 0, most - 1))
    net.addArc("cause", "size")
    net.cpt("cause").fillWith([float(prior[c].sum()) for c in causes])
    for cause in causes:
        own = prior[cause] / prior[cause].sum()
        net.cpt("size")[{"cause": cause}] = np.pad(own, (0, most - own.size))
    for name, chance in chances.items():
        net.add(pyagrum.RangeVariable(name, "", NO, YES))
        net.addArc("cause", name)
        net.addArc("size", name)
        for cause in causes:
            padded = np.pad(chance[cause], (0, most - chance[cause].size), constant_values=0.5)
            for k, there in enumerate(padded):
                net.cpt(name)[{"cause": cause, "size": k}] = [1.0 - there, there]
    return net


def yes_no(tables: Mapping[str, tuple[Sequence[str], Mapping[tuple[int, ...], float]]]) -> pyagrum.BayesNet:
    """A network of yes-or-no nodes: each with its parents and P(yes) for every answer of theirs."""
    net = pyagrum.BayesNet()
    for name, (parents, chance) in tables.items():
        net.add(pyagrum.RangeVariable(name, "", NO, YES))
        for parent in parents:
            net.addArc(parent, name)
        for answers in itertools.product((NO, YES), repeat=len(parents)):
            there = chance[answers]
            if parents:
                net.cpt(name)[dict(zip(parents, answers, strict=True))] = [1.0 - there, there]
            else:
                net.cpt(name).fillWith([1.0 - there, there])
    return net


def spelt_out(
    prior: Mapping[tuple[int, ...], float], leaks: Sequence[float], given: Sequence[Sequence[float]]
) -> pyagrum.BayesNet:
    """Causes 0 to n-1, of which the sets in `prior` may act; observation k with its leak and P(there | one cause)."""
    sets = list(prior)
    net = pyagrum.BayesNet()
    net.add(pyagrum.RangeVariable("which", "", 0, len(sets) - 1))
    net.cpt("which").fillWith(list(prior.values()))
    causes = range(len(given[0]))
    for cause in causes:
        _yes_no(net, f"c{cause}", ["which"], lambda answers, cause=cause: float(cause in sets[answers[0]]), [len(sets)])
    for k, leak in enumerate(leaks):
        _yes_no(net, f"leak{k}", [], lambda _, leak=leak: leak, [])
        brought, kept = f"leak{k}", ""
        for cause in causes:
            chance = given[k][cause]
            if chance > leak:
                strength = (chance - leak) / (1.0 - leak)
                _yes_no(net, f"b{k}-{cause}", [f"c{cause}"], lambda a, s=strength: s * a[0], [2])
                _yes_no(net, f"some{k}-{cause}", [brought, f"b{k}-{cause}"], lambda a: float(any(a)), [2, 2])
                brought = f"some{k}-{cause}"
            elif chance < leak:
                strength = 1.0 - chance / leak
                _yes_no(net, f"k{k}-{cause}", [f"c{cause}"], lambda a, s=strength: s * a[0], [2])
                if kept:
                    _yes_no(net, f"any{k}-{cause}", [kept, f"k{k}-{cause}"], lambda a: float(any(a)), [2, 2])
                kept = f"any{k}-{cause}" if kept else f"k{k}-{cause}"
        parents = [brought, kept] if kept else [brought]
        _yes_no(net, f"x{k}", parents, lambda a: float(a[0] and not any(a[1:])), [2] * len(parents))
    return net


def _yes_no(
    net: pyagrum.BayesNet,
    name: str,
    parents: Sequence[str],
    chance: Callable[[tuple[int, ...]], float],
    states: Sequence[int],
) -> None:
    net.add(pyagrum.RangeVariable(name, "", NO, YES))
    for parent in parents:
        net.addArc(parent, name)
    for answers in itertools.product(*(range(count) for count in states)):
        there = chance(answers)
        if parents:
            net.cpt(name)[dict(zip(parents, answers, strict=True))] = [1.0 - there, there]
        else:
            net.cpt(name).fillWith([1.0 - there, there])


def told_network(
    prior: np.ndarray,
    chances: Mapping[str, np.ndarray],
    families: Mapping[str, tuple[float, Sequence[str]]],
    looked: Mapping[str, tuple[float, Sequence[str]]] | None = None,
) -> pyagrum.BayesNet:
    """A network of a hypothesis, witnesses that hang on it, and hidden parents of those that share a look.

    `prior` (H,); `chances[w]` (H,) that the witness is there; `families[f]` the share in which one number decides on
    all its witnesses, and who they are. Of a family with a share there are two hidden nodes: whether one number
    decides, and in which of the stretches between the witnesses' chances that number lies. `looked[r]`: a report, named
    r, that none of these witnesses is there, which is also made where nobody looked, with the probability of having
    looked.
    """
    net = pyagrum.BayesNet()
    net.add(pyagrum.RangeVariable("which", "", 0, prior.size - 1))
    net.cpt("which").fillWith((prior / prior.sum()).tolist())
    for family, (alike, names) in families.items():
        if len(names) > 1 and alike > 0.0:
            _family(net, family, alike, [chances[name] for name in names], names)
            continue
        for name in names:
            net.add(pyagrum.RangeVariable(name, "", NO, YES))
            net.addArc("which", name)
            net.cpt(name)[:] = np.stack([1.0 - chances[name], chances[name]], axis=-1)
    for report, (probability, names) in (looked or {}).items():
        _report(net, report, probability, names)
    return net


def _family(
    net: pyagrum.BayesNet, family: str, alike: float, chances: Sequence[np.ndarray], names: Sequence[str]
) -> None:
    one_decides, number = f"{family}: one number decides", f"{family}: the number"
    ordered = np.sort(np.stack(chances, axis=-1), axis=-1)  # (H, n)
    edges = np.pad(ordered, ((0, 0), (1, 1)), constant_values=(0.0, 1.0))
    net.add(pyagrum.RangeVariable(one_decides, "", NO, YES))
    net.cpt(one_decides).fillWith([1.0 - alike, alike])
    net.add(pyagrum.RangeVariable(number, "", 0, len(names)))
    net.addArc("which", number)
    net.cpt(number)[:] = np.diff(edges, axis=-1)
    stretch = np.arange(len(names) + 1)
    for name, chance in zip(names, chances, strict=True):
        net.add(pyagrum.RangeVariable(name, "", NO, YES))
        for parent in ("which", number, one_decides):
            net.addArc(parent, name)
        # Below its chance it is there: in the stretches up to the one that ends at its chance.
        ends = np.argmax(ordered == chance[:, None], axis=-1)
        decided = (stretch[:, None] <= ends[None, :]).astype(float)
        by_itself = np.broadcast_to(chance, decided.shape)
        there = np.stack([by_itself, decided])  # (one decides, stretch, hypothesis)
        net.cpt(name)[:] = np.stack([1.0 - there, there], axis=-1)


def _report(net: pyagrum.BayesNet, report: str, probability: float, names: Sequence[str]) -> None:
    before = None
    for name in names:
        some = f"{report}: some up to {name}"
        net.add(pyagrum.RangeVariable(some, "", NO, YES))
        parents = [name] if before is None else [name, before]
        for parent in parents:
            net.addArc(parent, some)
        for answers in itertools.product((NO, YES), repeat=len(parents)):
            there = float(any(answers))
            net.cpt(some)[dict(zip(parents, answers, strict=True))] = [1.0 - there, there]
        before = some
    assert before is not None
    net.add(pyagrum.RangeVariable(f"{report}: looked", "", NO, YES))
    net.cpt(f"{report}: looked").fillWith([1.0 - probability, probability])
    net.add(pyagrum.RangeVariable(report, "", NO, YES))
    net.addArc(before, report)
    net.addArc(f"{report}: looked", report)
    for some, looked in itertools.product((NO, YES), repeat=2):
        none = 0.0 if looked and some else 1.0
        net.cpt(report)[{before: some, f"{report}: looked": looked}] = [1.0 - none, none]


MOST_GB = 1
"""What a junction tree may take. The library finds no narrow tree for some networks that have one: unasked, it would
then fill any memory there is."""


def asked(net: pyagrum.BayesNet, evidence: Mapping[str, int], *targets: str) -> np.ndarray:
    """Posterior of one node, (states,), or of two together, (states of the first, of the second)."""
    engine = pyagrum.LazyPropagation(net)
    engine.setMaxMemory(MOST_GB)
    if len(targets) == 1:
        engine.setEvidence(dict(evidence))
        try:
            engine.makeInference()
        except Exception as fault:  # it has no narrower one for this
            if "bad_alloc" not in str(fault):
                raise
            return _state_by_state(net, evidence, targets[0])
        return np.asarray(engine.posterior(targets[0]).toarray())
    engine.addJointTarget(set(targets))
    engine.setEvidence(dict(evidence))
    engine.makeInference()
    found = engine.jointPosterior(set(targets))
    table = np.asarray(found.toarray())
    # the library's arrays run over the variables from the last to the first
    order = [variable.name() for variable in found.variablesSequence()][::-1]
    return np.asarray(np.transpose(table, [order.index(name) for name in targets]))


def _state_by_state(net: pyagrum.BayesNet, evidence: Mapping[str, int], target: str) -> np.ndarray:
    """The same from P(evidence and state) for each state: slower, and of trees that are narrow whatever is found."""
    engine = pyagrum.LazyPropagation(net)
    engine.setMaxMemory(MOST_GB)
    engine.setEvidence({**evidence, target: 0})
    together = []
    for state in range(net.variable(target).domainSize()):
        engine.chgEvidence(target, state)
        engine.makeInference()
        together.append(engine.evidenceProbability())
    return np.array(together) / np.sum(together)
