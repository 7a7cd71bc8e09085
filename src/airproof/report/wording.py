"""Numbers as words: the same rounding in pictures, captions and sentences."""

from __future__ import annotations

import math
import re
import textwrap

_KEPT_TOGETHER = re.compile(
    r"(?<=\d) (?=(?:kPa|inHg|psi|bar|mmHg|%|s|min|mm|g/s|in 100|[A-Z]{3}|decibans|minutes)\b|%)|(?<=\bin) (?=100\b)"
)
_COMMAND = re.compile(r"(?:^|[\s(\"])--[a-z]|\"airproof |\bMAP\.toml\b")
_ID = re.compile(r" \[[a-z0-9]+(?:-[a-z0-9]+)+\]")
_UNBROKEN = "\N{NO-BREAK SPACE}"


def glued(text: str) -> str:
    """The text with blanks that do not break between a number and its unit."""
    return _KEPT_TOGETHER.sub(_UNBROKEN, text)


def wrap(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """Lines within `width`, no number parted from its unit, no word in two; `first` and `rest` begin the lines."""
    # What is longer than a line, such as a path, stays whole: it is there to be copied.
    lines = textwrap.wrap(
        glued(text),
        width,
        initial_indent=first,
        subsequent_indent=rest,
        break_on_hyphens=False,
        break_long_words=False,
    )
    return [line.replace(_UNBROKEN, " ") for line in lines]


def number(value: float, digits: int = 2) -> str:
    """A number to that many significant digits, without exponent: 8.1, 0.35, 12, 1240."""
    if not math.isfinite(value):
        return "unknown"
    if value == 0.0:
        return "0"
    places = max(digits - 1 - math.floor(math.log10(abs(value))), 0)
    text = f"{round(value, places):.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def with_interval(value: float, low: float, high: float) -> tuple[str, str, str]:
    """A number with its interval, all to the digits that the nearer end of the interval leaves meaning to."""
    nearer = min(value - low, high - value)
    if not (math.isfinite(nearer) and nearer > 0.0):
        return number(value), number(low), number(high)
    places = max(-math.floor(math.log10(nearer)), 0)
    a, b, c = (f"{round(x, places) + 0.0:.{places}f}" for x in (value, low, high))
    return a, b, c


def apart(percent: float, reference: str) -> str:
    """How far off in percent: "13 % above speed-density"."""
    if abs(percent) < 0.5:
        return f"level with {reference}"
    return f"{abs(percent):.0f} % {'above' if percent > 0 else 'below'} {reference}"


def span(low: float, high: float, unit: str) -> str:
    """A range of sizes, both taken without sign: "13 to 26 %", or "13 %" where both round to the same."""
    small, large = sorted((abs(low), abs(high)))
    if f"{small:.0f}" == f"{large:.0f}":
        return f"{large:.0f} {unit}"
    return f"{small:.0f} to {large:.0f} {unit}"


def duration(seconds: float) -> str:
    """A length of time as one would say it: "45 s", "28 min", "2 h 05 min"."""
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60.0)
    return f"{minutes} min" if minutes < 100 else f"{minutes // 60} h {minutes % 60:02d} min"


def signals(count: int) -> str:
    """So many signals, in a sentence."""
    return f"{count} signal{'s' * (count != 1)}"


def clock(seconds: float) -> str:
    """A moment of the recording: "7:05" for 425 s."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


def in_hundred(probability: float) -> str:
    """A probability as a count: "93 in 100", never 0 or 100, since nothing is certain."""
    if probability > 0.995:
        return "more than 99 in 100"
    if probability < 0.005:
        return "less than 1 in 100"
    return f"{100.0 * probability:.0f} in 100"


def for_a_page(text: str) -> str:
    """The text without its sentences on the command line's options and files, and without ids in square brackets."""
    kept = [part for part in re.split(r"(?<=[.!?;]) +", text) if not _COMMAND.search(part)]
    return _ID.sub("", " ".join(kept)).rstrip(";")


def sentence(text: str) -> str:
    """The text with a capital first letter and a full stop."""
    text = text.strip()
    if not text:
        return text
    text = text[0].upper() + text[1:]
    return text if text[-1] in ".!?" else text + "."
