"""The balance rules and the chemistry of leavening.

Rules of sugar, eggs and liquids: as read in a course hand-out, "Cake Balancing Guidelines"
(scribd.com/doc/29344241), which restates textbook rules:

    regular cakes: sugar at most the flour; eggs equal the fat; eggs and liquids equal the flour
    high-ratio:    sugar at least the flour (110 to 160 %); eggs more than the fat; eggs and milk
                   at least the sugar; with cocoa, sugar up to 180 % of the flour, and water of
                   75 to 100 % of the cocoa

Ranges that are common practice from memory are not checked here against themselves.
Atomic weights: IUPAC/CIAAW 2021, abridged.
"""

from __future__ import annotations

import pytest

from logger.formula.amounts import SALT_PER_SODIUM
from logger.formula.balance import balance
from logger.formula.leavening import ACIDS, GAS_WITHOUT_ACID, SODA, SODA_IN_POWDER, TARTAR
from logger.formula.rules import HANDOUT
from logger.pantry import shipped
from logger.plan import Line

# The layer cake of the baker's percentages, by names of the shipped table.
LAYER_CAKE = {
    "cake flour": 0.5, "sugar": 0.55, "shortening": 0.25, "eggs": 0.3, "milk": 0.4,
    "baking powder": 0.025, "salt": 0.0125,
}  # fmt: skip


def of(masses: dict[str, float]):
    lines = [Line(name, name, f"{kg} kg", kg, kg / 50) for name, kg in masses.items()]
    return balance(masses, lines, shipped())


def test_the_layer_cake_passes_the_high_ratio_rules():
    found = of(LAYER_CAKE)

    assert found.family == "high-ratio"
    assert found.ratio("sugar : flour").value == pytest.approx(1.10)
    assert found.ratio("egg : fat").value == pytest.approx(60 / 50)
    assert found.ratio("liquids : sugar").value == pytest.approx(140 / 110)
    assert found.ratio("leavening : flour").value == pytest.approx(0.05)
    assert found.ratio("salt : flour").value == pytest.approx(0.025, abs=1e-4)  # and the fat's
    assert found.outside == ()


def test_the_same_cake_fails_the_low_ratio_rules():
    found = of(LAYER_CAKE)

    broken = {
        ratio.name: ratio.low_ratio.place(ratio.value)
        for ratio in found.ratios
        if ratio.low_ratio is not None and ratio.name in ("sugar : flour", "egg : fat",
                                                          "liquids : flour")
    }  # fmt: skip

    assert broken == dict.fromkeys(("sugar : flour", "egg : fat", "liquids : flour"), "above")


def test_equal_weights_of_flour_sugar_fat_and_egg_pass_the_low_ratio_rules():
    found = of({"plain flour": 0.25, "sugar": 0.25, "butter": 0.25, "eggs": 0.25, "salt": 0.004})

    assert found.family == "low-ratio"
    assert found.outside == ()


@pytest.mark.parametrize(
    ("name", "low", "high"), [("sugar : flour", 1.0, 1.6), ("liquids : sugar", 1.0, 1.5)]
)
def test_the_high_ratio_ranges_are_those_of_the_hand_out_where_it_gives_them(name, low, high):
    ratio = of(LAYER_CAKE).ratio(name)

    assert ratio.high_ratio is not None
    assert (ratio.high_ratio.low, ratio.high_ratio.high) == (low, high)
    assert HANDOUT in ratio.high_ratio.source


def test_cocoa_lets_the_sugar_go_to_180_per_cent_and_asks_for_water():
    chocolate = LAYER_CAKE | {"sugar": 0.85, "eggs": 0.35, "milk": 0.5, "cocoa": 0.1}

    found = of(chocolate)
    sugar, liquids = found.ratio("sugar : flour"), found.ratio("liquids : sugar")

    assert sugar.usual is not None
    assert sugar.usual.high == 1.8
    assert sugar.stands == "inside"
    assert liquids.usual is not None
    assert liquids.usual.low == pytest.approx(1 + 0.75 * 0.1 / 0.85)
    assert liquids.stands == "below"  # 850 g of liquid for 850 g of sugar, but none for the cocoa


def test_more_sugar_than_flour_asks_for_a_soft_flour():
    assert of(LAYER_CAKE).flour_asked.soft_enough is True
    bread = {("bread flour" if k == "cake flour" else k): v for k, v in LAYER_CAKE.items()}
    assert of(bread).flour_asked.soft_enough is False
    assert of(LAYER_CAKE | {"sugar": 0.5}).flour_asked is None


def test_cream_of_tartar_takes_up_soda_one_to_one_by_mole():
    """NaHCO3 84.007 and KHC4H4O6 188.18 g/mol: 2.24 g for 1 g."""
    assert pytest.approx(84.007, abs=0.002) == SODA
    assert pytest.approx(188.18, abs=0.005) == TARTAR
    assert pytest.approx(2.240, abs=0.0005) == TARTAR / SODA
    masses = {"plain flour": 0.2, "baking soda": 0.005, "cream of tartar": 0.0112}
    assert of(masses).leavening.needed_kg == pytest.approx(0.005, rel=1e-3)
    assert of(masses).leavening.stands == "match"


def test_the_rule_of_thumb_for_cream_of_tartar_agrees_with_the_chemistry():
    """On Food and Cooking (2004), Baking Soda: 2 g of soda to 5 g of cream of tartar."""
    tartar = next(rule for rule in ACIDS if rule.counted_as == "cream of tartar")

    assert 5 * tartar.soda_share == pytest.approx(2.0, rel=0.15)


def test_half_a_teaspoon_of_soda_goes_to_a_cup_of_buttermilk():
    """On Food and Cooking (2004): 1/2 teaspoon, 2 g, to a cup, 240 ml, of fermented milk."""
    found = of({"plain flour": 0.25, "buttermilk": 0.245, "baking soda": 0.0023})

    assert found.leavening.needed_kg * 1000 == pytest.approx(2.3)
    assert found.leavening.needed_kg * 1000 == pytest.approx(2.0, rel=0.16)
    assert found.leavening.stands == "match"


def test_baking_powder_is_between_a_quarter_and_a_third_soda():
    assert 1 / 4 < SODA_IN_POWDER < 1 / 3


def test_soda_without_acid_gives_half_its_gas():
    """2 NaHCO3 → Na2CO3 + H2O + CO2 against NaHCO3 + H+ → Na+ + H2O + CO2."""
    alone = of({"plain flour": 0.5, "baking soda": 0.004}).leavening
    with_acid = of({"plain flour": 0.5, "baking soda": 0.004, "cream of tartar": 0.1}).leavening

    assert alone.equivalent_kg == pytest.approx(with_acid.equivalent_kg * GAS_WITHOUT_ACID)


def test_sodium_as_salt_is_the_ratio_of_molar_masses():
    """NaCl 58.44, Na 22.990 g/mol. A label in the EU uses 2.5 (Regulation 1169/2011, Annex I)."""
    assert pytest.approx(2.542, abs=0.0005) == SALT_PER_SODIUM
    assert pytest.approx(2.5, rel=0.02) == SALT_PER_SODIUM
