"""The logger of the rehearsal: it polls the car's data items in turn and stores what comes back.

What it stores is what makes diagnosis hard: values in the standard's coarse codes, one after the other rather than at
one moment, stamped later than they were true, some of them missing. Items and loggers are data (data/loggers.toml).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, Self, TypeVar

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from airproof.engine.rehearsal.tables import tables
from airproof.engine.rehearsal.trace import Floats, Trace
from airproof.errors import BrokenKnowledge, UnusableRequest
from airproof.recording.signals import glossary
from airproof.toml_files import in_words

Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]
Share = Annotated[float, Field(ge=0.0, le=0.9)]

DATA = "engine/rehearsal/data/loggers.toml"
OURS = "This is a fault of ours: please report it."
Entry = TypeVar("Entry", bound=BaseModel)


class DataItem(BaseModel):
    """One signal as the standard codes it: value = code x times / over + offset, in the unit of the signals' table.

    The code is a whole number of `bits` bits; `item` is the standard's number of the item that carries it.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    signal: str
    item: Annotated[str, Field(pattern=r"^[0-9A-F]{2}$")]
    bits: Annotated[int, Field(ge=1, le=16)]
    times: Annotated[float, Field(gt=0.0)] = 1.0
    over: Annotated[float, Field(gt=0.0)] = 1.0
    offset: float = 0.0
    source: Annotated[str, Field(min_length=1)]

    @property
    def step(self) -> float:
        """From one code to the next, in the signal's unit."""
        return self.times / self.over

    def decoded(self, codes: Floats) -> Floats:
        """The values that codes stand for, of the same shape."""
        return np.asarray(codes * self.times / self.over + self.offset, dtype=np.float64)

    def coded(self, values: Floats) -> Floats:
        """The nearest values that can be answered, of the same shape: at the ends of the range where they lie
        outside, NaN where NaN."""
        codes = np.rint((values - self.offset) * self.over / self.times)
        return self.decoded(np.clip(codes, 0.0, 2.0**self.bits - 1.0))


