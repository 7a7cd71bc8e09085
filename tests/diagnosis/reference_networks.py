"""Bayesian networks of an outside library, pyAgrum, for checks of our own inference."""

from __future__ import annotations

import itertools
import warnings
from collections.abc import Mapping, Sequence

import numpy as np

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its bindings warn when they are loaded; as an error that would end the process
    import pyagrum

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


def asked(net: pyagrum.BayesNet, evidence: Mapping[str, int], *targets: str) -> np.ndarray:
    """Posterior of one node, (states,), or of two together, (states of the first, of the second)."""
    engine = pyagrum.LazyPropagation(net)
    if len(targets) == 1:
        engine.setEvidence(dict(evidence))
        engine.makeInference()
        return np.asarray(engine.posterior(targets[0]).toarray())
    engine.addJointTarget(set(targets))
    engine.setEvidence(dict(evidence))
    engine.makeInference()
    found = engine.jointPosterior(set(targets))
    table = np.asarray(found.toarray())
    # the library's arrays run over the variables from the last to the first
    order = [variable.name() for variable in found.variablesSequence()][::-1]
    return np.asarray(np.transpose(table, [order.index(name) for name in targets]))
