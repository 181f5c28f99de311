"""The oven: is it where its dial says, is it preheated, was the door open, does it drift.

Pure: readings and marks in, conclusions out; every conclusion rests on what came before it.
"""

from logger.oven.drift import bake_offset, cusum, ewma
from logger.oven.room import Oven

__all__ = ["Oven", "bake_offset", "cusum", "ewma"]
