"""What a job holds, as the reading files that `airproof weigh --reading` takes: the same functions weigh both.

One file has the facts (docs/evidence.md), and each set of measurements with a meter one of its own (docs/meter.md).
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from airproof.diagnosis.facts import KINDS, entries_of
from airproof.jobs.kinds import as_data
from airproof.jobs.state import State
from airproof.knowledge.model import Knowledge

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_NOT_IN_TOML = re.compile(r"[\x00-\x1f\x7f]")
MEASURED_TABLES = ("meter", "sensor", "day", "measured")


@dataclass(frozen=True)
class Written:
    """Texts of reading files; `left_out`: what is kept in the job and carries no weight, in words."""

    facts: str
    measured: tuple[str, ...]
    left_out: tuple[str, ...]


def written(state: State, known: Knowledge) -> Written:
    """The reading files of a job; things of one sort stand in the order of their names."""
    left_out = [f"fact {one.number} of this job cannot be read, and is not heard" for one in state.unreadable]
    tables: dict[str, Any] = {
        "code": _codes(state, known, left_out),
        "freeze_frame": _frames(state, known, left_out),
        **{kind: _noted(state, kind, known, left_out) for kind in KINDS},
        "reading": [*_steps(state, known), *_readings(state)],
    }
    if state.readiness is not None:
        readiness = state.readiness.payload
        tables["readiness"] = {"codes_read": readiness.codes_read, **readiness.monitors}
    measured = tuple(toml({name: one.payload.tables[name] for name in MEASURED_TABLES if name in one.payload.tables})
                     for one in state.measured)  # fmt: skip
    return Written(toml({name: table for name, table in tables.items() if table}), measured, tuple(left_out))


def _codes(state: State, known: Knowledge, left_out: list[str]) -> list[dict[str, Any]]:
    rows = []
    for id_, fact in sorted(state.codes.items()):
        if id_ not in known.codes:
            left_out.append(f"code {id_} is kept; it is not among those that are weighed here")
            continue
        if fact.payload.status not in known.statuses:
            left_out.append(f"the status of {id_}, {fact.payload.status!r}, is kept; it counts as stored")
        status = fact.payload.status if fact.payload.status in known.statuses else None
        rows.append(_said(id=id_, status=status, order=fact.payload.order))
    return rows


def _frames(state: State, known: Knowledge, left_out: list[str]) -> list[dict[str, Any]]:
    rows = []
    for name, fact in sorted(state.frames.items()):
        if fact.payload.code not in known.codes:
            left_out.append(f"the freeze frame of {fact.payload.code} is kept; its code is not weighed here")
            continue
        rows.append({**_said(code=fact.payload.code, id=name if fact.payload.name else None), **fact.payload.values})
    return rows


def _noted(state: State, kind: Any, known: Knowledge, left_out: list[str]) -> list[dict[str, Any]]:
    rows = []
    for (of, id_), fact in sorted(state.noted.items()):
        if of != kind:
            continue
        if id_ in entries_of(kind, known):
            rows.append({"id": id_, "found": fact.payload.found})
        else:
            left_out.append(f"{kind} {id_} is kept; it is not among those that are weighed here")
    return rows


def _steps(state: State, known: Knowledge) -> list[dict[str, Any]]:
    told = {"found": True, "not found": False, "done": False}  # a repair that is done did not help: else it is over
    return [
        _said(id=fact.payload.name, step=id_, found=told[fact.payload.outcome])
        for id_, fact in sorted(state.outcomes.items())
        if fact.payload.outcome in told and id_ in known.steps and not known.steps[id_].ends
    ]


def _readings(state: State) -> list[dict[str, Any]]:
    return [
        _said(id=one.payload.name, signal=one.payload.signal, value=one.payload.value)
        for _, one in sorted(state.readings.items())
    ]


def _said(**values: Any) -> dict[str, Any]:
    return {name: value for name, value in values.items() if value is not None}


def engine_toml(state: State) -> str | None:
    """The engine profile as its own file, or None where none was given."""
    if state.engine is None:
        return None
    data = as_data(state.engine.payload)
    return toml({name: data[name] for name in ("engine", "rehearsal") if data.get(name)})


def toml(tables: Mapping[str, Any]) -> str:
    """Tables, and lists of tables, as TOML 1.0; what lies deeper stands within its line."""
    return "\n".join(_tables(tables)) + "\n"


def _tables(tables: Mapping[str, Any]) -> Iterable[str]:
    for name, table in tables.items():
        many = isinstance(table, list)
        for one in table if many else [table]:
            yield f"[[{_key(name)}]]" if many else f"[{_key(name)}]"
            for key, value in one.items():
                if value is not None:  # JSON's null: TOML has none
                    yield f"{_key(key)} = {_value(value)}"


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _string(name)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items() if v is not None) + "}"
    return "[" + ", ".join(_value(one) for one in value if one is not None) + "]"


def _string(text: str) -> str:
    quoted = json.dumps(text, ensure_ascii=False)  # JSON's escapes are TOML's, but for what it leaves as it is
    return _NOT_IN_TOML.sub(lambda sign: f"\\u{ord(sign[0]):04x}", quoted)
