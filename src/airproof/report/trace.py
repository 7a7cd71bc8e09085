"""A recording as an interactive picture: the signals over time, no more points than the screen can show.

What comes out is the plain description of a figure (traces, axes, shapes) that a plotting library draws in the browser.
It holds only what lies in the window asked for; zooming asks again, so a recording may be as long as it likes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from airproof.diagnosis.finding import Finding
from airproof.diagnosis.weighing import RelationTrace
from airproof.quantities.wishes import AS_IT_IS, Wish, in_units
from airproof.recording.recording import Floats, Interval, Recording, Signal
from airproof.recording.regimes import Regime, Regimes
from airproof.recording.signals import signal_kind
from airproof.report.wording import clock

COLUMNS = 900
"""Stretches of which the lowest and highest value are drawn: about what a laptop's screen has pixels."""

ROW_PX, REGIME_PX, EDGE_PX = 165, 116, 70
TITLE_PX = 21
"""Of a row, for its title."""

TICKS_S = (0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400)
MOST_TICKS = 7
GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("pressures", ("manifold_pressure", "charge_pressure", "charge_pressure_target", "barometric_pressure")),
    ("engine speed", ("engine_speed",)),
    ("throttle and pedal", ("throttle", "throttle_target", "pedal", "wastegate")),
    ("air flow", ("air_flow",)),
    ("trims", ("short_trim_1", "long_trim_1", "short_trim_2", "long_trim_2")),
    ("lambda", ("lambda", "lambda_target")),
    ("load", ("load", "absolute_load")),
    ("road speed", ("vehicle_speed",)),
    ("temperatures", ("intake_temperature", "ambient_temperature", "coolant_temperature")),
    ("spark", ("ignition_advance",)),
)
AT_FIRST = 4
BANDS: Mapping[str, str] = {
    "manifold-pressure": "manifold_pressure",
    "air-flow": "air_flow",
    "charge-pressure": "charge_pressure",
}
"""Which relation's healthy range lies over which signal."""

GREY, DARK_GREY = "#8a949e", "#5f6973"
"""Of what lies below the lines, on light and on dark paper."""
STYLES = ("solid", "dash", "dot", "dashdot")
STYLE_WORDS = {"solid": "unbroken", "dash": "dashed", "dot": "dotted", "dashdot": "dash and dot"}
LEAST_SHADED = 0.004  # of the window: a narrower stretch is not seen
MOST_SHAPES = 150


@dataclass(frozen=True)
class View:
    """What is to be seen: the window, s; the groups of signals; another recording laid over, `shift_s` later."""

    window: Interval
    groups: tuple[str, ...]
    over: Recording | None = None
    over_name: str = "other"
    shift_s: float = 0.0
    wish: Wish = AS_IT_IS
    dark: bool = False
    columns: int = COLUMNS
    marked: tuple[Interval, ...] = field(default=())


@dataclass(frozen=True)
class Seen:
    """A recording with what the weighing found in it."""

    recording: Recording
    regimes: Regimes
    relations: Sequence[RelationTrace] = ()
    findings: Sequence[Finding] = ()


def groups_of(recording: Recording) -> tuple[str, ...]:
    """The groups of which the recording has any signal, in reading order; other signals by their own titles."""
    known = {name for _, names in GROUPS for name in names}
    found = [title for title, names in GROUPS if any(name in recording for name in names)]
    return (*found, *(signal_kind(name).title for name in recording if name not in known))


def key(seen: Seen, view: View) -> list[str]:
    """What each line is, in words, one sentence for each group that has more than one kind of line."""
    told = []
    for title in view.groups:
        names = _names(title, seen.recording)
        lines = [f"{STYLE_WORDS[STYLES[n % len(STYLES)]]} {_title(name, view.wish)}" for n, name in enumerate(names)]
        if any(_relation(seen, name) is not None for name in names):
            lines.append("broad grey strokes: where 90 in 100 healthy engines lie")
        if len(lines) > 1:
            told.append(f"{title[0].upper()}{title[1:]}: {'; '.join(lines)}.")
    return told


