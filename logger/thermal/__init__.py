"""Doneness and cooling: properties from composition, conduction, estimation, forecasts, milestones.

`Thermal` is the room; all the rest serves it. Pure: it knows only readings, marks and seconds.
"""

from logger.thermal.thermal import Thermal

__all__ = ["Thermal"]
