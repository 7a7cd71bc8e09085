"""Grow the forests from gathered rows, and find how loudly each source of evidence is to be heard.

    python learning/grow.py FOLDER

Writes src/airproof/diagnosis/data/learned_first.npz and learned_again.npz, and prints how the forests fare on cars they
have not seen. Needs LightGBM (uv pip install lightgbm), which the package itself does not.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import lightgbm
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from shake import shaken

from airproof.diagnosis.picture.features import AGAIN, FIRST, INDUCTIONS
from airproof.diagnosis.picture.forest import Forest, forest_from
from airproof.diagnosis.picture.words import PLACES, place_of
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DATA = Path(__file__).resolve().parents[1] / "src" / "airproof" / "diagnosis" / "data"
ALL = tuple(knowledge().causes)
FOLDS = 3
PRIOR_POWER = 0.5  # rare causes are learnt with more weight than they have, common ones with less
ROUNDS = {"first": 240, "again": 180}
SHAKEN_COPIES = 4
GROWTH = {
    "objective": "multiclass", "num_class": len(ALL), "learning_rate": 0.06, "num_leaves": 10, "max_depth": 6,
    "min_data_in_leaf": 12, "lambda_l2": 3.0, "feature_fraction": 0.25, "bagging_fraction": 0.7, "bagging_freq": 1,
    "max_bin": 63, "verbose": -1, "seed": 5, "deterministic": True, "force_row_wise": True, "use_missing": True,
}  # fmt: skip
FURTHER = 0.25  # of the range that the rehearsals showed, beyond which a summary is not heard
KEPT = 24  # rehearsals of each cause whose words are kept, place by place
SHARES = {"first": (0.5, 0.5), "again": (0.5, 0.6)}
"""How loudly picture and checks are heard. Rehearsals alone, however shaken, would have about 0.9 and 0.2; these lean
to the physics as far as it takes that no healthy real recording is accused (road cars of carOBD, the healthy bench run
of LiU-ICE alone and half against half), at some five points of the rehearsals. Faulty ones decided nothing, but were
in view."""
SHARE_NAMES = ("picture", "checks")
HUGE = 1e30
MOST_CLIPPED = 40.0  # nepers, of the checks


@dataclass(frozen=True)
class Rows:
    """Features (n, F), evidence of checks and codes (n, C), cause by place in ALL, car."""

    features: Floats
    checks: Floats
    codes: Floats
    cause: Ints
    car: Ints
    reduced: NDArray[np.bool_]

    def where(self, chosen: NDArray[np.bool_]) -> Rows:
        """Only the chosen rows."""
        return Rows(*(getattr(self, name)[chosen] for name in Rows.__annotations__))


def load(folder: Path, kind: str) -> Rows:
    """All gathered rows of that kind."""
    parts = []
    for path in sorted(folder.glob("rows_*.npz")):
        with np.load(path) as held:
            part = {name: held[name] for name in held.files}
        mine = part["with_good"] == (kind == "again")
        cause = np.array([ALL.index(str(name)) for name in part["cause"][mine]])
        place = part["car"][mine]
        features = part[kind][mine].astype(np.float32)
        parts.append(Rows(features, part["checks"][mine], part["codes"][mine], cause, place, part["reduced"][mine]))
    return Rows(*(np.concatenate([getattr(part, name) for part in parts]) for name in Rows.__annotations__))


def prior() -> Floats:
    weight = np.array([knowledge().causes[cause].weight for cause in ALL])
    return np.asarray(weight / weight.sum())


def class_weights(cause: Ints) -> Floats:
    frequency = np.bincount(cause, minlength=len(ALL)) / cause.size
    return np.where(frequency > 0, prior() ** PRIOR_POWER / np.maximum(frequency, 1e-9), 0.0)


def grow(rows: Rows, kind: str, rng: np.random.Generator) -> lightgbm.Booster:
    copies = [
        shaken(rows.features, rng, since_known_good=kind == "again", forget=number > 0)
        for number in range(SHAKEN_COPIES)
    ]
    features, cause = np.concatenate(copies), np.tile(rows.cause, SHAKEN_COPIES)
    weight = class_weights(rows.cause)[cause]
    return lightgbm.train(GROWTH, lightgbm.Dataset(features, cause, weight=weight / weight.mean()), ROUNDS[kind])


def log_likelihood(forest: lightgbm.Booster, rows: Rows, learnt: Rows) -> Floats:
    """ln likelihood (n, C) up to a constant: the margins less what the forest took as prior."""
    weight = class_weights(learnt.cause) * np.bincount(learnt.cause, minlength=len(ALL))
    return np.asarray(forest.predict(rows.features, raw_score=True) - np.log(weight / weight.sum() + 1e-12))


def held_out(rows: Rows, kind: str, rng: np.random.Generator) -> Floats:
    """What forests that have not seen a car say of it, shaken as another maker's would be; (n, C)."""
    found = np.empty((rows.cause.size, len(ALL)))
    for fold in range(FOLDS):
        mine = rows.car % FOLDS == fold
        seen, new = rows.where(~mine), rows.where(mine)
        strange = shaken(new.features, rng, since_known_good=kind == "again", forget=True)
        found[mine] = log_likelihood(grow(seen, kind, rng), replace(new, features=strange), seen)
    return found