def figure(seen: Seen, view: View) -> dict[str, Any]:
    """The figure: one row for each group, and one on top for what the engine was doing; all share their time."""
    ink, paper, soft = ("#e9e6de", "#15191d", "#454c53") if view.dark else ("#1a2129", "#fbfaf6", "#c9c4b8")
    rows = [(title, _names(title, seen.recording)) for title in view.groups]
    regimes_known = any(seen.regimes.intervals(regime) for regime in Regime)
    heights = [REGIME_PX if regimes_known else 1, *(ROW_PX for _ in rows)]
    total = sum(heights)
    tops = 1.0 - np.concatenate([[0.0], np.cumsum(heights)]) / total
    layout: dict[str, Any] = {
        "height": total + EDGE_PX,
        "margin": {"l": 66, "r": 8, "t": 8, "b": 46},
        "paper_bgcolor": paper,
        "plot_bgcolor": paper,
        "font": {"family": "Georgia, serif", "size": 14, "color": ink},
        "hovermode": "x unified",
        "hoversubplots": "axis",
        "dragmode": "zoom",
        "showlegend": False,
        "xaxis": {
            "range": list(view.window),
            "title": {"text": "time, min:s"},
            "tickmode": "array",
            **_moments(view.window),
            "unifiedhovertitle": {"text": "%{x:.1f} s"},
            "gridcolor": soft,
            "anchor": f"y{len(rows) + 1}" if rows else "y",
            "zeroline": False,
        },
        "shapes": _shapes(seen, view, soft),
        "annotations": [],
        "uirevision": "kept",
    }
    traces = [_doing(seen.regimes, view.window, ink)]
    layout["yaxis"] = {
        "domain": [tops[1] + min(0.012, (tops[0] - tops[1]) / 2.0), tops[0]],
        "fixedrange": True,
        "visible": regimes_known,
        "tickvals": list(range(len(Regime))),
        "ticktext": [str(regime) for regime in Regime],
        "tickfont": {"size": 12},
        "gridcolor": soft,
        "range": [-0.6, len(Regime) - 0.4],
    }
    for place, (title, names) in enumerate(rows, start=2):
        top = tops[place - 1] - TITLE_PX / total
        layout["annotations"].append(_titled(", ".join(filter(None, (title, _unit(names, seen, view)))), top))
        layout[f"yaxis{place}"] = {
            "domain": [tops[place] + 0.008, top],
            "gridcolor": soft,
            "zeroline": False,
            "fixedrange": True,
        }
        traces += _row(seen, view, names, place, ink)
    return {"data": [_fixed(trace) for trace in traces], "layout": layout, "config": _CONFIG}


def _fixed(trace: dict[str, Any]) -> dict[str, Any]:
    """Its points as tuples: a page would keep watch over every number of a list."""
    return {**trace, "x": tuple(trace["x"]), "y": tuple(trace["y"])}


_CONFIG = {
    "displayModeBar": False,  # the page has buttons of its own, for thumbs
    "scrollZoom": False,
    "responsive": True,
}


def _titled(text: str, bottom: float) -> dict[str, Any]:
    """The title of a row, above it, to be read without turning one's head."""
    place = {"x": 0.0, "xref": "paper", "xanchor": "left", "y": bottom, "yref": "paper", "yanchor": "bottom"}
    return {"text": text, "showarrow": False, "font": {"size": 13}, **place}


def _moments(window: Interval) -> dict[str, Any]:
    """Where a time axis is marked, and its marks as every sentence writes them: "3:20"."""
    start, end = window
    step = next((one for one in TICKS_S if (end - start) / one <= MOST_TICKS), (end - start) / MOST_TICKS)
    at = step * np.arange(np.ceil(start / step - 1e-9), np.floor(end / step + 1e-9) + 1.0)
    if step >= 1.0:
        return {"tickvals": at.tolist(), "ticktext": [clock(second) for second in at]}
    places = 1 if step >= 0.1 else 2
    text = [f"{int(second // 60)}:{second % 60:0{places + 3}.{places}f}" for second in at.round(places)]
    return {"tickvals": at.tolist(), "ticktext": text}


