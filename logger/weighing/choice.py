"""Which of several scales to use for a line: the coarsest that decides it with ease."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from logger.plan import Line, ScaleFacts
from logger.weighing.fit import ScaleFit, scale_fit


@dataclass(frozen=True, slots=True)
class Choice:
    """The scale to use.

    Attributes:
        scale: SenML name of its channel.
        decides: whether it can decide the line's tolerance.
    """

    scale: str
    decides: bool


def choose(line: Line, scales: Iterable[tuple[str, ScaleFacts, float]]) -> Choice | None:
    """The scale to use for a line; None where it has no target, or no scale would bear it.

    The coarsest one whose readings judged ``within`` span at least a quarter of the tolerance
    interval (a finer one has the smaller pan, and is slower); else the one with the widest span;
    else, where none decides, the one with the least uncertainty of those that bear it.

    Args:
        line: what is to be weighed.
        scales: SenML name, facts with the resolution in force, and what stands on it in kg.
    """
    if line.target_kg is None or line.tolerance_kg is None:
        return None
    known = [
        (facts.resolution_kg, scale_fit(name, facts, line, load_kg))
        for name, facts, load_kg in scales
        if facts.resolution_kg is not None
        and (facts.capacity_kg is None or load_kg + line.target_kg <= facts.capacity_kg)
    ]
    if not known:
        return None
    easy = [(d_kg, fit) for d_kg, fit in known if _span_kg(fit) >= line.tolerance_kg / 2]
    if easy:
        _, best = max(easy, key=lambda one: one[0])
    elif any(fit.decides for _, fit in known):
        best = max((fit for _, fit in known if fit.decides), key=_span_kg)
    else:
        best = min((fit for _, fit in known), key=lambda fit: fit.expanded_kg or float("inf"))
    return Choice(best.scale, best.decides is True)


def _span_kg(fit: ScaleFit) -> float:
    if fit.reads_from_kg is None or fit.reads_to_kg is None:
        return -1.0
    return fit.reads_to_kg - fit.reads_from_kg
