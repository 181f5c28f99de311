"""The sentences at the scale: what comes next, how much is missing, how a line came out."""

from __future__ import annotations

from logger.batch import BatchView, LineView
from logger.sentence.parts import NOTHING, Measure, Number, Sentence
from logger.sentence.wording import grams

# Below this a level spoon is a fair measure (common practice of the trade).
SPOON_KG = 0.02


def pouring(view: BatchView) -> Sentence:
    """While an ingredient is poured: how much is missing, when to stop, how much is over."""
    pouring = view.pouring
    assert pouring is not None
    line = view.line(pouring["line"])
    division = _division(view, line)
    mass = float(pouring["mass_kg"])
    if line is None or line.target_kg is None or line.lower_kg is None or line.upper_kg is None:
        name = line.ingredient if line else "On the scale"
        return Sentence(
            f"{name.capitalize()}: {grams(mass, division)} g.", _after(view, line),
            Number(grams(mass, division), "g", "mass", "keep pouring"),
        )  # fmt: skip
    missing = line.target_kg - mass
    word = str(pouring["advice"] or "keep pouring")
    measure = _mass_measure(line, mass, None)
    name = line.ingredient.capitalize()
    if mass > line.upper_kg:
        over = grams(mass - line.target_kg, division)
        return Sentence(
            f"{name}: over by {over} g.", "Take some back, or leave it and go on.",
            Number(over, "g", "missing", f"over by {over} g"), measure, act=True,
        )  # fmt: skip
    if mass >= line.lower_kg:
        return Sentence(
            f"{name}: stop, {grams(mass, division)} g is there.", _after(view, line),
            Number(grams(missing, division), "g", "missing", "stop"), measure, act=True,
        )  # fmt: skip
    return Sentence(
        f"{name}: {grams(missing, division)} g more.", _after(view, line),
        Number(grams(missing, division), "g", "missing", word), measure, act=word != "keep pouring",
    )  # fmt: skip


def taking_back(view: BatchView) -> Sentence | None:
    """What is still to be taken out of a line, where a person chose so."""
    if view.recovery is None or view.recovery["chosen"] != "take back":
        return None
    line = view.line(view.recovery["line"])
    if line is None or line.verdict != "over" or line.mass_kg is None or line.target_kg is None:
        return None
    too_much = grams(line.mass_kg - line.target_kg, _division(view, line))
    return Sentence(
        f"Take {too_much} g of {line.ingredient} back out.",
        f"Down to {grams(line.target_kg, _division(view, line))} g; it is judged at the next rest.",
        Number(f"−{too_much}", "g", "missing", "take out"),
        _mass_measure(line, line.mass_kg, line.expanded_uncertainty_kg),
        act=True,
    )


def weigh_next(view: BatchView, line: LineView) -> Sentence:
    """The line to weigh now, and how the one before came out."""
    weighed = [x for x in view.lines if x.weighed]
    last = max(weighed, key=lambda x: x.at or 0.0) if weighed else None
    then = "Put the bowl on and tare it." if not weighed else ""
    measure = None
    number = (
        Number(grams(line.target_kg, _division(view, line)), "g", "missing", "next")
        if line.target_kg
        else NOTHING
    )
    if last is not None:
        then = f"{last.ingredient.capitalize()}: {verdict_words(last, _division(view, last))}."
        if last.verdict == "over" and view.recovery is not None:
            then += " Choose a way back, or go on." if view.recovery["chosen"] is None else ""
        elif last.verdict in ("over", "under"):
            then += " Mend it now, or go on."
        elif last.verdict == "undecidable" and last.mass_kg is None:
            then = f"{last.ingredient.capitalize()}: confirmed, not weighed."
        elif last.verdict == "undecidable":
            small = last.target_kg is not None and last.target_kg < SPOON_KG
            remedy = "a finer scale or a level spoon can" if small else "a finer scale can"
            then = f"{last.ingredient.capitalize()}: this scale can't tell {last.amount}; {remedy}."
    if line.target_kg is not None and line.lower_kg is not None:
        measure = _mass_measure(line, line.mass_kg or 0.0, line.expanded_uncertainty_kg)
    where = ""
    before = last.scale if last is not None else None
    if line.use_scale is not None and line.use_scale != before:
        # Where the same scale goes on, nobody need be told.
        where = f", on {scale_words(line.use_scale)}"
    text = f"Next: {line.ingredient}, {_amount(view, line)}{where}."
    if line.top_up_kg is not None:
        more = grams(line.top_up_kg, _division(view, line))
        text = f"Add {more} g more of {line.ingredient}{where}."
        number = Number(more, "g", "missing", "top up")
    return Sentence(text, then, number, measure, act=True)


def verdict_words(line: LineView, division_kg: float | None = None) -> str:
    """Words for the verdict of a weighed line, the same on page and sheet.

    >>> line = LineView("salt", "salt", "4 g", None, .004, .0038, .0042, .004, .001, .3, "within")
    >>> verdict_words(line)
    'within'
    """
    if line.mass_kg is None or line.target_kg is None:
        return "confirmed" if line.weighed else ""
    off = line.mass_kg - line.target_kg
    match line.verdict:
        case "over":
            return f"over by {grams(off, division_kg)} g"
        case "under":
            return f"under by {grams(-off, division_kg)} g"
        case "undecidable":
            return "this scale can't tell"
    return line.verdict or ""


def scale_words(name: str) -> str:
    """A scale in words, by its instrument's own name.

    >>> scale_words("fine-scale/mass"), scale_words("hob/mass")
    ('the fine scale', 'the scale hob')
    """
    instrument = name.split("/")[0].replace("-", " ").replace("_", " ")
    return f"the {instrument}" if "scale" in instrument else f"the scale {instrument}"


def _after(view: BatchView, line: LineView | None) -> str:
    """The quieter line while weighing."""
    following = view.next_line
    if following is not None and (line is None or following.key != line.key):
        return f"After that: {following.ingredient}, {_amount(view, following)}."
    return "After that: into the oven." if view.bake else "That is the last line."


def _division(view: BatchView, line: LineView | None) -> float | None:
    """How finely masses are shown: as the plan's scale, else by the size of the target."""
    name = (line.scale or line.use_scale) if line is not None else None
    role = view.plan.role(name) if name is not None else "scale"
    planned = view.plan.scales.get(role or "", view.plan.scale).resolution_kg
    if planned is not None:
        return planned
    if line is None or line.target_kg is None:
        return None
    return 0.0001 if line.target_kg < 0.02 else 0.001


def _mass_measure(line: LineView, mass: float, uncertainty: float | None) -> Measure:
    spread = uncertainty or 0.0
    top = max(line.upper_kg or 0.0, mass + spread, line.target_kg or 0.0) * 1.08
    return Measure(
        mass, mass - spread, mass + spread, line.lower_kg, line.upper_kg, "kg", 0.0, top or 0.001
    )


def _amount(view: BatchView, line: LineView) -> str:
    """The amount as written, or the target that a rescale gave it."""
    if line.factor == 1.0 or line.target_kg is None:
        return line.amount
    return f"{grams(line.target_kg, _division(view, line))} g in place of {line.amount}"
