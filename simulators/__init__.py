"""A kitchen made of physics: scale, probes, oven, cake, room, and the person who bakes.

Every instrument writes real bytes to a pseudo-terminal, from the published layouts and with
equations of its own: this room imports nothing of the code that will read those bytes, so that the
two cannot be wrong together.
"""

from simulators.earlier import write_earlier_bakes
from simulators.kitchen_time import ClockReader, ClockWriter
from simulators.wire import FifoWire, PtyWire, Wire

__all__ = ["ClockReader", "ClockWriter", "FifoWire", "PtyWire", "Wire", "write_earlier_bakes"]
