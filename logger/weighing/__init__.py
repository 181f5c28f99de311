"""Weighing: when the load rests, which line a rise belongs to, and whether that is enough.

Readings of scales go in, conclusions come out; nothing here knows a port, a broker or a clock.
"""

from logger.weighing.budget import Budget, budget
from logger.weighing.oiml import error_before_rounding, max_permissible_error_kg
from logger.weighing.room import Weighing
from logger.weighing.verdict import Verdict, conformance, judge

__all__ = [
    "Budget",
    "Verdict",
    "Weighing",
    "budget",
    "conformance",
    "error_before_rounding",
    "judge",
    "max_permissible_error_kg",
]
