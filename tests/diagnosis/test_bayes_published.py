"""Published worked examples of inference, by our own rule of Bayes and beside an outside library (pyAgrum).

Our rule knows causes and their sizes, and testimonies that multiply; it knows no network. So a network is put to it as
follows: the two answers to the question are the "causes", every state of all else that nobody has seen is a "size" of
each, and everything seen is a testimony, given its parents. That is exact, and it works what a verdict works: the sum
over sizes, the product over testimonies, the weights of evidence.

Numbers are those of CHECK_VALUES section 8; tolerances follow their printed digits. The weights of evidence and the
double-headed penny of that section are in test_bayes.py.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
import pytest
from reference_networks import NO, YES, asked, pyagrum, yes_no

from airproof.diagnosis.bayes import Posterior, posterior_of, weigh_testimonies
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.testimony import Testimony as Told  # under its own name it would be collected as a test

Tables = Mapping[str, tuple[Sequence[str], Mapping[tuple[int, ...], float]]]

# Lauritzen & Spiegelhalter 1988, "Local computations with probabilities on graphical structures", as printed again in
# the examples of BUGS (volume 2) and read there.
ASIA: Tables = {
    "asia": ((), {(): 0.01}),
    "smoking": ((), {(): 0.5}),
    "tuberculosis": (("asia",), {(NO,): 0.01, (YES,): 0.05}),
    "lung cancer": (("smoking",), {(NO,): 0.01, (YES,): 0.10}),
    "bronchitis": (("smoking",), {(NO,): 0.30, (YES,): 0.60}),
    "either": (
        ("tuberculosis", "lung cancer"),
        {(NO, NO): 0.0, (NO, YES): 1.0, (YES, NO): 1.0, (YES, YES): 1.0},
    ),
    "x-ray": (("either",), {(NO,): 0.05, (YES,): 0.98}),
    "dyspnoea": (("either", "bronchitis"), {(NO, NO): 0.1, (NO, YES): 0.8, (YES, NO): 0.7, (YES, YES): 0.9}),
}
LETTERS = {
    "A": "asia",
    "S": "smoking",
    "T": "tuberculosis",
    "L": "lung cancer",
    "B": "bronchitis",
    "E": "either",
    "X": "x-ray",
    "D": "dyspnoea",
}

# Russell & Norvig, "Artificial Intelligence: A Modern Approach"; tables from memory of that book, partly read again;
# the results computed from them.
BURGLARY: Tables = {
    "burglary": ((), {(): 0.001}),
    "earthquake": ((), {(): 0.002}),
    "alarm": (
        ("burglary", "earthquake"),
        {(NO, NO): 0.001, (NO, YES): 0.29, (YES, NO): 0.94, (YES, YES): 0.95},
    ),
    "john": (("alarm",), {(NO,): 0.05, (YES,): 0.90}),
    "mary": (("alarm",), {(NO,): 0.01, (YES,): 0.70}),
}


def chance(tables: Tables, name: str, state: Mapping[str, int]) -> float:
    """P(the node's state) given its parents' in the same state of everything."""
    parents, yes = tables[name]
    there = yes[tuple(state[parent] for parent in parents)]
    return there if state[name] == YES else 1.0 - there


def put(tables: Tables, question: str, seen: Mapping[str, int]) -> tuple[dict[str, np.ndarray], list[Told]]:
    """The question as our rule of Bayes takes it: prior over causes and sizes, and a testimony for each thing seen."""
    hidden = [name for name in tables if name != question and name not in seen]
    states = {
        answer: [
            {question: code, **seen, **dict(zip(hidden, rest, strict=True))}
            for rest in itertools.product((NO, YES), repeat=len(hidden))
        ]
        for answer, code in (("yes", YES), ("no", NO))
    }
    with np.errstate(divide="ignore"):  # a state that cannot be
        prior = {
            answer: np.log([np.prod([chance(tables, name, s) for name in (question, *hidden)]) for s in all_of])
            for answer, all_of in states.items()
        }
        told = [
            Told(
                Finding(name, 1.0, 0.0, "", (0.0, 0.0), (), "so."),
                {answer: np.log([chance(tables, name, s) for s in all_of]) for answer, all_of in states.items()},
            )
            for name in seen
        ]
    return prior, told


def ours(tables: Tables, question: str, seen: Mapping[str, int]) -> float:
    return posterior_of(*put(tables, question, seen)).probability["yes"]


def weighed(tables: Tables, question: str, seen: Mapping[str, int]) -> Posterior:
    return weigh_testimonies(*put(tables, question, seen))


ASIA_NET, BURGLARY_NET = yes_no(ASIA), yes_no(BURGLARY)

# what is seen (small letter: it is not so), what is asked, the number
ASIA_ROWS: list[tuple[str, dict[str, float]]] = [
    ("", {"T": 0.0104, "L": 0.055, "B": 0.45, "E": 0.064828, "X": 0.110290, "D": 0.435971}),
    ("D", {"A": 0.010325, "S": 0.633997, "T": 0.018845, "L": 0.102759, "B": 0.833967, "X": 0.162098}),
    ("AD", {"S": 0.625920, "T": 0.087751, "L": 0.099525, "B": 0.811402, "E": 0.182300, "X": 0.219539}),
    ("ADX", {"S": 0.702025, "T": 0.391712, "L": 0.444271, "B": 0.628822}),
    ("ADx", {"T": 0.002249, "L": 0.002550, "B": 0.862761}),
]
ASIA_CASES = [(seen, letter, wanted) for seen, row in ASIA_ROWS for letter, wanted in row.items()]


def seen_in(letters: str) -> dict[str, int]:
    return {LETTERS[letter.upper()]: YES if letter.isupper() else NO for letter in letters}


@pytest.mark.parametrize(("letters", "letter", "wanted"), ASIA_CASES)
def test_asia(letters: str, letter: str, wanted: float) -> None:
    found = ours(ASIA, LETTERS[letter], seen_in(letters))
    assert found == pytest.approx(wanted, abs=1e-6)  # computed figures, six digits
    outside = asked(ASIA_NET, seen_in(letters), LETTERS[letter])[YES]
    assert found == pytest.approx(outside, abs=1e-9)


def test_asia_explains_away() -> None:
    """A dark x-ray speaks for both diseases; one of them found, the other is hardly likelier than before."""
    cancer = "lung cancer"
    dark = {"dyspnoea": YES, "x-ray": YES}
    before, with_x_ray = ours(ASIA, cancer, {}), ours(ASIA, cancer, dark)
    settled = ours(ASIA, cancer, {**dark, "tuberculosis": YES})
    assert with_x_ray > 5 * before
    assert settled < 0.25 * with_x_ray
    assert settled == pytest.approx(asked(ASIA_NET, {**dark, "tuberculosis": YES}, cancer)[YES], abs=1e-9)


@pytest.mark.parametrize("letter", ["T", "L", "B", "S"])
def test_asia_in_decibans(letter: str) -> None:
    """Prior odds and weights of dyspnoea and x-ray add up to the published posterior odds, to the digits printed."""
    wanted = dict(ASIA_ROWS)["ADX"][letter]
    posterior = weighed(ASIA, LETTERS[letter], seen_in("ADX"))
    total = posterior.before["yes"] + sum(weights["yes"] for weights in posterior.weights)
    # six digits of p are 4.3 x 1e-6 / (p (1 - p)) decibans: 2e-5 at most here
    assert total == pytest.approx(10.0 * np.log10(wanted / (1.0 - wanted)), abs=2e-5)
    assert all(weights["no"] == pytest.approx(-weights["yes"], abs=1e-9) for weights in posterior.weights)


@pytest.mark.parametrize(("question", "wanted"), [("burglary", 0.284172), ("alarm", 0.760692)])
def test_burglary_when_both_neighbours_call(question: str, wanted: float) -> None:
    calls = {"john": YES, "mary": YES}
    found = ours(BURGLARY, question, calls)
    assert found == pytest.approx(wanted, abs=1e-6)
    assert found == pytest.approx(asked(BURGLARY_NET, calls, question)[YES], abs=1e-9)


def test_the_used_car_and_its_test() -> None:
    """Exercise 16.22 of the same book, after Pearl 1988: inputs read, results computed from them.

    Only what the test says of the car; what the test is worth is a matter of the plan, not of Bayes' rule.
    """
    car: Tables = {"good": ((), {(): 0.7}), "pass": (("good",), {(NO,): 0.35, (YES,): 0.80})}
    assert ours(car, "pass", {}) == pytest.approx(0.665, abs=5e-7)
    assert ours(car, "good", {"pass": YES}) == pytest.approx(0.842105, abs=1e-6)
    assert ours(car, "good", {"pass": NO}) == pytest.approx(0.417910, abs=1e-6)


class TestNoisyOr:
    """Fever from a cold, flu or malaria: each, where present, is kept from causing it with its own probability.

    Read at sambuz.com 763250 and recomputed. Our verdict has no noisy-OR, since it weighs one cause at a time. What it
    shares with one is that the probabilities of independent things multiply: three witnesses, each q times as
    probable if nothing comes of it, leave odds of the product. The network itself is asked beside it.
    """

    INHIBITED = {"cold": 0.6, "flu": 0.2, "malaria": 0.1}

    # which are present, P(fever)
    PRINTED = [
        ((), 0.0),
        (("malaria",), 0.9),
        (("flu",), 0.8),
        (("flu", "malaria"), 0.98),
        (("cold",), 0.4),
        (("cold", "malaria"), 0.94),
        (("cold", "flu"), 0.88),
        (("cold", "flu", "malaria"), 0.988),
    ]

    def network(self, priors: Mapping[str, float], leak: float = 0.0) -> pyagrum.BayesNet:
        """By the library's own noisy-OR node, not by a table of ours."""
        net = pyagrum.BayesNet()
        for name in self.INHIBITED:
            net.add(pyagrum.RangeVariable(name, "", NO, YES))
            net.cpt(name).fillWith([1.0 - priors[name], priors[name]])
        net.addNoisyORNet(pyagrum.RangeVariable("fever", "", NO, YES), leak)
        for name, inhibited in self.INHIBITED.items():
            net.addWeightedArc(name, "fever", 1.0 - inhibited)
        return net

    def tables(self, priors: Mapping[str, float], leak: float = 0.0) -> Tables:
        names = tuple(self.INHIBITED)
        inhibited = list(self.INHIBITED.values())
        fever = {
            present: 1.0 - (1.0 - leak) * float(np.prod(np.power(inhibited, present)))
            for present in itertools.product((NO, YES), repeat=3)
        }
        return {**{name: ((), {(): priors[name]}) for name in names}, "fever": (names, fever)}

    def kept_away(self, present: Sequence[str], leak: float) -> float:
        """P(no fever) as the odds that our rule leaves between "nothing comes of it" and a plain even chance."""
        factors = [self.INHIBITED[name] for name in present] + [1.0 - leak]
        told = [
            Told(Finding(f"f{k}", 1.0, 0.0, "", (0.0, 0.0), (), "so."), {"a": np.log([q]), "b": np.zeros(1)})
            for k, q in enumerate(factors)
        ]
        found = posterior_of({"a": np.log([0.5]), "b": np.log([0.5])}, told).probability
        return found["a"] / found["b"]

    @pytest.mark.parametrize(("present", "wanted"), PRINTED)
    def test_the_printed_table(self, present: tuple[str, ...], wanted: float) -> None:
        assert 1.0 - self.kept_away(present, 0.0) == pytest.approx(wanted, abs=1e-9)
        states = {name: YES if name in present else NO for name in self.INHIBITED}
        net = self.network(dict.fromkeys(self.INHIBITED, 0.5))
        assert asked(net, states, "fever")[YES] == pytest.approx(wanted, abs=1e-9)

    def test_with_a_leak(self) -> None:
        # computed: 1 - 0.95 x 0.6 x 0.2 = 0.886
        assert 1.0 - self.kept_away(("cold", "flu"), 0.05) == pytest.approx(0.886, abs=1e-9)
        net = self.network(dict.fromkeys(self.INHIBITED, 0.5), 0.05)
        assert asked(net, {"cold": YES, "flu": YES, "malaria": NO}, "fever")[YES] == pytest.approx(0.886, abs=1e-9)

    @pytest.mark.parametrize("question", ["cold", "flu", "malaria"])
    @pytest.mark.parametrize("fever", [NO, YES])
    def test_what_a_fever_says_of_its_causes(self, question: str, fever: int) -> None:
        """Priors made up for this test: nothing is printed, the library's noisy-OR is the witness."""
        priors = {"cold": 0.3, "flu": 0.1, "malaria": 0.002}
        found = ours(self.tables(priors, 0.01), question, {"fever": fever})
        outside = asked(self.network(priors, 0.01), {"fever": fever}, question)[YES]
        assert found == pytest.approx(outside, abs=1e-9)
