"""Formulas: lines with amounts as people write them, as masses with tolerances.

Pure: `read_formula` takes a parsed document; files are opened elsewhere.
"""

from logger.formula.reader import read_formula
from logger.formula.tolerance import default_tolerance_kg

__all__ = ["default_tolerance_kg", "read_formula"]
