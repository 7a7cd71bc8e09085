"""The short drive that would complete the proof, made from what is missing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from airproof.repair.proof.monitors import monitor_rules
from airproof.repair.proof.proof import CodesAfter, DriveStretch, Missing
from airproof.repair.proof.stretches import drive

ONCE_MORE = "once more: two recordings of it say more than one"


def drive_for(
    missing: Sequence[Missing], codes: CodesAfter | None, again: Mapping[str, float] | None = None
) -> tuple[DriveStretch, ...]:
    """Stretches in the order in which they are driven, each with why; none where nothing is missing.

    `again` is what to drive a second time, seconds by regime.
    """
    known = drive().stretches
    least: dict[str, float] = dict(again or {})
    why: dict[str, list[str]] = {name: [ONCE_MORE] for name in least}
    for one in missing:
        if one.what in known:
            why.setdefault(one.what, []).append(one.says)
            least[one.what] = max(least.get(one.what, 0.0), one.seconds or 0.0)
    for monitor in codes.monitors if codes is not None else ():
        if monitor.complete is False and monitor.id in monitor_rules().monitors:
            for stretch in monitor_rules().monitors[monitor.id].drives:
                why.setdefault(stretch, []).append(f"the monitor of {monitor.title} waits for it")
    return tuple(
        DriveStretch(name, one.title, max(one.seconds, least.get(name, 0.0)), one.how, tuple(why[name]), one.cautions)
        for name, one in known.items()
        if name in why
    )