class Logger(BaseModel):
    """One kind of logger; times in s, rates in 1/s, pressures in kPa absolute. What each means stands in the data."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str
    says: str = ""
    requests_per_s: Annotated[float, Field(ge=0.5, le=500.0)]
    items_per_request: Annotated[int, Field(ge=1, le=6)] = 1
    pace_jitter: Share = 0.0
    latency_s: Annotated[float, Field(ge=0.0, le=5.0)] = 0.0
    latency_jitter_s: Annotated[float, Field(ge=0.0)] = 0.0
    often: tuple[str, ...] = ()
    often_times: Annotated[int, Field(ge=1, le=50)] = 1
    lost_share: Share = 0.0
    gaps_per_hour: Annotated[float, Field(ge=0.0, le=600.0)] = 0.0
    gap_s: tuple[float, float] = (0.0, 0.0)
    rows: Literal["row per round", "row per answer", "sample-and-hold"]
    rows_per_s: Annotated[float, Field(gt=0.0, le=200.0)] | None = None
    records: Literal["all"] | tuple[str, ...] = "all"
    manifold_item: Literal["0B", "87"] = "0B"
    manifold_full_scale_kpa: Annotated[int, Field(ge=10, le=2550, multiple_of=10)] | None = None
    source: Annotated[str, Field(min_length=1)]

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        named = () if self.records == "all" else self.records
        unknown = sorted({*named, *self.often} - glossary().signals.keys())
        faults = {
            f"there is no signal {', '.join(unknown)}": bool(unknown),
            "latency_jitter_s is more than latency_s, so that values would come from the future": (
                self.latency_jitter_s > self.latency_s
            ),
            "gap_s is the shortest and the longest gap": not 0.0 <= self.gap_s[0] <= self.gap_s[1],
            "a sample-and-hold needs rows_per_s": self.rows == "sample-and-hold" and self.rows_per_s is None,
            "a row per answer has no rows_per_s": self.rows == "row per answer" and self.rows_per_s is not None,
            "only item 0B has a full scale": self.manifold_item != "0B" and self.manifold_full_scale_kpa is not None,
        }
        for fault, there in faults.items():
            if there:
                raise ValueError(fault)
        return self

    def items(self, there: Mapping[str, object]) -> tuple[DataItem, ...]:
        """What it asks for and how it is coded, in the order of polling, of the signals that are `there`."""
        found = []
        for item in data_items():
            wanted = self.records == "all" or item.signal in self.records
            if item.signal == "manifold_pressure":
                wanted = wanted and item.item == self.manifold_item
                if self.manifold_full_scale_kpa is not None:  # item 4F: 255 stands for the car's full scale
                    item = item.model_copy(update={"times": float(self.manifold_full_scale_kpa), "over": 255.0})
            if wanted and item.signal in there:
                found.append(item)
        return tuple(found)

    def round_of(self, items: tuple[DataItem, ...]) -> tuple[tuple[str, ...], ...]:
        """The requests of one round, each the numbers of the items it asks for.

        All others are spread evenly between the `often_times` turns of those asked for often.
        """
        first = list(dict.fromkeys(item.item for item in items if item.signal in self.often))
        rest = [number for number in dict.fromkeys(item.item for item in items) if number not in first]
        turns = self.often_times if first else 1
        size = self.items_per_request
        requests: list[tuple[str, ...]] = []
        for turn in range(turns):
            asked = first + rest[turn * len(rest) // turns : (turn + 1) * len(rest) // turns]
            requests.extend(tuple(asked[n : n + size]) for n in range(0, len(asked), size))
        return tuple(requests)


@dataclass(frozen=True)
class Log:
    """What the logger stored.

    `time` holds the stamps of the rows, s of the drive, rising, shape (rows,); `columns` by signal name, in the order
    of the columns and in the units of the signals' table, each of shape (rows,), NaN for an empty cell.
    """

    time: Floats
    columns: Mapping[str, Floats]


def logger_named(name: str) -> Logger:
    """The logger of that name. Raises UnusableRequest, naming those there are."""
    return named("logger", name, _loggers())


def logger_names() -> tuple[str, ...]:
    """The loggers there are, from slow and simple to fast."""
    return tuple(_loggers())


@cache
def data_items() -> tuple[DataItem, ...]:
    """Every signal as the standard codes it, in the order of polling; the finer manifold pressure beside the usual."""
    found = entries("item", DataItem, tables("loggers")["item"])
    unknown = sorted({item.signal for item in found} - glossary().signals.keys())
    if unknown:
        raise BrokenKnowledge(f"no signal {', '.join(unknown)}", "signals of the signals' table", OURS, where=DATA)
    return found


@cache
def _loggers() -> Mapping[str, Logger]:
    return {logger.name: logger for logger in entries("logger", Logger, tables("loggers")["logger"])}


def named(what: str, name: str, there: Mapping[str, Entry]) -> Entry:
    """The entry of that name. Raises UnusableRequest, naming those there are."""
    if name not in there:
        raise UnusableRequest(f"there is no {what} {name!r}", f"one of {', '.join(there)}", "Choose one of them.")
    return there[name]


def entries(kind: str, model: type[Entry], raw: Iterable[Mapping[str, Any]]) -> tuple[Entry, ...]:
    """Entries of the data file. Raises BrokenKnowledge for one that is unsound or has no source."""
    try:
        return tuple(model.model_validate(entry) for entry in raw)
    except ValidationError as fault:
        raise BrokenKnowledge(in_words(fault), f"every {kind} complete, with a source", OURS, where=DATA) from fault


def log(trace: Trace, logger: Logger, rng: np.random.Generator) -> Log:
    """What the logger stores of a drive.

    Each answer holds the codes nearest to the values at the control unit's latest step before the answer was made up;
    rows without any answer are not stored. Polling is drawn from streams of its own (children of `rng`, which spawns
    them, so each call draws anew): it depends on the seed, the logger and which items there are, never on values, and
    of two drives the longer begins with the polling of the shorter.

    Raises UnusableRequest: a trace that is not even in time, has arrays of another length or a signal that no item
    codes; nothing to record; a drive too short for a row.
    """
    _check(trace)
    items = logger.items(trace.items)
    if not items:
        raise UnusableRequest(
            f"the logger {logger.name!r} records nothing that this car has ({', '.join(trace.items) or 'no signal'})",
            "a car with one of its signals",
            "Choose another logger.",
        )
    requests = logger.round_of(items)
    stamps, ages, lost = _polling(logger, len(requests), trace.duration_s, rng)
    last = trace.time.size - 1
    # Not interpolated: a control unit answers with what it had at its latest step.
    steps = np.clip(((stamps - ages) / (trace.duration_s / last)).astype(np.intp), 0, last)
    stamps += trace.time[0]
    time = _row_stamps(logger, stamps, float(trace.time[-1]))
    columns = {}
    for item in items:
        slots = [n for n, request in enumerate(requests) if item.item in request]
        values = item.coded(trace.items[item.signal][steps[:, slots]])
        values[lost[:, slots]] = np.nan
        columns[item.signal] = _cells(logger, stamps, slots, values, time)
    stored = (time <= trace.time[-1]) & np.logical_or.reduce([~np.isnan(cells) for cells in columns.values()])
    if not stored.any():
        raise UnusableRequest(
            f"a drive of {trace.duration_s:g} s gives the logger {logger.name!r} no row",
            "a drive of several seconds",
            "Drive longer, or choose a faster logger.",
        )
    return Log(time[stored], {name: cells[stored] for name, cells in columns.items()})


def _check(trace: Trace) -> None:
    time, wanted = trace.time, "a trace in even steps, every signal as long as its time"
    steps = np.diff(time) if time.ndim == 1 else np.empty(0)
    if not (steps.size and steps.min() > 0.0 and np.ptp(steps) < 1e-3 * steps.min()):
        raise UnusableRequest("the time of the trace is not in even steps", wanted, OURS)
    odd = [name for name, values in trace.items.items() if values.shape != time.shape]
    if odd:
        raise UnusableRequest(f"{', '.join(odd)} not as long as the time of the trace", wanted, OURS)
    unknown = sorted(trace.items.keys() - {item.signal for item in data_items()})
    if unknown:
        raise UnusableRequest(f"no item of the standard codes {', '.join(unknown)}", "signals that one does", OURS)


def _polling(
    logger: Logger, requests: int, duration_s: float, rng: np.random.Generator
) -> tuple[Floats, Floats, Bools]:
    """When each request of each round was answered (s from the start), how old its values are (s), and which are lost.

    All of shape (rounds, requests). Random numbers are drawn round by round, so that a longer drive begins alike.
    """
    pace, lateness, loss, gaps = rng.spawn(4)
    usual = 1.0 / logger.requests_per_s
    at_least = 1.0 / logger.rows_per_s if logger.rows == "row per round" and logger.rows_per_s else 0.0
    shortest = max(requests * usual * (1.0 - logger.pace_jitter), at_least)
    shape = int(np.ceil(duration_s / shortest)) + 1, requests
    takes = usual * (1.0 + logger.pace_jitter * pace.uniform(-1.0, 1.0, shape))
    within = np.cumsum(takes, axis=1)
    # A round begins when the one before is done and its turn has come.
    done = np.cumsum(within[:, -1]) - within[:, -1]
    begins = done + np.maximum.accumulate(at_least * np.arange(shape[0]) - done)
    oldest = logger.latency_s + logger.latency_jitter_s
    stamps = oldest + begins[:, None] + within  # the first question is not asked before there is a value
    kept = int(np.searchsorted(stamps[:, 0], duration_s, side="right"))
    ages = logger.latency_s + logger.latency_jitter_s * lateness.uniform(-1.0, 1.0, shape)
    lost = loss.random(shape) < logger.lost_share
    if logger.gaps_per_hour:
        lost |= _in_gap(logger, stamps, duration_s, gaps)
    return stamps[:kept], ages[:kept], lost[:kept]


def _in_gap(logger: Logger, stamps: Floats, duration_s: float, rng: np.random.Generator) -> Bools:
    """Which answers fall into a stretch without any; gaps begin at random, one after the other."""
    rate = logger.gaps_per_hour / 3600.0
    many = int(10 + 3 * rate * duration_s)
    drawn = rng.random((many, 2))
    lasting = logger.gap_s[0] + (logger.gap_s[1] - logger.gap_s[0]) * drawn[:, 1]
    begin = np.cumsum(-np.log1p(-drawn[:, 0]) / rate) + np.cumsum(lasting) - lasting
    latest = np.searchsorted(begin, stamps, side="right") - 1
    ends = begin + lasting
    return np.asarray((latest >= 0) & (stamps < ends[np.maximum(latest, 0)]), dtype=np.bool_)


def _row_stamps(logger: Logger, stamps: Floats, end_s: float) -> Floats:
    """When each row was written, from when each request of each round was answered, shape (rounds, requests)."""
    match logger.rows:
        case "row per round":
            return stamps[:, -1]
        case "row per answer":
            return stamps.ravel()
    start = float(np.floor(stamps[0, 0])) if stamps.size else end_s
    rate = logger.rows_per_s or 1.0
    return np.asarray(start + np.arange(int((end_s - start) * rate) + 1) / rate, dtype=np.float64)


def _cells(logger: Logger, stamps: Floats, slots: list[int], values: Floats, rows: Floats) -> Floats:
    """The column of one signal, for each row one cell, from its answers in `slots` of each round."""
    match logger.rows:
        case "row per round":  # of several answers the latest
            cells = values[:, 0]
            for later in values.T[1:]:
                cells = np.where(np.isnan(later), cells, later)
            return cells
        case "row per answer":
            grid = np.full(stamps.shape, np.nan)
            grid[:, slots] = values
            return grid.ravel()
    told = ~np.isnan(values)  # held until the next answer, however old
    known = np.concatenate(([np.nan], values[told]))
    return np.asarray(known[np.searchsorted(stamps[:, slots][told], rows, side="right")], dtype=np.float64)
