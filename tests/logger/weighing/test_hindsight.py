"""What later rises, marks and take-backs tell of earlier rises."""

from __future__ import annotations

import pytest
from weighing_bench import line

from logger.weighing.ledger import Ledger
from logger.weighing.misfit import told_of
from logger.weighing.pieces import Blurs, Piece
from logger.weighing.rest import Rest

FLOUR, SUGAR, EGGS, SALT = (
    line("flour", 300, 3),
    line("sugar", 200, 2),
    line("eggs", 150, 3),
    line("salt", 8, 0.4),
)
BLURS = Blurs({"scale/mass": 0.001})
SECOND_US = 1_000_000


class Weighed:
    """Rises one after the other, ten seconds apart, into one ledger."""

    def __init__(self) -> None:
        self.ledger = Ledger((FLOUR, SUGAR, EGGS, SALT))
        self.level_g, self.t_us = 0.0, 0

    def add(self, *masses_g: float, mark: int | None = None, tared: bool = False) -> Weighed:
        for number, mass_g in enumerate(masses_g):
            self.t_us += 10 * SECOND_US
            ends_us = self.t_us + SECOND_US
            before, after = (
                Rest(g / 1000, self.t_us, ends_us, 0.0, 5, 0.001, ends_us)
                for g in (self.level_g, self.level_g + mass_g)
            )
            self.level_g += mass_g
            first = number == 0
            piece = Piece(
                before, after, "scale/mass", self.t_us, after.level_kg,
                selected=mark if first else None, tared=tared and first, ended_us=ends_us,
            )  # fmt: skip
            self.ledger.add(piece, BLURS)
        return self

    @property
    def totals_g(self) -> list[float]:
        return [round(self.ledger.total_kg(i) * 1000, 1) for i in range(4)]


def test_what_came_unmarked_after_a_line_was_right_is_of_the_line_opened_next() -> None:
    weighed = Weighed().add(300, mark=0)

    weighed.add(48, 50, 105)

    assert weighed.totals_g == [300.0, 203.0, 0.0, 0.0]


def test_what_came_after_a_line_was_right_and_is_what_the_next_asks_for_is_given_it_at_once() -> (
    None
):
    weighed = Weighed().add(300, mark=0).add(90)
    assert weighed.totals_g == [390.0, 0.0, 0.0, 0.0]

    weighed.add(111)

    assert weighed.totals_g == [300.0, 201.0, 0.0, 0.0]


def test_a_pour_that_crosses_its_target_stays_over() -> None:
    weighed = Weighed().add(200, 140, mark=0)

    weighed.add(200, mark=1)

    assert weighed.totals_g == [340.0, 200.0, 0.0, 0.0]


def test_a_mark_moves_what_the_order_gave_its_line_to_the_line_that_asks_for_it() -> None:
    weighed = Weighed().add(300, 151)
    assert weighed.totals_g == [300.0, 151.0, 0.0, 0.0]

    weighed.add(199, mark=1)

    assert weighed.totals_g == [300.0, 199.0, 151.0, 0.0]


def test_a_mark_leaves_a_half_filled_line_what_it_has() -> None:
    weighed = Weighed().add(300, 90).add(8, mark=3)

    weighed.add(110, mark=1)

    assert weighed.totals_g == [300.0, 200.0, 0.0, 8.0]


@pytest.mark.parametrize(("back_g", "flour_g"), [(-34, 300), (-39, 295)])
def test_a_hand_between_two_lines_is_an_addition_to_neither(back_g: float, flour_g: float) -> None:
    weighed = Weighed().add(300, 34)

    weighed.add(back_g)

    assert weighed.totals_g == [flour_g, 0.0, 0.0, 0.0]
    assert weighed.ledger.current == 0


def test_a_take_back_from_an_over_pour_is_of_the_line_that_was_over() -> None:
    weighed = Weighed().add(300, 240)

    weighed.add(-39)

    assert weighed.totals_g == [300.0, 201.0, 0.0, 0.0]


def test_nothing_goes_on_after_a_take_back() -> None:
    weighed = Weighed().add(310, -10)
    weighed.t_us -= 9 * SECOND_US

    weighed.add(60)

    assert weighed.totals_g == [300.0, 60.0, 0.0, 0.0]


def test_a_mass_that_is_told_is_found_among_the_last_rises_of_any_lines() -> None:
    weighed = Weighed().add(300, 201, 30, 8.2, 112, mark=0)
    ledger = weighed.ledger

    found = told_of(ledger, 3, 0.351, BLURS)

    assert weighed.totals_g == [300.0, 201.0, 150.2, 0.0]
    assert [round(p.mass_kg * 1000, 1) for p in found] == [201.0, 30.0, 8.2, 112.0]
    assert told_of(ledger, 3, 0.175, BLURS) == []
