"""Which instruments there are: those configured, ready to start, and those found plugged in.

An instrument is known by a lasting path (``/dev/serial/by-id/…``), never by a tty name, which
changes when the plug is pulled while the port is held.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Protocol

from serial.tools import list_ports

from drivers.clock import Clock
from drivers.config import Config, ConfigError, InstrumentConfig
from drivers.frames import Parser, load_description, parser_for
from drivers.frames.hid_descriptor import DescriptorRefused
from drivers.frames.readings import KG_PER
from drivers.instrument import Instrument, Sink
from drivers.ports import PortLost, open_port

BY_ID = Path("/dev/serial/by-id")
HIDRAW = Path("/sys/class/hidraw")
# USB-IF "HID Point of Sale Usage Tables" 1.02, section 4: the page of weighing devices.
WEIGHING_PAGE = 0x8D
MASS = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(g|kg|oz|lb)\s*")


class SerialPort(Protocol):
    """What pyserial tells of a port."""

    device: str
    description: str


@dataclass(frozen=True, slots=True)
class Found:
    """A port with something plugged in.

    Attributes:
        port: what to write as ``port`` in the configuration.
        what: what it calls itself.
        family: the frame family where it shows, else None.
        is_lasting: False where the path may name something else after the next plugging.
    """

    port: str
    what: str
    family: str | None
    is_lasting: bool


def instruments(
    config: Config,
    sink: Sink,
    clock: Clock,
    last_us: Callable[[str], int | None],
    on_death: Callable[[BaseException], None],
    folder: Path | None = None,
    hidraw: Path = HIDRAW,
) -> list[Instrument]:
    """The configured instruments, not started.

    Args:
        last_us: gives the time of an instrument's last committed reading.
        folder: what relative paths of frame descriptions are relative to.

    Raises:
        ConfigError: a description cannot be used, a division is no mass, two labels give one
            channel.
    """
    return [
        Instrument(
            one,
            lambda one=one: open_port(one),  # type: ignore[misc]
            _parsers(one, folder, hidraw),
            sink,
            clock,
            division_kg=_division_kg(one),
            last_us=last_us(one.name),
            on_death=on_death,
        )
        for one in config.instrument
    ]


def _parsers(one: InstrumentConfig, folder: Path | None, hidraw: Path) -> Callable[[], Parser]:
    where = f"instrument {one.name!r}"
    names = list(one.channels.values())
    for name in names:
        if names.count(name) > 1:
            raise ConfigError(where, f"two labels are called {name!r}; give each its own channel")
    description = None
    if one.family == "described":
        if one.description is None:
            raise ConfigError(where, "the family 'described' needs the key description")
        description = load_description((folder or Path()) / one.description)

    def new_parser() -> Parser:
        if one.family != "hid-scale":
            return parser_for(one.family, description)
        device = Path(one.port).resolve().name
        try:
            return parser_for(one.family, hid_descriptor=_descriptor(hidraw / device))
        except DescriptorRefused as refused:
            raise PortLost(one.port, f"this is no scale: {refused}") from refused

    if one.mode == "polled" and one.family != "hid-scale" and new_parser().poll() is None:
        raise ConfigError(
            where, f"instruments of the family {one.family} cannot be asked; use mode continuous"
        )
    return new_parser


def _division_kg(one: InstrumentConfig) -> float | None:
    if one.division is None:
        return None
    match = MASS.fullmatch(one.division)
    if match is None or not Decimal(match[1]):
        raise ConfigError(
            f"instrument {one.name!r}, key division", f"{one.division!r} is no mass; write '1 g'"
        )
    return float(Decimal(match[1]) * KG_PER[match[2]])


def found(
    by_id: Path = BY_ID,
    ports: Callable[[], Iterable[SerialPort]] = list_ports.comports,
    hidraw: Path = HIDRAW,
) -> list[Found]:
    """What is plugged in: serial ports by their lasting links first, then scales at USB (HID)."""
    out: list[Found] = []
    linked: set[str] = set()
    if by_id.is_dir():
        for link in sorted(by_id.iterdir()):
            linked.add(str(link.resolve()))
            out.append(Found(str(link), link.name.replace("_", " "), None, True))
    for port in sorted(ports(), key=lambda port: port.device):
        if str(Path(port.device).resolve()) not in linked:
            out.append(Found(port.device, port.description, None, False))
    if hidraw.is_dir():
        for device in sorted(hidraw.iterdir()):
            descriptor = _descriptor(device)
            if descriptor is not None and WEIGHING_PAGE in usage_pages(descriptor):
                out.append(Found(f"/dev/{device.name}", _hid_name(device), "hid-scale", False))
    return out


def _descriptor(device: Path) -> bytes | None:
    try:
        return (device / "device" / "report_descriptor").read_bytes()
    except OSError:
        return None


def _hid_name(device: Path) -> str:
    try:
        text = (device / "device" / "uevent").read_text("utf-8", "replace")
    except OSError:
        text = ""
    match = re.search(r"^HID_NAME=(.+)$", text, re.MULTILINE)
    return match[1] if match else "scale"


def usage_pages(descriptor: bytes) -> set[int]:
    """The usage pages a HID report descriptor speaks of.

    Source of the item layout: USB-IF "Device Class Definition for HID" 1.11, section 6.2.2.

    >>> sorted(usage_pages(bytes.fromhex("05 8D 09 20 A1 01 C0")))
    [141]
    """
    pages: set[int] = set()
    at = 0
    while at < len(descriptor):
        prefix = descriptor[at]
        if prefix == 0xFE:  # a long item: its length stands in the next byte
            at += 3 + (descriptor[at + 1] if at + 1 < len(descriptor) else 0)
            continue
        length = (0, 1, 2, 4)[prefix & 0b11]
        if prefix & 0b1111_1100 == 0b0000_0100:
            pages.add(int.from_bytes(descriptor[at + 1 : at + 1 + length], "little"))
        at += 1 + length
    return pages