def _row(seen: Seen, view: View, names: Sequence[str], place: int, ink: str) -> list[dict[str, Any]]:
    """One group: another recording as broad grey lines below, then the healthy range, then the lines in ink."""
    traces: list[dict[str, Any]] = []
    styles = {name: STYLES[number % len(STYLES)] for number, name in enumerate(names)}
    highest = _highest(names, seen, view)
    if view.over is not None:
        for name in names:
            if name in view.over:
                look = {"color": DARK_GREY if view.dark else GREY, "width": 4.5, "dash": "solid"}
                traces.append(_line(view.over[name], view, look, highest, f"{view.over_name}: ", view.shift_s))
    for name in names:
        traces += _band(seen, view, name, highest)
    for name in names:
        look = {"color": ink, "width": 1.6, "dash": styles[name]}
        traces.append(_line(seen.recording[name], view, look, highest))
    return [{**trace, "yaxis": f"y{place}"} for trace in traces]


def _line(
    signal: Signal, view: View, look: Mapping[str, Any], highest: float, before: str = "", shift_s: float = 0.0
) -> dict[str, Any]:
    time, values = peaks(signal.time + shift_s if shift_s else signal.time, signal.values, view.window, view.columns)
    shown, unit = _shown(values, signal.name, view.wish, highest)
    step = bool(signal_kind(signal.name).texts)  # what stands for words has nothing in between
    return {
        "type": "scatter",
        "mode": "lines",
        "x": np.round(time, 3).tolist(),
        "y": _told(shown),
        "name": f"{before}{_title(signal.name, view.wish)}",
        "line": {**look, "shape": "hv" if step else "linear"},
        "hovertemplate": f"%{{y}} {unit}",
        "connectgaps": False,
    }


def _told(values: Floats) -> list[float]:
    """The values to five digits: a screen shows no more, and fewer come sooner."""
    size = np.abs(values)
    known = np.isfinite(values) & (size > 0.0)
    places = 4 - np.floor(np.log10(np.where(known, size, 1.0)))
    ten = 10.0 ** np.minimum(np.abs(places), 300.0)
    told: list[float] = np.where(places >= 0.0, np.rint(values * ten) / ten, np.rint(values / ten) * ten).tolist()
    return told


def _band(seen: Seen, view: View, name: str, highest: float) -> list[dict[str, Any]]:
    """What a healthy engine would show at the steady points, as upright strokes: 90 in 100 lie on them."""
    relation = _relation(seen, name)
    if relation is None:
        return []
    inside = (relation.time >= view.window[0]) & (relation.time <= view.window[1])
    chosen = np.flatnonzero(inside & np.isfinite(relation.low) & np.isfinite(relation.high))
    if chosen.size > view.columns // 3:
        chosen = chosen[np.linspace(0, chosen.size - 1, view.columns // 3).astype(np.intp)]
    low, _ = _shown(relation.low[chosen], name, view.wish, highest)
    high, _ = _shown(relation.high[chosen], name, view.wish, highest)
    x: list[float | None] = []
    y: list[float | None] = []
    for at, below, above in zip(relation.time[chosen], low, high, strict=True):
        x += [round(float(at), 3), round(float(at), 3), None]
        y += [float(f"{below:.5g}"), float(f"{above:.5g}"), None]
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "x": x,
            "y": y,
            "name": "healthy range",
            "line": {"color": DARK_GREY if view.dark else GREY, "width": 5},
            "opacity": 0.45,
            "hoverinfo": "skip",
        }
    ]


def _relation(seen: Seen, name: str) -> RelationTrace | None:
    return next((one for one in seen.relations if BANDS.get(one.id) == name), None)


