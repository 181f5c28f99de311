"""Where a scale's HID report descriptor puts status, unit, exponent and weight.

Sources: USB-IF "Device Class Definition for HID 1.11", section 6.2.2 (items of a descriptor), and
USB-IF "HID Point of Sale Usage Tables" 1.02, section 4 (usage page 0x8D). Usage ids were read in
code generated from the usage tables (a secondary source).

The numbers in an array field are indices into the usages the descriptor lists, not fixed by the
usage page, and sizes differ between scales (16 and 32 bits of weight), so neither is assumed.
"""

from __future__ import annotations

from dataclasses import dataclass, field

WEIGHING_PAGE = 0x8D
DATA_WEIGHT, DATA_SCALING = 0x40, 0x41
FIRST_UNIT, LAST_UNIT = 0x51, 0x5F
FIRST_STATUS, LAST_STATUS = 0x71, 0x7F

# Kind and tag of a short item (HID 1.11, 6.2.2.4 to 6.2.2.8), without its size bits.
INPUT, OUTPUT, FEATURE, COLLECTION = 0x80, 0x90, 0xB0, 0xA0
USAGE_PAGE, LOGICAL_MINIMUM, LOGICAL_MAXIMUM = 0x04, 0x14, 0x24
REPORT_SIZE, REPORT_ID, REPORT_COUNT, PUSH, POP = 0x74, 0x84, 0x94, 0xA4, 0xB4
USAGE, USAGE_MINIMUM, USAGE_MAXIMUM = 0x08, 0x18, 0x28
LONG_ITEM = 0xFE

# Far above any descriptor (a few hundred bytes) and any report (64 bytes at full speed).
MOST_DESCRIPTOR_BYTES = 4096
MOST_REPORT_BITS = 64 * 8
MOST_USAGES = 256


class DescriptorRefused(ValueError):
    """The bytes are no report descriptor of a scale; says why.

    Attributes:
        reason: a sentence for the person at the bench.
    """

    def __init__(self, reason: str) -> None:
        super().__init__(f"report descriptor of the scale: {reason}")
        self.reason = reason

    def __reduce__(self) -> tuple[type[DescriptorRefused], tuple[str]]:
        return (type(self), (self.reason,))


@dataclass(frozen=True, slots=True)
class Field:
    """A number in a report.

    Attributes:
        bit: its first bit, counted from the report's first byte (the id, where there is one).
        bits: its size.
        signed: two's complement.
        low, high: logical minimum and maximum; outside them it says nothing.
    """

    bit: int
    bits: int
    signed: bool
    low: int
    high: int

    def of(self, report: bytes) -> int | None:
        """The number, or None where it lies outside its logical range.

        >>> Field(8, 8, True, -127, 127).of(bytes([3, 0xFF]))
        -1
        """
        number = int.from_bytes(report, "little") >> self.bit & ((1 << self.bits) - 1)
        if self.signed and number >> (self.bits - 1):
            number -= 1 << self.bits
        return number if self.low <= number <= self.high else None


@dataclass(frozen=True, slots=True)
class Layout:
    """The data report of one scale.

    Attributes:
        report_id: its first byte; None where the scale has no report ids.
        length: bytes of the report with its id.
        status, unit: array fields whose numbers `statuses` and `units` turn into usages.
        exponent: of ten; None where the descriptor has none (then 0).
        weight: the magnitude.
        statuses, units: usage of each number, as 1, 2, … (0x71 is 1, 0x51 is 1).
        others: lengths of the scale's other input reports by their id.
    """

    report_id: int | None
    length: int
    status: Field
    unit: Field
    exponent: Field | None
    weight: Field
    statuses: dict[int, int]
    units: dict[int, int]
    others: dict[int, int] = field(default_factory=dict)


# The data report of the example in the usage tables, section 4: six bytes with report id 3.
EXAMPLE = Layout(
    report_id=3,
    length=6,
    status=Field(8, 8, False, 1, 8),
    unit=Field(16, 8, False, 1, 12),
    exponent=Field(24, 8, True, -127, 127),
    weight=Field(32, 16, False, 0, 65534),
    statuses={number: number for number in range(1, 9)},
    units={number: number for number in range(1, 13)},
)


@dataclass(slots=True)
class _Globals:
    page: int = 0
    low: int = 0
    high: int = 0
    # The maximum as unsigned too: ``FF`` may mean −1 or 255, and only the minimum tells which.
    high_unsigned: int = 0
    size: int = 0
    count: int = 0
    report_id: int | None = None

    def copy(self) -> _Globals:
        return _Globals(
            self.page,
            self.low,
            self.high,
            self.high_unsigned,
            self.size,
            self.count,
            self.report_id,
        )


@dataclass(slots=True)
class _Locals:
    usages: list[int] = field(default_factory=list)
    minimum: int | None = None


@dataclass(slots=True)
class _Report:
    bits: int = 0
    status: Field | None = None
    unit: Field | None = None
    exponent: Field | None = None
    weight: Field | None = None
    statuses: dict[int, int] = field(default_factory=dict)
    units: dict[int, int] = field(default_factory=dict)


