"""How much weight each testimony is heard with where several rest on the same readings.

The whole picture and the single checks read the same recording, so that their testimonies must not simply multiply.
Each is heard with a share of its weight. The shares were measured: with them, probabilities on rehearsals bent away
from those learnt from are as frequent as they say, and real road cars are left alone (docs/weighing.md, section 9).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from airproof.diagnosis.testimony import Testimony

THE_PICTURE = 0.4
HEALTH, SENSORS, AIR, FUEL, OTHERS = 1.0, 0.75, 0.3, 0.15, 0.2
BESIDE_THE_PICTURE: Mapping[str, float] = {
    "key-on": SENSORS, "barometer": SENSORS, "dropouts": HEALTH, "pressure-": HEALTH, "joint-jumps": SENSORS,
    "air-flow": AIR, "throttle-flow": AIR, "fuel-": FUEL, "trim-": FUEL,
}  # fmt: skip
"""By how a finding's id begins. Fuel and trims speak through the picture alone, which knows what a control unit makes
of them; beside it the relations' own view of them made verdicts worse."""

OF_A_KNOWN_CAR = 0.9
"""Where a known-good recording of this car says what to expect, every single check is heard with this share."""


def heard(
    single: Sequence[Testimony], picture: Sequence[Testimony], *, known_car: bool, in_full: Collection[str] = ()
) -> list[Testimony]:
    """All testimonies with the shares they are heard with; the single ones in full where there is no picture.

    `in_full` names findings that rest on other readings than the picture does.
    """
    if not picture:
        return list(single)
    return [
        *(_quieter(one, OF_A_KNOWN_CAR if known_car else _share(one.finding.id, in_full)) for one in single),
        *(_quieter(one, THE_PICTURE) for one in picture),
    ]


def _share(finding: str, in_full: Collection[str]) -> float:
    if finding in in_full:
        return 1.0
    return next((share for start, share in BESIDE_THE_PICTURE.items() if finding.startswith(start)), OTHERS)


def _quieter(testimony: Testimony, share: float) -> Testimony:
    return replace(testimony, log_likelihood={cause: share * row for cause, row in testimony.log_likelihood.items()})
