r"""What no plan can stay below: a sound lower bound on the expected cost of the whole job.

Knowing what is wrong, one repairs just that: the sum over faults of weight times cost, known. Real plans pay for not
knowing, too. With u the square roots of the weights w of the faults, the form

    L(w) = u' A u - (sum over forerunners t done: d_t) (sum of w) + sum over repairs r done, faults h: g_rh w_h

stays below the cost V(w) of the best plan if no step ever lowers it by more than the step costs. A step that tells
turns u into two vectors, whose entries are multiplied by the roots of the chances of either outcome; so L falls by
u' (A o (1 - R)) u, R the Bhattacharyya coefficients of its outcomes under each two faults. A repair multiplies u by the
roots of the chances that it fails. That the fall is at most the cost, whatever the weights, is a linear matrix
inequality in A, d and g for each step; so is L <= cost of handing the car over. The greatest L at today's belief is a
semidefinite programme. Its solution is scaled until every inequality holds to the last digit, so that the bound is
sound however exactly the programme was solved.

d credits what a repair needs done first, g what a failed repair leaves behind; tests may be repeated in L, which makes
it a little lower than it need be. A set-up is charged in equal parts to the steps it can serve while it stands.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from airproof.repair.choices import Choices, Flags, Floats
from airproof.repair.places import Place

IN_EARNEST = 20
"""So many of the most probable faults are held against each other; of the others the cost, known, counts. judged:
Airproof authors: with 16 it takes half of the time and the bound is up to 4 % lower; all 24 take a second for 1 % more.
"""

CURES_AT_MOST = 8
"""With more repairs for one fault its cost, known, is taken as that of the cheapest one; judged: Airproof authors."""

EXACT_ENOUGH = 1e-3
"""Of the solver: the bound is made sound afterwards, at the price of that share of it."""

FREE = 1e-9
"""Steps of less cost are free: a form that they lower at all is of no use."""


def lowest(choices: Choices, place: Place) -> float:
    """A cost that no plan from here can stay below, weighted as the belief of `place` is."""
    cost = _least_costs(choices, place.done)
    known = _known_costs(choices, place.done, cost)
    form = _best_form(choices, place, cost, known)
    least = float(known @ place.belief)
    if form is not None:
        least = max(least, form.at(place.belief), _looking_ahead(choices, place, form))
    # What stands already was paid for before.
    standing = float(place.standing @ choices.setting_up @ choices.worth)
    return least - standing * place.weight


@dataclass(frozen=True)
class _Form:
    """A feasible L: `matrix` (k, k) over the faults `among` (k,); `known` (n,) counts for the other faults.

    `cost` (S,): the least that each step can cost; `credit` (S,): d; `left_behind` (S, k): g.
    """

    choices: Choices
    cost: Floats
    among: NDArray[np.intp]
    matrix: Floats
    known: Floats
    credit: Floats
    left_behind: Floats

    def at(self, belief: Floats, step: int | None = None) -> float:
        """L at a belief (n,), after one more step."""
        u = np.sqrt(belief[self.among])
        value = float(u @ self.matrix @ u)
        spared = 0.0
        if step is not None:
            value += float(self.left_behind[step] @ belief[self.among])
            value -= float(self.credit[step]) * float(belief[self.among].sum())
            if self.choices.before[:, step].any():
                spared = float(self.cost[step])
        # What is done already is spared in what each of the other faults costs, known.
        others = np.delete(belief * np.maximum(self.known - spared, 0.0), self.among)
        return value + float(others.sum())


def _looking_ahead(choices: Choices, place: Place, form: _Form) -> float:
    """The bound one step on: the cheapest first step, with L after each of its outcomes."""
    ready = ~place.done & ~(choices.before & ~place.done).any(axis=1)
    least = place.weight * float(form.cost[choices.ending])
    for step in np.flatnonzero(ready):
        if step == choices.ending:
            continue
        if choices.steps[step].tells:
            positive = place.belief * choices.positive[step]
            children = [positive, place.belief - positive]
        else:
            children = [choices.not_cured(place.belief[None, :], np.array([step]))[0]]
        after = sum(form.at(child, int(step)) for child in children)
        least = min(least, place.weight * float(form.cost[step]) + after)
    return least


def _least_costs(choices: Choices, done: Flags) -> Floats:
    """The least that each step (S,) can cost: while a set-up stands, each test it serves can be made once, and one step
    in which the engine runs.
    """
    asks = choices.set_up & ~done[:, None]
    served = (asks & ~choices.clears).sum(axis=0) + (asks & choices.clears).any(axis=0)
    part = choices.setting_up @ choices.worth / np.maximum(served, 1)
    return np.asarray(choices.uses @ choices.worth + choices.set_up @ part)


def _known_costs(choices: Choices, done: Flags, cost: Floats) -> Floats:
    """The least cost (n,) of each fault if one knew it."""
    end = float(cost[choices.ending])
    singles = len(choices.faults) - choices.left.shape[1]
    known = np.empty(len(choices.faults))
    for fault in range(singles):
        failing = choices.stays[:, fault]
        repairs = [r for r in range(len(choices.steps)) if failing[r] < 1.0 and not done[r]]
        known[fault] = (
            min([end, *(float(cost[r]) for r in repairs)])
            if len(repairs) > CURES_AT_MOST
            else _cheapest_order(choices, repairs, failing, done, cost)
        )
    # Two causes at once cost at least what either does.
    for which in range(choices.left.shape[1]):
        known[singles + which] = max(known[choices.left[0, which]], known[choices.left[1, which]])
    return known


def _cheapest_order(choices: Choices, repairs: list[int], failing: Floats, done: Flags, cost: Floats) -> float:
    """The cheapest order of repairs of one fault, over all subsets."""

    @cache
    def value(tried: frozenset[int]) -> float:
        have = done.copy()
        for r in tried:
            have |= choices.before[r]
        least = float(cost[choices.ending])
        for r in repairs:
            if r not in tried:
                now = float(cost[r] + cost[choices.before[r] & ~have].sum())
                least = min(least, now + failing[r] * value(tried | {r}))
        return least

    return value(frozenset())


def _best_form(choices: Choices, place: Place, cost: Floats, known: Floats) -> _Form | None:
    """The form that is greatest at the belief of `place`; None where there is none worth having."""
    singles = len(choices.faults) - choices.left.shape[1]
    among = np.argsort(-place.belief[:singles], kind="stable")[:IN_EARNEST]
    programme = _Programme(choices, place.done, among, cost)
    found = programme.solve(np.sqrt(place.belief[among]))
    return None if found is None else _Form(choices, cost, among, found[0], known, *found[1:])


class _Programme:
    """The semidefinite programme over A (its upper triangle, by columns), g, and d."""

    def __init__(self, choices: Choices, done: Flags, among: NDArray[np.intp], cost: Floats) -> None:
        c, k = choices, among.size
        self._choices, self._size = choices, k
        self._cost = cost
        self._upper = [(i, j) for j in range(k) for i in range(j + 1)]
        self._tells = np.array([bool(step.tells) for step in c.steps], dtype=np.bool_)
        self._stays = np.where(self._tells[:, None], 1.0, c.stays[:, among])
        cures: Flags = np.any(self._stays < 1.0, axis=1)
        counts = (self._tells | cures) & ~done
        counts[c.ending] = False
        self._steps = [int(a) for a in np.flatnonzero(counts)]
        self._repairs = [r for r in self._steps if cures[r]]
        self._first = [t for t in self._steps if c.before[:, t].any()]
        n = len(self._upper)
        self._g = {
            (r, h): n + i
            for i, (r, h) in enumerate((r, h) for r in self._repairs for h in range(k) if self._stays[r, h] < 1.0)
        }
        n += len(self._g)
        self._d = {t: n + i for i, t in enumerate(self._first)}
        self._variables = n + len(self._d)
        root = np.sqrt(np.where(self._tells[:, None], c.positive[:, among], self._stays))
        other = np.sqrt(np.where(self._tells[:, None], 1.0 - c.positive[:, among], 0.0))
        self._alike = root[:, :, None] * root[:, None, :] + other[:, :, None] * other[:, None, :]

    def _fall(self, step: int) -> tuple[Floats, list[tuple[int, int, float]]]:
        """By how much a step lowers L: the factor on each entry of A, and (fault, variable, factor) on the diagonal."""
        factor = 1.0 - self._alike[step]
        factor[np.abs(factor) < 1e-12] = 0.0
        diagonal: list[tuple[int, int, float]] = []
        everyone = range(self._size)
        if step in self._d:
            diagonal += [(h, self._d[step], 1.0) for h in everyone]
        if not self._tells[step]:
            cured = 1.0 - self._stays[step]
            diagonal += [(h, v, -(1.0 - cured[h]) if r == step else cured[h]) for (r, h), v in self._g.items()]
            credited = [self._d[t] for t in self._first if self._choices.before[step, t]]
            diagonal += [(h, v, -cured[h]) for v in credited for h in everyone if cured[h] > 0.0]
        return factor, diagonal

    def solve(self, u: Floats) -> tuple[Floats, Floats, Floats] | None:
        """A (k, k), d (S,), g (S, k) of a sound L that is all but the greatest at u (k,); None if none was
        found.
        """
        import clarabel  # nothing but a plan needs the solver, and it takes its time to load
        from scipy.sparse import csc_matrix

        rows: list[int] = []
        columns: list[int] = []
        values: list[float] = []
        right: list[float] = []
        cones = []
        place = {ij: v for v, ij in enumerate(self._upper)}
        everything = (np.ones((self._size, self._size)), [(h, v, 1.0) for (_, h), v in self._g.items()])
        falls = [(*everything, float(self._cost[self._choices.ending]))]
        falls += [(*self._fall(step), float(self._cost[step])) for step in self._steps]
        for factor, diagonal, cost in falls:
            start = len(right)
            for v, (i, j) in enumerate(self._upper):
                if factor[i, j] != 0.0:
                    rows.append(start + v)
                    columns.append(v)
                    values.append(factor[i, j] * (1.0 if i == j else np.sqrt(2.0)))
                right.append(cost if i == j else 0.0)
            for h, v, f in diagonal:
                rows.append(start + place[h, h])
                columns.append(v)
                values.append(f)
            cones.append(clarabel.PSDTriangleConeT(self._size))
        first = len(self._upper)
        start = len(right)
        rest = self._variables - first
        rows += range(start, start + rest)
        columns += range(first, self._variables)
        values += [-1.0] * rest
        right += [0.0] * rest
        cones.append(clarabel.NonnegativeConeT(rest))
        aim = np.zeros(self._variables)
        aim[:first] = [-u[i] * u[j] * (1.0 if i == j else 2.0) for i, j in self._upper]
        settings = clarabel.DefaultSettings()
        settings.verbose = False
        settings.tol_gap_rel = settings.tol_gap_abs = settings.tol_feas = EXACT_ENOUGH
        matrix = csc_matrix((values, (rows, columns)), shape=(len(right), self._variables))
        nothing = csc_matrix((self._variables, self._variables))
        solver = clarabel.DefaultSolver(nothing, aim, matrix, np.array(right), cones, settings)
        return self._made_sound(np.asarray(solver.solve().x), falls)

    def _made_sound(
        self, x: Floats, falls: list[tuple[Floats, list[tuple[int, int, float]], float]]
    ) -> tuple[Floats, Floats, Floats] | None:
        """The solution, scaled so that every inequality holds; None where no scale does it."""
        if not np.isfinite(x).all():
            return None
        first = len(self._upper)
        x = np.concatenate([x[:first], np.maximum(x[first:], 0.0)])
        A = np.zeros((self._size, self._size))
        for v, (i, j) in enumerate(self._upper):
            A[i, j] = A[j, i] = x[v]
        fallen = np.array([factor * A for factor, _, _ in falls])
        for matrix, (_, diagonal, _) in zip(fallen, falls, strict=True):
            for h, v, f in diagonal:
                matrix[h, h] += f * x[v]
        greatest = np.linalg.eigvalsh(fallen)[:, -1]
        costs = np.array([cost for _, _, cost in falls])
        if (greatest[costs < FREE] > FREE).any():
            return None
        scale = max(1.0, float((greatest / np.maximum(costs, FREE)).max()) * (1.0 + FREE))
        credit, left_behind = np.zeros(len(self._choices.steps)), np.zeros((len(self._choices.steps), self._size))
        for t, v in self._d.items():
            credit[t] = x[v] / scale
        for (r, h), v in self._g.items():
            left_behind[r, h] = x[v] / scale
        return A / scale, credit, left_behind
