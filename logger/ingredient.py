"""`Ingredient`: what is known of one: composition, weights of household measures, allergens, cost.

Pure values. The shipped table is read by `logger.pantry`; a plan freezes in the rows it uses.
Everything absent is None, which means "not determined", never zero.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any


@dataclass(frozen=True, slots=True)
class Composition:
    """Per 100 g of the ingredient as used; grams, energy in kilocalories, sodium in milligrams.

    `carbohydrate_g` is by difference and includes fibre, as food tables have it.
    """

    water_g: float | None = None
    protein_g: float | None = None
    fat_g: float | None = None
    carbohydrate_g: float | None = None
    fiber_g: float | None = None
    ash_g: float | None = None
    sugars_g: float | None = None
    starch_g: float | None = None
    alcohol_g: float | None = None
    saturated_fat_g: float | None = None
    sodium_mg: float | None = None
    energy_kcal: float | None = None


@dataclass(frozen=True, slots=True)
class EnergyFactors:
    """Specific Atwater factors in kilocalories per gram."""

    protein: float | None = None
    fat: float | None = None
    carbohydrate: float | None = None


@dataclass(frozen=True, slots=True)
class Portion:
    """A household measure with its published weight.

    Attributes:
        amount: how many of `words` weigh `mass_g`.
        words: as the source has it, e.g. ``cup unsifted, dipped`` or ``large``.
        mass_g: weight of `amount` of them.
        n: number of samples behind it.
        sd_g: published standard deviation or error.
        volume_ml: of one, where it is a measure of volume.
    """

    amount: float
    words: str
    mass_g: float
    n: int | None = None
    sd_g: float | None = None
    volume_ml: float | None = None


@dataclass(frozen=True, slots=True)
class Ingredient:
    """One ingredient.

    Attributes:
        name: its description in the source; unique in a pantry.
        source: e.g. ``USDA SR 28, record 20084``; for a kitchen's own, what the kitchen wrote.
        aliases: other exact names.
        kind: what it does in a batter: ``flour``, ``starch``, ``sugar``, ``syrup``, ``fat``,
            ``egg``, ``milk``, ``liquid``, ``leavening``, ``acid``, ``salt``, ``cocoa``,
            ``chocolate``, ``cheese``, ``flavour``, ``fruit``, ``nut``, ``other``.
        portions: household measures.
        composition, energy_factors: per 100 g, kcal per gram.
        density_g_ml: of the stuff in a level measure, where the kitchen gives it.
        allergens: plain words, each of which belongs to one or more legal groups:
            ``wheat``, ``rye``, ``barley``, ``oats``, ``milk``, ``egg``, ``almond``, ``walnut``,
            ``soy``, ``sesame``, ``sulphites`` …
        flour_kind: for flours: ``cake``, ``pastry``, ``all-purpose``, ``bread``, ``whole`` …
        cost_per_kg: in the kitchen's currency.
        plain: the preparation or size that a bare measure of it means (``unsifted``, ``large``).
    """

    name: str
    source: str
    aliases: tuple[str, ...] = ()
    kind: str = "other"
    portions: tuple[Portion, ...] = ()
    composition: Composition | None = None
    energy_factors: EnergyFactors | None = None
    density_g_ml: float | None = None
    allergens: tuple[str, ...] = ()
    flour_kind: str | None = None
    cost_per_kg: float | None = None
    plain: str | None = None

    def to_json(self) -> dict[str, Any]:
        """As a plan freezes it in: a JSON object without the keys that are absent."""
        document = asdict(self)
        return {key: value for key, value in document.items() if value not in (None, (), [])}

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> Ingredient:
        """The ingredient of `to_json`; unknown keys are left out."""
        known = {f.name for f in fields(cls)}
        given = {key: value for key, value in document.items() if key in known}
        for key in ("aliases", "allergens"):
            given[key] = tuple(given.get(key, ()))
        given["portions"] = tuple(Portion(**portion) for portion in given.get("portions", ()))
        if (composition := given.get("composition")) is not None:
            given["composition"] = Composition(**composition)
        if (factors := given.get("energy_factors")) is not None:
            given["energy_factors"] = EnergyFactors(**factors)
        return cls(**given)
