"""What every formula owes: arrays equal scalars one by one, broadcasting, NaN passes, nothing warns."""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from airproof.quantities import (
    air_mass,
    atmosphere,
    charge_air,
    constants,
    gas_flow,
    meter,
    mixture,
    throttle,
)
from airproof.quantities.formula import formula

# three values that suit each argument; what is left out takes its default
ARGUMENTS = {
    "temperature_k": (265.0, 290.0, 325.0), "upstream_k": (265.0, 290.0, 325.0),
    "inlet_k": (290.0, 330.0, 420.0),
    "outlet_k": (280.0, 300.0, 350.0), "ambient_k": (260.0, 290.0, 310.0),
    "manifold_k": (290.0, 300.0, 350.0),
    "downstream_k": (290.0, 300.0, 350.0), "gamma": (1.3, 1.35, 1.4), "gas_constant": (280.0, 287.0, 290.0),
    "discharge": (0.6, 0.7, 0.85), "geometric_m": (-100.0, 500.0, 3000.0),
    "geopotential_m": (-100.0, 500.0, 3000.0),
    "altitude_m": (-100.0, 500.0, 3000.0), "elevation_m": (0.0, 300.0, 1500.0),
    "pressure_pa": (30e3, 90e3, 120e3),
    "setting_pa": (98e3, 101e3, 103e3), "station_pa": (80e3, 95e3, 101e3), "qnh_pa": (98e3, 101e3, 103e3),
    "sea_level_pa": (98e3, 101e3, 103e3), "relative_humidity": (0.0, 0.5, 1.0),
    "pressure_ratio": (0.3, 0.6, 0.95),
    "psi": (0.1, 0.4, 0.6), "area_m2": (1e-6, 1e-5, 1e-3), "diameter_m": (1e-3, 3e-3, 8e-3),
    "upstream_pa": (101e3, 90e3, 50e3), "downstream_pa": (40e3, 80e3, 20e3),
    "manifold_pa": (40e3, 80e3, 20e3),
    "flow_kg_s": (0.003, 0.02, 0.1), "displacement_m3": (1e-3, 2e-3, 3e-3),
    "revolutions_per_s": (12.0, 40.0, 100.0),
    "volumetric_efficiency": (0.5, 0.8, 1.0), "cylinders": (3.0, 4.0, 6.0), "filling_kg": (1e-4, 3e-4, 1e-3),
    "load": (0.2, 0.7, 1.5), "volume_m3": (1e-3, 2e-3, 4e-3), "time_constant_s": (0.05, 0.1, 0.3),
    "angle_deg": (8.0, 20.0, 60.0), "efficiency": (0.5, 0.7, 0.8), "effectiveness": (0.4, 0.7, 0.9),
    "resistance": (1e8, 2e8, 4e8), "inlet_pa": (98e3, 150e3, 220e3), "drop_pa": (100.0, 2e3, 8e3),
    "carbon": (1.0, 2.0, 8.0), "hydrogen": (1.87, 6.0, 18.0), "oxygen": (0.0, 1.0, 0.5),
    "air_kg_s": (0.003, 0.02, 0.1),
    "fuel_kg_s": (2e-4, 1e-3, 7e-3), "stoichiometric": (9.0, 14.1, 14.7),
    "air_fuel_ratio": (12.0, 14.7, 16.0),
    "lambda_": (0.8, 1.0, 1.2), "leak_kg_s": (1e-4, 6e-4, 1e-3), "total_kg_s": (3e-3, 1e-2, 3e-2),
    "true_value": (30.0, 50.0, 100.0), "read_value": (25.0, 51.0, 90.0), "true_v": (0.5, 2.5, 4.5),
    "reading_v": (0.4, 2.4, 4.4), "source_ohm": (1e3, 1e5, 1e6), "meter_ohm": (4e5, 1e6, 1e7),
    "range_v": (2.0, 10.0, 20.0),
    "ohm_per_volt": (1e3, 1e4, 2e4), "drop_v": (0.02, 0.05, 0.1), "volts_per_pa": (1e-5, 2e-5, 5e-5),
    "true_output_v": (0.5, 2.5, 4.5), "supply_v": (4.8, 5.0, 5.1), "nominal_v": (5.0, 5.0, 5.1),
}  # fmt: skip
MODULES = (atmosphere, gas_flow, air_mass, throttle, charge_air, mixture, meter)


