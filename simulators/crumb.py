"""What batter and crumb are made of, as far as heat and water care.

Constituent equations: Choi and Okos (1986) as printed in ASHRAE Handbook - Refrigeration, "Thermal
Properties of Foods", Tables 1 and 2. The saturation pressure is Antoine's equation (coefficients
from memory), chosen because it can be turned round: the boiling point of a syrup follows from it
without iteration.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulators.grid import Field

GAS_CONSTANT = 8.314462618
WATER_KG_PER_MOL = 0.01801528
MMHG_PA = 133.322
_ANTOINE = (8.07131, 1730.63, 233.426)

Row = tuple[float, float, float]

# k: a, b, c; density: a, b, c; cp: a, b, c in kJ/(kg K), each a + b t + c t^2
_WATER = ((5.7109e-1, 1.7625e-3, -6.7036e-6), (997.18, 3.1439e-3, -3.7574e-3),
          (4.1289, -9.0864e-5, 5.4731e-6))  # fmt: skip
_PROTEIN = ((1.7881e-1, 1.1958e-3, -2.7178e-6), (1329.9, -0.5184, 0.0),
            (2.0082, 1.2089e-3, -1.3129e-6))  # fmt: skip
_FAT = ((1.8071e-1, -2.7604e-4, -1.7749e-7), (925.59, -0.41757, 0.0),
        (1.9842, 1.4733e-3, -4.8008e-6))  # fmt: skip
_CARBOHYDRATE = ((2.0141e-1, 1.3874e-3, -4.3312e-6), (1599.1, -0.31046, 0.0),
                 (1.5488, 1.9625e-3, -5.9399e-6))  # fmt: skip
_ASH = ((3.2962e-1, 1.4011e-3, -2.9069e-6), (2423.8, -0.28063, 0.0),
        (1.0926, 1.8896e-3, -3.6817e-6))  # fmt: skip


@dataclass(frozen=True)
class Composition:
    """Mass fractions of a batter; they sum to one.

    The defaults are the pear and ginger batter, added up from its formula by hand.
    """

    water: float = 0.394
    protein: float = 0.042
    fat: float = 0.120
    carbohydrate: float = 0.431
    ash: float = 0.013

    def __post_init__(self) -> None:
        total = self.water + self.protein + self.fat + self.carbohydrate + self.ash
        if abs(total - 1.0) > 1e-6:
            raise ValueError(f"mass fractions must sum to one, not {total:.4f}")


class Crumb:
    """Properties of a moist porous crumb by temperature (C) and water (kg) beside solids (kg)."""

    def __init__(self, composition: Composition) -> None:
        parts = (
            (composition.protein, _PROTEIN),
            (composition.fat, _FAT),
            (composition.carbohydrate, _CARBOHYDRATE),
            (composition.ash, _ASH),
        )
        solids = 1.0 - composition.water
        self._solids = [(share / solids, rows) for share, rows in parts]
        # the solids' own polynomials, once: cp by mass, ln k and volume by the constituents'
        # volumes at 60 C
        self._cp: Row = (
            sum(share * rows[2][0] for share, rows in self._solids),
            sum(share * rows[2][1] for share, rows in self._solids),
            sum(share * rows[2][2] for share, rows in self._solids),
        )
        volumes = [share / _value(rows[1], 60.0) for share, rows in self._solids]
        self._volume = float(sum(volumes))
        self._log_k = float(
            sum(v / self._volume * np.log(_value(rows[0], 60.0))
                for v, (_, rows) in zip(volumes, self._solids, strict=True))
        )  # fmt: skip

    def solids_cp(self, temperature_c: Field) -> Field:
        """Heat capacity of the solids, J/(kg K)."""
        return 1000.0 * _field(self._cp, temperature_c)

    def water_cp(self, temperature_c: Field) -> Field:
        """Heat capacity of liquid water, J/(kg K)."""
        return 1000.0 * _field(_WATER[2], temperature_c)

    def solids_enthalpy(self, temperature_c: Field) -> Field:
        """Enthalpy of the solids above 0 C, J/kg: the integral of their heat capacity."""
        return _enthalpy(self._cp, temperature_c)

    def water_enthalpy(self, temperature_c: Field) -> Field:
        """Enthalpy of liquid water above 0 C, J/kg."""
        return _enthalpy(_WATER[2], temperature_c)

    def dense_volume(self, solids_kg: Field, water_kg: Field) -> Field:
        """Volume without pores, m3."""
        return solids_kg * self._volume + water_kg / 985.0

    def dense_conductivity(self, temperature_c: Field, solids_kg: Field, water_kg: Field) -> Field:
        """Conductivity without pores, W/(m K).

        Geometric mean by volume, between series and parallel.
        """
        volume = self.dense_volume(solids_kg, water_kg)
        water_share = water_kg / 985.0 / volume
        log_water = np.log(_field(_WATER[0], temperature_c))
        return np.exp(water_share * log_water + (1.0 - water_share) * self._log_k)


def porous_conductivity(dense: Field, porosity: Field) -> Field:
    """Maxwell-Eucken for pores that conduct next to nothing beside the crumb, W/(m K)."""
    return dense * (1.0 - porosity) / (1.0 + 0.5 * porosity)


def saturation_pa(temperature_c: Field) -> Field:
    """Saturation pressure of water, Pa (Antoine)."""
    a, b, c = _ANTOINE
    return MMHG_PA * np.power(10.0, a - b / (c + temperature_c))


def boiling_c(pressure_pa: float, activity: Field) -> Field:
    """Temperature at which water of this activity boils, C (Antoine, turned round)."""
    a, b, c = _ANTOINE
    return b / (a - np.log10(pressure_pa / MMHG_PA / activity)) - c


def vapour_density(temperature_c: Field, activity: Field | float) -> Field:
    """Density of the vapour above water of this activity, kg/m3 (ideal gas)."""
    kelvin = temperature_c + 273.15
    return activity * saturation_pa(temperature_c) * WATER_KG_PER_MOL / (GAS_CONSTANT * kelvin)


def water_activity(water_per_solids: Field) -> Field:
    """How freely a crumb gives its water: near one while moist, falling to nothing when dry.

    An invented curve with the shape of a sugar-rich crumb's desorption.
    """
    moist = np.maximum(water_per_solids, 1e-4)
    return 0.975 * (1.0 - np.exp(-np.power(moist / 0.16, 1.25)))


def latent_j_per_kg(temperature_c: Field) -> Field:
    """Heat of vaporisation of water, J/kg; 2.50 MJ/kg at 0 C, 2.26 MJ/kg at 100 C."""
    return 2.501e6 - 2.43e3 * temperature_c


def vapour_diffusivity(temperature_c: Field) -> Field:
    """Water vapour in still air, m2/s.

    2.2e-5 at 0 C, exponent 1.81 (common handbook form, from memory).
    """
    return 2.2e-5 * np.power((temperature_c + 273.15) / 273.15, 1.81)


def _enthalpy(row: Row, t: Field) -> Field:
    a, b, c = row
    return 1000.0 * t * (a + t * (b / 2.0 + t * c / 3.0))


def _value(row: Row, t: float) -> float:
    return row[0] + t * (row[1] + t * row[2])


def _field(row: Row, t: Field) -> Field:
    return row[0] + t * (row[1] + t * row[2])
