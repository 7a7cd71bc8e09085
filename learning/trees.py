"""Forests by gradient boosting (LightGBM), from rows as they were rehearsed or shaken, as one table of nodes."""

from __future__ import annotations

import lightgbm
import numpy as np
from numpy.typing import NDArray
from rows import ALL, Rows, class_weights, taken_as_prior, with_others
from shake import shaken

Floats = NDArray[np.float64]

ROUNDS = {"first": 250, "again": 200}
COPIES = {"rehearsed": (0.0, 0.0), "shaken": (1.0, 0.7, 0.4, 0.2)}
"""Every row is learnt from so often, each time shaken by so much of what is judged."""
TOLD = {"rehearsed": {"first": 4, "again": 1}, "shaken": {"first": 2, "again": 1}}
"""To how many other cars every fault is told; to fewer where each was set beside two healthy days already."""
GROWTH = {
    "objective": "multiclass", "num_class": len(ALL), "learning_rate": 0.06, "num_leaves": 24, "max_depth": 8,
    "min_data_in_leaf": 12, "lambda_l2": 3.0, "feature_fraction": 0.4, "bagging_fraction": 0.7, "bagging_freq": 1,
    "max_bin": 63, "verbose": -1, "seed": 5, "deterministic": True, "force_row_wise": True, "use_missing": True,
    "num_threads": 1,
}  # fmt: skip
HUGE = 1e30


def grow(rows: Rows, kind: str, way: str, rng: np.random.Generator) -> lightgbm.Booster:
    """A forest from the rows; all copies but the first forget at times what nobody may have said."""
    every, causes = with_others(rows, TOLD[way][kind], rng)
    copies = [
        shaken(every, rng, since_known_good=kind == "again", forget=number > 0, strength=strength)
        for number, strength in enumerate(COPIES[way])
    ]
    features, cause = np.concatenate(copies), np.tile(causes, len(copies))
    weight = class_weights(causes)[cause]
    return lightgbm.train(GROWTH, lightgbm.Dataset(features, cause, weight=weight / weight.mean()), ROUNDS[kind])


def said_by(forest: lightgbm.Booster, rows: Rows, learnt: Rows) -> Floats:
    """ln likelihood (n, C) up to a constant: the margins less what the forest took as prior."""
    return np.asarray(forest.predict(rows.features, raw_score=True) - taken_as_prior(learnt.cause))


def as_arrays(
    forest: lightgbm.Booster, features: tuple[str, ...], learnt: Rows, too_kind: Floats
) -> dict[str, NDArray[np.generic]]:  # fmt: skip
    """The forest as one table of nodes, the causes' learnt priors and what it is too kind by taken out."""
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
    # A change at like points does not tell what kind of car it is: strange is only what was never rehearsed.
    change = [name.startswith("beside ") for name in features]
    low[change] = np.nanmin(learnt.features[:, change], axis=0)
    high[change] = np.nanmax(learnt.features[:, change], axis=0)
    return {
        "causes": np.array(ALL), "features": np.array(features), "roots": np.array(roots, np.int32),
        "speaks": np.array(speaks, np.int8), "asks": np.array(table[0], np.int16),
        "threshold": np.clip(table[1], -HUGE, HUGE).astype(np.float32), "unknown_left": np.array(table[2]),
        "left": np.array(table[3], np.int32), "right": np.array(table[4], np.int32),
        "value": np.array(table[5]).astype(np.float32),
        "taken": (taken_as_prior(learnt.cause) + too_kind).astype(np.float32),
        "least": low.astype(np.float32), "most": high.astype(np.float32),
    }  # fmt: skip
