"""What the user likes: units, name, look, prices. One small file in the data folder, put in place whole."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Collection
from pathlib import Path
from typing import Annotated, Any, Literal

import tomli
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from airproof.errors import UnusableFile
from airproof.jobs.facts_written import toml
from airproof.knowledge.model import Prices
from airproof.quantities.wishes import Pressure, Temperature, Wish
from airproof.recording.mapping import SignalMap
from airproof.repair.prices import load_prices
from airproof.toml_files import in_words

FILE = "settings.toml"
PRICES = "prices.toml"
MAPS_KEPT = 200
"""Files whose headings were put right by hand; judged: Airproof authors: a shop has a few loggers, not hundreds."""


class Remembered(BaseModel):
    """Headings that were put right by hand: files with these headings are read so."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    headings: tuple[str, ...]
    signals: SignalMap


class Settings(BaseModel):
    """What the user likes; a file of a newer Airproof may hold more, which is kept out of harm's way."""

    model_config = ConfigDict(extra="ignore", frozen=True)

    pressure: Pressure = "kPa"
    temperature: Temperature = "degC"
    below_the_air_outside: bool = False
    look: Literal["as the system", "light", "dark"] = "as the system"
    name: Annotated[str, StringConstraints(strip_whitespace=True, max_length=100)] = ""
    altitude: Annotated[str, StringConstraints(strip_whitespace=True, max_length=40)] = ""
    remembered: tuple[Remembered, ...] = Field(default=(), max_length=MAPS_KEPT)

    def wish(self, barometer_kpa: float | None = None) -> Wish:
        """How pressures and temperatures are shown, at a place with that pressure, kPa absolute."""
        return Wish(self.pressure, self.temperature, self.below_the_air_outside, barometer_kpa)

    def with_map(self, headings: Collection[str], signals: SignalMap) -> Settings:
        """The settings with those headings remembered, in the place of an older way of reading them."""
        key = tuple(sorted(headings))
        others = [one for one in self.remembered if one.headings != key]
        kept = (*others[-(MAPS_KEPT - 1) :], Remembered(headings=key, signals=signals))
        return self.model_copy(update={"remembered": kept})

    def map_for(self, headings: Collection[str]) -> SignalMap | None:
        """How a file with exactly these headings was read by hand, or None."""
        key = tuple(sorted(headings))
        return next((one.signals for one in self.remembered if one.headings == key), None)


def load_settings(folder: Path) -> Settings:
    """The settings of that folder; as they come where nothing was said yet.

    Raises UnusableFile for a file that cannot be read, which is never overwritten silently.
    """
    path = folder / FILE
    try:
        said = tomli.loads(path.read_text(encoding="utf-8"))
        liked = said.get("settings", {})
        if not isinstance(liked, dict):
            raise TypeError("settings is no table")
        return Settings.model_validate({**liked, "remembered": said.get("remembered", ())})
    except FileNotFoundError:
        return Settings()
    except ValidationError as fault:
        raise _unreadable(path, in_words(fault)) from fault
    except (OSError, ValueError, TypeError, RecursionError) as fault:
        raise _unreadable(path, str(fault)) from fault


def keep_settings(folder: Path, settings: Settings) -> None:
    """Write the settings, the whole file or nothing."""
    _put(folder / FILE, toml(_tables(settings)))


def own_prices(folder: Path, usual: Prices, tools: Collection[str]) -> Prices:
    """`usual` with the shop's own prices over it, where it has said any; raises UnusableFile as `load_prices`."""
    path = folder / PRICES
    return load_prices(path, usual, tools) if path.is_file() else usual


def keep_prices(folder: Path, text: str, usual: Prices, tools: Collection[str]) -> Prices:
    """Keep a price file as written; raises UnusableFile, the old one kept, where it is none."""
    with tempfile.TemporaryDirectory() as place:
        trial = Path(place) / PRICES
        trial.write_text(text, encoding="utf-8")
        try:
            prices = load_prices(trial, usual, tools)
        except UnusableFile as fault:
            raise UnusableFile(fault.given, fault.wanted, fault.way_out, where="prices") from fault
    _put(folder / PRICES, text)
    return prices


def _tables(settings: Settings) -> dict[str, Any]:
    said = settings.model_dump(mode="json", exclude_none=True)
    remembered = said.pop("remembered")
    return {"settings": said, **({"remembered": remembered} if remembered else {})}


def _put(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle, passing = tempfile.mkstemp(prefix=".settings-", dir=path.parent)
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            Path(passing).replace(path)
        except BaseException:
            with contextlib.suppress(OSError):
                Path(passing).unlink()
            raise
    except OSError as fault:
        way_out = "Make room. Or name another folder with --data."
        raise UnusableFile(
            f"it cannot be written ({fault.strerror})", "a place with room", way_out, where=str(path)
        ) from fault


def _unreadable(path: Path, given: str) -> UnusableFile:
    way_out = "Correct it, or take it away: then everything is as it comes."
    return UnusableFile(given, "the settings as Airproof writes them", way_out, where=str(path))
