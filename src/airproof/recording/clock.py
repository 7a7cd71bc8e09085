"""Stamps into seconds: elapsed time in any unit, time of day across midnight, dates, seconds since 1970."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from airproof.errors import UnusableFile
from airproof.recording.recording import Floats
from airproof.recording.units_stated import StatedUnit

_FORMATS = (
    "%Y-%m-%dT%H:%M:%S%.f",
    "%Y-%m-%d %H:%M:%S%.f",
    "%Y/%m/%d %H:%M:%S%.f",
    "%d.%m.%Y %H:%M:%S%.f",
    "%d-%b-%Y %H:%M:%S%.f",
    "%m/%d/%Y %I:%M:%S%.f %p",
    "%d/%m/%Y %H:%M:%S%.f",
    "%m/%d/%Y %H:%M:%S%.f",
    "%d-%m-%Y %H:%M:%S%.f",
    "%Y-%m-%dT%H:%M",
    "%Y-%m-%d %H:%M",
    "%Y/%m/%d %H:%M",
    "%d.%m.%Y %H:%M",
    "%d/%m/%Y %H:%M",
    "%m/%d/%Y %H:%M",
    "%Y%m%d %H%M%S",
)
_SECONDS = {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0, "us": 1e-6, "ns": 1e-9}
DAY_S = 86400.0

SLOWEST_STEP_S = 20.0
"""Nobody records a car less often (judged: Airproof authors, because nothing that an engine does lasts so long)."""


@dataclass
class Clock:
    """Stamps in seconds (NaN where there was none), what was understood, and whether they count from a start."""

    seconds: Floats
    says: str
    elapsed: bool = True


def from_numbers(stamps: Floats, unit: StatedUnit | None) -> Clock:
    """Numeric stamps: elapsed in the stated unit, else seconds since 1970 by size, else s or ms by step."""
    if unit is not None and unit.unit in _SECONDS:
        scale = _SECONDS[unit.unit]
        return Clock(stamps if scale == 1.0 else stamps * scale, f"time in {unit.unit}")
    finite = np.isfinite(stamps)
    known = stamps if finite.all() else stamps[finite]
    if not known.size:
        return Clock(stamps, "time")
    middle = _middle(known)
    for least, scale, name in ((1e17, 1e-9, "ns"), (1e14, 1e-6, "us"), (1e11, 1e-3, "ms"), (1e8, 1.0, "s")):
        if middle > least:
            return Clock(stamps * scale, f"time in {name} since 1970, by its size", elapsed=False)
    steps = known[1:] - known[:-1]
    steps = steps[steps > 0]
    step = _middle(steps) if steps.size else 1.0
    # judged: Airproof authors, because nobody records a car for more than a day either
    if (step >= SLOWEST_STEP_S or known.max() - known.min() > DAY_S) and np.all(known == np.round(known)):
        return Clock(stamps * 1e-3, f"time guessed to be in ms, because it goes in whole steps of {step:g}")
    return Clock(stamps, f"time guessed to be in s, because its step is {step:g}")


def refuse_too_slow(found: Clock, unit: StatedUnit | None, heading: str, source: str) -> None:
    """Raise UnusableFile where elapsed stamps put rows further apart than anybody records a car: is their unit right?

    Not for a unit that a map names: that is the answer to this question.
    """
    known = found.seconds[np.isfinite(found.seconds)]
    steps = known[1:] - known[:-1]
    steps = steps[steps > 0]
    if not found.elapsed or not steps.size or (step := _middle(steps)) < SLOWEST_STEP_S:
        return
    said = unit.unit if unit is not None and unit.unit in _SECONDS else "s"
    finer = [name for name in ("s", "ms", "us") if _SECONDS[name] < _SECONDS[said]]
    meant = next((name for name in finer if step * _SECONDS[name] / _SECONDS[said] < SLOWEST_STEP_S), None)
    as_if = f", as if the stamps were in {meant}" if meant else ""
    raise UnusableFile(
        f"read in {said}, the rows under {heading!r} stand {step:.3g} s apart and last "
        f"{(known.max() - known.min()) / 3600.0:.3g} h{as_if}",
        f"rows at most {SLOWEST_STEP_S:g} s apart",
        f"Write the stamps' unit in the heading, such as Time ({meant or 'ms'}). Or name heading and unit of time in a "
        "MAP.toml and give it with --signals: what stands there is taken as it is.",
        where=source,
    )


def from_texts(stamps: pl.Series) -> Clock | None:
    """Time of day or date and time as text; None where most of the filled cells are neither."""
    even = _even_clock(stamps)
    if even is not None:
        return of_day(even)
    texts = stamps.str.strip_chars()
    filled = texts.filter(texts.is_not_null() & (texts != ""))
    if filled.is_empty():
        return None
    sample = filled.head(50)
    if sample.str.contains(r"^\d{1,3}:\d{2}").mean() == 1.0:
        return _time_of_day(texts)
    sample = _bare_date(sample)
    for text_format in _FORMATS:
        if sample.str.to_datetime(text_format, strict=False, time_unit="us").null_count() == 0:
            found = _bare_date(texts).str.to_datetime(text_format, strict=False, time_unit="us")
            seconds = found.dt.epoch("us").cast(pl.Float64) * 1e-6
            return Clock(_floats(seconds), "date and time", elapsed=False)
    return None


def _bare_date(stamps: pl.Series) -> pl.Series:
    """Dates with their time, without a time zone, split by one blank, with a decimal point."""
    texts = stamps.str.replace(r"(?i)\s*(Z|UTC|[-+]\d{2}:?\d{2})$", "").str.replace(r"(:\d{2}),(\d)", "${1}.${2}")
    return texts.str.replace(r"(\d),? +(\d)", "${1} ${2}")


def _time_of_day(texts: pl.Series) -> Clock:
    """h:mm:ss.fff (or mm:ss.f), any of them crossing midnight."""
    exact = texts.str.to_time("%H:%M:%S%.f", strict=False)
    if exact.null_count() == texts.null_count():
        seconds = _floats(exact.cast(pl.Int64).cast(pl.Float64) * 1e-9)
        return Clock(_past_midnight(seconds), "time of day", elapsed=False)
    parts = texts.str.extract_groups(r"(?i)^(?:(\d{1,3}):)?(\d{1,3}):(\d{2}(?:[.,:]\d+)?)\s*([ap]m)?$").struct.unnest()
    hours, minutes, rest, half = (parts.to_series(n) for n in range(4))
    rest = rest.str.replace(r"[,:]", ".").cast(pl.Float64, strict=False)
    hour = _floats(hours.cast(pl.Float64, strict=False).fill_null(0.0))
    afternoon = half.str.to_lowercase().fill_null("").to_numpy()
    hour = np.where(afternoon == "pm", hour % 12 + 12, np.where(afternoon == "am", hour % 12, hour))
    minute, second = _floats(minutes.cast(pl.Float64, strict=False)), _floats(rest)
    short = bool(texts.filter(texts.is_not_null()).head(50).str.contains(r"^\d{1,3}:\d{2}(?:\.\d+)?$").all())
    if short and hours.null_count() == len(hours) and float(np.nanmax(second, initial=0.0)) < 60:
        return Clock(minute * 60 + second, "time as minutes and seconds, by its two parts")
    return Clock(_past_midnight(hour * 3600 + minute * 60 + second), "time of day", elapsed=False)


def _even_clock(stamps: pl.Series) -> Floats | None:
    """Seconds since midnight of stamps that are all as wide as the first, hh:mm:ss or hh:mm:ss.fff; else None.

    Digits are added up straight from the bytes: several times faster than parsing each stamp.
    """
    if stamps.null_count() or not stamps.len() or len(stamps[0]) < 8:
        return None
    width = len(stamps[0])
    if (stamps.str.len_bytes() != width).any():
        return None
    signs = np.frombuffer(stamps.str.join("").item().encode(), dtype=np.uint8).reshape(-1, width)
    if (signs[:, (2, 5)] != 58).any() or (width > 8 and not np.isin(signs[:, 8], (46, 44, 58)).all()):
        return None
    seconds: Floats = np.zeros(stamps.len())
    weights = (36000.0, 3600.0, None, 600.0, 60.0, None, 10.0, 1.0, None)
    for place in range(width):
        weight = weights[place] if place < 9 else 10.0 ** (8 - place)
        if weight is None:
            continue
        digit = signs[:, place] - np.uint8(48)
        if digit.max() > (2 if place == 0 else 5 if place in (3, 6) else 9):
            return None
        seconds += weight * digit
    return seconds


def of_day(seconds: Floats) -> Clock:
    """Seconds since midnight, crossing it where they fall."""
    return Clock(_past_midnight(seconds), "time of day", elapsed=False)


def _past_midnight(seconds: Floats) -> Floats:
    """A day added after each fall of more than half a day."""
    known = np.isfinite(seconds)
    steps = np.diff(seconds[known])
    if not steps.size or steps.min() > -DAY_S / 2:
        return seconds
    days = np.zeros(int(known.sum()))
    np.cumsum(steps < -DAY_S / 2, out=days[1:])
    out = seconds.copy()
    out[known] += DAY_S * days
    return out


def spread_repeats(stamps: Floats) -> tuple[Floats, str]:
    """Whole-second stamps that repeat, spread evenly; a clock that stands still while rows go on is run on.

    Returns the new stamps and a sentence on what was done; empty where nothing was.
    """
    count = stamps.size
    moved = stamps[1:] != stamps[:-1]
    if not 2 <= np.count_nonzero(moved) <= 0.7 * count - 1:
        return stamps, ""
    starts = np.concatenate(([0], np.flatnonzero(moved) + 1))
    rows = np.diff(starts, append=count)
    steps = np.diff(stamps[starts])
    if steps.min() <= 0:
        return stamps, ""
    usual = _middle(rows)
    per_row = float(steps.sum() / rows[:-1].sum())
    stalled = rows > 2 * usual + 1
    moving = ~stalled[:-1]
    if stalled.any() and moving.any():
        per_row = float(steps[moving].sum() / rows[:-1][moving].sum())
    # How long each stamp really lasted: until the next, or as long as its rows need where the clock stood still.
    lasted = np.append(steps, rows[-1] * per_row)
    if stalled.any():
        lasted = np.where(stalled, np.maximum(lasted, rows * per_row), lasted)
    begin = np.concatenate(([0.0], np.cumsum(lasted)[:-1])) + stamps[0]
    position = np.arange(count) - np.repeat(starts, rows)
    out = np.repeat(begin, rows) + position * np.repeat(lasted / rows, rows)
    says = f"the stamps repeat (about {usual:g} rows each): rows spread evenly, {per_row:.3g} s apart"
    if stalled.any():
        says += (
            f"; the clock stood still {int(stalled.sum())} time(s) while rows went on, so it was run on at that rate"
        )
    return np.asarray(out, dtype=np.float64), says


def _middle(values: Floats) -> float:
    """The median of some values, none of them missing; quicker than NumPy's own where they are few."""
    ranked = np.sort(values)
    return float(0.5 * (ranked[(ranked.size - 1) // 2] + ranked[ranked.size // 2]))


def _floats(series: pl.Series) -> Floats:
    return series.cast(pl.Float64).fill_null(float("nan")).to_numpy().astype(np.float64, copy=False)
