"""The table of `logger.weighing.attribution`, row by row."""

from __future__ import annotations

import pytest
from weighing_bench import line

from logger.weighing.attribution import Book, Place, following, marks_in_use, place
from logger.weighing.pieces import Piece
from logger.weighing.rest import Rest

FLOUR, SALT, SUGAR, MILK = (
    line("flour", 300, 3),
    line("salt", 8, 0.4),
    line("sugar", 120, 1.2),
    line("milk", 200, 4),
)
LINES = (FLOUR, SALT, SUGAR, MILK)
BLUR_KG = 0.001


def rest(level_g: float) -> Rest:
    return Rest(level_g / 1000, 0, 0, 0.0, 5, BLUR_KG, 0)


def rise(mass_g: float, selected: int | None = None, line: int | None = None) -> Piece:
    return Piece(rest(0), rest(mass_g), "scale/mass", 0, mass_g / 1000, selected, line=line)


def book(
    open_: int | None,
    *totals_g: float,
    marked: bool = False,
    movable_g: float = 0.0,
    before: int | None = None,
    tares: bool = False,
) -> Book:
    totals = [g / 1000 for g in (*totals_g, *[0.0] * (4 - len(totals_g)))]
    taken = frozenset(i for i, kg in enumerate(totals) if kg > BLUR_KG)
    return Book(
        LINES, totals, taken, frozenset(), open_,
        marks_in_use=marked, movable_kg=movable_g / 1000, before=before, tares=tares,
    )  # fmt: skip


def placed(
    before: Book,
    piece: Piece,
    trifle: bool = False,
    changed: bool = False,
    continues: bool = False,
    moved: bool = False,
) -> Place:
    return place(
        before, piece,
        trifle=trifle, changed=changed, continues=continues, moved=moved, blur_kg=BLUR_KG,
    )  # fmt: skip


def test_a_rise_after_a_mark_is_of_the_marked_line() -> None:
    assert placed(book(0, 120), rise(90, selected=3)) == Place(3)


def test_a_take_back_after_a_mark_is_of_the_line_that_has_something() -> None:
    assert placed(book(0, 310), rise(-9, selected=3)) == Place(0)


@pytest.mark.parametrize("changed", [False, True])
def test_a_take_back_is_of_the_open_line(changed: bool) -> None:
    assert placed(book(0, 310), rise(-9), changed=changed) == Place(0)


def test_drift_stays_with_a_decided_line() -> None:
    assert placed(book(0, 300), rise(1), trifle=True) == Place(0)


def test_what_goes_on_within_a_second_stays_with_a_decided_line() -> None:
    assert placed(book(0, 298), rise(4), continues=True) == Place(0)


@pytest.mark.parametrize("total_g", [298, 306])
def test_with_marks_in_use_more_into_a_decided_line_is_still_that_line_s(total_g: float) -> None:
    assert placed(book(0, total_g, marked=True), rise(5)) == Place(0)


def test_with_marks_in_use_a_tare_does_not_end_a_line_that_is_under() -> None:
    assert placed(book(0, 120, marked=True), rise(100), changed=True) == Place(0)


def test_with_marks_in_use_much_too_much_after_a_tare_is_of_a_line_that_could_hold_it() -> None:
    before = book(0, 200, marked=True)
    assert placed(before, rise(185), changed=True) == Place(3)
    assert placed(before, rise(185)) == Place(0)


def test_with_marks_in_use_a_tare_after_a_decided_line_goes_on_in_order() -> None:
    assert placed(book(0, 300, marked=True), rise(5), changed=True) == Place(1)


def test_an_under_line_gets_the_rise() -> None:
    assert placed(book(0, 120), rise(100)) == Place(0)


def test_a_tare_ends_an_under_line() -> None:
    assert placed(book(0, 120), rise(6), changed=True) == Place(1)


def test_a_tare_on_another_scale_says_nothing_of_the_line() -> None:
    assert placed(book(0, 120), rise(100), changed=True, moved=True) == Place(0)