def posterior(rows: Rows, picture: Floats, shares: Floats) -> Floats:
    """ln posterior (n, C)."""
    possible = np.isfinite(rows.checks)
    checks = np.clip(np.nan_to_num(rows.checks), -MOST_CLIPPED, MOST_CLIPPED)
    total = np.log(prior()) + shares[0] * picture + shares[1] * checks + np.nan_to_num(rows.codes)
    total = np.where(possible, total, -np.inf)
    return np.asarray(total - np.logaddexp.reduce(total, axis=1, keepdims=True))


def row_weights(rows: Rows) -> Floats:
    frequency = np.bincount(rows.cause, minlength=len(ALL)) / rows.cause.size
    return np.asarray(prior()[rows.cause] / frequency[rows.cause])


def best_shares(rows: Rows, picture: Floats) -> Floats:
    """The shares that make what really was wrong most probable, each between 0 and 1."""
    weight, at = row_weights(rows), (np.arange(rows.cause.size), rows.cause)

    def surprise(shares: Floats) -> float:
        return float(-np.average(np.maximum(posterior(rows, picture, shares)[at], -20.0), weights=weight))

    return np.asarray(minimize(surprise, [0.7, 0.3], bounds=[(0.0, 1.0)] * 2, method="L-BFGS-B").x)


def tell(name: str, rows: Rows, picture: Floats, shares: Floats) -> None:
    chance = np.exp(posterior(rows, picture, shares))
    weight, none = row_weights(rows), ALL.index(NONE)
    order = np.argsort(-chance, axis=1)
    right, three = order[:, 0] == rows.cause, (order[:, :3] == rows.cause[:, None]).any(axis=1)
    faulty = rows.cause != none
    sure = chance.max(axis=1)
    bins = np.minimum((10 * sure).astype(int), 9)
    error = sum(abs(np.sum((weight * (right - sure))[bins == k])) for k in range(10)) / weight.sum()
    on_truth = chance[np.arange(rows.cause.size), rows.cause]
    wrong = faulty & ~right & (order[:, 0] != none) & (sure > 0.5)

    def mean(values: NDArray[np.generic], where: NDArray[np.bool_]) -> float:
        return float(np.average(values[where].astype(float), weights=weight[where]))

    print(
        f"{name:28} n {rows.cause.size:6}  first {mean(right, faulty):.3f}  three {mean(three, faulty):.3f}  "
        f"p {mean(on_truth, faulty):.3f}  error {error:.3f}  another > 0.5 {mean(wrong, faulty):.3f}  "
        f"healthy accused {1.0 - mean(right, ~faulty):.3f}"
    )


def as_arrays(forest: lightgbm.Booster, features: tuple[str, ...], learnt: Rows) -> dict[str, NDArray[np.generic]]:
    """The forest as one table of nodes, the causes' learnt priors taken out."""
    roots: list[int] = []
    speaks: list[int] = []
    nodes: list[tuple[int, float, bool, int, int, float]] = []

    def add(tree: dict[str, object]) -> int:
        place = len(nodes)
        nodes.append((-1, 0.0, False, -1, -1, 0.0))
        if "leaf_value" in tree and "split_feature" not in tree:
            nodes[place] = (-1, 0.0, False, -1, -1, float(tree["leaf_value"]))  # type: ignore[arg-type]
            return place
        unknown_left = bool(tree["default_left"]) if tree["missing_type"] == "NaN" else tree["threshold"] >= 0.0  # type: ignore[operator]
        left, right = add(tree["left_child"]), add(tree["right_child"])  # type: ignore[arg-type]
        nodes[place] = (
            int(tree["split_feature"]), float(tree["threshold"]), unknown_left, left, right,  # type: ignore[call-overload]
            float(tree["internal_value"]),  # type: ignore[arg-type]
        )  # fmt: skip
        return place

    for number, tree in enumerate(forest.dump_model()["tree_info"]):
        speaks.append(number % len(ALL))
        roots.append(add(tree["tree_structure"]))
    table = list(zip(*nodes, strict=True))
    low, high = np.nanquantile(learnt.features, (0.0005, 0.9995), axis=0)
    reach = FURTHER * (high - low) + 1e-6
    taken = class_weights(learnt.cause) * np.bincount(learnt.cause, minlength=len(ALL))
    taken = np.log(taken / taken.sum() + 1e-12)
    value = np.array(table[5])
    return {
        "causes": np.array(ALL), "features": np.array(features), "roots": np.array(roots, np.int32),
        "speaks": np.array(speaks, np.int8), "asks": np.array(table[0], np.int16),
        "threshold": np.clip(table[1], -HUGE, HUGE).astype(np.float32), "unknown_left": np.array(table[2]),
        "left": np.array(table[3], np.int32), "right": np.array(table[4], np.int32),
        "value": value.astype(np.float32), "taken": taken.astype(np.float32),
        "least": (low - reach).astype(np.float32), "most": (high + reach).astype(np.float32),
    }  # fmt: skip


