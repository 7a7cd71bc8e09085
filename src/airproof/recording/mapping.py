"""MAP.toml: which heading is which signal, in which unit, where the headings cannot be guessed."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, model_validator

from airproof.errors import UnusableFile
from airproof.recording.signals import glossary
from airproof.recording.units_stated import mended, stated_unit
from airproof.toml_files import load_toml

_EXAMPLE = 'manifold_pressure = {heading = "intake_manifold_pressure", unit = "Pa"}'


class MappedSignal(BaseModel):
    """One line of [signals]: the heading, and its unit where the file does not state it."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    heading: str = Field(min_length=1)
    unit: str | None = None


class SignalMap(BaseModel):
    """A whole MAP.toml: [signals], and `rate_hz` for a file without a time column."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    signals: dict[str, MappedSignal] = {}
    rate_hz: float | None = Field(default=None, gt=0)
    source: str = Field(default="MAP.toml", exclude=True)

    @model_validator(mode="before")
    @classmethod
    def _short_form(cls, data: Any) -> Any:
        """A heading alone (manifold_pressure = "MAP") is enough where the file states the unit."""
        if isinstance(data, dict) and isinstance(data.get("signals"), dict):
            lines = {n: {"heading": v} if isinstance(v, str) else v for n, v in data["signals"].items()}
            return {**data, "signals": lines}
        return data

    def check(self) -> None:
        """Raise UnusableFile for a signal or unit that does not exist."""
        known = glossary().signals
        for name, line in self.signals.items():
            if name not in known:
                near = difflib.get_close_matches(name, known, 3, 0.5) or sorted(known)
                raise UnusableFile(
                    f"there is no signal {name!r}",
                    f"one of the signals' names, such as {', '.join(near[:6])}",
                    "Correct the name.",
                    where=self.source,
                )
            unit = stated_unit(line.unit) if line.unit is not None else None
            if line.unit is not None and (unit is None or not unit.fits(known[name])):
                raise UnusableFile(
                    f"{name} cannot be in {line.unit!r}",
                    f"a unit that can be turned into {known[name].unit}",
                    "Correct the unit.",
                    where=self.source,
                )

    def columns(self, headings: Sequence[str], where: str) -> dict[int, str]:
        """Which signal the map names for each column, by its index.

        Headings meet exactly, else with case and outer blanks ignored. Raises UnusableFile for a heading that the
        file does not have, listing those near it.
        """
        exact = {mended(h).strip(): n for n, h in reversed(list(enumerate(headings)))}
        loose = {h.casefold(): n for h, n in exact.items()}
        found: dict[int, str] = {}
        for name, line in self.signals.items():
            wanted = mended(line.heading).strip()
            index = exact.get(wanted, loose.get(wanted.casefold()))
            if index is None:
                near = difflib.get_close_matches(wanted.casefold(), loose, 4, 0.4)
                listed = [headings[loose[h]] for h in near] or [h for h in headings if h][:8]
                raise UnusableFile(
                    f"{self.source} names the heading {line.heading!r} for {name}, which this file does not have",
                    f"one of its headings, such as {', '.join(repr(h) for h in listed)}",
                    f"Correct the heading in {self.source}.",
                    where=where,
                )
            if index in found:
                raise UnusableFile(
                    f"the heading {line.heading!r} is named for both {found[index]} and {name}",
                    "one signal for each heading",
                    "Take one of the two lines out.",
                    where=self.source,
                )
            found[index] = name
        return found


def read_signal_map(path: Path | str) -> SignalMap:
    """The map in a TOML file; raises UnusableFile, in one line, for whatever is wrong with it."""
    path = Path(path)
    read = load_toml(
        path, SignalMap, wanted=f"lines under [signals] such as {_EXAMPLE}", way_out="Correct that line of the map."
    )
    found = read.model_copy(update={"source": path.name})
    if not found.signals and found.rate_hz is None:
        raise UnusableFile(
            "it names no signal",
            f"lines under [signals] such as {_EXAMPLE}",
            "Write them. Or leave --signals out.",
            where=path.name,
        )
    found.check()
    return found
