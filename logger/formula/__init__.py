"""Formulas: lines with amounts as people write them, as masses with tolerances.

Pure: `read_formula` takes a parsed document and a `Pantry`; files are opened elsewhere.
"""

from logger.formula.household import weigh
from logger.formula.pantry import Pantry
from logger.formula.reader import read_formula
from logger.formula.tolerance import default_tolerance_kg

__all__ = ["Pantry", "default_tolerance_kg", "read_formula", "weigh"]
