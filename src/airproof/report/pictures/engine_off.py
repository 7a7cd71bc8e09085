"""Exhibit 1: with the engine off every pressure sensor must read the pressure of the day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.ticker import MaxNLocator

from airproof.diagnosis.weighing import Barometer, Weighing
from airproof.recording.regimes import Regime
from airproof.report.pictures.sheet import BAND, INK, MARK, SOFT, Drawing, NotDrawn, halo, new_figure

NUMBER = 1
LEAST_SHOWN_KPA = 5.0
"""To either side of the barometer, so that a small difference does not look large."""
OWN_BAROMETER = "barometric_pressure"
_SENSORS = (
    ("manifold_pressure", "manifold\npressure sensor", "the manifold pressure sensor"),
    ("charge_pressure", "charge pressure\nsensor", "the charge pressure sensor"),
    (OWN_BAROMETER, "car's own\nbarometer", "the car's own barometer"),
)
_NINETY = 1.645  # standard deviations to either side that hold 90 %
_TWO_SENSORS_KPA = 2.5  # good sensors agree to about this; judged: Airproof authors, from published error bands
_UNKNOWN_SD_KPA = 2.0  # above it nobody but the sensors in question knows the day's pressure; judged: Airproof authors


@dataclass(frozen=True)
class _Sensor:
    name: str
    label: str
    words: str
    kpa: float


@dataclass(frozen=True)
class AtRest:
    """Pressure sensors with the engine off, and what they are held against, all in kPa absolute.

    `slack` to either side of `day` is where its true value lies (90 %); `against` is what it is called, `says` how it
    is known.
    """

    sensors: tuple[_Sensor, ...]
    day: float
    slack: float
    against: str
    known: bool
    says: str

    @property
    def key(self) -> str:
        """What the grey band is, in the picture's key."""
        return f"{self.against.removeprefix('the ')}{'' if self.known else ' not known, likely'}"

    def away(self, sensor: _Sensor) -> float:
        """How far a sensor reads from what it is held against, kPa."""
        return sensor.kpa - self.day

    def far(self, sensor: _Sensor) -> bool:
        """Whether that is further than a good sensor and a badly known day explain."""
        return abs(self.away(sensor)) > float(np.hypot(self.slack, _TWO_SENSORS_KPA))

    @property
    def subject(self) -> _Sensor:
        """The sensor that the picture is about: the farthest off, or the first where none is."""
        farthest = max(self.sensors, key=lambda one: abs(self.away(one)))
        return farthest if self.far(farthest) else self.sensors[0]


def at_rest(weighing: Weighing) -> AtRest | None:
    """The sensors with the engine off, or None where no sensor but the car's barometer was recorded then."""
    sensors = _engine_off(weighing)
    others = [one for one in sensors if one.name != OWN_BAROMETER]
    if not others:
        return None
    barometer, verdict = _day_of(weighing), weighing.verdict
    if verdict.refusal is None and verdict.first.id == "baro-sensor" and len(others) < len(sensors):
        # The day's pressure rests on the very reading that is in question: the other sensors are the better measure.
        day = float(np.mean([one.kpa for one in others]))
        return AtRest(sensors, day, _TWO_SENSORS_KPA, "the other sensors", known=True, says=barometer.says)
    known = len(others) < len(sensors) or barometer.sd_kpa < _UNKNOWN_SD_KPA
    return AtRest(sensors, barometer.kpa, _NINETY * barometer.sd_kpa, "the barometer", known, barometer.says)


def _day_of(weighing: Weighing) -> Barometer:
    """The day as it was stated, if it was: the findings hold every sensor against that, the car's own barometer too."""
    stated = weighing.weather
    return weighing.barometer if stated is None or stated.sd_kpa >= _UNKNOWN_SD_KPA else stated


def _title(rest: AtRest) -> str:
    one = rest.subject
    away = rest.away(one)
    if rest.far(one):
        way = "above" if away > 0 else "below"
        return f"Engine off, {one.words} reads {abs(away):.1f} kPa {way} {rest.against}"
    if not rest.known:
        return f"Engine off, {one.words} reads {one.kpa:.0f} kPa; only an altitude can judge that"
    return f"Engine off, {one.words} agrees with {rest.against} within {max(abs(away), 0.1):.1f} kPa"


def draw(weighing: Weighing) -> Drawing | NotDrawn:
    """Each pressure sensor's engine-off value against the barometer, kPa absolute."""
    rest = at_rest(weighing)
    if rest is None:
        return NotDrawn(
            "there is no stretch with the key on and the engine off: record ten seconds of it before starting"
        )
    seen, day, slack, title = rest.sensors, rest.day, rest.slack, _title(rest)
    figure = new_figure(NUMBER, title, weighing.recording.label, height_in=2.5 + 0.55 * len(seen))
    axes = figure.add_subplot()
    axes.axvspan(day - slack, day + slack, facecolor=BAND, zorder=1)
    for edge in (day - slack, day + slack):
        axes.axvline(edge, color=SOFT, linewidth=0.8, linestyle=(0, (4, 2)), zorder=2)
    axes.axvline(day, color=SOFT, linewidth=0.8, zorder=2)
    rows = np.arange(len(seen))[::-1]
    for row, one in zip(rows, seen, strict=True):
        kpa, away, far = one.kpa, rest.away(one), rest.far(one)
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
    axes.set_yticks(rows, [one.label for one in seen])
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.set_ylim(-0.6, len(seen) - 0.25)
    values = [one.kpa for one in seen]
    low, high = (
        min([*values, day - slack, day - LEAST_SHOWN_KPA]),
        max([*values, day + slack, day + LEAST_SHOWN_KPA]),
    )
    room = 0.15 * (high - low)
    axes.set_xlim(low - room, high + room)
    axes.xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.set_xlabel("pressure with the engine off, kPa absolute")
    axes.set_title(
        f"grey: {rest.key} {day:.1f} \N{PLUS-MINUS SIGN} {slack:.1f} kPa (90 %)", loc="left", fontsize=10, color=SOFT
    )
    subject = rest.subject
    caption = (
        f"With key on and engine off, {subject.words} reads {subject.kpa:.1f} kPa absolute against {day:.1f} kPa by "
        f"{rest.against}, give or take {slack:.1f} ({rest.says})"
    )
    if _day_of(weighing).own_share > 0.5 and subject.name != OWN_BAROMETER and not rest.far(subject):
        caption += "; a car that copies its barometer from the sensor itself would hide an error here"
    listed = "; ".join(f"{one.words} {one.kpa:.1f} kPa" for one in seen)
    alt = f"Pressures with the engine off, held against {rest.against} at {day:.1f} kPa absolute: {listed}. {title}."
    return Drawing(title, caption + ".", alt, figure)


def _engine_off(weighing: Weighing) -> tuple[_Sensor, ...]:
    """Each pressure sensor seen with the engine off, with its median then."""
    found = []
    for name, label, words in _SENSORS:
        signal = weighing.recording.get(name)
        if signal is None or not len(signal):
            continue
        values = signal.values[weighing.regimes.mask(signal.time, Regime.KEY_ON)]
        if not values.size and name == OWN_BAROMETER:
            values = signal.values
        if values.size:
            found.append(_Sensor(name, label, words, float(np.median(values))))
    return tuple(found)
