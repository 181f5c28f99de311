"""Where bytes come from: one owner thread a port, and every kind of loss is one error.

A port knows nothing of frames; what its bytes mean is the parser's business.
"""

from __future__ import annotations

from drivers.config import InstrumentConfig
from drivers.ports.hidraw import Hidraw
from drivers.ports.port import Port, PortBusy, PortDenied, PortError, PortLost, PortMissing
from drivers.ports.serial_line import SerialLine

__all__ = [
    "Hidraw",
    "Port",
    "PortBusy",
    "PortDenied",
    "PortError",
    "PortLost",
    "PortMissing",
    "SerialLine",
    "open_port",
]


def open_port(config: InstrumentConfig) -> Port:
    """Open the port of an instrument by its lasting path, as its family needs it.

    Raises:
        PortMissing, PortBusy, PortDenied, PortLost: as the port's own constructor.
    """
    if config.family == "hid-scale":
        return Hidraw(config.port)
    return SerialLine(
        config.port,
        baud=config.baud,
        parity=config.parity,
        stop_bits=config.stop_bits,
        data_bits=config.data_bits,
    )
