"""One invented car for all tests of the link, rehearsed once."""

from __future__ import annotations

import pytest
from invented_car import SimulatedCar, short_rehearsal

from airproof.engine.rehearsal.rehearse import Rehearsal
from airproof.vehicle.stand_in.stand_in import StandIn


@pytest.fixture(scope="session")
def rehearsal() -> Rehearsal:
    """A short drive of an invented 2.0 L turbo whose manifold pressure sensor reads 15 kPa high."""
    return short_rehearsal("map-offset=15kPa")


@pytest.fixture
def simulated(rehearsal: Rehearsal):
    """Makes stand-ins of that car on a simulated bus."""

    def make(*manners: object, **how: object) -> SimulatedCar:
        return SimulatedCar(rehearsal, *manners, **how)

    return make


@pytest.fixture(scope="session")
def simulated_stand_in(rehearsal: Rehearsal) -> StandIn:
    """One stand-in without a bus."""
    return SimulatedCar(rehearsal).stand_in
