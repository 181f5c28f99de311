"""A bench scale and a fine one at once: rises on either go to the lines by the same rule."""

from __future__ import annotations

import copy
import random
from dataclasses import replace

import pytest
from weighing_bench import NAME, Bench, Physics, line, standing

from drivers.reading import Reading
from logger.engine import BatchState, advance
from logger.entries import Entry
from logger.events import (
    Event,
    WeighingAddition,
    WeighingContainer,
    WeighingRecovery,
    WeighingScale,
)
from logger.plan import Formula, Plan, ScaleFacts
from logger.weighing import Weighing

FINE = "fine-scale/mass"
FLOUR = line("flour", 320, 3.2)
POWDER = line("baking powder", 10, 0.5)
SUGAR = line("sugar", 250, 2.5)
FORMULA = Formula("cake", (FLOUR, POWDER, SUGAR))


class Two:
    """Two benches in one time."""

    def __init__(self, draw: int = 1, fine: Physics | None = None) -> None:
        self.bench = Bench(Physics(stable_flag=True, net_flag=True), random.Random(draw))
        nature = fine or Physics(division_g=0.1, noise_g=0.02, rate_hz=8.0, lag_s=0.4)
        self.fine = Bench(nature, random.Random(1000 + draw))

    def settle(self, seconds: float) -> None:
        """Time passes on both."""
        until = max(self.bench.t_s, self.fine.t_s) + seconds
        for one in (self.bench, self.fine):
            if one.t_s < until:
                one.pass_s(until - one.t_s)

    def ready(self) -> None:
        """A tared bowl on the one, a tared cup on the other."""
        self.settle(2)
        self.bench.put(612)
        self.settle(2.5)
        self.bench.tare()
        self.settle(2)
        self.fine.put(24)
        self.settle(2.5)
        self.fine.tare()
        self.settle(2)

    @property
    def entries(self) -> list[Entry]:
        fine = [
            replace(e, instrument="fine-scale") if isinstance(e, Reading) else e
            for e in self.fine.entries
        ]
        return sorted([*self.bench.entries, *fine], key=lambda e: e.t_us)


def run(entries: list[Entry], formula: Formula, **scales: ScaleFacts) -> list[Event]:
    facts = {role.replace("_", " "): one for role, one in scales.items()}
    plan = Plan({NAME: "scale", FINE: "scale 2"}, formulas=(formula,), scales=facts)
    state = BatchState("b", plan, [Weighing(plan)])
    events: list[Event] = []
    for entry in entries:
        state, new = advance(state, entry)
        events += new
    return events


def assert_mass(found: WeighingAddition, mass_g: float, within_g: float) -> None:
    assert found.mass_kg is not None
    assert found.mass_kg * 1000 == pytest.approx(mass_g, abs=within_g)


@pytest.mark.parametrize("draw", range(5))
def test_a_line_is_found_on_whichever_scale_it_is_weighed(draw: int) -> None:
    two = Two(draw)
    two.ready()
    two.bench.pour("flour", 320, 45)
    two.settle(3)
    two.fine.spoon("baking powder", 10.0, 3)
    two.settle(4)
    two.bench.pour("sugar", 250, 45)
    two.settle(3)

    found = standing(run(two.entries, FORMULA))

    assert {key: body.scale for key, body in found.items()} == {
        "flour": NAME, "baking powder": FINE, "sugar": NAME,
    }  # fmt: skip
    assert {body.verdict for body in found.values()} == {"within"}
    assert_mass(found["baking powder"], 10.0, 0.1)


@pytest.mark.parametrize("draw", range(5))
def test_parts_on_both_scales_add_up_and_so_do_their_uncertainties(draw: int) -> None:
    two = Two(draw)
    two.ready()
    two.bench.pour("flour", 312, 45)
    two.settle(3)
    two.fine.spoon("flour", 8.0, 2)
    two.settle(4)
    two.bench.pour("sugar", 250, 45)
    two.settle(3)

    found = standing(run(two.entries, Formula("cake", (FLOUR, SUGAR))))

    truth = two.bench.truth["flour"].mass_g + two.fine.truth["flour"].mass_g
    assert set(found) == {"flour", "sugar"}
    assert_mass(found["flour"], truth, 1.0)
    assert found["flour"].scale == NAME
    budget = found["flour"].budget
    assert budget is not None
    one_g, tenth = 1 / 12**0.5 * 2**0.5, 0.1 / 12**0.5 * 2**0.5
    assert budget["resolution_kg"] == pytest.approx((one_g**2 + tenth**2) ** 0.5 / 1000, rel=1e-3)
    assert budget["class_error_kg"] is None
    assert found["flour"].expanded_uncertainty_kg == pytest.approx(
        2 * sum(part**2 for part in budget.values() if part is not None) ** 0.5, rel=1e-4
    )


