"""How loudly the forest and the net that ship are to be heard, found anew on cars that neither has learnt from.

    python learning/hear.py FOLDER [KIND]

FOLDER holds cars gathered with another seed and `kept`; KIND is first or again. `grow.py` finds the shares with a
forest and a net from two cars in three; those that ship have learnt from all, and know new cars a little better. Prints
how such cars fare as heard so far, and as heard when found on the other half of them; then writes the shares found on
all of them into src/airproof/diagnosis/data/learned_KIND.npz. Needs what grow.py needs.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import teach
from grow import DATA
from loudness import KIN, Hearing, best_hearing, tell
from numpy.typing import NDArray
from rows import ALL, Rows, load

from airproof.diagnosis.picture.learned import KINDS, learned

Floats = NDArray[np.float64]

FAMILIAR = 0  # the place of that end in the shares


def parts_of(kind: str, rows: Rows) -> list[Floats]:
    """What forest and net as they ship say of the rows, (n, C) each."""
    known = learned(kind)
    told = [known.forest.contributions(row.astype(float)) for row in rows.features]
    return [np.array([added.sum(axis=0) + before for added, before in told]), teach.said_by(known.net, rows)]


def so_far(kind: str) -> Hearing:
    """As the files have it; what the forest is too kind by is taken off in it already."""
    known = learned(kind)
    kin = [[known.kin[causes][source][FAMILIAR] for source in ("picture", "checks")] for causes in KIN]
    loud = {source: float(ends[FAMILIAR]) for source, ends in known.loudness.items()}
    return Hearing(np.array([loud["forest"], loud["net"]]), loud["checks"], np.zeros(len(ALL)), np.array(kin))


def write(kind: str, found: Hearing) -> None:
    """Put the shares into the learned file, and take off what the forest is still too kind by."""
    path = DATA / f"learned_{kind}.npz"
    with np.load(path) as held:
        arrays = {name: held[name] for name in held.files}
    for source, share in zip(("forest", "net", "checks"), (*found.picture, found.checks), strict=True):
        arrays["shares"][list(arrays["heard"]).index(source), FAMILIAR] = share
    arrays["kin_shares"][:, :, FAMILIAR] = found.kin
    arrays["taken"] = (arrays["taken"] + found.too_kind).astype(np.float32)
    np.savez_compressed(path, **arrays)


def main() -> None:
    folder = Path(sys.argv[1])
    for kind in sys.argv[2:] or KINDS:
        rows = load(folder, kind)
        strange = learned(kind).forest.strangeness
        familiar = rows.where(np.array([strange(row.astype(float)) == 0.0 for row in rows.features]))
        said = parts_of(kind, familiar)
        print(f"{kind}: {familiar.cause.size} familiar rows of {rows.cause.size}, {np.unique(rows.car).size} cars")
        for half in (0, 1):
            learnt, judged = familiar.car % 2 != half, familiar.car % 2 == half
            found = best_hearing(familiar.where(learnt), [part[learnt] for part in said])
            whole = judged & ~familiar.reduced
            for name, hearing in (("so far", so_far(kind)), ("found anew", found)):
                tell(f"half {half}, {name}", familiar.where(judged), [part[judged] for part in said], hearing)
                tell(f"half {half}, {name}, whole", familiar.where(whole), [part[whole] for part in said], hearing)
        found = best_hearing(familiar, said)
        print("heard", found.picture.round(2), round(found.checks, 2), "between kin", found.kin.round(2).tolist())
        print("too kind to", ", ".join(f"{c} {x:.2f}" for c, x in zip(ALL, found.too_kind, strict=True)))
        write(kind, found)


if __name__ == "__main__":
    main()
