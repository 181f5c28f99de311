"""What a scale shows, as the bytes of four shapes of frame, and as reads of a port.

Written from the published layouts: the open standard SMA SCP-0499 as other documents quote it,
and the HID point of sale usage tables 1.02 (usage page 0x8D) with their example of six bytes.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from load_cell import Shown

FAMILIES = ("sma", "value-unit", "described", "hid-scale")


def _xor8(body: bytes) -> str:
    total = 0
    for byte in body:
        total ^= byte
    return f"{total:02X}"


def _sum8(body: bytes) -> str:
    return f"{sum(body) & 0xFF:02X}"


def _crc16(body: bytes) -> str:
    crc = 0xFFFF
    for byte in body:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return f"{crc:04X}"


@dataclass
class Dress:
    """One scale's way of writing, with its frame description where it needs one."""

    family: str
    write: Callable[[Shown], bytes]
    description: str | None = None


def _sma(shown: Shown) -> bytes:
    status = "O" if shown.over else "Z" if shown.centre else " "
    motion = " " if shown.stable else "M"
    n = "N" if shown.net else "G"
    weight = "-" * 10 if shown.value is None else f"{shown.value:10.{shown.decimals}f}"
    return f"\n{status}1{n}{motion} {weight}{shown.unit:<3}\r".encode()


def _plain(width: int, spare: int, end: str) -> Callable[[Shown], bytes]:
    def write(shown: Shown) -> bytes:
        if shown.value is None:
            return ("-" * width + end).encode()
        digits = max(shown.decimals, spare) if shown.unit == "g" else shown.decimals
        return f"{shown.value:{width}.{digits}f} {shown.unit}{end}".encode()

    return write


def _hid(shown: Shown) -> bytes:
    if shown.over or shown.value is None:
        return bytes([3, 6, 2, 0, 0, 0])
    exponent = -shown.decimals
    magnitude: int = round(abs(shown.value) * 10.0**shown.decimals)
    if magnitude > 0xFFFF:
        exponent, magnitude = exponent + 1, round(magnitude / 10)
    status = 5 if shown.value < 0 and magnitude else 4 if shown.stable else 3
    if shown.stable and magnitude == 0:
        status = 2
    unit = 2 if shown.unit == "g" else 11
    return bytes([3, status, unit, exponent & 0xFF]) + magnitude.to_bytes(2, "little")


STAR = r"""
[frame]
end = "\r\n"
pattern = '^!w=(?P<value>[+-]\d+\.?\d*|\++);u=(?P<unit>g|oz);s=(?P<stable>[01]);n=(?P<net>[01])\*(?P<checksum>[0-9A-F]{2})$'
checksum = "xor8"
[means]
stable = { "1" = true, "0" = false }
net = { "1" = true, "0" = false }
overload = '^\++$'
"""
CRC = r"""
[frame]
end = "\r"
pattern = '^W (?P<value>-?\d+\.?\d*|HIGH) (?P<unit>g|oz) (?P<stable>REST|MOVE)#(?P<checksum>[0-9A-F]{4})$'
checksum = "crc16"
[means]
stable = { "REST" = true, "MOVE" = false }
overload = '^HIGH$'
"""
SUM = r"""
[frame]
end = "\n"
pattern = '^(?P<value>[ +]* *-?\d+\.?\d*|EEEEEEE),(?P<unit>g|oz)/(?P<checksum>[0-9A-F]{2})$'
checksum = "sum8"
[means]
overload = '^E+$'
"""


def _star(shown: Shown) -> bytes:
    value = "++++++" if shown.value is None else f"{shown.value:+.{shown.decimals}f}"
    body = f"!w={value};u={shown.unit};s={shown.stable:d};n={shown.net:d}"
    return f"{body}*{_xor8(body.encode())}\r\n".encode()


def _crc(shown: Shown) -> bytes:
    value = "HIGH" if shown.value is None else f"{shown.value:.{shown.decimals}f}"
    body = f"W {value} {shown.unit} {'REST' if shown.stable else 'MOVE'}"
    return f"{body}#{_crc16(body.encode())}\r".encode()


def _sum(shown: Shown) -> bytes:
    value = "EEEEEEE" if shown.value is None else f"{shown.value:7.{shown.decimals}f}"
    if shown.value is not None and shown.value >= 0:
        value = "+" + value[1:] if value[0] == " " else value
    body = f"{value},{shown.unit}"
    return f"{body}/{_sum8(body.encode())}\n".encode()


def dress(family: str, rng: np.random.Generator) -> Dress:
    """One of the ways in which a scale of this family writes."""
    if family == "sma":
        return Dress(family, _sma)
    if family == "hid-scale":
        return Dress(family, _hid)
    if family == "value-unit":
        width, spare = [(9, 1), (8, 0), (7, 0)][int(rng.integers(3))]
        return Dress(family, _plain(width, spare, "\r\n" if rng.random() < 0.8 else "\n"))
    write, text = [(_star, STAR), (_crc, CRC), (_sum, SUM)][int(rng.integers(3))]
    return Dress(family, write, text)


def capture(
    shown: Sequence[Shown], dress: Dress, rng: np.random.Generator, start: float, damage: float
) -> Iterable[str]:
    """The lines of a capture file.

    Args:
        damage: share of the frames that lose a byte, get a stray one, or come in cut.
    """
    cuts = float(rng.choice([0.0, 0.05, 0.5]))
    doubled = float(rng.choice([0.0, 0.05]))
    held = b""
    for frame in shown:
        data = _damaged(dress.write(frame), rng) if rng.random() < damage else dress.write(frame)
        data, held = held + data, b""
        t = start + frame.t
        if dress.family != "hid-scale":
            if rng.random() < doubled:
                held = data  # it comes with the next read
                continue
            if rng.random() < cuts and len(data) > 2:
                at = int(rng.integers(1, len(data)))
                yield _read(t - 0.004, data[:at])
                data = data[at:]
        yield _read(t, data)


def _damaged(data: bytes, rng: np.random.Generator) -> bytes:
    kind, at = int(rng.integers(5)), int(rng.integers(len(data)))
    if len(data) == 6:
        return data[:at]  # USB has a check of its own: a report comes short or whole
    if kind == 4:
        return data[:at] + data[at + 1 :]
    if kind == 0:
        return data[:at] + bytes([data[at] ^ 0x80]) + data[at + 1 :]
    if kind == 1:
        return b"\xff\x00" + data
    if kind == 2:
        return data[: max(1, len(data) - 3)]
    return data[:2]


def _read(t: float, data: bytes) -> str:
    if all(32 <= byte < 127 or byte in (10, 13) for byte in data):
        return json.dumps({"t": round(t, 6), "text": data.decode("ascii")})
    return json.dumps({"t": round(t, 6), "hex": data.hex()})
