"""The person who bakes: goes through a script, looks at displays, pours, and sometimes errs.

Each step of the script becomes a small story that yields how many seconds of kitchen time to let
pass. The person sees only what a display shows; what really went into the bowl is told as
``truth``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any, ClassVar

from simulators.cake import PanAndBatter
from simulators.world import World

TICK_S = 0.1
DISTRACTED_LEAD_S = 0.21
LOOK_S = 10.0  # how often a waiting person looks at a display
SCRIPT = Path(__file__).with_name("pear_ginger_bake.toml")

Say = Callable[[dict[str, object]], None]
Step = dict[str, Any]


class ScriptError(ValueError):
    """A step of a script that nobody can follow."""

    def __init__(self, number: int, what: str) -> None:
        self.number = number
        super().__init__(f"Step {number} of the script: {what}")


def read_script(path: Path = SCRIPT) -> list[Step]:
    """The steps of a script, checked for being known.

    Raises:
        ScriptError: a step does something unknown.
    """
    steps: list[Step] = tomllib.loads(path.read_text(encoding="utf-8"))["step"]
    for number, step in enumerate(steps, 1):
        if step.get("do") not in Person.ACTIONS:
            known = ", ".join(sorted(Person.ACTIONS))
            raise ScriptError(number, f"{step.get('do')!r} is not one of {known}")
    return steps


class Person:
    """Somebody who follows a script in a world.

    Args:
        world: the kitchen.
        say: takes marks, stages and truths; kitchen time is added there.
        random: how steady the hand is.
    """

    def __init__(self, world: World, say: Say, random: Random) -> None:
        self._world = world
        self._scale = world.scale
        self._say = say
        self._random = random
        self._elapsed_s = 0.0
        self._poured_g = 0.0

    def follow(self, steps: list[Step]) -> Iterator[float]:
        """Go through the steps, yielding seconds to let pass."""
        for step in steps:
            for pause_s in Person.ACTIONS[step["do"]](self, step):
                self._elapsed_s += pause_s
                yield pause_s

    # at the scale

    def _put_bowl(self, step: Step) -> Iterator[float]:
        yield 2.0
        self._scale.put(step["mass_g"])
        yield 3.0

    def _take_bowl(self, step: Step) -> Iterator[float]:
        yield 1.5
        self._scale.lift_all()
        yield 2.5
        self._scale.press_tare()
        yield 1.5

    def _lift_bowl(self, step: Step) -> Iterator[float]:
        lifted_g = self._scale.lift_all()
        yield 4.0
        self._scale.vibration_g = 2.5  # the mixer stands on the same bench
        yield step["mixer_s"]
        self._scale.vibration_g = 0.0
        yield step["away_s"] - step["mixer_s"] - 4.0
        self._scale.put(lifted_g - step["left_behind_g"])
        yield 3.5

    def _weigh(self, step: Step) -> Iterator[float]:
        yield self._random.uniform(2.5, 5.0)  # reaching for the jar
        if step.get("tare"):
            self._scale.press_tare()
            yield 1.2
        if step.get("marked"):
            self._say({"mark": "line", "line": step["line"]})
            yield 0.5
        self._poured_g = 0.0
        start_g = self._read_g()
        goal_g = start_g + step["target_g"]
        if "piece_g" in step:
            yield from self._pieces(step["piece_g"], goal_g)
        elif "tare_at" in step:
            yield from self._pour(step["rate_g_s"], start_g + step["tare_at"] * step["target_g"])
            seen_g = self._read_g()
            self._scale.press_tare()
            yield 1.5
            goal_g -= seen_g
        if "over_g" in step:
            # somebody talks: stopped by what the display says, not ahead of it
            yield from self._pour(step["rate_g_s"], goal_g + step["over_g"], DISTRACTED_LEAD_S)
        else:
            yield from self._pour(step["rate_g_s"], goal_g)
            yield from self._finish(step, goal_g)
        yield self._random.uniform(4.5, 7.5)
        self._say({"truth": {"line": step["line"], "mass_g": round(self._poured_g, 2)}})

    def _pour(
        self, rate_g_s: float, until_g: float, lead_s: float | None = None
    ) -> Iterator[float]:
        """Pour until the display, with what is still in the air and the eye's delay, is there."""
        if until_g - self._read_g() < 1.2 * rate_g_s * 0.6:
            return
        if lead_s is None:
            lead_s = self._random.uniform(0.42, 0.62)
        while self._read_g() + rate_g_s * lead_s < until_g:
            portion_g = rate_g_s * TICK_S * self._random.uniform(0.85, 1.15)
            self._scale.pour(portion_g, TICK_S)
            self._poured_g += portion_g
            yield TICK_S
        yield 1.2

    def _pieces(self, piece_g: float, goal_g: float) -> Iterator[float]:
        while goal_g - self._read_g() > 1.15 * piece_g:
            yield from self._drop(piece_g * self._random.uniform(0.93, 1.07), 1.9)

    def _finish(self, step: Step, goal_g: float) -> Iterator[float]:
        """Slowly, then pinch by pinch, as far as the display can tell."""
        slow_g_s = min(max(step["rate_g_s"] / 6.0, 0.8), 3.0)
        yield from self._pour(slow_g_s, goal_g - 0.5)
        for _ in range(8):
            missing_g = goal_g - self._read_g()
            if missing_g < 0.5:
                return
            yield from self._drop(min(missing_g, 6.0) * self._random.uniform(0.7, 1.0), 1.3)

    def _drop(self, mass_g: float, then_s: float) -> Iterator[float]:
        self._scale.drop(mass_g)
        self._poured_g += mass_g
        yield then_s

    def _read_g(self) -> float:
        value = self._scale.shown().value_g
        return 0.0 if value is None else value

    # at the oven, the rack and the refrigerator

    def _stage(self, step: Step) -> Iterator[float]:
        self._say({"stage": step["stage"]})
        yield TICK_S

    def _wait(self, step: Step) -> Iterator[float]:
        yield float(step["s"])

    def _oven_on(self, step: Step) -> Iterator[float]:
        self._world.oven.switch_on(float(step["dial_c"]))
        yield TICK_S

    def _wait_for_oven(self, step: Step) -> Iterator[float]:
        while self._world.oven.cut_offs < 1 or self._elapsed_s < step["at_least_s"]:
            yield LOOK_S

    def _fill_pans(self, step: Step) -> Iterator[float]:
        made = replace(
            PanAndBatter(),
            batter_kg=step["batter_kg"],
            batter_c=step["batter_c"],
            depth_m=step["depth_m"],
        )
        self._world.fill_pans(made, step["pans"], step["probe_m"])
        yield TICK_S

    def _into_oven(self, step: Step) -> Iterator[float]:
        self._world.oven.door_open = True
        yield step["open_s"] * 0.5
        self._world.place = "oven"
        self._say({"mark": "into oven"})
        yield step["open_s"] * 0.5
        self._world.oven.door_open = False

    def _oven_door(self, step: Step) -> Iterator[float]:
        self._world.oven.door_open = True
        yield float(step["open_s"])
        self._world.oven.door_open = False

    def _out_of_oven(self, step: Step) -> Iterator[float]:
        self._world.oven.door_open = True
        yield step["open_s"] * 0.5
        self._world.place = "bench"
        self._say({"mark": "out of oven"})
        yield step["open_s"] * 0.5
        self._world.oven.door_open = False
        self._world.oven.switch_off()
        yield 5.0

    def _wait_for_core(self, step: Step) -> Iterator[float]:
        yield float(step["shortest_s"])
        waited_s = float(step["shortest_s"])
        while waited_s < step["longest_s"]:
            shown_c = self._world.cake_probe.tip_c
            if shown_c >= step.get("above_c", 1e9) or shown_c <= step.get("below_c", -1e9):
                return
            yield LOOK_S
            waited_s += LOOK_S

    def _place(self, step: Step) -> Iterator[float]:
        cold = step["place"] == "refrigerator"
        self._world.refrigerator.door_open = cold
        self._world.place = step["place"]
        self._say({"mark": "moved", "place": step["place"]})
        yield 12.0
        self._world.refrigerator.door_open = False

    def _unmould(self, step: Step) -> Iterator[float]:
        if self._world.cake is not None:
            self._world.cake.unmould()
        yield 4.0

    def _pull_probe(self, step: Step) -> Iterator[float]:
        self._world.probe_place.in_cake = False
        yield float(step["for_s"])
        self._world.probe_place.in_cake = True

    def _room_door(self, step: Step) -> Iterator[float]:
        self._world.room.open_door()
        yield TICK_S

    ACTIONS: ClassVar[dict[str, Callable[[Person, Step], Iterator[float]]]] = {
        "stage": _stage,
        "wait": _wait,
        "put bowl": _put_bowl,
        "take bowl": _take_bowl,
        "lift bowl": _lift_bowl,
        "weigh": _weigh,
        "oven on": _oven_on,
        "wait for oven": _wait_for_oven,
        "fill pans": _fill_pans,
        "into oven": _into_oven,
        "oven door": _oven_door,
        "out of oven": _out_of_oven,
        "wait for core": _wait_for_core,
        "place": _place,
        "unmould": _unmould,
        "pull probe": _pull_probe,
        "room door": _room_door,
    }
