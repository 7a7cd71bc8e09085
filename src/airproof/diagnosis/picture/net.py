"""A small net: hears what many summaries say together in small voices, each by how far it lies off a healthy car.

A tree asks one summary at a time, and hardly sees two that go together in every healthy car and part a little with a
fault. The net weighs them all at once: two layers of smooth switches and a straight way past them. What it says is
credited to the summaries by walking from what rehearsals show in the mean to this recording, along a straight line: on
every step each summary gets what its own change adds (the integrated gradient), so that the credits add up.
Source: Sundararajan, Taly and Yan, Axiomatic Attribution for Deep Networks, ICML 2017, eq. 1 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.picture.healthy import Healthy, voices

Floats = NDArray[np.float64]

STEPS = 24  # points of the walk (Gauss and Legendre): credits are then right to a thousandth of a neper
_AT, _WEIGHT = np.polynomial.legendre.leggauss(STEPS)
WALK_AT, WALK_WEIGHT = (_AT + 1.0) / 2.0, _WEIGHT / 2.0


@dataclass(frozen=True)
class Net:
    """Layers for D = 2 S + K inputs (voices, what is unknown, what is known of the car), H and L switches, C causes:
    `first` (D, H), `second` (H, L), `last` (L, C), `past` (D, C) and their constants. `begin` (2 S,): the inputs of
    rehearsals in the mean, where the walk begins; `mean` (S, C): a summary's credit in the mean of all rehearsals,
    beyond which it is credited.
    """

    healthy: Healthy
    first: Floats
    first_at: Floats
    second: Floats
    second_at: Floats
    last: Floats
    last_at: Floats
    past: Floats
    begin: Floats
    mean: Floats

    def inputs(self, rows: Floats) -> Floats:
        """(n, D): what the net is asked with, for rows (n, F)."""
        return inputs_of(self.healthy, rows)

    def says(self, inputs: Floats) -> Floats:
        """ln likelihood (n, C) up to a constant, for inputs (n, D)."""
        one = switched(inputs @ self.first + self.first_at)
        two = switched(one @ self.second + self.second_at)
        return np.asarray(two @ self.last + inputs @ self.past + self.last_at)

    def contributions(self, features: Floats) -> tuple[Floats, Floats]:
        """What each of the features (F,) adds for each cause, (F, C), and what stands before any is asked, (C,)."""
        (inputs,) = self.inputs(features[None, :])
        added = np.zeros((features.size, self.last_at.size))
        summaries = self.healthy.middle.size
        added[:summaries] = self.credits(inputs) - self.mean
        return added, self.says(inputs[None, :])[0] - added.sum(axis=0)

    def credits(self, inputs: Floats) -> Floats:
        """(S, C): what each summary adds on the walk from what rehearsals show in the mean to inputs (D,)."""
        begin = np.concatenate([self.begin, inputs[self.begin.size :]])
        way = inputs - begin
        walk = begin + WALK_AT[:, None] * way
        before = walk @ self.first + self.first_at
        later = switched(before) @ self.second + self.second_at
        # How every cause rises by every first switch, the mean along the walk: points q, switches h, causes c.
        behind = (WALK_WEIGHT[:, None] * rise(later))[:, :, None] * self.last
        by_switch = np.einsum("qh,qhc->hc", rise(before), self.second @ behind)
        by_input = way[:, None] * (self.first @ by_switch + self.past)
        voice, unknown, _ = np.split(by_input, [self.healthy.middle.size, self.begin.size])
        return np.asarray(voice + unknown)


def inputs_of(healthy: Healthy, rows: Floats) -> Floats:
    """(n, D): voices of the summaries of rows (n, F), which of them are unknown, and what is known of the car."""
    off = healthy.off_by(rows)
    return np.column_stack([voices(off), np.isnan(off), healthy.known_of(rows)])


def switched(x: Floats) -> Floats:
    """A smooth switch: x where it is well above 0, 0 well below (x times the logistic function of x)."""
    return np.asarray(x * _logistic(x))


def rise(x: Floats) -> Floats:
    """The rise of a smooth switch at x."""
    on = _logistic(x)
    return np.asarray(on * (1.0 + x * (1.0 - on)))


def _logistic(x: Floats) -> Floats:
    return np.asarray(0.5 + 0.5 * np.tanh(0.5 * x))


def net_from(held: Mapping[str, NDArray[np.generic]]) -> Net:
    """The net in a learned file. Raises KeyError or ValueError where it is not there."""

    def floats(kind: type[Healthy] | type[Net]) -> dict[str, Floats]:
        names = [field.name for field in fields(kind) if field.name != "healthy"]
        return {name: np.asarray(held[f"net_{name}"], dtype=np.float64) for name in names}

    return Net(Healthy(**floats(Healthy)), **floats(Net))
