"""Exhibit 1: with the engine off every pressure sensor must read the pressure of the day."""

from __future__ import annotations

import numpy as np
from matplotlib.ticker import MaxNLocator

from airproof.diagnosis.weighing import Weighing
from airproof.recording.regimes import Regime
from airproof.report.pictures.sheet import BAND, INK, MARK, SOFT, Drawing, NotDrawn, halo, new_figure
from airproof.report.wording import number

NUMBER = 1
LEAST_SHOWN_KPA = 5.0
"""To either side of the barometer, so that a small difference does not look large."""
_SENSORS = (
    ("manifold_pressure", "manifold\npressure sensor", "the manifold pressure sensor"),
    ("charge_pressure", "charge pressure\nsensor", "the charge pressure sensor"),
    ("barometric_pressure", "car's own\nbarometer", "the car's own barometer"),
)
_NINETY = 1.645  # standard deviations to either side that hold 90 %
_TWO_SENSORS_KPA = 2.5  # good sensors agree to about this; judged: Airproof authors, from published error bands


def draw(weighing: Weighing) -> Drawing | NotDrawn:
    """Each pressure sensor's engine-off value against the barometer, kPa absolute."""
    seen = _engine_off(weighing)
    if not any(name != "barometric_pressure" for name, _, _, _ in seen):
        return NotDrawn(
            "there is no stretch with the key on and the engine off: record ten seconds of it before starting"
        )
    day, slack = weighing.barometer.kpa, _NINETY * weighing.barometer.sd_kpa
    first, _, words, value = seen[0]
    off = value - day
    allowed = float(np.hypot(slack, _TWO_SENSORS_KPA))
    fits = abs(off) <= allowed
    if fits:
        title = f"Engine off, {words} agrees with the barometer within {number(max(abs(off), 0.1))} kPa"
    else:
        way = "above" if off > 0 else "below"
        title = f"Engine off, {words} reads {number(abs(off))} kPa {way} the barometer"
    figure = new_figure(NUMBER, title, weighing.recording.label, height_in=2.5 + 0.55 * len(seen))
    axes = figure.add_subplot()
    axes.axvspan(day - slack, day + slack, facecolor=BAND, zorder=1)
    for edge in (day - slack, day + slack):
        axes.axvline(edge, color=SOFT, linewidth=0.8, linestyle=(0, (4, 2)), zorder=2)
    axes.axvline(day, color=SOFT, linewidth=0.8, zorder=2)
    rows = np.arange(len(seen))[::-1]
    for row, (_, _, _, kpa) in zip(rows, seen, strict=True):
        away = kpa - day
        far = abs(away) > allowed
        axes.plot([day, kpa], [row, row], color=MARK if far else SOFT, linewidth=2.4 if far else 1.2, zorder=3)
        axes.plot(kpa, row, "D" if far else "o", color=MARK if far else INK, markersize=9, zorder=4)
        axes.annotate(
            f"{kpa:.1f} kPa" + (f"  ({away:+.1f})".replace("-", "\N{MINUS SIGN}") if abs(away) >= 0.05 else ""),
            xy=(kpa, row),
            xytext=(0, 10),
            textcoords="offset points",
            ha="center",
            fontsize=11,
            fontweight="bold" if far else "normal",
            color=MARK if far else INK,
            path_effects=halo(),
        )
    axes.set_yticks(rows, [label for _, label, _, _ in seen])
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.set_ylim(-0.6, len(seen) - 0.25)
    values = [kpa for _, _, _, kpa in seen]
    low, high = (
        min([*values, day - slack, day - LEAST_SHOWN_KPA]),
        max([*values, day + slack, day + LEAST_SHOWN_KPA]),
    )
    room = 0.15 * (high - low)
    axes.set_xlim(low - room, high + room)
    axes.xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.set_xlabel("pressure with the engine off, kPa absolute")
    axes.set_title(
        f"grey: barometer {day:.1f} \N{PLUS-MINUS SIGN} {slack:.1f} kPa (90 %)",
        loc="left",
        fontsize=10,
        color=SOFT,
    )
    others = "; ".join(f"{name.replace('_', ' ')} {kpa:.1f} kPa" for name, _, _, kpa in seen)
    caption = (
        f"With key on and engine off, {words} reads {value:.1f} kPa absolute where the barometer stands at "
        f"{day:.1f} kPa, give or take {slack:.1f} ({weighing.barometer.says})"
    )
    if weighing.barometer.own_share > 0.5 and first != "barometric_pressure":
        caption += "; a car that copies its barometer from the sensor itself would hide an error here"
    return Drawing(
        title=title,
        caption=caption + ".",
        alt=f"Engine-off pressures against a barometer of {day:.1f} kPa absolute: {others}.",
        figure=figure,
    )


def _engine_off(weighing: Weighing) -> list[tuple[str, str, str, float]]:
    """Signal, label, words and median engine-off value in kPa absolute, of each pressure sensor seen then."""
    found = []
    for name, label, words in _SENSORS:
        signal = weighing.recording.get(name)
        if signal is None or not len(signal):
            continue
        values = signal.values[weighing.regimes.mask(signal.time, Regime.KEY_ON)]
        if not values.size and name == "barometric_pressure":
            values = signal.values
        if values.size:
            found.append((name, label, words, float(np.median(values))))
    return found
