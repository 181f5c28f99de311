"""Formulas of the invented Harbour Steps cake room, for the tests of what a formula is."""

from __future__ import annotations

from logger.formula.pantry import Pantry
from logger.ingredient import Composition, Ingredient
from logger.pantry import shipped
from logger.plan import Formula, Line, Makes, MixingStep, Pan

PEAR_AND_GINGER = {
    "cake flour": 270.0,
    "granulated sugar": 300.0,
    "baking powder": 10.0,
    "salt": 4.0,
    "ground ginger": 6.0,
    "butter": 110.0,
    "sunflower oil": 50.0,
    "whole egg": 200.0,
    "buttermilk": 230.0,
    "vanilla extract": 6.0,
    "grated pear": 140.0,
}
FROSTING = {"brown butter": 150.0, "cream cheese": 340.0, "icing sugar": 180.0}
POUND = {"plain flour": 250.0, "sugar": 250.0, "butter": 250.0, "eggs": 250.0, "salt": 3.0}
SPONGE = {"cake flour": 120.0, "sugar": 120.0, "eggs": 200.0, "cream of tartar": 2.0}

TWO_ROUND_PANS = Makes(Pan("round", diameter_m=0.2, depth_m=0.05), 2, 0.620, 12)
BAKE = MixingStep("bake", set_point_c=175.0)


def lines(grams: dict[str, float]) -> tuple[Line, ...]:
    """Lines of these ingredients, each with the tolerance of 2 %."""
    return tuple(
        Line(name, name, f"{mass:g} g", mass / 1000, mass / 50_000) for name, mass in grams.items()
    )


def kilograms(grams: dict[str, float]) -> dict[str, float]:
    return {name: mass / 1000 for name, mass in grams.items()}


def formula(name: str, grams: dict[str, float], **more: object) -> Formula:
    return Formula(name, lines(grams), **more)  # type: ignore[arg-type]


def pantry(*own: Ingredient) -> Pantry:
    return shipped().plus(own) if own else shipped()


BROWN_BUTTER = Ingredient(
    "Brown butter of the house",
    "weighed by the cake room",
    aliases=("brown butter",),
    kind="fat",
    composition=Composition(
        water_g=0.5, protein_g=1.0, fat_g=97.0, carbohydrate_g=0.5, fiber_g=0.0, ash_g=1.0,
        sugars_g=0.5, starch_g=0.0, alcohol_g=0.0, sodium_mg=13.0, energy_kcal=880.0,
    ),
    allergens=("milk",),
    cost_per_kg=12.0,
)  # fmt: skip
