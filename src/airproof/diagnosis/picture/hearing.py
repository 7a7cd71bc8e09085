"""How loudly each testimony is heard where several rest on the same readings.

The whole picture and the single checks read the same recording, so that their testimonies must not simply multiply:
each is heard with a share of its weight. The picture is the louder, the more the recording is like those it has learnt
from; where it is strange to it, physics counts as much (`learning/grow.py` says how much). The picture says nothing of
sizes, so what a check says of the size of a cause is heard in full; only what it says for or against it is shared.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.picture.check import Picture
from airproof.diagnosis.picture.learned import learned
from airproof.diagnosis.testimony import Testimony

Floats = NDArray[np.float64]


SAMPLE_BY_SAMPLE = ("dropouts",)
"""Findings of single samples, of which a summary of the drive sees next to nothing: heard in full."""


def heard(
    single: Sequence[Testimony],
    picture: Picture,
    log_prior: Mapping[str, Floats],
    *,
    known_car: bool,
    in_full: Collection[str] = (),
) -> list[Testimony]:
    """All testimonies with the shares they are heard with; the single ones in full where there is no picture.

    `in_full` names findings that rest on other readings than the picture does. `log_prior[c]` (S_c,) is over sizes.
    """
    if not picture.testimonies:
        return list(single)
    shares = learned("again" if known_car else "first").shares(picture.strangeness)
    own = [one for one in single if one.finding.id in (*in_full, *SAMPLE_BY_SAMPLE)]
    shared = [one for one in single if one.finding.id not in (*in_full, *SAMPLE_BY_SAMPLE)]
    return [
        *own,
        *with_share(shared, log_prior, shares["checks"]),
        *(_quieter(one, shares["picture"]) for one in picture.testimonies),
    ]


def in_full(testimonies: Sequence[Testimony]) -> list[Testimony]:
    """What the single checks said of the recording, each by itself; without the picture and without what was told."""
    mine = [one for one in testimonies if one.finding.unit and not one.finding.id.startswith("picture-")]
    # What was measured by meter is said given what was recorded of the same sensor: so it stays.
    return [
        replace(
            one,
            log_likelihood=one.log_likelihood if one.finding.id.startswith("meter ") else one.by_itself,
            in_full=None,
        )
        for one in mine
    ]


def with_share(testimonies: Sequence[Testimony], log_prior: Mapping[str, Floats], share: float) -> list[Testimony]:
    """Testimonies that say as much of sizes as before, and of causes so much of it.

    Heard one after the other, each has an evidence for the cause, its sizes weighed by what was heard before; all but
    `share` of that is taken off, at every size alike.
    """
    rows: list[dict[str, Floats]] = [{} for _ in testimonies]
    for cause, prior in log_prior.items():
        heard_so_far = prior - np.logaddexp.reduce(prior)
        for row, testimony in zip(rows, testimonies, strict=True):
            said = testimony.log_likelihood[cause]
            heard_so_far = heard_so_far + said
            evidence = float(np.logaddexp.reduce(heard_so_far))
            heard_so_far = heard_so_far - evidence
            row[cause] = said - (1.0 - share) * evidence
    return [
        replace(one, log_likelihood=row, in_full=one.log_likelihood) for one, row in zip(testimonies, rows, strict=True)
    ]


def _quieter(testimony: Testimony, share: float) -> Testimony:
    quieter = {cause: share * row for cause, row in testimony.log_likelihood.items()}
    return replace(testimony, log_likelihood=quieter, in_full=testimony.log_likelihood)
