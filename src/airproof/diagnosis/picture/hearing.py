"""How loudly each testimony is heard where several rest on the same readings.

The whole picture and the single checks read the same recording, so that their testimonies must not simply multiply:
each is heard with a share of its weight. The picture is the louder, the more the recording is like those it has learnt
from; where it is strange to it, physics counts more (`docs/whole_picture.md`, section 4, says how much). The picture
says nothing of sizes, so what a check says of the size of a cause is heard in full; only what it says for or against it
is shared.
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
    known = learned("again" if known_car else "first")
    shares, kin = known.shares(picture.strangeness), known.kin_shares(picture.strangeness)
    own = [one for one in single if one.finding.id in (*in_full, *SAMPLE_BY_SAMPLE)]
    shared = [one for one in single if one.finding.id not in (*in_full, *SAMPLE_BY_SAMPLE)]
    return [
        *own,
        *with_share(
            shared, log_prior, shares["checks"], {causes: between["checks"] for causes, between in kin.items()}
        ),
        *with_share(
            picture.testimonies,
            log_prior,
            shares["picture"],
            {causes: between["picture"] for causes, between in kin.items()},
        ),
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


def with_share(
    testimonies: Sequence[Testimony],
    log_prior: Mapping[str, Floats],
    share: float,
    within: Mapping[tuple[str, ...], float] | None = None,
) -> list[Testimony]:
    """Testimonies that say as much of sizes as before, and of causes so much of it; `within` has the share of what they
    say between causes that are kin.

    Heard one after the other, each has an evidence for the cause, its sizes weighed by what was heard before, and for
    each kin, its causes weighed so; all but the shares of those is taken off, at every size alike.
    """
    within = within or {}
    kin = {cause: causes for causes in within for cause in causes if cause in log_prior}
    sizes = {cause: prior - np.logaddexp.reduce(prior) for cause, prior in log_prior.items()}
    belief = {cause: float(np.logaddexp.reduce(log_prior[cause])) for cause in kin}
    left = []
    for testimony in testimonies:
        evidence = {}
        for cause in log_prior:
            heard_so_far = sizes[cause] + testimony.log_likelihood[cause]
            evidence[cause] = float(np.logaddexp.reduce(heard_so_far))
            sizes[cause] = heard_so_far - evidence[cause]
        together = {causes: _of_kin(causes, belief, evidence) for causes in set(kin.values())}
        row = {}
        for cause, alone in evidence.items():
            common = together[kin[cause]] if cause in kin else alone
            apart = alone - common
            if cause in kin:
                belief[cause] += apart
                apart *= within[kin[cause]]
            row[cause] = testimony.log_likelihood[cause] - alone + share * common + apart
        left.append(replace(testimony, log_likelihood=row, in_full=testimony.log_likelihood))
    return left


def _of_kin(causes: tuple[str, ...], belief: Mapping[str, float], evidence: Mapping[str, float]) -> float:
    """The evidence for any one of those causes, each weighed by what is believed of it, ln."""
    there = [cause for cause in causes if cause in belief]
    before = np.array([belief[cause] for cause in there])
    after = before + np.array([evidence[cause] for cause in there])
    return float(np.logaddexp.reduce(after) - np.logaddexp.reduce(before))
