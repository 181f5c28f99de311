"""The oven: is it where its dial says, is it preheated, was the door open, does it drift.

Pure: readings and marks in, conclusions out; every conclusion rests on what came before it.
"""

from logger.oven.charts import cusum, cusum_run_length, ewma, ewma_half_width
from logger.oven.drift import DriftChart, bake_offset
from logger.oven.room import Oven

__all__ = [
    "DriftChart",
    "Oven",
    "bake_offset",
    "cusum",
    "cusum_run_length",
    "ewma",
    "ewma_half_width",
]
