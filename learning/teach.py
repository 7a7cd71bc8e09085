"""Teach the net (PyTorch): from rows, and from every fault told to other cars, others at every round.

It is taught with rows as they were rehearsed, not shaken: it is heard only where a recording is familiar.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import torch
from foretell import healthy_cars
from numpy.typing import NDArray
from rows import ALL, Rows, class_weights, taken_as_prior, with_others
from shake import shaken

from airproof.diagnosis.picture.healthy import Healthy
from airproof.diagnosis.picture.net import Net, inputs_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SWITCHES = (384, 192)
LEFT_OUT, INPUTS_LEFT_OUT = 0.35, 0.14  # of the switches, of the inputs, at each step, by chance (dropout)
TIGHTNESS = 0.02  # by which weights are drawn to nothing (AdamW)
FASTEST = 0.002  # learning rate, reached after a tenth of the steps and left along a cosine (one cycle)
TURNS, BATCH = 40, 512
TOLD = {"first": 8, "again": 2}  # to how many other cars every fault is told at each turn
MANY = 20_000  # rows at once
SAMPLE = 3000  # rehearsals of which the mean credits are taken


class Taught(torch.nn.Module):
    """The net as it is taught; `Net` is the same without what is left out by chance."""

    def __init__(self, inputs: int) -> None:
        super().__init__()
        one, two = SWITCHES
        self.first, self.second = torch.nn.Linear(inputs, one), torch.nn.Linear(one, two)
        self.last, self.past = torch.nn.Linear(two, len(ALL)), torch.nn.Linear(inputs, len(ALL), bias=False)
        self.some, self.many = torch.nn.Dropout(INPUTS_LEFT_OUT), torch.nn.Dropout(LEFT_OUT)

    def forward(self, inputs: torch.Tensor) -> torch.Tensor:
        inputs = self.some(inputs)
        one = self.many(torch.nn.functional.silu(self.first(inputs)))
        two = self.many(torch.nn.functional.silu(self.second(one)))
        return self.last(two) + self.past(inputs)


def as_inputs(healthy: Healthy, rows: Floats) -> Floats:
    """Inputs (n, D), in single precision, for many rows (n, F)."""
    parts = range(0, len(rows), MANY)
    return np.concatenate([inputs_of(healthy, rows[k : k + MANY].astype(float)).astype(np.float32) for k in parts])


def teach(rows: Rows, kind: str, seed: int) -> Net:
    """A net from the rows; every second turn forgets at times what nobody may have said."""
    torch.set_num_threads(1)
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    healthy = healthy_cars(rows.features[rows.cause == 0].astype(float))
    net = Taught(as_inputs(healthy, rows.features[:1]).shape[1])
    taught = torch.optim.AdamW(net.parameters(), lr=FASTEST, weight_decay=TIGHTNESS)
    steps = TURNS * (len(with_others(rows, TOLD[kind], rng)[1]) // BATCH + 1)
    pace = torch.optim.lr_scheduler.OneCycleLR(taught, FASTEST, total_steps=steps, pct_start=0.1)
    for turn in range(TURNS):
        features, cause = with_others(rows, TOLD[kind], rng)
        if turn % 2 == 0:
            features = shaken(features, rng, since_known_good=kind == "again", forget=True, strength=0.0)
        weight = class_weights(cause)
        weight = torch.from_numpy((weight / weight[cause].mean()).astype(np.float32))
        for inputs, truth in _batches(as_inputs(healthy, features), cause, rng):
            taught.zero_grad()
            surprise = torch.nn.functional.cross_entropy(net(inputs), truth, reduction="none")
            (surprise * weight[truth]).mean().backward()
            taught.step()
            pace.step()
    return _as_net(net, healthy, rows, taken_as_prior(cause), rng)


def _batches(inputs: Floats, cause: Ints, rng: np.random.Generator) -> Iterator[tuple[torch.Tensor, torch.Tensor]]:
    order = rng.permutation(len(cause))
    for k in range(0, len(order), BATCH):
        these = order[k : k + BATCH]
        yield torch.from_numpy(inputs[these]), torch.from_numpy(cause[these])


def _as_net(net: Taught, healthy: Healthy, rows: Rows, taken: Floats, rng: np.random.Generator) -> Net:
    """The net as the verdict hears it, the causes' learnt priors taken out."""

    def of(tensor: torch.Tensor) -> Floats:
        return tensor.detach().numpy().astype(np.float16).astype(float).T  # as it is kept

    weight = class_weights(rows.cause)[rows.cause]
    some = rng.choice(len(weight), size=min(SAMPLE, len(weight)), replace=False, p=weight / weight.sum())
    inputs = as_inputs(healthy, rows.features[some]).astype(float)
    count = healthy.middle.size
    found = Net(
        healthy, of(net.first.weight), of(net.first.bias), of(net.second.weight), of(net.second.bias),
        of(net.last.weight), of(net.last.bias) - taken, of(net.past.weight), inputs[:, : 2 * count].mean(axis=0),
        np.zeros((count, len(ALL))),
    )  # fmt: skip
    mean = np.mean([found.credits(row) for row in inputs], axis=0)
    return Net(**{**vars(found), "mean": mean})


def said_by(net: Net, rows: Rows) -> Floats:
    """ln likelihood (n, C) up to a constant, by the net."""
    return np.concatenate(
        [
            net.says(inputs_of(net.healthy, rows.features[k : k + MANY].astype(float)))
            for k in range(0, len(rows.cause), MANY)
        ]
    )


def as_arrays(net: Net) -> dict[str, NDArray[np.generic]]:
    """The net as arrays of the learned file; weights in half precision, as they were rounded to already."""
    layers = ("first", "first_at", "second", "second_at", "last", "past")
    parts = {**vars(net.healthy), **{name: values for name, values in vars(net).items() if name != "healthy"}}
    return {
        f"net_{name}": values.astype(np.float16 if name in layers else np.float32) for name, values in parts.items()
    }
