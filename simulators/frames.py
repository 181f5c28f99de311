"""Bytes as instruments write them, made from the published layouts.

Sources: SMA SCP-0499 (Scale Manufacturers Association, levels 1 and 2; read where other documents
quote it) for ``sma``; USB-IF HID Point of Sale Usage Tables 1.02, usage page 0x8D, for
``hid-scale``. ``value-unit``, ``described`` and ``text-probe`` are plain text and have no source.
"""

from __future__ import annotations

from functools import reduce

SMA_BAD_COMMAND = b"\n?\r"

HID_REPORT = 3
HID_UNITS = {"g": 2, "kg": 3, "oz": 11, "lb": 12}
HID_FAULT, HID_ZERO, HID_MOTION, HID_STABLE, HID_UNDER, HID_OVER = 1, 2, 3, 4, 5, 6


def sma(
    value: float | None,
    *,
    decimals: int = 0,
    unit: str = "g",
    status: str = " ",
    kind: str = "G",
    motion: bool = False,
) -> bytes:
    """An SMA weight reply: LF, status, range, kind, motion, reserved, weight (10), unit (3), CR.

    Args:
        value: the weight in ``unit``; None is sent as dashes (over, under, error).
        decimals: digits after the point.
        unit: up to three characters.
        status: Z centre of zero, O over, U under, E zero error, I initial zero error, T tare
            error, blank.
        kind: G gross, N net, T tare weight, g and n the same at high resolution.
        motion: True while the weight moves.

    Raises:
        ValueError: the weight does not fit ten characters, or a field has the wrong length.

    >>> sma(123.4, decimals=1)
    b'\\n 1G       123.4g  \\r'
    """
    if len(status) != 1 or len(kind) != 1 or not 1 <= len(unit) <= 3:
        raise ValueError("status and kind are one character, unit one to three")
    weight = "-" * 10 if value is None else f"{_without_minus_zero(value, decimals):10.{decimals}f}"
    if len(weight) > 10:
        raise ValueError(f"{value!r} does not fit ten characters")
    return f"\n{status}1{kind}{'M' if motion else ' '} {weight}{unit:<3}\r".encode("ascii")


def value_unit(value: float | None, *, decimals: int = 1, unit: str = "g") -> bytes:
    """A number and a unit on a line; a line of dashes where there is no weight.

    >>> value_unit(123.4)
    b'    123.4 g\\r\\n'
    """
    if value is None:
        return b"---------\r\n"
    return f"{_without_minus_zero(value, decimals):9.{decimals}f} {unit}\r\n".encode("ascii")


def described(
    value: float | None,
    *,
    decimals: int = 1,
    unit: str = "g",
    stable: bool = True,
    net: bool = False,
) -> bytes:
    """The kitchen's own frame, with an exclusive-or checksum over what stands before the asterisk.

    >>> described(123.4)
    b'!w=+123.4;u=g;s=1;n=0*62\\r\\n'
    """
    weight = "+++++" if value is None else f"{_without_minus_zero(value, decimals):+.{decimals}f}"
    body = f"!w={weight};u={unit};s={int(stable)};n={int(net)}".encode("ascii")
    checksum = reduce(lambda total, byte: total ^ byte, body, 0)
    return body + b"*%02X\r\n" % checksum


def hid_scale(value: float | None, *, exponent: int = 0, unit: str = "g", status: int = 4) -> bytes:
    """A six byte data report: id 3, status, unit, exponent, magnitude (unsigned, little endian).

    A value below zero is sent as its magnitude under status 5, whatever ``status`` says.

    Raises:
        ValueError: the magnitude does not fit sixteen bits.

    >>> hid_scale(20.0).hex(" ")
    '03 04 02 00 14 00'
    """
    count = 0 if value is None else round(value / 10.0**exponent)
    if count < 0:
        status, count = HID_UNDER, -count
    if count > 65534:
        raise ValueError(f"{value!r} {unit} does not fit the report at exponent {exponent}")
    head = bytes([HID_REPORT, status, HID_UNITS[unit], exponent & 0xFF])
    return head + count.to_bytes(2, "little")


def text_probe(channels: dict[str, float | None], *, decimals: int = 1, unit: str = "C") -> bytes:
    """Channels of a thermometer on one line; a missing probe is four dashes.

    >>> text_probe({"T1": 96.4, "T2": None})
    b'T1 96.4 C, T2 ----\\r\\n'
    """
    parts = [
        f"{name} ----"
        if value is None
        else f"{name} {_without_minus_zero(value, decimals):.{decimals}f} {unit}"
        for name, value in channels.items()
    ]
    return (", ".join(parts) + "\r\n").encode("ascii")


def _without_minus_zero(value: float, decimals: int) -> float:
    return round(value, decimals) + 0.0
