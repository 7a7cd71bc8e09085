"""All that both sides can be asked for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.checks import shared_supply, signal_health
from airproof.diagnosis.picture import check as whole_picture
from airproof.diagnosis.picture.learned import learned
from airproof.diagnosis.testimony import Testimony
from airproof.diagnosis.told import how_noticed
from airproof.knowledge.model import Cause
from airproof.repair.proof.by_engine_off import engine_off_witness
from airproof.repair.proof.by_level import level_witnesses
from airproof.repair.proof.by_relation import relation_witnesses
from airproof.repair.proof.joint import Witness, Wrong
from airproof.repair.proof.sides import Sides

Floats = NDArray[np.float64]

PICTURE_SHARE = 0.5  # judged: Airproof authors, as the same readings are heard twice


@dataclass(frozen=True)
class AloneWitness:
    """What the side after shows of itself, whatever was before: a frozen signal, breaks, jumps."""

    testimony: Testimony

    def says(self, before: Wrong, after: Wrong) -> Floats:
        """ln p(after) (n,)."""
        del before
        return np.asarray(self.testimony.log_likelihood[after.cause][after.places])


def witnesses(sides: Sides, likely: Mapping[str, float], causes: Mapping[str, Cause]) -> list[Witness]:
    """All that both sides can be asked for; `likely[c]`: the likeliest size before of each cause that is followed."""
    alone = [*signal_health.check(sides.after), *shared_supply.check(sides.after), *_picture(sides, causes)]
    off = engine_off_witness(sides)
    return [
        *relation_witnesses(sides, likely),
        *level_witnesses(sides),
        *([] if off is None else [off]),
        *(AloneWitness(one) for one in alone),
    ]


def _picture(sides: Sides, causes: Mapping[str, Cause]) -> list[Testimony]:
    """The whole picture of the recording after, heard with half the share it has where it stands beside weaker checks.

    It knows patterns that no single check asks for; physics here is heard in full, and both read the same recording. It
    has learnt from sizes that a driver notices: of what may be left of one, it says as much less as that is noticed.
    """
    picture = whole_picture.check(sides.after)
    if not picture.testimonies:
        return []
    kind = "again" if sides.after.baselines else "first"
    share = PICTURE_SHARE * learned(kind).shares(picture.strangeness)["picture"]
    heard = {cause: share * how_noticed(causes[cause], sizes) for cause, sizes in sides.after.sizes.items()}
    return [
        replace(one, log_likelihood={cause: heard[cause] * row for cause, row in one.log_likelihood.items()})
        for one in picture.testimonies
    ]
