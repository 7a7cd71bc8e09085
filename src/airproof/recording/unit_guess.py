"""The unit of a bare column, guessed from its values' range, and the reason in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airproof.recording.recording import Floats
from airproof.recording.signals import SignalKind

_SAMPLE = 4000


@dataclass(frozen=True)
class Guess:
    """A guessed unit, None where the values fit none or several equally well; `says` gives the reason."""

    unit: str | None
    says: str


def guess_unit(values: Floats, kind: SignalKind) -> Guess:
    """The unit of bare values from their range.

    A signal that never leaves zero may be in any unit: its own is taken. Engine speed between the ranges of 1/min
    and rad/s is decided by its idle level.
    """
    finite = np.isfinite(values)
    known = values if finite.all() else values[finite]
    if not known.size:
        return Guess(kind.unit, f"{kind.title}, no values to tell its unit by")
    known = np.sort(known[:: max(1, known.size // _SAMPLE)])
    low, median, high = (float(known[int(share * (known.size - 1))]) for share in (0.01, 0.5, 0.99))
    if low == high == 0.0:
        return Guess(kind.unit, f"{kind.title}, always 0 and so in any unit; taken as {kind.unit}")
    if kind.name == "engine_speed":
        return _engine_speed(known, kind)
    reach = f"its values run from {low:.4g} to {high:.4g}"
    fitting = [
        guess.unit
        for guess in kind.guesses
        if guess.within[0] <= low and high <= guess.within[1] and guess.median[0] <= median <= guess.median[1]
    ]
    if kind.unit in fitting or len(fitting) == 1:
        unit = kind.unit if kind.unit in fitting else fitting[0]
        return Guess(unit, f"{kind.title}, unit not stated; guessed {unit}, because {reach}")
    if not fitting:
        within = [g for g in kind.guesses if g.within[0] <= low and high <= g.within[1]]
        if len(within) == 1:
            unit = within[0].unit
            return Guess(unit, f"{kind.title}, unit not stated; guessed {unit}, because {reach}")
    what = f"fit {' and '.join(fitting)} alike" if fitting else "fit no usual unit"
    return Guess(None, f"{kind.title}, unit not stated, and {reach}, which {what}")


def _engine_speed(known: Floats, kind: SignalKind) -> Guess:
    """1/min or rad/s, from sorted values, by the level of the slow end while the engine turns.

    Judged: Airproof authors, because engines idle at 500 to 1300 1/min, which is 52 to 136 rad/s, and none is driven
    above 950 rad/s (9000 1/min) or idles above 3000 1/min.
    """
    turning = known[np.searchsorted(known, 5.0, "right") :]
    if not turning.size:
        return Guess(kind.unit, f"{kind.title}, always 0 and so in any unit; taken as {kind.unit}")
    slow, high = (float(turning[int(share * (turning.size - 1))]) for share in (0.05, 0.995))
    reach = f"the engine's slow end is at {slow:.4g} and its fast end at {high:.4g}"
    if high > 950.0 or slow > 400.0:
        return Guess("1/min", f"{kind.title}, unit not stated; guessed 1/min, because {reach}")
    if 40.0 <= slow <= 150.0 and high > 1.2 * slow:
        return Guess(
            "rad/s",
            f"{kind.title}, unit not stated; guessed rad/s, because {reach}, which is no idle in 1/min",
        )
    return Guess(None, f"{kind.title}, unit not stated, and {reach}, which fits 1/min and rad/s alike")
