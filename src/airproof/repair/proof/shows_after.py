"""What shows after a repair and was not to be mended by it: what it hides, and what it hints at."""

from __future__ import annotations

from collections.abc import Sequence

from airproof.knowledge.model import Cause, Knowledge, Step
from airproof.repair.proof.proof import LOST, Missing
from airproof.repair.proof.words import in_small

LOSE_THE_SIGNAL = ("map-stuck", "map-circuit")
HIDDEN_THEN = ("map-offset", "map-gain", "map-slow", "map-intermittent", "supply-reference")
"""How a manifold pressure signal was wrong cannot be seen to be gone where the signal itself is."""


def what_shows(first: str | None, cause: Cause | None, steps: Sequence[Step], known: Knowledge) -> tuple[Missing, ...]:
    """What is to be said of the foremost cause that shows after a repair, None where none does."""
    if first is None:
        return ()
    said = []
    title = in_small(known.causes[first].title)
    if cause is not None and cause.id in HIDDEN_THEN and first in LOSE_THE_SIGNAL:
        hides = (
            f"in the recording after the signal itself is lost ({title}), and what was wrong with it may be there still"
        )
        said.append(Missing(LOST, None, f"{hides}; mend that first, and record again"))
    mends = next((in_small(one.title) for one in steps if first in one.cures), None)
    if mends is not None:
        shows = f"what shows after is just what this should have mended ({mends})"
        either = "the work or the new part may be at fault, or before and after were given the wrong way round"
        said.append(Missing("odd", None, f"{shows}: {either}", needed=False))
    return tuple(said)
