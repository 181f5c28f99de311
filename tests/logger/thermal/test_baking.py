"""The cells of the bake against what is known of them without them."""

from __future__ import annotations

import numpy as np
import pytest

from logger.thermal.baking import WATER_K, BakeRates, at_tip, bake_step, height
from logger.thermal.shells import CELLS, shells

SLAB = shells(0.025, (), False)
EVEN = np.zeros(1)


def rates(pan_holds: float = 0.0, **change: float) -> BakeRates:
    values = {
        "exchange": 2e-3,
        "heating": 1e-3,
        "plateau": 100.0,
        "rising": 1.0,
        "vapour": 0.0,
        "expansion": 2.0,
        "evaporation": 0.0,
    } | change
    arrays = {name: np.array([value]) for name, value in values.items()}
    return BakeRates(**arrays, walls=0.0, pan_holds=pan_holds, shells=SLAB)


def baked(seconds: float, dt: float, r: BakeRates, air: float = 175.0) -> np.ndarray:
    cells, water_k = np.full((CELLS, 1), 22.0), np.full(1, WATER_K)
    for _ in range(round(seconds / dt)):
        cells, water_k = bake_step(cells, water_k, dt, air, r)
    return cells


def test_the_core_lags_and_no_crumb_below_the_crust_passes_the_plateau() -> None:
    early, late = baked(120.0, 10.0, rates()), baked(7200.0, 10.0, rates())

    assert early[0, 0] - 22 > 5 * (early[-1, 0] - 22)
    assert late[0, 0] > 100.0
    assert late[1:].max() <= 100.0 + 1e-9
    assert late[-1, 0] == pytest.approx(100.0, abs=0.5)


def test_what_the_air_gives_is_what_the_cells_have() -> None:
    cells = baked(600.0, 5.0, rates(plateau=500.0))

    lumped = 22.0
    surface, water_k = np.full((CELLS, 1), 22.0), np.full(1, WATER_K)
    for _ in range(120):
        before = surface[0, 0]
        surface, water_k = bake_step(surface, water_k, 5.0, 175.0, rates(plateau=500.0))
        lumped += 5.0 * 1e-3 * (175.0 - (0.45 * before + 0.55 * surface[0, 0]))

    assert cells.mean() - 22.0 == pytest.approx(lumped - 22.0, rel=0.01)


@pytest.mark.parametrize(("dt", "within"), [(15.0, 0.5), (45.0, 1.0), (90.0, 1.5)])
def test_long_steps_bake_as_short_ones_do(dt: float, within: float) -> None:
    r = rates(vapour=5.0, rising=4.0, exchange=1e-3)

    fine, coarse = baked(1800.0, 2.5, r), baked(1800.0, dt, r)

    assert coarse[-1, 0] == pytest.approx(fine[-1, 0], abs=within)


def test_a_slab_decays_as_its_series_says() -> None:
    # Slowest mode of a slab, surface held: (π/2)² α/L² (Incropera ch. 5); here α/L² = exchange/9,
    # and what is held is the middle of the outer cell, half a cell further in.
    r = rates(heating=10.0, plateau=500.0)

    early, late = (100.0 - baked(t, 2.0, r, air=100.0)[-1, 0] for t in (1500.0, 3000.0))

    expected = (np.pi / 2) ** 2 * 2e-3 / 9 * (CELLS / (CELLS - 0.5)) ** 2
    assert np.log(early / late) / 1500.0 == pytest.approx(expected, rel=0.02)


def test_the_outside_boils_hotter_and_hotter_as_it_dries_to_a_crust() -> None:
    r = rates(heating=3e-3, evaporation=0.1)
    cells, water_k = np.full((CELLS, 1), 22.0), np.full(1, WATER_K)
    wet: list[float] = []
    while water_k[0] > 0.1 * WATER_K:
        cells, water_k = bake_step(cells, water_k, 10.0, 175.0, r)
        wet.append(float(cells[0, 0]))

    boiling = [celsius for celsius in wet if celsius >= 100.0]
    assert len(boiling) > 20
    # Hotter and hotter: half way by some kelvins, before the last of it by tens.
    assert boiling == sorted(boiling)
    assert boiling[0] == pytest.approx(100.0, abs=0.5)
    assert boiling[len(boiling) // 4] > 103.0
    assert 130.0 < boiling[-1] < 160.0


def test_a_pan_takes_heat_of_its_own_and_evens_out_in_time() -> None:
    bare, panned = rates(plateau=500.0), rates(pan_holds=0.15, plateau=500.0)

    without, within = baked(240.0, 5.0, bare), baked(240.0, 5.0, panned)

    assert (within < without).all()
    assert baked(40_000.0, 20.0, panned).min() == pytest.approx(175.0, abs=1.0)


def test_vapour_that_leaves_keeps_the_outside_cooler() -> None:
    dry, steaming = baked(600.0, 5.0, rates()), baked(600.0, 5.0, rates(evaporation=0.5))

    assert steaming[0, 0] < dry[0, 0] - 2.0
    assert steaming[-1, 0] < dry[-1, 0]


def test_a_tip_in_batter_that_rises_from_the_outside_ends_in_its_lower_half() -> None:
    cells = np.array([[95.0], [80.0], [60.0], [45.0], [38.0], [36.0]])
    expansion, tip = np.array([2.5]), np.array([0.75])

    inside, covered = at_tip(cells, tip, EVEN, expansion, SLAB)
    cool, _ = at_tip(np.full((CELLS, 1), 22.0), tip, EVEN, expansion, SLAB)

    assert bool(covered[0])
    assert cool[0] == pytest.approx(22.0)
    # The outer cells have risen: three quarters of the batter's height is not far above the base.
    assert height(cells, expansion)[0] > 1.4
    assert 36.0 < inside[0] < 80.0


def test_a_top_that_is_hotter_shows_above_the_middle_and_the_base_below_it() -> None:
    # A slab between two films, in a steady state with a source: T = s (1 - x²) and a straight part.
    x = np.linspace(1.0, 0.0, 2 * CELLS + 1)[1::2, None]  # middles of the cells, outside inward
    cells, one, lean = 60.0 + 20.0 * x**2, np.ones(1), np.array([0.3])
    difference = cells[0] - cells[-1]

    def leans(tip: float) -> float:
        there, even = (at_tip(cells, one * tip, a, one, SLAB)[0] for a in (lean, EVEN))
        return float((there - even)[0])

    assert leans(0.5) == pytest.approx(0.0)
    assert leans(0.8) == pytest.approx(0.3 * 0.6 * float(difference[0]))
    assert leans(0.2) == pytest.approx(-leans(0.8))


def test_the_shells_are_as_high_as_the_batter() -> None:
    cells, one = np.full((CELLS, 1), 22.0), np.ones(1)

    assert at_tip(cells, one * 0.999_999, EVEN, one, SLAB)[1][0]
    assert not at_tip(cells, one * 1.000_001, EVEN, one, SLAB)[1][0]


def test_a_tip_above_the_batter_is_covered_when_it_has_risen() -> None:
    expansion, tip = np.array([2.0]), np.array([1.2])

    before = at_tip(np.full((CELLS, 1), 22.0), tip, EVEN, expansion, SLAB)[1]
    after = at_tip(np.full((CELLS, 1), 90.0), tip, EVEN, expansion, SLAB)[1]

    assert not before[0]
    assert after[0]