def usual(rows: Rows, kind: str, features: tuple[str, ...], rng: np.random.Generator) -> Floats:
    """(I, 3, F): the 5, 50 and 95 % points of healthy cars, shaken, by induction."""
    healthy = rows.where(rows.cause == ALL.index(NONE))
    values = shaken(healthy.features, rng, since_known_good=kind == "again", forget=False)
    induction = values[:, features.index("car induction")]
    return np.array([np.nanquantile(values[induction == k], (0.05, 0.5, 0.95), axis=0) for k in range(len(INDUCTIONS))])


def what_places_said(forest: Forest, rows: Rows, rng: np.random.Generator) -> Floats:
    """(P, C, J, C): for each place and cause, what J recordings of cars not grown from said of every cause, nepers."""
    where_seen = [place_of(name) for name in forest.features]
    picks = np.array([_picked(rows, cause, rng) for cause in range(len(ALL))])
    said = np.zeros((len(PLACES), len(ALL), KEPT, len(ALL)))
    for cause, mine in enumerate(picks):
        for j, row in enumerate(mine):
            added, _ = forest.contributions(rows.features[row].astype(np.float64))
            for p, place in enumerate(PLACES):
                said[p, cause, j] = added[[k for k, where in enumerate(where_seen) if where == place]].sum(axis=0)
    return said


def _picked(rows: Rows, cause: int, rng: np.random.Generator) -> Ints:
    mine = np.flatnonzero((rows.cause == cause) & ~rows.reduced)
    mine = mine if mine.size else np.flatnonzero(rows.cause == cause)
    return rng.choice(mine, size=KEPT, replace=mine.size < KEPT)


def main() -> None:
    folder = Path(sys.argv[1])
    for kind, features in (("first", FIRST), ("again", AGAIN)):
        rng = np.random.default_rng(11)
        rows = load(folder, kind)
        picture = held_out(rows, kind, rng)
        shares, best = np.array(SHARES[kind]), best_shares(rows, picture)
        told = ", ".join(f"{name} {share:.2f}" for name, share in zip(SHARE_NAMES, best, strict=True))
        print(f"{kind}: {rows.cause.size} rows of {np.unique(rows.car).size} cars; best on rehearsals: {told}")
        tell("all, as heard on rehearsals", rows, picture, best)
        tell("all, as they are heard", rows, picture, shares)
        for name, chosen in (
            ("whole drive, every signal", ~rows.reduced),
            ("excerpts, signals left out", rows.reduced),
        ):
            tell(name, rows.where(chosen), picture[chosen], shares)
        tell("picture and codes alone", rows, picture, np.array([1.0, 0.0]))
        tell("checks and codes alone", rows, picture, np.array([0.0, 1.0]))
        # What a place says must not come from cars the forest has seen.
        seen, new = rows.where(rows.car % FOLDS != 0), rows.where(rows.car % FOLDS == 0)
        said = what_places_said(forest_from(as_arrays(grow(seen, kind, rng), features, seen)), new, rng)
        forest = grow(rows, kind, rng)
        made = f"{np.unique(rows.car).size} cars, {rows.cause.size} rehearsals"
        path = DATA / f"learned_{kind}.npz"
        told_of = {
            "made": np.array(made), "inductions": np.array(INDUCTIONS), "heard": np.array(SHARE_NAMES),
            "shares": shares, "said": said.astype(np.float16),
            "usual": usual(rows, kind, features, rng).astype(np.float32),
        }  # fmt: skip
        np.savez_compressed(path, **told_of, **as_arrays(forest, features, rows))
        print(f"{path.name}: {path.stat().st_size / 1e6:.2f} MB\n")


if __name__ == "__main__":
    main()
