"""Writes one table of numbers in any style that a CSV file can have; for the tests that read it back."""

from __future__ import annotations

import gzip
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np


@dataclass(frozen=True)
class Style:
    delimiter: str = ","
    decimal: str = "."
    units: str = "brackets"  # brackets | comma | underscore | row | cells
    stamps: str = "s"  # s | ms | min | clock | clock-comma | iso | german | epoch
    trailing: bool = False
    quoted: bool = False
    preamble: int = 0
    comments: int = 0
    encoding: str = "utf-8"
    newline: str = "\n"
    gzipped: bool = False
    missing: str = ""
    spaces: bool = False
    last_newline: bool = True


# heading words and unit of each signal that the tables hold
WRITTEN = {
    "engine_speed": ("Engine speed", "rpm"),
    "manifold_pressure": ("Intake manifold absolute pressure", "kPa"),
    "coolant_temperature": ("Coolant temperature", "°C"),
    "throttle": ("Throttle position", "%"),
    "vehicle_speed": ("Vehicle speed", "km/h"),
    "air_flow": ("Mass air flow", "g/s"),
    "long_trim_1": ("Long term fuel trim bank 1", "%"),
}
UNDERSCORE = {
    "rpm": "rpm",
    "kPa": "kpa",
    "°C": "degC",
    "%": "percent",
    "km/h": "kmh",
    "g/s": "g_s",
    "s": "s",
    "ms": "ms",
    "min": "min",
}
START = datetime(2024, 3, 1, 23, 59, 58, 500000)


def stamp(seconds: float, style: Style) -> str:
    if style.stamps in ("s", "ms", "min", "epoch"):
        number = {
            "s": f"{seconds:.3f}",
            "ms": f"{seconds * 1000:.0f}",
            "min": f"{seconds / 60:.7f}",
            "epoch": f"{1.7e9 + seconds:.3f}",
        }[style.stamps]
        return number.replace(".", style.decimal)
    moment = START + timedelta(seconds=seconds)
    clock = moment.strftime("%H:%M:%S.") + f"{moment.microsecond // 1000:03d}"
    if style.stamps == "clock":
        return clock
    if style.stamps == "clock-comma":
        return clock.replace(".", ",") if style.delimiter != "," or style.quoted else clock
    if style.stamps == "iso":
        return moment.strftime("%Y-%m-%dT") + clock
    return moment.strftime("%d.%m.%Y ") + clock


def heading(words: str, unit: str, style: Style) -> str:
    if style.units == "brackets":
        return f"{words} [{unit}]"
    if style.units == "comma" and (style.delimiter != "," or style.quoted):
        return f"{words}, {unit}"
    if style.units == "underscore":
        return f"{words.replace(' ', '_')}_{UNDERSCORE[unit]}" if unit else words
    return words


def text_of(times: np.ndarray, table: dict[str, np.ndarray], style: Style) -> str:
    stated = style.units in ("row", "cells") or (style.units == "comma" and style.delimiter == "," and not style.quoted)
    style_units = "row" if stated and style.units != "cells" else style.units
    time_unit = {"s": "s", "ms": "ms", "min": "min"}.get(style.stamps, "")
    time_style = replace(style, units="brackets") if style.units == "cells" else style
    names = [heading("Time", time_unit, time_style) if time_unit else "Time"]
    names += [heading(*WRITTEN[name], style) for name in table]
    rows = [names]
    if style_units == "row":
        rows.append([time_unit, *(WRITTEN[name][1] for name in table)])
    for index, moment in enumerate(times):
        row = [stamp(float(moment), style)]
        for name, values in table.items():
            value = float(values[index])
            if np.isnan(value):
                row.append(style.missing)
                continue
            cell = f"{value:.2f}".replace(".", style.decimal)
            row.append(f"{cell} {WRITTEN[name][1]}" if style_units == "cells" else cell)
        rows.append(row)
    joiner = style.delimiter + (" " if style.spaces and style.delimiter != "\t" else "")
    lines = [f"Recorded in the yard, sheet {n}" for n in range(style.preamble)]
    lines += [f"# remark {n}" for n in range(style.comments)]
    for row in rows:
        cells = [f'"{cell}"' for cell in row] if style.quoted else row
        lines.append(joiner.join(cells) + (style.delimiter if style.trailing and row is not rows[0] else ""))
    return style.newline.join(lines) + (style.newline if style.last_newline else "")


def write(path: Path, times: np.ndarray, table: dict[str, np.ndarray], style: Style) -> Path:
    raw = text_of(times, table, style).encode(style.encoding)
    path.write_bytes(gzip.compress(raw, 1) if style.gzipped else raw)
    return path
