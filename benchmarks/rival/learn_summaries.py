"""What the rehearsed pairs teach, written to learned.npz beside it.

    python benchmarks/rival/learn_summaries.py PAIRS.npz... OUT.npz

The pairs come from benchmarks/learn_pairs.py (seed 77, mismatch 1). The same pairs always give the same file.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from learned import LEAST, MOST, STRAY_BINS, Context, healthy_design, scaled, shift_design
from numpy.typing import NDArray
from summaries import NAMES

from airproof.engine.rehearsal.faults import CAUSES

Floats = NDArray[np.float64]
RANK = 10
HEALTHY_RIDGE, SHIFT_RIDGE = 1.0, 1.5


def load(paths: Sequence[str]) -> dict[str, NDArray[np.generic]]:
    parts = [np.load(path) for path in sorted(paths)]
    held = {name: np.concatenate([part[name] for part in parts]) for name in parts[0].files if name != "names"}
    assert tuple(parts[0]["names"]) == NAMES
    return held


def ridge(X: Floats, Y: Floats, penalty: float) -> Floats:
    """Coefficients (K, P) column by column, rows without the value left out, far ones counting less."""
    found = np.zeros((X.shape[1], Y.shape[1]))
    for j in range(Y.shape[1]):
        known = np.isfinite(Y[:, j])
        if known.sum() < 8:
            continue
        A, y, weight = X[known], Y[known, j], np.ones(int(known.sum()))
        for _ in range(3):
            gram = (A * weight[:, None]).T @ A + penalty * np.eye(A.shape[1])
            found[:, j] = np.linalg.solve(gram, (A * weight[:, None]).T @ y)
            left = np.abs(y - A @ found[:, j])
            weight = 1.0 / np.maximum(left / (3.0 * (1.4826 * np.median(left) + 1e-4)), 1.0)
    return found


def covariance(left: Floats, shrink: float) -> Floats:
    """Of residuals with gaps: pairwise, far ones drawn in, made positive, drawn towards its diagonal."""
    drawn = np.clip(left, *np.nanquantile(np.nan_to_num(left), (0.005, 0.995), axis=0))
    sd = np.sqrt(np.nanmean(np.square(drawn), axis=0)) + 1e-6
    sd = np.where(np.isfinite(sd), sd, 1e-3)
    z = np.clip(left / sd, -5.0, 5.0)
    known = np.isfinite(z).astype(float)
    z = np.nan_to_num(z)
    both = known.T @ known
    C = z.T @ z / np.maximum(both, 1.0) * both / (both + 10.0)
    np.fill_diagonal(C, np.maximum(np.diag(C), 0.05))
    values, vectors = np.linalg.eigh((C + C.T) / 2.0)
    C = (vectors * np.maximum(values, 1e-3)) @ vectors.T
    C = (1.0 - shrink) * C + shrink * np.diag(np.diag(C))
    return np.asarray(C * np.outer(sd, sd))


def low_rank(C: Floats) -> Floats:
    """Standard deviations on their own beside factors (P, 1 + RANK) whose sum of squares keeps the diagonal."""
    sd = np.sqrt(np.diag(C))
    values, vectors = np.linalg.eigh(C / np.outer(sd, sd))
    factors = (vectors[:, -RANK:] * np.sqrt(np.maximum(values[-RANK:], 0.0))) * sd[:, None]
    own = np.sqrt(np.maximum(np.diag(C) - np.square(factors).sum(axis=1), 1e-8))
    return np.column_stack([own, factors])


def main() -> None:
    held = load(sys.argv[1:-1])
    numbers = np.clip(held["z"][:, : LEAST.size], LEAST, MOST)
    contexts = [
        Context(z, int(i), int(m)) for z, i, m in zip(numbers, held["induction"], held["metering"], strict=True)
    ]
    f, healthy = held["f"], held["cause"] == "none"
    X = np.array([healthy_design(context) for context in contexts])
    out = {"healthy": ridge(X[healthy], f[healthy], HEALTHY_RIDGE)}
    left = f - X @ out["healthy"]
    boosted = held["induction"] > 0
    out["spread"] = np.array([covariance(left[healthy & (boosted == way)], 0.08) for way in (False, True)])
    first = {car: k for k, car in enumerate(held["car"]) if healthy[k] and held["day"][k] == 0}
    again = [k for k, car in enumerate(held["car"]) if healthy[k] and held["day"][k] == 1 and car in first]
    out["day"] = covariance(np.array([f[k] - f[first[held["car"][k]]] for k in again]), 0.08)
    for cause in CAUSES:
        mine = [k for k in np.flatnonzero((held["cause"] == cause) & held["steady"]) if held["car"][k] in first]
        shift = np.clip(np.array([f[k] - f[first[held["car"][k]]] for k in mine]), -8.0, 8.0)
        A = np.concatenate([shift_design(cause, held["size"][[k]], contexts[k]) for k in mine])
        coefficients = ridge(A, shift, SHIFT_RIDGE)
        rest, whole = shift - A @ coefficients, covariance(shift - A @ coefficients, 0.15)
        scale = scaled(cause, held["size"][mine])
        bins = np.digitize(scale, STRAY_BINS) if cause != "map-stuck" else np.zeros(len(mine), dtype=int)
        strays = []
        for number in range(3):
            few = rest[bins == number]
            C = (
                0.75 * covariance(few, 0.2) + 0.25 * whole * (0.3 if number == 0 and cause != "map-stuck" else 1.0)
                if len(few) > 25
                else whole
            )
            strays.append(low_rank(C))
        out[f"shift {cause}"], out[f"stray {cause}"] = coefficients, np.array(strays)
    small = {
        name: values.astype(np.float16 if name.startswith(("shift", "stray")) else np.float32)
        for name, values in out.items()
    }
    made = f"{np.unique(held['car']).size} cars, {len(f)} rehearsals of seed 77, format 1"
    np.savez_compressed(Path(sys.argv[-1]), made=np.array(made), **small)
    print(made, Path(sys.argv[-1]).stat().st_size, "bytes")


if __name__ == "__main__":
    main()
