"""Drives as untidy as real ones: no two rounds alike, accessories, hills and a foot that is never quite still."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from airproof.engine.rehearsal.rehearse import Request
from airproof.engine.rehearsal.road.drives import Drive, of_stretches

Random = np.random.Generator

# Judged: Airproof authors, so that the idles and drives of healthy rehearsed cars are as unlike each other as those of
# the healthy road recordings of carOBD (data/unrest.toml has what disturbs); nothing here is measured of any one car.
CALM_SHARE = 0.25  # of the cars are driven as calmly as a workshop would
MOST_UNREST = 1.6
OWN_ROUND_SHARE = 0.4  # of the cars are driven on a round of their own
STOPS = (2, 7)  # of such a round: between two the car goes at two to five speeds
SPEEDS_KMH = {"town": (15.0, 55.0), "country": (40.0, 100.0), "motorway": (70.0, 130.0)}
LONGEST_S = 620.0


def untidy(request: Request, rng: Random) -> Request:
    """The request with its unrest drawn, and for some cars a round of their own."""
    unrest = 0.0 if rng.random() < CALM_SHARE else float(rng.uniform(0.2, MOST_UNREST))
    drive = own_round(rng) if rng.random() < OWN_ROUND_SHARE else request.drive
    return replace(request, drive=drive, scene=replace(request.scene, unrest=unrest))


def own_round(rng: Random) -> Drive:
    """A drive that nobody planned: idles, stops and speeds as they come, full load now and then."""
    stretches: list[tuple[float, str, float]] = [(_seconds(rng, 2, 15), "off", 0.0), (1.6, "crank", 0.0)]
    stretches.append((_seconds(rng, 5, 80), "idle", 0.0))
    where = str(rng.choice(list(SPEEDS_KMH)))
    for _ in range(int(rng.integers(*STOPS))):
        kmh = 0.0
        for _ in range(int(rng.integers(2, 6))):
            wanted = float(rng.uniform(*SPEEDS_KMH[where if rng.random() < 0.7 else "town"]))
            stretches += [(_changing(rng, wanted - kmh), "drive", wanted), (_seconds(rng, 3, 40), "drive", wanted)]
            kmh = wanted
        if rng.random() < 0.3:
            stretches += [(_changing(rng, 50.0 - kmh), "drive", 50.0), (4.0, "third", 50.0)]
            stretches += [(_seconds(rng, 3, 14), "pull", 0.0), (_seconds(rng, 2, 10), "coast", 0.0)]
            kmh = 80.0
        stretches += [(_changing(rng, kmh), "drive", 0.0), (_seconds(rng, 4, 50), "idle", 0.0)]
        if rng.random() < 0.15:
            stretches += [(0.6, "snap", 0.0), (_seconds(rng, 5, 8), "idle", 0.0)]
        if sum(seconds for seconds, _, _ in stretches) > LONGEST_S:
            break
    if rng.random() < 0.5:
        stretches.append((_seconds(rng, 4, 12), "off", 0.0))
    return of_stretches("own round", stretches)


def _seconds(rng: Random, least: float, most: float) -> float:
    return round(float(np.exp(rng.uniform(np.log(least), np.log(most)))), 1)


def _changing(rng: Random, by_kmh: float) -> float:
    """Seconds in which a driver changes speed by so much, at 0.5 to 2.2 m/s2."""
    return round(max(abs(by_kmh) / 3.6 / float(rng.uniform(0.5, 2.2)), 2.0), 1)