def read_descriptor(descriptor: bytes) -> Layout:
    """The layout of the scale's data report.

    Args:
        descriptor: the report descriptor as the device gives it.

    Raises:
        DescriptorRefused: cut short, or without a report that holds status, unit and weight.
    """
    if len(descriptor) > MOST_DESCRIPTOR_BYTES:
        raise DescriptorRefused(f"{len(descriptor)} bytes are too many to be one")
    reports: dict[int | None, _Report] = {}
    state, stack, local = _Globals(), list[_Globals](), _Locals()
    for tag, data in _items(descriptor):
        unsigned = int.from_bytes(data, "little")
        signed = int.from_bytes(data, "little", signed=True) if data else 0
        if tag == INPUT:
            report = reports.setdefault(state.report_id, _Report())
            _input(report, state, local, unsigned)
        elif tag == PUSH:
            stack.append(state.copy())
        elif tag == POP:
            if not stack:
                raise DescriptorRefused("it takes back a state it never kept")
            state = stack.pop()
        elif tag in (USAGE, USAGE_MINIMUM, USAGE_MAXIMUM):
            usage = unsigned if len(data) == 4 else state.page << 16 | unsigned
            _usage(local, tag, usage)
        else:
            _global(state, tag, unsigned, signed)
        if tag in (INPUT, OUTPUT, FEATURE, COLLECTION):
            local = _Locals()
    return _layout(reports)


def _items(descriptor: bytes) -> list[tuple[int, bytes]]:
    out: list[tuple[int, bytes]] = []
    at = 0
    while at < len(descriptor):
        prefix = descriptor[at]
        if prefix == LONG_ITEM:
            # Byte 1 is the size of the data, byte 2 the long tag; none is defined, all are skipped.
            at += 3 + (descriptor[at + 1] if at + 1 < len(descriptor) else 0)
            continue
        size = (0, 1, 2, 4)[prefix & 3]
        data = descriptor[at + 1 : at + 1 + size]
        if len(data) < size:
            raise DescriptorRefused(f"it is cut short at byte {at}")
        out.append((prefix & 0xFC, data))
        at += 1 + size
    return out


def _global(state: _Globals, tag: int, unsigned: int, signed: int) -> None:
    if tag == USAGE_PAGE:
        state.page = unsigned
    elif tag == LOGICAL_MINIMUM:
        state.low = signed
    elif tag == LOGICAL_MAXIMUM:
        state.high, state.high_unsigned = signed, unsigned
    elif tag == REPORT_SIZE:
        state.size = unsigned
    elif tag == REPORT_COUNT:
        state.count = unsigned
    elif tag == REPORT_ID:
        if not 1 <= unsigned <= 255:
            raise DescriptorRefused(f"{unsigned} is no report id")
        state.report_id = unsigned


def _usage(local: _Locals, tag: int, usage: int) -> None:
    if tag == USAGE:
        local.usages.append(usage)
    elif tag == USAGE_MINIMUM:
        local.minimum = usage
    elif local.minimum is not None:
        if not 0 <= usage - local.minimum < MOST_USAGES:
            raise DescriptorRefused("its usages run from a higher to a lower, or are too many")
        local.usages.extend(range(local.minimum, usage + 1))
        local.minimum = None


def _input(report: _Report, state: _Globals, local: _Locals, flags: int) -> None:
    if report.bits == 0 and state.report_id is not None:
        report.bits = 8
    first = report.bits
    if state.size * state.count > MOST_REPORT_BITS:
        raise DescriptorRefused("one of its reports is longer than any scale's")
    report.bits += state.size * state.count
    is_constant, is_variable = flags & 1, flags & 2
    if is_constant or not 1 <= state.size <= 32:
        return
    signed = state.low < 0
    high = state.high if signed or state.high >= state.low else state.high_unsigned

    def number(index: int) -> Field:
        return Field(first + index * state.size, state.size, signed, state.low, high)

    if is_variable:
        for index in range(state.count if local.usages else 0):
            usage = local.usages[min(index, len(local.usages) - 1)]
            if usage == WEIGHING_PAGE << 16 | DATA_WEIGHT and report.weight is None:
                report.weight = number(index)
            elif usage == WEIGHING_PAGE << 16 | DATA_SCALING and report.exponent is None:
                report.exponent = number(index)
        return
    codes = {
        state.low + index: usage & 0xFFFF
        for index, usage in enumerate(local.usages)
        if usage >> 16 == WEIGHING_PAGE and usage & 0xFFFF
    }
    statuses = {
        n: u - FIRST_STATUS + 1 for n, u in codes.items() if FIRST_STATUS <= u <= LAST_STATUS
    }
    units = {n: u - FIRST_UNIT + 1 for n, u in codes.items() if FIRST_UNIT <= u <= LAST_UNIT}
    if statuses and report.status is None:
        report.status, report.statuses = number(0), statuses
    if units and report.unit is None:
        report.unit, report.units = number(0), units


def _layout(reports: dict[int | None, _Report]) -> Layout:
    if None in reports and len(reports) > 1:
        raise DescriptorRefused("some of its reports have an id and some have none")
    lengths = {name: (report.bits + 7) // 8 for name, report in reports.items()}
    for name, report in reports.items():
        if report.bits > MOST_REPORT_BITS:
            raise DescriptorRefused(f"report {name} is longer than any scale's")
        if report.status and report.unit and report.weight:
            return Layout(
                report_id=name,
                length=lengths[name],
                status=report.status,
                unit=report.unit,
                exponent=report.exponent,
                weight=report.weight,
                statuses=report.statuses,
                units=report.units,
                others={
                    other: length
                    for other, length in lengths.items()
                    if other is not None and other != name
                },
            )
    raise DescriptorRefused(
        "no input report holds status, unit and weight of usage page 0x8D; "
        "is it the descriptor of a scale?"
    )
