"""Every fault told to other cars: a rehearsed car with a fault, less its healthy twin, added to what others show.

Cars differ more than most faults change them. The twin, the same car on the same day without the fault, takes the car
out of the difference; what is left, added to healthy rows of other cars with the same induction and the same way of
metering, makes rows that no rehearsal has to be driven for. That a fault adds alike in every car is no law, only nearly
so: most summaries are logarithms. A summary that the fault has taken away is taken away there too.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.picture.features import OF_CAR

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


def told_to_others(
    features: Floats, cause: Ints, car: Ints, good: Ints, whole: Flags, times: int, rng: np.random.Generator
) -> tuple[Floats, Ints]:
    """Further rows (m, F) and their causes (m,): each fault told to so many healthy rows of other cars.

    `features` (n, F); `cause` (n,), 0 for healthy; `good` (n,): the day of the known-good recording; `whole` (n,): of a
    whole drive of the first day with every signal, as such rows of one car and one known-good recording differ by the
    fault alone.
    """
    count = features.shape[1] - len(OF_CAR)
    induction, metering = (features[:, count + OF_CAR.index(name)] for name in ("induction", "metering"))
    healthy = np.flatnonzero(cause == 0)
    twins = {(car[k], good[k]): features[k, :count] for k in healthy[whole[healthy]]}
    rows, causes = [], []
    for k in np.flatnonzero((cause > 0) & whole):
        if (car[k], good[k]) not in twins:
            continue
        twin = twins[car[k], good[k]]
        change, gone = features[k, :count] - twin, np.isnan(features[k, :count]) & np.isfinite(twin)
        like = (induction[healthy] == induction[k]) & (metering[healthy] == metering[k]) & (car[healthy] != car[k])
        others = healthy[like]
        for other in rng.choice(others, size=min(times, others.size), replace=False):
            row = features[other].copy()
            row[:count] += np.where(np.isfinite(change), change, 0.0)
            row[:count][gone] = np.nan
            rows.append(row)
            causes.append(cause[k])
    return np.array(rows, dtype=features.dtype), np.array(causes)
