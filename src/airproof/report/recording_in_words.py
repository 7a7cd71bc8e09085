"""A recording under way, in one line, and what it holds once it has ended."""

from __future__ import annotations

from pathlib import Path

from airproof.report.in_words import Part
from airproof.vehicle.recorder.recorder import Status

_MISSING_SHOWN = 4
_SHOWN = (("engine_speed", "1/min"), ("manifold_pressure", "kPa"))


def status_in_a_line(status: Status) -> str:
    """How it stands, and what to do next."""
    minutes, seconds = divmod(int(status.at_s), 60)
    doing = status.regime or "between"
    shown = [f"{status.latest[name]:.0f} {unit}" for name, unit in _SHOWN if name in status.latest]
    head = f"{minutes}:{seconds:02d} {status.state}, {', '.join([*shown, doing])}, {status.items_per_s:.0f} values/s"
    if status.state not in ("recording", "stopped"):
        return f"{head}; trying again"
    return f"{head}; now: {status.missing[0].now}" if status.missing else f"{head}; everything is there"


def stopped_in_words(status: Status, recording: Path, facts: Path) -> list[Part]:
    """What the recording holds, what is missing, and how to weigh it."""
    minutes, seconds = divmod(round(status.at_s), 60)
    held = [f"{regime}: {length:.0f} s" for regime, length in status.seconds.items() if length >= 1.0]
    parts = [
        Part(
            "recorded",
            "",
            (
                f"Recorded {minutes} min {seconds} s in {recording}: {status.rows} answers of "
                f"{len(status.latest)} signals, {1e3 * status.latency_s:.0f} ms from question to answer.",
            ),
        ),
        Part("held", "It holds", tuple(held) or ("no regime long enough to count",)),
    ]
    if status.missing:
        lines = [f"{one.now}: {one.why}" for one in status.missing[:_MISSING_SHOWN]]
        parts.append(Part("missing", "Still missing, the most telling first", tuple(lines)))
    if status.heard:
        lines = [f"{what}: {count} times" for what, count in sorted(status.heard.items()) if count]
        parts.append(Part("heard", "What went wrong and was made good", tuple(lines)))
    parts.append(Part("next", "Weigh it", (f"airproof weigh {recording} --engine ENGINE.toml --reading {facts}",)))
    return parts
