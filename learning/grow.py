"""Learn the picture from gathered rows, and how loudly each source of evidence is to be heard.

    python learning/grow.py FOLDER KEPT KIND WAY

FOLDER holds the rows that are learnt from, KEPT those of cars that nothing is learnt from (gathered with `kept`). KIND
is first or again (with a known-good recording). WAY is shaken: a forest for strange recordings, written to
src/airproof/diagnosis/data/shaken_KIND.npz; or rehearsed: forest, net and shares for familiar ones, learned_KIND.npz.
Prints how each fares on the cars kept. Needs LightGBM and PyTorch, which the package itself does not.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import teach
import trees
from loudness import KIN, Hearing, best_hearing, tell
from numpy.typing import NDArray
from rows import ALL, Rows, load
from shake import shaken

from airproof.diagnosis.picture.features import AGAIN, FIRST, INDUCTIONS
from airproof.diagnosis.picture.forest import Forest, forest_from
from airproof.diagnosis.picture.learned import PARTS
from airproof.diagnosis.picture.net import Net
from airproof.diagnosis.picture.words import PLACES, place_of
from airproof.knowledge.model import NONE

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DATA = Path(__file__).resolve().parents[1] / "src" / "airproof" / "diagnosis" / "data"
KEPT = 24  # rehearsals of each cause whose words are kept, place by place
STRANGE = {"first": (0.3, 0.7), "again": (0.3, 0.9)}
"""How loudly shaken forest and checks are heard where a recording is strange; judged: Airproof authors: as much goes
to the physics as it takes that no healthy real recording is accused or much doubted (road cars of carOBD, the healthy
bench run of LiU-ICE whole, in parts, and half against half), all of which are strange. Forest and net from rehearsals
as they are hear small differences, and are misled first where a little is different everywhere: they are not heard
there. Faulty ones were in view; between two pairs alike for the healthy ones, a lie made up on a healthy road drive
decided."""


def usual(rows: Rows, kind: str, features: tuple[str, ...], rng: np.random.Generator) -> Floats:
    """(I, 3, F): the 5, 50 and 95 % points of healthy cars, shaken, by induction."""
    healthy = rows.where(rows.cause == ALL.index(NONE))
    values = shaken(healthy.features, rng, since_known_good=kind == "again", forget=False)
    values = np.where(np.isnan(values).all(axis=0), healthy.features, values)  # what is never shaken
    induction = values[:, features.index("car induction")]
    return np.array([np.nanquantile(values[induction == k], (0.05, 0.5, 0.95), axis=0) for k in range(len(INDUCTIONS))])


def what_places_said(forest: Forest, net: Net, hearing: Hearing, rows: Rows, rng: np.random.Generator) -> Floats:
    """(P, C, J, C): for each place and cause, what the picture said of every cause in J recordings of cars that it has
    not learnt from, nepers.
    """
    where_seen = [place_of(name) for name in forest.features]
    loud = hearing.picture / hearing.picture.sum()
    said = np.zeros((len(PLACES), len(ALL), KEPT, len(ALL)))
    for cause in range(len(ALL)):
        for j, row in enumerate(_picked(rows, cause, rng)):
            features = rows.features[row].astype(float)
            by_trees, by_net = forest.contributions(features)[0], net.contributions(forest.heard(features))[0]
            added = loud[0] * by_trees + loud[1] * by_net
            for p, place in enumerate(PLACES):
                said[p, cause, j] = added[[k for k, where in enumerate(where_seen) if where == place]].sum(axis=0)
    return said


def _picked(rows: Rows, cause: int, rng: np.random.Generator) -> Ints:
    mine = np.flatnonzero((rows.cause == cause) & ~rows.reduced)
    mine = mine if mine.size else np.flatnonzero(rows.cause == cause)
    return rng.choice(mine, size=KEPT, replace=mine.size < KEPT)


def tell_halves(kept: Rows, parts: Sequence[Floats]) -> None:
    """Print how each half of the cars kept fares as heard when found on the other half: all, and whole drives."""
    for half in (0, 1):
        found_on, judged = kept.car % 2 != half, kept.car % 2 == half
        hearing = best_hearing(kept.where(found_on), [part[found_on] for part in parts])
        for name, these in (("all", judged), ("whole drive, every signal", judged & ~kept.reduced)):
            tell(f"half {half}, {name}", kept.where(these), [part[these] for part in parts], hearing)


def grow_shaken(rows: Rows, kept: Rows, kind: str, features: tuple[str, ...]) -> dict[str, NDArray[np.generic]]:
    """A forest from shaken rows, and how it fares on the cars kept, as they are and shaken as strange ones."""
    rng = np.random.default_rng(11)
    forest = trees.grow(rows, kind, "shaken", rng)
    hearing = best_hearing(kept, [trees.said_by(forest, kept, rows)])
    strange = replace(kept, features=shaken(kept.features, rng, since_known_good=kind == "again", forget=True))
    picture, checks = STRANGE[kind]
    kin = np.tile(np.array(STRANGE[kind]), (len(KIN), 1))
    with_care = replace(hearing, picture=np.array([picture]), checks=checks, kin=kin)
    tell("shaken as strange cars", strange, [trees.said_by(forest, strange, rows)], with_care)
    return trees.as_arrays(forest, features, rows, hearing.too_kind)


def grow_rehearsed(rows: Rows, kept: Rows, kind: str, features: tuple[str, ...]) -> dict[str, NDArray[np.generic]]:
    """Forest and net from rows as they are, and how loudly they are heard: found on those of the cars kept that are
    familiar, as nobody hears them elsewhere.
    """
    rng = np.random.default_rng(13)
    grown, net = trees.grow(rows, kind, "rehearsed", rng), teach.teach(rows, kind, 2)
    forest = forest_from(trees.as_arrays(grown, features, rows, np.zeros(len(ALL))))
    familiar = kept.where(np.array([forest.strangeness(row.astype(float)) == 0.0 for row in kept.features]))
    print(f"{familiar.cause.size} of {kept.cause.size} rows kept are familiar", flush=True)
    parts = [trees.said_by(grown, familiar, rows), teach.said_by(net, familiar)]
    tell_halves(familiar, parts)
    hearing = best_hearing(familiar, parts)
    print("heard", hearing.picture.round(2), round(hearing.checks, 2), "between kin", hearing.kin.round(2).tolist())
    print("too kind to", ", ".join(f"{c} {x:.2f}" for c, x in zip(ALL, hearing.too_kind, strict=True)))
    picture, checks = STRANGE[kind]
    strange = {"forest": 0.0, "net": 0.0, "shaken": picture, "checks": checks}
    heard = {"forest": hearing.picture[0], "net": hearing.picture[1], "shaken": 0.0, "checks": hearing.checks}
    forest = replace(forest, taken=forest.taken + hearing.too_kind)
    return {
        "made": np.array(f"{np.unique(rows.car).size} cars, {rows.cause.size} rehearsals"),
        "inductions": np.array(INDUCTIONS), "heard": np.array((*PARTS, "checks")),
        "shares": np.array([(heard[source], strange[source]) for source in (*PARTS, "checks")]),
        "said": what_places_said(forest, net, hearing, familiar, rng).astype(np.float16),
        "kin": np.array([" ".join(causes) for causes in KIN]),
        "kin_shares": np.stack([hearing.kin, np.tile(np.array(STRANGE[kind]), (len(KIN), 1))], axis=-1),
        "usual": usual(rows, kind, features, rng).astype(np.float32),
        **teach.as_arrays(net), **trees.as_arrays(grown, features, rows, hearing.too_kind),
    }  # fmt: skip


def main() -> None:
    folder, kept_folder, kind, way = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3], sys.argv[4]
    rows, kept = load(folder, kind), load(kept_folder, kind)
    print(f"{kind}, {way}: {rows.cause.size} rows of {np.unique(rows.car).size} cars", flush=True)
    made = grow_shaken if way == "shaken" else grow_rehearsed
    path = DATA / f"{'shaken' if way == 'shaken' else 'learned'}_{kind}.npz"
    np.savez_compressed(path, **made(rows, kept, kind, FIRST if kind == "first" else AGAIN))
    print(f"{path.name}: {path.stat().st_size / 1e6:.2f} MB\n")


if __name__ == "__main__":
    main()
