"""Testimony: a finding together with how probable it is under every hypothesis.

All testimonies of a case multiply. Findings that share something unknown (the engine's volumetric efficiency, the
pressure of the day) are taken as one Gaussian group, and each is judged given those before it in the group, so that
nothing is counted twice and the weights of evidence still add up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.finding import Finding

Floats = NDArray[np.float64]

TAIL = 4.0
"""Degrees of freedom of the t distribution used in place of a Gaussian: a check that is misled by something nobody
thought of must not outweigh everything else. judged: Airproof authors, as is usual in robust regression."""


@dataclass(frozen=True)
class Testimony:
    """`log_likelihood[c]` (S_c,) of the finding for every hypothesis, given the testimonies before it in its group.

    Where others rest on the same readings it is heard with a share of its weight only; `in_full` is then what it says
    by itself.
    """

    finding: Finding
    log_likelihood: Mapping[str, Floats]
    in_full: Mapping[str, Floats] | None = None

    @property
    def by_itself(self) -> Mapping[str, Floats]:
        """What it would say if it were the only one."""
        return self.log_likelihood if self.in_full is None else self.in_full


Blur: TypeAlias = float | tuple[float, float]
"""A further standard deviation, on the whole and on each finding by itself."""


def log_t(z: Floats, scale: Floats | float = 1.0) -> Floats:
    """Log density of a t-distributed residual z standard deviations off, up to a constant common to all."""
    return np.asarray(-0.5 * (TAIL + 1.0) * np.log1p(np.square(z) / TAIL) - np.log(scale))


def group(
    findings: Sequence[Finding],
    off: Mapping[str, Floats],
    covariance: Floats,
    blur: Mapping[str, Blur] | None = None,
    otherwise: Mapping[str, tuple[Floats, Floats]] | None = None,
) -> list[Testimony]:
    """Testimonies of k findings whose deviations share unknowns.

    `off[c]` (S_c, k): how far each finding would still lie from what a healthy engine shows, if c at that size were
    undone; `covariance` (k, k) of those deviations when it is; `blur[c]`: further standard deviation, on the whole and
    on each finding (one number for both, or one for each), of a cause whose effect cannot be computed.
    `otherwise[c]` is a probability (S_c,) and the deviations (S_c, k) that then hold: something else may come about
    under that cause, for all findings at once.
    """
    blur = blur or {}
    otherwise = otherwise or {}
    factors: dict[Blur, tuple[Floats, Floats]] = {}
    likelihood: dict[str, Floats] = {}
    for cause, deviation in off.items():
        extra = blur.get(cause, 0.0)
        if extra not in factors:
            whole, own = extra if isinstance(extra, tuple) else (extra, extra)
            wider = covariance + whole**2 + own**2 * np.eye(len(findings))
            lower = np.linalg.cholesky(wider)
            factors[extra] = (np.linalg.inv(lower), np.diag(lower))
        whiten, scale = factors[extra]
        rows = log_t(deviation @ whiten.T, scale)
        if cause in otherwise:
            share, instead = otherwise[cause]
            rows = _either(rows, log_t(instead @ whiten.T, scale), share[:, None])
        likelihood[cause] = rows
    return [
        Testimony(finding, {cause: rows[:, k] for cause, rows in likelihood.items()})
        for k, finding in enumerate(findings)
    ]


def _either(first: Floats, second: Floats, share: Floats) -> Floats:
    """Rows of a mixture of two ways a group may come about, each row given those before it."""
    both = np.logaddexp(np.log1p(-share) + np.cumsum(first, axis=1), np.log(share) + np.cumsum(second, axis=1))
    return np.diff(both, axis=1, prepend=0.0)


def single(
    finding: Finding, off: Mapping[str, Floats], sd: float, blur: Mapping[str, float] | None = None
) -> Testimony:
    """Testimony of one finding on its own: `off[c]` (S_c,) as in `group`, and its standard deviation when undone."""
    return group([finding], {c: d[:, None] for c, d in off.items()}, np.array([[sd**2]]), blur)[0]
