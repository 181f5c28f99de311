"""What a scale shows becomes containers, pieces and rests: scenes of plain readings at 10 Hz."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from drivers.reading import Reading
from logger.weighing.pieces import Piece
from logger.weighing.scale import Scale
from logger.weighing.signals import ContainerOn, Ended, Extended, Lifted, Signal, Tared


class Scene:
    """A scale without a plan, told what may be expected."""

    def __init__(
        self,
        plausible: Callable[[float, float], bool] = lambda change, d: change > 0,
        mark_waits: bool = False,
        d_g: float = 1.0,
        period_us: int = 100_000,
    ) -> None:
        self.scale = Scale(
            "scale/mass",
            d_g / 1000,
            plausible,
            lambda rise, start, d: mark_waits,
            lambda piece: True,
            lambda: 0.0,
            lambda: math.inf,
        )
        self.d_g, self.n, self.period_us = d_g, 0, period_us
        self.signals: list[Signal] = []

    def show(self, *grams: float, times: int = 1) -> None:
        for value in grams * times:
            shown_kg = round(value / self.d_g) * self.d_g / 1000
            reading = Reading("scale", "mass", self.n * self.period_us, shown_kg, "kg")
            self.signals += self.scale.feed(reading)
            self.n += 1

    @property
    def pieces_g(self) -> list[float]:
        """What was added or taken back, piece by piece, as it stands in the end."""
        pieces: list[Piece] = []
        for signal in self.signals:
            if isinstance(signal, Ended) and not any(signal.piece is p for p in pieces):
                pieces.append(signal.piece)
        return [round(piece.mass_kg * 1000, 1) for piece in pieces]

    def count(self, kind: type[Signal]) -> int:
        return sum(isinstance(signal, kind) for signal in self.signals)


def with_bowl(scene: Scene) -> Scene:
    """A bowl of 400 g put down on an empty pan."""
    scene.show(0.0, times=15)
    scene.show(120, 350, 398, 400)
    scene.show(400, times=20)
    return scene


def test_the_first_egg_on_a_scale_tared_before_is_no_container() -> None:
    scene = Scene()
    scene.show(0.0, times=15)
    scene.show(30, 52, 55)
    scene.show(55, times=20)

    assert (scene.count(ContainerOn), scene.pieces_g) == (0, [55.0])


def test_a_bowl_on_a_pan_believed_empty_is_a_container() -> None:
    assert (with_bowl(Scene()).count(ContainerOn), with_bowl(Scene()).pieces_g) == (1, [])


def test_what_the_mark_of_a_line_waits_for_is_no_container_however_heavy() -> None:
    scene = with_bowl(Scene(mark_waits=True))

    assert (scene.count(ContainerOn), scene.pieces_g) == (0, [400.0])


def test_a_bowl_that_comes_back_lighter_left_batter_on_the_beater() -> None:
    scene = with_bowl(Scene(plausible=lambda change, d: True))
    scene.show(*range(410, 600, 10))
    scene.show(600, times=20)
    scene.show(300, 20, 0)
    scene.show(0.0, times=30)
    scene.show(300, 570, 588)
    scene.show(588, times=20)

    assert scene.count(Lifted) == 1
    assert scene.pieces_g == [200.0]
    assert scene.scale.bench.present


def test_a_heavier_one_in_one_go_is_another_container() -> None:
    scene = with_bowl(Scene(plausible=lambda change, d: True))
    scene.show(300, 20, 0)
    scene.show(0.0, times=30)
    scene.show(200, 440, 450)
    scene.show(450, times=20)

    assert (scene.count(ContainerOn), scene.pieces_g) == (2, [])


def test_an_impact_that_falls_back_to_zero_is_no_tare_key() -> None:
    scene = with_bowl(Scene())
    scene.show(0.0, times=20)  # the tare key
    scene.show(47, 18, 14, 13)
    scene.show(13, times=20)

    assert scene.pieces_g == [13.0]


def test_a_flicker_between_two_divisions_is_one_rest() -> None:
    scene = with_bowl(Scene())
    scene.show(*range(410, 500, 10))
    scene.show(500, times=20)
    before = len(scene.signals)
    for _ in range(8):
        scene.show(501, times=9)
        scene.show(500, times=11)

    assert len(scene.pieces_g) == 1
    assert len(scene.signals) - before <= 1


def test_a_stream_that_pauses_for_less_than_a_second_is_one_piece() -> None:
    scene = with_bowl(Scene())
    scene.show(*range(410, 500, 10))
    scene.show(500, times=7)
    scene.show(*range(510, 600, 10))
    scene.show(600, times=20)

    assert scene.count(Extended) >= 1
    assert scene.pieces_g == [200.0]


@pytest.mark.parametrize("rate_divider", [1, 2])
def test_a_division_more_is_seen_however_slow_the_scale(rate_divider: int) -> None:
    scene = with_bowl(Scene())
    for value in [404.0] * 20 + [405.0] * 20:
        reading = Reading("scale", "mass", scene.n * 100_000, value / 1000, "kg")
        scene.signals += scene.scale.feed(reading)
        scene.n += rate_divider

    assert sum(scene.pieces_g) == pytest.approx(5.0, abs=0.2)


def test_a_rest_found_while_a_mixer_shook_is_read_anew_when_it_stops() -> None:
    scene = with_bowl(Scene(d_g=0.1))
    shaking = [2.0, -1.0, 1.5, -2.0, 0.5, -1.0]
    for n in range(60):
        scene.show(409.0 + shaking[n % 6] + (0.4 if n < 40 else 0.0))
    scene.show(409.5, times=15)

    assert sum(scene.pieces_g) == pytest.approx(9.5, abs=0.15)


def test_a_rise_with_a_lull_on_its_way_was_poured_and_is_no_container() -> None:
    scene = Scene()
    scene.show(0.0, times=15)
    scene.show(22, 25, 26, 34, 46, 67, 68, 69, 98, 100, 101, 102)
    scene.show(102, times=20)

    assert (scene.count(ContainerOn), scene.pieces_g) == (0, [102.0])


def test_a_rise_without_a_lull_is_a_container_seen_through_a_slow_filter() -> None:
    scene = Scene()
    scene.show(0.0, times=15)
    scene.show(*(9.0 * i for i in range(1, 12)))
    scene.show(102, times=20)

    assert (scene.count(ContainerOn), scene.pieces_g) == (1, [])


def test_the_first_pinches_into_a_bowl_tared_before_are_additions() -> None:
    scene = Scene()
    scene.show(0.0, times=15)
    scene.show(3.0, times=20)
    scene.show(6.0, times=20)

    assert scene.pieces_g == [3.0, 3.0]


def test_a_flicker_of_a_bowl_before_the_division_is_known_lifts_nothing() -> None:
    scene = Scene()
    scene.show(530.0, times=6)
    scene.show(525.0, times=15)

    assert scene.count(Lifted) == 0


def test_a_pan_that_swings_through_zero_after_the_bowl_left_it_was_not_tared() -> None:
    scene = with_bowl(Scene(d_g=0.1))
    scene.show(290.0, 2.8, -52.7, -4.6, 17.1, 0.2, -4.7, 1.0)
    scene.show(0.0, times=20)

    assert (scene.count(Lifted), scene.count(ContainerOn)) == (1, 1)


def test_a_tare_from_below_zero_is_seen_on_a_scale_of_few_readings() -> None:
    scene = Scene(period_us=400_000)
    scene.show(0.0, times=10)
    scene.show(500.0, times=10)
    scene.show(0.0, times=6)  # tared
    scene.show(-500.0, times=8)  # the bowl goes, a lighter one comes
    scene.show(-84.0, times=10)
    scene.show(0.0, times=10)  # tared

    assert (scene.count(Tared), scene.pieces_g) == (2, [])
