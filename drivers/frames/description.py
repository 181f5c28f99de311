"""A frame description: the kitchen's own word on what its scale or thermometer writes.

    [frame]
    end = "\\r\\n"           # or start = "…", length = 18; or start and end; or length alone
    pattern = '^!w=(?P<value>…);u=(?P<unit>g|oz)…\\*(?P<checksum>[0-9A-F]{2})$'
    checksum = "xor8"      # none | xor8 | sum8 | crc16
    poll = ""              # also tare = "…", zero = "…": what to send
    [means]
    stable = { "1" = true, "0" = false }
    net = { "1" = true, "0" = false }
    overload = '^\\++$'     # a value that is no value; likewise underload, open circuit, …

The pattern describes the whole frame without its end (with its start, or without it). Groups:
``value`` is required; ``unit`` is g, kg, oz, lb, C or F, or what ``[means] unit`` makes of it (a
table, or one unit for all); ``stable``, ``net``, ``state`` take their meaning from tables;
``channel`` names a thermometer's channel; ``checksum`` is hexadecimal or raw bytes.

A pattern can be written that takes ages over a damaged frame. Two things keep that away: repeated
groups may hold neither repetitions nor alternatives, and the pattern is tried on awkward frames of
growing length when it is read. And a frame has a longest length.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from drivers.config import ConfigError
from drivers.frames.frame import STATES, TEMPERATURE_UNITS, WEIGHT_UNITS
from drivers.frames.pattern import literal_beginning, nested_repetition, too_slow_at

CHECKSUMS = ("none", "xor8", "sum8", "crc16")
GROUPS = ("value", "unit", "stable", "net", "state", "channel", "checksum")
FRAME_KEYS = ("end", "start", "length", "pattern", "checksum", "poll", "tare", "zero")
MEANS_KEYS = ("unit", "stable", "net", "state", *STATES)
LONGEST_FRAME = 256


class DescriptionError(ConfigError):
    """A frame description cannot be used; says file, line and remedy."""


@dataclass(frozen=True, slots=True)
class Description:
    """A frame description that was read and found usable.

    Attributes:
        where: file it came from, for messages.
        end, start: bytes that end and begin a frame; empty where there are none.
        length: bytes of a frame (with its start, without its end); None where it varies.
        pattern: of the whole frame, without its end.
        prefix: the bytes each frame visibly begins with; empty where the pattern has none.
        checksum: one of `CHECKSUMS`.
        poll, tare, zero: what to send; None where there is no such command.
        units: text of the unit group → unit; empty means that the text is the unit.
        unit: the unit where the pattern has no unit group.
        stable, net: text of the group → meaning.
        states: text of the state group → state, None where it means that there is a value.
        no_values: (state, pattern) of values that are none, in the order written.
    """

    where: str
    end: bytes
    start: bytes
    length: int | None
    pattern: re.Pattern[str]
    prefix: bytes
    checksum: str
    poll: bytes | None = None
    tare: bytes | None = None
    zero: bytes | None = None
    units: dict[str, str] = field(default_factory=dict)
    unit: str | None = None
    stable: dict[str, bool] = field(default_factory=dict)
    net: dict[str, bool] = field(default_factory=dict)
    states: dict[str, str | None] = field(default_factory=dict)
    no_values: tuple[tuple[str, re.Pattern[str]], ...] = ()


def load_description(path: Path) -> Description:
    """Read a frame description file.

    Raises:
        DescriptionError: it cannot be read or used; names file, line and remedy.
    """
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise DescriptionError(str(path), f"cannot be read: {error}") from error
    return parse_description(text, str(path))


def parse_description(text: str, where: str = "frame description") -> Description:
    """Read a frame description.

    Args:
        text: TOML.
        where: name of its file, for messages.

    Raises:
        DescriptionError: it cannot be used; names file, line and remedy.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DescriptionError(where, f"not TOML: {error}") from error
    return _Reader(text, where, document).description()


