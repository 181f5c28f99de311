"""The weighing of a whole cake on a gram scale, the way a kitchen does it."""

from __future__ import annotations

import random

import pytest
from weighing_bench import Bench, Physics, line, run, standing

from logger.plan import Formula

FORMULA = Formula(
    "Pear and ginger layer cake",
    (
        line("cake flour", 320, 3.2),
        line("granulated sugar", 250, 2.5),
        line("baking powder", 12, 0.6),
        line("butter", 170, 1.7),
        line("eggs", 150, 3),
        line("milk", 240, 4.8),
    ),
)


@pytest.mark.parametrize("marks", [True, False])
@pytest.mark.parametrize("draw", range(6))
def test_a_cake_is_weighed_with_a_lift_an_over_pour_and_a_tare_in_mid_pour(
    draw: int, marks: bool
) -> None:
    b = Bench(Physics(stable_flag=True, net_flag=True), random.Random(draw))
    b.pass_s(2)
    b.put(612)
    b.pass_s(2)
    b.tare()
    b.pass_s(2)
    if marks:
        b.mark("cake flour")
    b.pass_s(0.5)
    b.pour("cake flour", 320.4, 45)
    b.pass_s(3)
    b.pour("granulated sugar", 250.2, 50)
    b.pass_s(3)
    if marks:
        b.mark("baking powder")
    b.pass_s(0.5)
    b.spoon("baking powder", 12.0, 3)
    b.pass_s(3)
    mass = b.lift()
    b.pass_s(40)
    b.put_back(mass)
    b.pass_s(3)
    b.tare()
    b.pass_s(2)
    b.pour("butter", 170.0, 30, tare_after=0.5)
    b.pass_s(3)
    if marks:
        b.mark("eggs")
    b.pass_s(0.6)
    b.pour("eggs", 163.0, 40)
    b.pass_s(3)
    b.take_back("eggs", 12.5)
    b.pass_s(3)
    b.tare()
    b.pass_s(1.5)
    b.pour("milk", 240.5, 60)
    b.pass_s(3)

    found = standing(run(b.entries, FORMULA))

    assert set(found) == set(b.truth)
    for key, truth in b.truth.items():
        mass_kg = found[key].mass_kg
        assert mass_kg is not None
        # One division; two where the zero was set in the middle of the pour.
        limit = 2.0 if key == "butter" else 1.0
        assert mass_kg * 1000 == pytest.approx(truth.mass_g, abs=limit), key
        # A gram scale cannot decide ±0.6 g, nor ±1.7 g over a zero set in motion.
        doubtful = key in ("baking powder", "butter")
        assert found[key].verdict in (("within", "undecidable") if doubtful else ("within",)), key
