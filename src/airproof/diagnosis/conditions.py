"""The day and the place: what pressure the air has, from altitude, a barometer, and the car's own reading."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from airproof.diagnosis.expectations import expected
from airproof.diagnosis.testimony import log_t
from airproof.diagnosis.weighing import Barometer
from airproof.errors import UnusableRequest
from airproof.quantities.atmosphere import standard_pressure, station_pressure_from_qnh
from airproof.recording.recording import Recording
from airproof.recording.regimes import Regime, Regimes

WEATHER_SD_KPA = 1.3  # day-to-day spread of pressure at one place in temperate climates; judged: Airproof authors
STATED_SD_KPA = 0.4  # a barometer or a station's report nearby; judged: Airproof authors
UNKNOWN_PLACE = Barometer(97.0, 4.5, "nothing is known of altitude or weather: sea level to about 1000 m assumed")
"""judged: Airproof authors: where most people live, with weather."""

KNOWN_SD_KPA = 2.0
"""A barometer as uncertain as this, such as an altitude with its weather, still serves to count a vacuum from; judged:
Airproof authors: nobody reads the needle of a vacuum gauge finer."""

LEAST_KPA = 45.0  # nobody drives where the air is thinner
SEA_LEVEL_SHARE = 0.25
"""Of those who state a barometer beside an altitude, so many take the weather report's figure for sea level, though the
place's own is asked for. judged: Airproof authors."""

REDUCED_SD_KPA_PER_KM = 0.5
"""By how much the pressure at a place is less sure where it is reckoned from that of sea level; judged: Airproof
authors: air 14 K warmer or colder than the standard's is worth as much, and reports are of places nearby."""

MAY_DISAGREE_KPA = 5.0  # no weather moves the pressure at an altitude further; records at sea level are 87 to 108.5 kPa


def barometer_of(*, altitude_m: float | None = None, barometer_kpa: float | None = None) -> Barometer:
    """The pressure of the day from what the user knows; kPa absolute, the station's own pressure.

    Beside an altitude a stated barometer may be the weather report's figure for sea level: where it can be nothing else
    it is reduced to the place, where it can be both they are weighed. Raises UnusableRequest where it can be neither,
    and for what lies outside what the earth's surface has.
    """
    if altitude_m is not None and not -450.0 <= altitude_m <= 5500.0:
        raise UnusableRequest(
            f"an altitude of {altitude_m:g} m",
            "an altitude that has roads, -450 to 5500 m",
            "Check the unit: m or ft.",
        )
    if barometer_kpa is not None and not 45.0 <= barometer_kpa <= 110.0:
        raise UnusableRequest(
            f"a barometer of {barometer_kpa:g} kPa",
            "45 to 110 kPa absolute",
            "Check the unit: kPa, hPa, inHg or mmHg.",
        )
    if altitude_m is None and barometer_kpa is None:
        return UNKNOWN_PLACE
    if altitude_m is None:
        assert barometer_kpa is not None
        return Barometer(barometer_kpa, STATED_SD_KPA, f"barometer stated as {barometer_kpa:.1f} kPa")
    usual = float(standard_pressure(altitude_m)) * 1e-3
    if barometer_kpa is None:
        return Barometer(
            usual, WEATHER_SD_KPA, f"{usual:.1f} kPa is usual at {altitude_m:.0f} m, give or take the weather"
        )
    at_place = float(station_pressure_from_qnh(barometer_kpa * 1e3, altitude_m)) * 1e-3
    if abs(barometer_kpa - usual) > MAY_DISAGREE_KPA:
        if abs(at_place - usual) > MAY_DISAGREE_KPA:
            raise UnusableRequest(
                f"a barometer of {barometer_kpa:.1f} kPa at {altitude_m:.0f} m, where {usual:.1f} kPa is usual",
                "the pressure at that place, or at sea level as weather reports give it",
                "Check both with their units. Give only the altitude, or the station pressure.",
            )
        sd = min(float(np.hypot(STATED_SD_KPA, REDUCED_SD_KPA_PER_KM * altitude_m * 1e-3)), WEATHER_SD_KPA)
        return Barometer(at_place, sd, _reduced_says(barometer_kpa, at_place, f" at {altitude_m:.0f} m"))
    stated = Barometer(
        barometer_kpa, STATED_SD_KPA, f"barometer stated as {barometer_kpa:.1f} kPa at {altitude_m:.0f} m"
    )
    weather = ((barometer_kpa - usual) ** 2 - (at_place - usual) ** 2) / (2.0 * WEATHER_SD_KPA**2)
    reduced = _share(SEA_LEVEL_SHARE, weather)
    return stated if reduced <= 0.5 else _either(at_place, barometer_kpa, reduced, altitude_m)


