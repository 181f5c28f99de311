"""Frames of instruments: bytes in, frame events out, readings from those.

No port, thread or time in here: `parser_for` gives a parser, its `feed` takes bytes in any pieces,
`readings_of` turns what it gives into kilograms and degrees Celsius.
"""

from __future__ import annotations

from pathlib import Path
from typing import get_args

from drivers.config import ConfigError, Family
from drivers.frames.described import DescribedParser
from drivers.frames.description import (
    Description,
    DescriptionError,
    load_description,
    parse_description,
)
from drivers.frames.frame import (
    FrameEvent,
    Garbage,
    Overflow,
    Parser,
    Reply,
    Temperature,
    TemperatureFrame,
    WeightFrame,
)
from drivers.frames.hid_scale import HidScaleParser
from drivers.frames.readings import readings_of
from drivers.frames.sma import SmaParser
from drivers.frames.text_probe import TextProbeParser
from drivers.frames.value_unit import ValueUnitParser

FAMILIES: tuple[str, ...] = get_args(Family)

__all__ = [
    "FAMILIES",
    "DescribedParser",
    "Description",
    "DescriptionError",
    "FrameEvent",
    "Garbage",
    "HidScaleParser",
    "Overflow",
    "Parser",
    "Reply",
    "SmaParser",
    "Temperature",
    "TemperatureFrame",
    "TextProbeParser",
    "ValueUnitParser",
    "WeightFrame",
    "load_description",
    "parse_description",
    "parser_for",
    "readings_of",
]


def parser_for(
    family: str,
    description: Description | Path | str | None = None,
    hid_descriptor: bytes | None = None,
) -> Parser:
    """A fresh parser of a family.

    Args:
        family: one of `FAMILIES`.
        description: for ``described``: the description, or the path of its file.
        hid_descriptor: for ``hid-scale``: the scale's report descriptor, None for the example's.

    Raises:
        ConfigError: an unknown family.
        DescriptionError: ``described`` without a description, or with an unusable one.
        DescriptorRefused: the HID descriptor is none of a scale.

    >>> parser_for("value-unit").feed(b"12 g\\n")[0].unit
    'g'
    """
    if family == "described":
        if description is None:
            raise DescriptionError(
                "frames", "the family 'described' needs a frame description file"
            )
        if not isinstance(description, Description):
            description = load_description(Path(description))
        return DescribedParser(description)
    if family == "hid-scale":
        return HidScaleParser(hid_descriptor)
    if family == "sma":
        return SmaParser()
    if family == "value-unit":
        return ValueUnitParser()
    if family == "text-probe":
        return TextProbeParser()
    raise ConfigError("frames", f"unknown family {family!r}; write one of {', '.join(FAMILIES)}")