class _Reader:
    """One description being read: its document, and where each key stands."""

    def __init__(self, text: str, where: str, document: dict[str, Any]) -> None:
        self.where = where
        self.lines = text.splitlines()
        for name in document:
            if name not in ("frame", "means"):
                raise self.error(name, "", f"unknown section {name!r}; write [frame] and [means]")
        self.frame = self.section(document, "frame", FRAME_KEYS)
        self.means = self.section(document, "means", MEANS_KEYS)

    def error(self, section: str, key: str, reason: str) -> DescriptionError:
        """The error, with the line of the key; else of its section; else the file alone."""
        inside, line = False, 0
        for number, text in enumerate(self.lines, 1):
            if heading := re.match(r"\s*\[+\s*([^\]\s]+)\s*\]", text):
                inside = heading[1].split(".")[0] == section
                if inside and (not line or heading[1] == f"{section}.{key}"):
                    line = number
            elif inside and key and re.match(rf"\s*[\"']?{re.escape(key)}[\"']?\s*[=.]", text):
                line = number
                break
        return DescriptionError(f"{self.where}, line {line}" if line else self.where, reason)

    def section(self, document: dict[str, Any], name: str, keys: tuple[str, ...]) -> dict[str, Any]:
        section = document.get(name, {})
        if not isinstance(section, dict):
            raise self.error(name, "", f"{name} is a section: write [{name}] on a line of its own")
        for key in section:
            if key not in keys:
                raise self.error(name, key, f"unknown key {key!r}; write one of {', '.join(keys)}")
        return section

    def bytes_of(self, key: str) -> bytes:
        value = self.frame.get(key, "")
        if not isinstance(value, str):
            raise self.error("frame", key, f'{key} is a text: write {key} = "…"')
        if len(value) > LONGEST_FRAME:
            raise self.error("frame", key, f"{key} is longer than {LONGEST_FRAME} characters")
        # Characters up to U+00FF are the bytes of that number, so that "\u0002" and "\u00ff" work.
        try:
            return value.encode("latin-1")
        except UnicodeEncodeError:
            return value.encode("utf-8")

    def description(self) -> Description:
        length = self.length()
        end, start = self.bytes_of("end"), self.bytes_of("start")
        if not end and length is None:
            raise self.error(
                "frame",
                "start",
                "nothing says where a frame ends; "
                'write end = "\\r\\n", or start = "…" with length = 18',
            )
        pattern = self.pattern("frame", "pattern", self.frame.get("pattern"))
        self.check_groups(pattern)
        unit, units = self.units(pattern)
        groups = pattern.groupindex
        description = Description(
            where=self.where,
            end=end,
            start=start,
            length=length,
            pattern=pattern,
            prefix=start or literal_beginning(pattern.pattern),
            checksum=self.checksum(pattern),
            poll=self.bytes_of("poll") or None,
            tare=self.bytes_of("tare") or None,
            zero=self.bytes_of("zero") or None,
            units=units,
            unit=unit,
            stable=self.flags("stable", "stable" in groups),
            net=self.flags("net", "net" in groups),
            states=self.states("state" in groups),
            no_values=tuple(
                (name, self.pattern("means", name, self.means[name]))
                for name in self.means
                if name in STATES
            ),
        )
        patterns = [pattern, *(no_value for _, no_value in description.no_values)]
        if length := too_slow_at(patterns, description.prefix.decode("latin-1"), LONGEST_FRAME):
            raise self.error(
                "frame",
                "pattern",
                f"the pattern takes too long over a damaged frame of {length} bytes; "
                "let no two repetitions beside each other match the same characters",
            )
        return description

    def length(self) -> int | None:
        length = self.frame.get("length")
        if length is None:
            return None
        if (
            isinstance(length, bool)
            or not isinstance(length, int)
            or not 1 <= length <= LONGEST_FRAME
        ):
            reason = f"length is a number of bytes from 1 to {LONGEST_FRAME}"
            raise self.error("frame", "length", reason)
        return length

    def pattern(self, section: str, key: str, text: Any) -> re.Pattern[str]:
        if not isinstance(text, str) or not text:
            raise self.error(
                section, key, f"{key} is a regular expression: write {key} = '…' in single quotes"
            )
        try:
            pattern = re.compile(text)
        except (re.error, OverflowError, RecursionError) as error:
            raise self.error(section, key, f"not a regular expression: {error}") from error
        if repeated := nested_repetition(text):
            raise self.error(
                section,
                key,
                f"the repeated group {repeated!r} holds a repetition or alternatives, which can "
                "take for ever on a damaged frame; write a character class, or write it out",
            )
        return pattern

    def check_groups(self, pattern: re.Pattern[str]) -> None:
        for name in pattern.groupindex:
            if name not in GROUPS:
                raise self.error(
                    "frame",
                    "pattern",
                    f"unknown group {name!r}; the groups are {', '.join(GROUPS)}",
                )
        if "value" not in pattern.groupindex:
            raise self.error(
                "frame", "pattern", r"no group says the value; write (?P<value>[+-]?\d+\.\d)"
            )

    def checksum(self, pattern: re.Pattern[str]) -> str:
        has_group = "checksum" in pattern.groupindex
        checksum = self.frame.get("checksum", "none")
        if checksum not in CHECKSUMS:
            reason = f"checksum {checksum!r} is not known; write one of {', '.join(CHECKSUMS)}"
            raise self.error("frame", "checksum", reason)
        if checksum != "none" and not has_group:
            raise self.error(
                "frame", "pattern", "no group holds the checksum; write (?P<checksum>[0-9A-F]{2})"
            )
        if has_group and "checksum" not in self.frame:
            raise self.error(
                "frame",
                "pattern",
                "the pattern has a checksum, but nothing says how it is made; "
                'write checksum = "xor8", "sum8", "crc16", or "none" to leave it unchecked',
            )
        return str(checksum)

    def units(self, pattern: re.Pattern[str]) -> tuple[str | None, dict[str, str]]:
        known = (*WEIGHT_UNITS, *TEMPERATURE_UNITS)
        unit = self.means.get("unit", {})
        for name in (
            [unit] if isinstance(unit, str) else unit.values() if isinstance(unit, dict) else [None]
        ):
            if name not in known:
                raise self.error("means", "unit", f"unit {name!r} is none of {', '.join(known)}")
        if "unit" in pattern.groupindex:
            if isinstance(unit, str):
                return unit, {}
            return None, dict(unit)
        if not isinstance(unit, str):
            raise self.error(
                "means",
                "unit",
                'the pattern has no unit group; write unit = "g" (or kg, oz, lb, C, F) in [means]',
            )
        return unit, {}

    def flags(self, key: str, has_group: bool) -> dict[str, bool]:
        table = self.means.get(key)
        if table is None and not has_group:
            return {}
        remedy = f'write {key} = {{ "1" = true, "0" = false }} in [means]'
        if not has_group:
            raise self.error(
                "means", key, f"the pattern has no group {key!r} to which this applies"
            )
        if not isinstance(table, dict) or not all(isinstance(v, bool) for v in table.values()):
            raise self.error("means", key, f"nothing says what the group {key!r} means; {remedy}")
        return table

    def states(self, has_group: bool) -> dict[str, str | None]:
        table = self.means.get("state")
        if table is None and not has_group:
            return {}
        if not has_group:
            raise self.error("means", "state", "the pattern has no group 'state'")
        if not isinstance(table, dict) or not all(v == "" or v in STATES for v in table.values()):
            raise self.error(
                "means",
                "state",
                'state is a table such as { "OL" = "overload", "OK" = "" }; '
                f'"" means a value, the states are {", ".join(STATES)}',
            )
        return {text: state or None for text, state in table.items()}