def test_a_tare_does_not_end_a_line_that_was_hardly_begun() -> None:
    assert placed(book(0, 2), rise(297), changed=True) == Place(0)


@pytest.mark.parametrize("total_g", [298, 300, 312])
def test_a_decided_line_is_followed_by_the_next(total_g: float) -> None:
    assert placed(book(0, total_g), rise(5)) == Place(1)


def test_an_over_pour_by_a_slip_is_the_line_s_own() -> None:
    assert placed(book(0, 300), rise(12.3)) == Place(1)
    assert placed(book(1, 300, 0), rise(12.3)) == Place(1)


def test_what_the_next_line_asks_for_is_of_that_line() -> None:
    # 75 g and 120 g make 195 g, far over 120 g, but 200 ± 4 g is the next line's.
    assert placed(book(2, 300, 8, 40), rise(199)) == Place(3)


def test_two_rises_may_together_be_what_the_next_line_asks_for() -> None:
    before = book(2, 300, 8, 90, movable_g=90)
    assert placed(before, rise(85), changed=False) == Place(2)
    assert placed(before, rise(110)) == Place(3, earlier=3)


def test_what_is_grossly_too_much_is_of_the_nearest_line_that_holds_it() -> None:
    assert placed(book(0, 300), rise(55)) == Place(2)


def test_a_line_without_a_target_waits_until_the_others_are_taken() -> None:
    lines = (FLOUR, line("to taste", None, None), MILK)  # type: ignore[arg-type]
    assert following(lines, 0, frozenset({0}), frozenset()) == [2, 1]


def test_what_lacks_something_comes_first() -> None:
    assert following(LINES, 2, frozenset({1, 2}), frozenset({0})) == [0, 3]


def test_marks_are_in_use_while_each_line_since_the_first_mark_was_marked() -> None:
    unmarked, marked = rise(300, line=0), rise(8, selected=1, line=1)
    assert not marks_in_use([])
    assert not marks_in_use([unmarked])
    assert marks_in_use([unmarked, marked, rise(2, line=1)])
    assert not marks_in_use([unmarked, marked, rise(120, line=2)])


def test_two_lines_that_were_swapped_are_told_by_what_they_ask_for() -> None:
    # 120 g were given to flour; with 300 g more that is far too much, but 120 g is the sugar's.
    assert placed(book(0, 120, movable_g=120), rise(300)) == Place(0, earlier=2)


def test_after_a_tare_a_line_far_too_light_gives_what_another_asks_for() -> None:
    before = book(0, 121, movable_g=121)
    assert placed(before, rise(60), changed=True) == Place(0, earlier=2)


def test_after_a_tare_a_line_far_too_light_that_no_tare_opened_gives_to_the_line_before() -> None:
    opened = book(1, 298, 2.5, movable_g=2.5, before=0)
    assert placed(opened, rise(5), changed=True) == Place(1, earlier=0)
    told = book(1, 298, 2.5, movable_g=2.5)
    assert placed(told, rise(110), changed=True) == Place(2)


def test_who_tares_for_each_line_goes_on_with_the_open_one_until_the_next_tare() -> None:
    # 60 g and 120 g are over 120 g by half; the 200 g of milk would be met by no such rise.
    assert placed(book(2, 300, 8, 60), rise(199)) == Place(3)
    assert placed(book(3, 300, 8, 0, 110), rise(121)) == Place(2)
    assert placed(book(3, 300, 8, 0, 110, tares=True), rise(121)) == Place(3)


def test_what_any_later_line_asks_for_is_of_that_line() -> None:
    # Too much for the salt, not yet grossly so, and just what the milk asks for.
    assert placed(book(0, 300), rise(200)) == Place(3)


def test_what_goes_on_is_of_another_line_where_it_is_too_much_and_that_asks_for_it() -> None:
    assert placed(book(0, 298), rise(200), continues=True) == Place(3)
