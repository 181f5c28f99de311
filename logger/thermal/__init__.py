"""Doneness and cooling: properties from composition, conduction, estimation, forecasts, milestones.

`thermal` gives the room of a plan, `Thermal` that of one pan; the rest serves it. Pure: it knows
only readings, marks and seconds.
"""

from logger.thermal.pans import thermal
from logger.thermal.thermal import Thermal

__all__ = ["Thermal", "thermal"]
