"""The shape of a cake in shells, against what is known of bodies without them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.thermal.shells import CELLS, shells


def test_a_slab_is_equal_layers() -> None:
    slab = shells(0.025, (), False)

    assert np.allclose(slab.shares, 1 / CELLS)
    assert np.ptp(slab.passages) == pytest.approx(0.0, abs=1e-9)
    assert slab.sides == 0.0
    # Near the middle of a slab: the mean of a cell is a sixth of the difference to the next from it.
    assert slab.beyond == pytest.approx(1 / 6)


def test_a_wide_pan_is_nearly_a_slab_and_a_cup_nearly_a_ball() -> None:
    wide, cup = shells(0.025, (0.3,), True), shells(0.025, (0.03,), True)

    assert np.ptp(wide.shares) < 0.02
    assert cup.shares[0, 0] > 0.35
    assert cup.shares[-1, 0] < 0.02


@given(
    half=st.floats(0.006, 0.06),
    across=st.lists(st.floats(0.02, 0.35), min_size=0, max_size=2),
    is_round=st.booleans(),
)
def test_shells_are_the_whole_cake(half: float, across: list[float], is_round: bool) -> None:
    made = shells(half, tuple(across[:1] if is_round else across), is_round and bool(across))

    assert float(made.shares.sum()) == pytest.approx(1.0)
    assert (made.shares > 0).all()
    assert (made.passages > 0).all()
    assert (np.diff(made.shares[:, 0]) <= 1e-9).all()
