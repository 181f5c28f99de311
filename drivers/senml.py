"""Readings ⇄ SenML JSON (RFC 8428), with the project's extension fields.

Extension fields, none ending in ``_`` (RFC 8428, section 4.4): base fields ``boot`` and ``bseq``
(record i of a pack, from 0, has sequence ``bseq + i``; resolved lines carry neither), and per
record ``stable``, ``net``, ``division``. A state without a value is ``vs`` on ``<channel>-state``.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from typing import Any

from drivers.reading import MICROSECOND, Reading, ReadingRefused, microseconds, seconds

VERSION = 10
STATE_SUFFIX = "-state"
# RFC 8428, section 4.5.3: smaller times are relative to now.
ABSOLUTE_FROM_S = 2.0**28
# g is "NOT RECOMMENDED to be produced" but SHOULD be understood (RFC 8428, table 6); K is common.
UNIT_ALIASES: dict[str, tuple[str, float, float]] = {
    "g": ("kg", 0.001, 0.0),
    "K": ("Cel", 1.0, -273.15),
    "": ("1", 1.0, 0.0),
}
UNDERSTOOD = {"bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"}


def record(reading: Reading) -> dict[str, Any]:
    """The reading as one resolved SenML record: no base fields, absolute time.

    >>> record(Reading("cake-probe", "core", 1_800_000_000_500_000, 96.4, "Cel"))
    {'n': 'cake-probe/core', 'u': 'Cel', 't': 1800000000.5, 'v': 96.4}
    """
    out: dict[str, Any] = {"n": reading.name}
    if reading.state is None:
        out |= {"u": reading.unit, "t": seconds(reading.t_us), "v": reading.value}
    else:
        out["n"] += STATE_SUFFIX
        out |= {"u": reading.unit, "t": seconds(reading.t_us), "vs": reading.state}
    for field in ("stable", "net", "division"):
        value = getattr(reading, field)
        if value is not None:
            out[field] = value
    return out


def pack(readings: Sequence[Reading]) -> bytes:
    """One SenML pack of readings of one instrument with consecutive sequence numbers.

    Raises:
        ValueError: the readings are of several instruments or boots, or not consecutive.
    """
    first = readings[0]
    records: list[dict[str, Any]] = []
    for i, reading in enumerate(readings):
        if (reading.instrument, reading.boot) != (first.instrument, first.boot):
            raise ValueError("a pack holds the readings of one instrument and one boot id")
        if first.seq is not None and reading.seq != first.seq + i:
            raise ValueError("the readings of a pack are numbered consecutively")
        entry = record(reading)
        entry["n"] = entry["n"].removeprefix(first.instrument + "/")
        records.append(entry)
    base: dict[str, Any] = {"bn": first.instrument + "/"}
    if first.boot is not None:
        base |= {"boot": first.boot, "bseq": first.seq}
    records[0] = base | records[0]
    return json.dumps(records, separators=(",", ":"), allow_nan=False).encode()


def _no_constant(text: str) -> float:
    raise ReadingRefused(f"{text} is not a number in JSON")


def parse(payload: bytes | str, now_us: int | None = None) -> list[Reading]:
    """Readings of a SenML pack (a JSON array) or of one record (an object), in its order.

    Args:
        payload: UTF-8 JSON.
        now_us: what relative times (below 2**28 s) are relative to; None refuses them.

    Raises:
        ReadingRefused: not UTF-8, not JSON, not SenML, a newer version, an implausible value or
            time. The whole pack is refused, so that its numbering stays whole.
    """
    try:
        text = payload.decode("utf-8") if isinstance(payload, bytes) else payload
        document = json.loads(text, parse_constant=_no_constant)
    except UnicodeDecodeError as error:
        raise ReadingRefused(f"not UTF-8 text (byte {error.start})") from error
    except json.JSONDecodeError as error:
        raise ReadingRefused(f"not JSON: {error.msg} at character {error.pos}") from error
    except RecursionError as error:
        raise ReadingRefused("not SenML: nested too deeply") from error
    return resolve(document if isinstance(document, list) else [document], now_us)


def _number(entry: dict[str, Any], field: str, default: float | None) -> float | None:
    value = entry.get(field, default)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ReadingRefused(f"SenML field {field!r} is {value!r}, not a number")
    try:
        number = float(value)
    except OverflowError as error:
        raise ReadingRefused(f"SenML field {field!r} is too large a number") from error
    if not math.isfinite(number):
        raise ReadingRefused(f"SenML field {field!r} is {value!r}, not a finite number")
    return number


def _text(entry: dict[str, Any], field: str, default: str | None) -> str | None:
    value = entry.get(field, default)
    if value is not None and not isinstance(value, str):
        raise ReadingRefused(f"SenML field {field!r} is {value!r}, not a text")
    return value


def _flag(entry: dict[str, Any], field: str) -> bool | None:
    value = entry.get(field)
    if value is not None and not isinstance(value, bool):
        raise ReadingRefused(f"field {field!r} is {value!r}, not true or false")
    return value


def resolve(entries: Iterable[Any], now_us: int | None = None) -> list[Reading]:
    """Resolve base fields (RFC 8428, section 4.6) and give the readings.

    Raises:
        ReadingRefused: as `parse`.
    """
    base: dict[str, Any] = {"bn": "", "bt": 0.0, "bu": None, "bv": None}
    boot: str | None = None
    bseq: int | None = None
    out: list[Reading] = []
    for i, entry in enumerate(entries):
        if not isinstance(entry, dict):
            raise ReadingRefused(f"SenML record {i} is not an object")
        for field in entry:
            if field.endswith("_"):
                raise ReadingRefused(f"SenML field {field!r} must be understood, and is not")
        if (version := _number(entry, "bver", VERSION)) is not None and version > VERSION:
            raise ReadingRefused(f"SenML version {version:g} is newer than {VERSION}")
        base["bn"] = _text(entry, "bn", base["bn"])
        base["bu"] = _text(entry, "bu", base["bu"])
        base["bt"] = _number(entry, "bt", base["bt"])
        base["bv"] = _number(entry, "bv", base["bv"])
        boot = _text(entry, "boot", boot)
        if "bseq" in entry:
            number = entry["bseq"]
            if isinstance(number, bool) or not isinstance(number, int) or not 0 < number < 2**62:
                raise ReadingRefused(f"'bseq' is {number!r}, not a number from 1 up")
            bseq = number - i
        out.append(_reading(entry, base, now_us, boot, None if bseq is None else bseq + i))
    if not out:
        raise ReadingRefused("an empty SenML pack")
    return out


def _reading(
    entry: dict[str, Any],
    base: dict[str, Any],
    now_us: int | None,
    boot: str | None,
    seq: int | None,
) -> Reading:
    name = (base["bn"] or "") + (_text(entry, "n", "") or "")
    instrument, slash, channel = name.partition("/")
    if not slash:
        raise ReadingRefused(f"the SenML name {name!r} is not instrument/channel")
    t = (base["bt"] or 0.0) + (_number(entry, "t", 0.0) or 0.0)
    if t < ABSOLUTE_FROM_S:
        if now_us is None:
            raise ReadingRefused(f"{name}: the time {t:g} s is relative to now")
        t += now_us / MICROSECOND
    if abs(t) > 1e12:
        raise ReadingRefused(f"{name}: the time {t:g} s cannot be true")
    value = _number(entry, "v", None)
    if base["bv"] is not None:
        value = (value or 0.0) + float(base["bv"])
    state = _text(entry, "vs", None)
    unit, factor, offset = UNIT_ALIASES.get(u := _text(entry, "u", base["bu"]) or "", (u, 1.0, 0.0))
    if state is not None:
        if not channel.endswith(STATE_SUFFIX):
            raise ReadingRefused(f"{name}: a text value belongs on a channel named …{STATE_SUFFIX}")
        channel = channel.removesuffix(STATE_SUFFIX)
        value = None
    if value is None and state is None:
        raise ReadingRefused(f"{name}: no value in the record")
    division = _number(entry, "division", None)
    return Reading(
        instrument=instrument,
        channel=channel,
        t_us=microseconds(t),
        value=value if value is None or (factor, offset) == (1.0, 0.0) else value * factor + offset,
        unit=unit,
        state=state,
        stable=_flag(entry, "stable"),
        net=_flag(entry, "net"),
        division=None if division is None else division * factor,
        boot=boot,
        seq=seq,
    ).checked()