def formulas(module: ModuleType) -> list[Callable[..., Any]]:
    return [
        f
        for name, f in vars(module).items()
        if hasattr(f, "__wrapped__") and not name.startswith("_") and f.__module__ == module.__name__
    ]


ALL = [f for module in MODULES for f in formulas(module)]


def arguments(f: Callable[..., Any]) -> dict[str, np.ndarray]:
    return {name: np.array(ARGUMENTS[name]) for name in inspect.signature(f).parameters if name in ARGUMENTS}


def test_all_formulas_are_here() -> None:
    assert len(ALL) > 50
    for f in ALL:
        words = {n for n, p in inspect.signature(f).parameters.items() if p.default in ("geometric", "dry air")}
        assert set(inspect.signature(f).parameters) - words <= set(ARGUMENTS), f.__name__
        assert f.__doc__


@pytest.mark.parametrize("f", ALL, ids=lambda f: f.__name__)
def test_arrays_equal_scalars_and_broadcast(f: Callable[..., Any]) -> None:
    given = arguments(f)
    together = f(**given)
    assert together.shape == (3,)
    assert together.dtype == np.float64
    assert np.isfinite(together).all()
    for i in range(3):
        alone = f(**{name: float(values[i]) for name, values in given.items()})
        assert type(alone) is float
        assert alone == pytest.approx(together[i], rel=1e-13)
    first = next(iter(given))
    mixed = f(**{name: values if name == first else float(values[0]) for name, values in given.items()})
    assert mixed.shape == (3,)
    assert mixed[0] == pytest.approx(together[0], rel=1e-13)
    columns = f(**{name: values[:, None] if name == first else values for name, values in given.items()})
    assert columns.shape == ((3, 3) if len(given) > 1 else (3, 1))


@pytest.mark.parametrize("f", ALL, ids=lambda f: f.__name__)
def test_nan_passes_and_stays_in_its_place(f: Callable[..., Any]) -> None:
    given = arguments(f)
    good = f(**given)
    for name in given:
        if name in ("downstream_k", "manifold_k"):
            continue  # the side the air does not come from: its temperature is not used
        holed = given[name].copy()
        holed[1] = math.nan
        answer = f(**(given | {name: holed}))
        assert math.isnan(answer[1]), name
        assert list(answer[[0, 2]]) == list(good[[0, 2]]), name


@pytest.mark.parametrize("f", ALL, ids=lambda f: f.__name__)
def test_extremes_never_raise_or_warn(f: Callable[..., Any]) -> None:
    given = arguments(f)
    for extreme in (0.0, -1.0, -1e300, 1e300, math.inf, -math.inf):
        for name in given:
            assert f(**(given | {name: np.full(3, extreme)})).shape == (3,)
            assert isinstance(f(**{n: extreme if n == name else float(v[0]) for n, v in given.items()}), float)


def test_lists_integers_and_arguments_stay_untouched() -> None:
    assert list(air_mass.air_per_filling([1, 2], 1, 2)) == [1.0, 2.0]
    pressures = np.array([90e3, math.nan])
    atmosphere.altitude_of_pressure(pressures)
    assert pressures[0] == 90e3

    @formula
    def halved(x: float) -> float:
        return x / 2.0

    half = halved(3)
    assert half == 1.5
    assert halved.__name__ == "halved"


def test_constants_follow_from_one_another() -> None:
    # universal gas constant of ISO 2533: 8314.32 J/(kmol K)
    universal = constants.R_AIR * constants.MOLAR_MASS_AIR
    assert universal == pytest.approx(8314.32, rel=1e-5)
    specific_heat = constants.CP_AIR
    assert specific_heat == pytest.approx(1004.685, abs=1e-3)
    assert specific_heat - constants.CV_AIR == pytest.approx(constants.R_AIR)
    exponent = atmosphere.BAROMETRIC_EXPONENT
    assert exponent == pytest.approx(5.25588, abs=5e-6)
    ratio = constants.WATER_TO_AIR
    assert ratio == pytest.approx(18.0153 / 28.9647, abs=5e-5)
