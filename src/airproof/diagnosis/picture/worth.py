"""What a stretch not yet recorded is worth: the information to expect of it, by what such stretches said in rehearsals.

For each cause a few rehearsals are kept with what each place of the picture then said for and against every cause.
The causes still in question, each as probable as it is now, are played through: what is then expected of a place is how
much nearer, on average, the verdict would come to the truth (the expected information, in nepers).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.picture.learned import learned

Floats = NDArray[np.float64]

IN_QUESTION = 0.002  # causes less probable are not played through; judged: Airproof authors


@dataclass(frozen=True)
class Worth:
    """Expected information of a place, nepers, and among how many causes as good as even the verdict would lie, before
    and after: the exponential of the entropy.
    """

    nepers: float
    before: float
    after: float


def worth_of(probability: Mapping[str, float], places: tuple[str, ...]) -> dict[str, Worth]:
    """What each of the places would be worth, given the probabilities now."""
    known = learned("first")
    causes = [cause for cause in known.forest.causes if probability.get(cause, 0.0) > IN_QUESTION]
    if len(causes) < 2:
        return {}
    at = [known.forest.causes.index(cause) for cause in causes]
    now = np.array([probability[cause] for cause in causes])
    now = now / now.sum()
    entropy = -float(now @ np.log(now))
    share = known.shares(strangeness=1.0)["picture"]  # with care: the car may be strange
    found = {}
    for place in places:
        said = known.said[place][np.ix_(at, range(known.said[place].shape[1]), at)]
        joint = np.log(now) + share * said
        then = np.exp(joint - np.logaddexp.reduce(joint, axis=-1, keepdims=True))
        left = -np.sum(then * np.log(np.maximum(then, 1e-300)), axis=-1).mean(axis=1)
        expected = float(now @ left)
        found[place] = Worth(
            max(entropy - expected, 0.0), float(np.exp(entropy)), float(np.exp(min(expected, entropy)))
        )
    return found