def _doing(regimes: Regimes, window: Interval, ink: str) -> dict[str, Any]:
    x: list[float | None] = []
    y: list[float | None] = []
    for row, regime in enumerate(Regime):
        for start, end in regimes.intervals(regime):
            if end > window[0] and start < window[1]:
                x += [max(start, window[0]), min(end, window[1]), None]
                y += [row, row, None]
    return {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": y,
        "name": "what the engine was doing",
        "line": {"color": ink, "width": 7},
        "hoverinfo": "skip",
    }


def _shapes(seen: Seen, view: View, soft: str) -> list[dict[str, Any]]:
    """Regimes as broad grey stretches, what was found unusual within broken lines."""
    start, end = view.window
    least = LEAST_SHADED * (end - start)
    shapes = []
    for regime in (Regime.KEY_ON, Regime.IDLE, Regime.FULL_LOAD):
        for a, b in seen.regimes.intervals(regime):
            if b > start and a < end and b - a >= least:
                shapes.append(_stretch(a, b, {"fillcolor": soft, "opacity": 0.28, "line": {"width": 0}}))
    for a, b in view.marked:
        if b > start and a < end:
            shapes.append(_stretch(a, b, {"line": {"color": "#b4602a", "width": 1.6, "dash": "dash"}}))
    return shapes[-MOST_SHAPES:]


def _stretch(start: float, end: float, look: Mapping[str, Any]) -> dict[str, Any]:
    place = {"type": "rect", "xref": "x", "yref": "paper", "x0": start, "x1": end, "y0": 0, "y1": 1, "layer": "below"}
    return {**place, **look}


def peaks(time: Floats, values: Floats, window: Interval, columns: int = COLUMNS) -> tuple[Floats, Floats]:
    """The curve within a window, (n,) and (n,): all of it, or the lowest and highest of each of `columns` stretches.

    One sample beyond each edge is kept, so that lines run to the border.
    """
    first, last = int(np.searchsorted(time, window[0])), int(np.searchsorted(time, window[1], side="right"))
    before, after = max(first - 1, 0), min(last + 1, time.size)
    if after - before <= 2 * columns:
        return time[before:after], values[before:after]
    block = (last - first) // columns
    starts = first + block * np.arange(columns)
    whole, rest = values[first : first + block * columns].reshape(columns, block), np.arange(starts[-1] + block, last)
    peak = starts + whole.argmin(axis=1), starts + whole.argmax(axis=1)
    kept = np.unique(np.concatenate([[before], *peak, rest, [after - 1]]))
    return time[kept], values[kept]


def _names(title: str, recording: Recording) -> list[str]:
    for group, names in GROUPS:
        if group == title:
            return [name for name in names if name in recording]
    return [name for name in recording if signal_kind(name).title == title]


def _title(name: str, wish: Wish) -> str:
    """What a signal is called; "absolute" only where it is shown so."""
    title = signal_kind(name).title
    return title.removesuffix(" (absolute)") if wish.vacuum and wish.barometer_kpa is not None else title


def _kind_unit(name: str) -> str:
    kind = signal_kind(name)
    return "kPa absolute" if kind.is_absolute_pressure else kind.unit


def _highest(names: Sequence[str], seen: Seen, view: View) -> float:
    """The highest value of a group, in its own unit: what goes above the air outside anywhere is no vacuum anywhere."""
    signals = [one[name] for one in (seen.recording, view.over) if one is not None for name in names if name in one]
    bands = [relation.high for name in names if (relation := _relation(seen, name)) is not None]
    every = np.concatenate([np.empty(0), *(one.values for one in signals), *bands])
    known = every[np.isfinite(every)]
    return float(known.max()) if known.size else 0.0


def _shown(values: Floats, name: str, wish: Wish, highest: float) -> tuple[Floats, str]:
    """Values as wished, counted the same way as `highest` is."""
    shown, unit = in_units(np.append(values, highest), _kind_unit(name), wish)
    return np.asarray(shown)[:-1], unit


def _unit(names: Sequence[str], seen: Seen, view: View) -> str:
    unit = in_units(_highest(names, seen, view), _kind_unit(names[0]), view.wish)[1]
    return "" if unit == "1" else unit