def _share(before: float, log_ratio: float) -> float:
    """Probability of the one of two after evidence that favours it by so much."""
    return float(1.0 / (1.0 + np.exp(-log_ratio) * (1.0 - before) / before))


def _either(at_place: float, stated: float, reduced: float, altitude_m: float | None) -> Barometer:
    """The day where a stated barometer is, with probability `reduced`, that of sea level, and then `at_place` here."""
    kpa = reduced * at_place + (1.0 - reduced) * stated
    sd = float(np.hypot(STATED_SD_KPA, (stated - at_place) * np.sqrt(reduced * (1.0 - reduced))))
    said, here = f"barometer stated as {stated:.1f} kPa", "" if altitude_m is None else f" at {altitude_m:.0f} m"
    if reduced <= 0.5:
        return Barometer(kpa, sd, f"{said}{here}", either=(at_place, stated, reduced))
    doubt = (
        f"the {said} looks like the weather report's figure for sea level:{here} it would be about "
        f"{at_place:.1f} kPa, which was taken instead; if it is the pressure at the place itself, leave the "
        "altitude out"
    )
    return Barometer(kpa, sd, _reduced_says(stated, at_place, here), doubt=doubt, either=(at_place, stated, reduced))


def _reduced_says(stated: float, at_place: float, here: str) -> str:
    return f"barometer stated as {stated:.1f} kPa, taken for that of sea level: {at_place:.1f} kPa{here}"


def _as_seen(weather: Barometer, seen: float, sd: float) -> Barometer:
    """Which of two pressures it is, after the car's own reading; sensors lie, so a far one settles it no further."""
    if weather.either is None:
        return weather
    at_place, stated, reduced = weather.either
    here, there = (float(log_t(np.array((seen - kpa) / np.hypot(sd, STATED_SD_KPA)))) for kpa in (at_place, stated))
    again = _either(at_place, stated, _share(reduced, here - there), None)
    return replace(again, says=weather.says, doubt=weather.doubt) if again.doubt else again


def air_kpa(day: Barometer | None) -> float | None:
    """The air outside, kPa absolute, where it is known well enough to count a vacuum or a gauge pressure from it."""
    return day.kpa if day is not None and day.sd_kpa <= KNOWN_SD_KPA else None


def best_barometer(weather: Barometer, recording: Recording, regimes: Regimes) -> Barometer:
    """What is known of the day, joined with the car's own barometric reading.

    Without such a reading the engine-off pressures stand in, loosely: they are what is under question.
    """
    own = recording.get("barometric_pressure")
    if own is not None and len(own):
        seen, sd = (
            float(np.median(own.values)),
            float(np.hypot(expected("barometer-sensor-tolerance").sd, 0.3)),
        )
        says = f"the car's own barometric reading, {seen:.1f} kPa"
    else:
        found = _engine_off(recording, regimes)
        if found is None:
            return weather
        seen, sd = found, 4.0
        says = f"the pressure with the engine off, {seen:.1f} kPa"
    if not 45.0 <= seen <= 112.0:
        return weather
    weather = _as_seen(weather, seen, sd)
    share = weather.sd_kpa**2 / (weather.sd_kpa**2 + sd**2)
    kpa = weather.kpa + share * (seen - weather.kpa)
    joined = Barometer(kpa, float(np.sqrt(share) * sd), f"{says}; {weather.says}", doubt=weather.doubt)
    return replace(joined, own_share=share if own is not None else 0.0)


def _engine_off(recording: Recording, regimes: Regimes) -> float | None:
    for name in ("charge_pressure", "manifold_pressure"):
        signal = recording.get(name)
        if signal is None:
            continue
        values = signal.values[regimes.mask(signal.time, Regime.KEY_ON)]
        if values.size and np.median(values) > LEAST_KPA:
            return float(np.median(values))
    return None
