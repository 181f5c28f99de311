"""What goes wrong before, in and after a line. Each leaves the truth of the line behind."""

from __future__ import annotations

from typing import TYPE_CHECKING

from recipe import LEAVENERS, Line

if TYPE_CHECKING:
    from day import Truth, Weighing


def _part(day: Weighing) -> float:
    return float(day.rng.uniform(0.3, 0.65))


def before_line(day: Weighing, trouble: str) -> None:
    """Between two lines, before anything is marked, tared or poured."""
    bench, rng = day.bench, day.rng
    if trouble == "hand" and rng.random() < 0.4:
        bench.lean(float(rng.uniform(1.5, 6)), float(rng.uniform(20, 700)))
        day.settle(1, 3)
    if trouble == "sleep" and rng.random() < 0.5:
        _sleep(day)
    if trouble == "overload":
        bench.tell("something heavy leans on the scale")
        bench.lean(float(rng.uniform(1.5, 5)), day.scale.capacity_g * 1.4)
        day.settle(1, 3)
    if trouble == "container":
        bench.tell("the bowl is lifted and set down again")
        held = bench.lift()
        bench.wait(0.6, 4)
        bench.set_down(held)
        day.settle(1, 3)


def _sleep(day: Weighing, in_line: bool = False) -> bool:
    """The scale switches itself off and is woken; whether it kept its tare.

    In a line that nobody marked, waking at zero could as well be a tare for the next one.
    """
    bench, rng = day.bench, day.rng
    bench.wait(4, 10)
    bench.press("off")
    bench.wait(8, 60)
    keeps = bool(rng.random() < 0.5) or (in_line and day.marked != "all")
    bench.press("on", 1.0 if keeps else 0.0)
    day.settle(1.2, 4)
    return keeps


def in_line(day: Weighing, line: Line, truth: Truth, trouble: str) -> None:
    """Pour the line with its trouble; at the end exactly ``truth.mass`` has been added."""
    bench, rng, mass, d = day.bench, day.rng, truth.mass, day.means.division
    share = _part(day)
    first, second = mass * share, mass * (1 - share)
    if line.key in LEAVENERS and trouble in ("unit", "cable", "sleep", "spoon"):
        trouble = ""
    if trouble == "mixer":
        seconds = float(rng.uniform(6, 40))
        bench.shake(bench.now, seconds, float(rng.uniform(2, 10)))
        bench.tell(f"a mixer runs on the bench for {seconds:.0f} s")
        bench.wait(0.5, 2)
        bench.pour(mass, line.style)
        end = max(at + len(force) / 100 for at, force in bench.forces)
        if end > bench.now and (d < 1 or rng.random() < 0.5):
            bench.now = end
        else:
            bench.wait(1.0, 3.0)
    elif trouble == "hand":
        bench.pour(first, line.style)
        if rng.random() < 0.5:
            bench.wait(0.5, 2)
        bench.lean(float(rng.uniform(1.5, 7)), float(rng.uniform(15, 500)))
        bench.wait(0.2, 2)
        bench.pour(second, line.style)
    elif trouble == "spoon":
        bench.pour(first, line.style)
        bench.wait(0.5, 2)
        bench.spoon(float(rng.uniform(2, 15)), float(rng.uniform(18, 60)))
        bench.wait(1.0, 3)
        bench.pour(second, line.style)
    elif trouble == "taps":
        tapped = min(0.4 * mass, float(rng.uniform(2, 7)) * max(d, 0.4))
        bench.pour(mass - tapped, line.style)
        slow = day.marked == "all" and rng.random() < 0.5
        bench.wait(0.3, 1.5 if slow else 0.6)
        bench.taps(tapped, d, slow)
    elif trouble == "take back":
        extra = max(2.2 * d, float(rng.uniform(0.03, 0.12)) * line.target)
        bench.tell(f"{extra:.1f} g too many are poured")
        bench.least += extra if bench.least else 0.0
        bench.pour(mass + extra, line.style)
        day.settle(1, 4)
        bench.take_back(extra)
    elif trouble == "lifted" and rng.random() < 0.35 and line.key not in LEAVENERS:
        bench.pour(first, line.style)
        day.settle(1, 3)
        bench.tell("lifted in mid-line, nothing lost")
        held = bench.lift()
        bench.wait(3, 20)
        bench.set_down(held)
        truth.means.jumps = 2  # type: ignore[union-attr]
        day.settle(1, 3)
        bench.pour(second, line.style)
    elif trouble == "unit":
        bench.pour(first, line.style)
        bench.wait(0.3, 2)
        bench.press("unit")
        bench.wait(1, 5)
        bench.pour(second / 2, line.style)
        bench.wait(0.5, 3)
        bench.press("unit")
        bench.wait(0.5, 3)
        bench.pour(second / 2, line.style)
    elif trouble == "sleep":
        bench.pour(first, line.style)
        day.settle(1, 3)
        truth.unknowable = not _sleep(day, in_line=True)
        bench.pour(second, line.style)
    elif trouble == "cable":
        _cable(day, line, truth, first, second)
    elif day.marked == "all" and rng.random() < 0.05:
        bench.pour(first, line.style)
        bench.tell("somebody is called away")
        bench.wait(34, 50)
        bench.pour(second, line.style)
    else:
        bench.pour(mass, line.style)


def _cable(day: Weighing, line: Line, truth: Truth, first: float, second: float) -> None:
    bench, rng = day.bench, day.rng
    how = str(rng.choice(["line only", "line only", "restarts at zero", "another zero"]))
    bench.tell(f"the cable comes off: {how}")
    bench.pour(first, line.style)
    if how == "line only" or rng.random() < 0.4:
        off = bench.now + 0.1
        bench.keys.append((off, "off", 0.0))
        part = second * float(rng.uniform(0.2, 0.6))
        bench.pour(part, line.style)
        bench.wait(1, 6)
        second -= part
        truth.unknowable = how != "line only"
    else:
        bench.wait(0.4, 2)
        bench.press("off")
        bench.wait(3, 15)
        truth.unknowable = True
    bench.press("on", 0.0 if how == "restarts at zero" else 1.0)
    if how == "another zero":
        bench.press("shift", float(rng.uniform(-300, 120)))
    day.settle(1.5, 4)
    bench.pour(second, line.style)


def after_line(day: Weighing, line: Line, truth: Truth, trouble: str) -> None:
    """When the line rests and before it is left."""
    bench, rng = day.bench, day.rng
    light = truth.mass < line.target - 0.5 * line.tolerance
    if trouble == "lifted" and (day.marked == "all" or not light):
        loss = float(rng.choice([0.0, rng.uniform(1, 14)]))
        bench.tell(f"the bowl goes to the mixer; {loss:.1f} g stay on the scraper")
        held = bench.lift()
        bench.wait(5, 30)
        bench.set_down(held - loss)
        day.settle(1, 4)
    if trouble == "spoon" and rng.random() < 0.4:
        bench.spoon(float(rng.uniform(2, 15)), float(rng.uniform(18, 60)))
        day.settle(1, 3)
    if trouble == "hand" and rng.random() < 0.4:
        bench.lean(float(rng.uniform(1.5, 6)), float(rng.uniform(15, 500)))
        day.settle(1, 3)
