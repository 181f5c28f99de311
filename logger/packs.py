"""A SenML pack as the recorder takes it: what can be read of it, and what must be refused.

A pack that an outbox has numbered must not be refused as a whole for one bad record: it would be
sent again for ever. So its records are read one by one, and the bad ones count as stored, refused.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

from drivers import senml
from drivers.reading import Reading, ReadingRefused
from logger.entries import EntryRefused

# What reading a document nobody has checked may raise; all of it means: refuse it.
UNREADABLE = (ValueError, ArithmeticError, TypeError, RecursionError)
BASE_FIELDS = ("bn", "bt", "bu", "bv", "bver", "bs")
LARGEST_PACK = 10_000


@dataclass(slots=True)
class Pack:
    """A pack of one instrument.

    Attributes:
        boot, first: boot id and sequence of record 0; None in a pack without numbers.
        count: how many records it has.
        readings: by the number of their record.
        refused: (number of the record, reason) of the others.
    """

    boot: str | None
    first: int | None
    count: int
    readings: dict[int, Reading] = field(default_factory=dict)
    refused: list[tuple[int, str]] = field(default_factory=list)
    records: list[Any] = field(default_factory=list)

    def text_of(self, i: int) -> bytes:
        """Record i as it came, for the record of what was refused."""
        return json.dumps(self.records[i]).encode() if self.records else b""


def read_pack(payload: bytes, instrument: str, now_us: int) -> Pack:
    """Read a pack on the topic of `instrument`; times relative to now are relative to `now_us`.

    Raises:
        ValueError: neither the pack nor its numbers can be read; says why.
    """
    try:
        readings = senml.parse(payload, now_us)
    except UNREADABLE as refused:
        pack = _numbered(payload, instrument)
        if pack is None:
            raise EntryRefused(str(refused)) from refused
        _read_singly(pack, instrument, now_us)
        return pack
    pack = Pack(readings[0].boot, readings[0].seq, len(readings))
    for i, reading in enumerate(readings):
        if reading.instrument != instrument:
            raise EntryRefused(f"readings/{instrument} carries a reading of {reading.instrument!r}")
        if reading.boot != pack.boot:
            raise EntryRefused("a pack has one boot id")
        if pack.first is not None and reading.seq != pack.first + i:
            raise EntryRefused("the readings of a pack are numbered consecutively")
        try:
            _writable(reading)
        except ValueError as unwritable:
            pack.refused.append((i, str(unwritable)))
        else:
            pack.readings[i] = reading
    return pack


def _writable(reading: Reading) -> None:
    for text in (reading.unit, reading.state, reading.boot):
        if text is None:
            continue
        if len(text) > 200:
            raise ReadingRefused(f"a text of {len(text)} characters where a short one belongs")
        try:
            text.encode()
        except UnicodeEncodeError as error:
            raise ReadingRefused("half a character (a lone surrogate) in a text") from error


def _numbered(payload: bytes, instrument: str) -> Pack | None:
    """The numbers of a pack that is no good as a whole; None where it has none we can trust."""
    try:
        document = json.loads(payload.decode("utf-8"))
    except UNREADABLE:
        return None
    records = document if isinstance(document, list) else [document]
    head = records[0] if records else None
    if not isinstance(head, dict) or len(records) > LARGEST_PACK:
        return None
    boot, first = head.get("boot"), head.get("bseq")
    if head.get("bn") != instrument + "/" or not isinstance(boot, str):
        return None
    if isinstance(first, bool) or not isinstance(first, int) or not 0 < first < 2**62:
        return None
    return Pack(boot, first, len(records), records=records)


def _read_singly(pack: Pack, instrument: str, now_us: int) -> None:
    base: dict[str, Any] = {}
    for i, record in enumerate(pack.records):
        try:
            if not isinstance(record, dict):
                raise ReadingRefused(f"SenML record {i} is not an object")
            base |= {key: record[key] for key in BASE_FIELDS if key in record}
            numbers = {"boot", "bseq"}
            single = base | {key: value for key, value in record.items() if key not in numbers}
            (reading,) = senml.resolve([single], now_us)
            if reading.instrument != instrument:
                raise ReadingRefused(
                    f"readings/{instrument} carries a reading of {reading.instrument!r}"
                )
            _writable(reading)
        except UNREADABLE as refused:
            pack.refused.append((i, str(refused)))
        else:
            pack.readings[i] = reading