@pytest.mark.parametrize("draw", range(5))
def test_a_cup_put_on_the_other_scale_does_not_end_the_line_on_this_one(draw: int) -> None:
    two = Two(draw)
    two.ready()
    two.bench.pour("flour", 290, 45)
    two.settle(3)
    two.fine.lift()
    two.settle(3)
    two.fine.put(24)
    two.settle(3)

    assert not standing(run(two.entries, FORMULA))


@pytest.mark.parametrize("draw", range(5))
@pytest.mark.parametrize("cup_g", [16, 24, 55])
def test_a_cup_that_looks_like_too_much_of_the_next_line_is_a_cup_once_it_is_tared(
    cup_g: float, draw: int
) -> None:
    two = Two(draw)
    two.settle(2)
    two.bench.put(612)
    two.settle(2.5)
    two.bench.tare()
    two.settle(2)
    two.bench.pour("flour", 320, 45)
    two.settle(4)
    two.fine.put(cup_g)
    two.settle(3)
    two.fine.tare()
    two.settle(3)
    two.fine.pour("baking powder", 10, 4)
    two.settle(3)
    two.bench.pour("sugar", 250, 45)
    two.settle(3)

    events = run(two.entries, FORMULA)

    found = standing(events)
    assert_mass(found["baking powder"], two.fine.truth["baking powder"].mass_g, 0.2)
    assert_mass(found["sugar"], two.bench.truth["sugar"].mass_g, 1.5)
    containers = [e.body.mass_kg for e in events if isinstance(e.body, WeighingContainer)]
    assert containers == pytest.approx([0.612, cup_g / 1000], abs=0.001)
    left_open = [e.body for e in events if isinstance(e.body, WeighingRecovery)]
    assert not left_open or left_open[-1].chosen == "container"


@pytest.mark.parametrize("division_g", [0.01, 0.1])
@pytest.mark.parametrize("net", [True, False])
@pytest.mark.parametrize("draw", range(4))
def test_an_empty_scale_that_drifts_adds_nothing(division_g: float, net: bool, draw: int) -> None:
    nature = Physics(
        division_g=division_g, noise_g=0.6 * division_g, noise_kind="slow", net_flag=net
    )
    two = Two(draw, fine=nature)
    two.settle(2)
    two.bench.put(612)
    two.settle(2.5)
    two.bench.tare()
    two.settle(2)
    two.bench.pour("flour", 320, 45)
    drift = random.Random(draw)
    for _ in range(60):
        two.fine.extra_g += drift.uniform(-0.4, 1.0) * 3 * division_g
        two.settle(1.5)

    found = standing(run(two.entries, FORMULA))

    assert set(found) == {"flour"}
    assert found["flour"].scale == NAME
    assert_mass(found["flour"], 320, 1.0)


def scales_said(events: list[Event]) -> list[tuple[str, str, bool]]:
    bodies = [e.body for e in events if isinstance(e.body, WeighingScale)]
    return [(b.line, b.scale, b.decides) for b in bodies]


def test_the_scale_to_use_is_said_for_each_line_before_it() -> None:
    two = Two()
    two.ready()
    two.bench.pour("flour", 320, 45)
    two.settle(3)
    two.fine.spoon("baking powder", 10.0, 3)
    two.settle(4)

    events = run(two.entries, FORMULA)

    assert scales_said(events) == [
        ("flour", NAME, True), ("baking powder", FINE, True), ("sugar", NAME, True),
    ]  # fmt: skip


def test_the_fine_scale_is_not_used_above_its_capacity() -> None:
    salt = line("salt", 30, 0.3)
    two = Two()
    two.ready()
    small = ScaleFacts(resolution_kg=0.0001, capacity_kg=0.05)

    events = run(two.entries, Formula("brine", (salt,)), scale_2=small)

    # 30 g and the cup of 24 g are more than its 50 g; the bench scale cannot decide ±0.3 g.
    assert scales_said(events)[-1] == ("salt", NAME, False)


def test_with_one_scale_nothing_is_said_of_scales() -> None:
    two = Two()
    two.ready()
    two.bench.pour("flour", 320, 45)
    two.settle(3)

    assert not scales_said(run(two.bench.entries, FORMULA))


@pytest.mark.parametrize("draw", range(3))
def test_a_copy_of_the_state_goes_on_by_itself(draw: int) -> None:
    two = Two(draw)
    two.ready()
    two.bench.pour("flour", 320, 45)
    two.settle(3)
    two.fine.spoon("baking powder", 10.0, 3)
    two.settle(4)
    plan = Plan({NAME: "scale", FINE: "scale 2"}, formulas=(FORMULA,), scales={})
    state = BatchState("b", plan, [Weighing(plan)])
    entries = two.entries
    half = len(entries) // 2
    for entry in entries[:half]:
        state, _ = advance(state, entry)
    kept = copy.deepcopy(state)

    first = [e.to_json() for entry in entries[half:] for e in advance(state, entry)[1]]
    second = [e.to_json() for entry in entries[half:] for e in advance(kept, entry)[1]]

    assert first == second
    assert any(e["kind"] == "weighing.addition" for e in first)
