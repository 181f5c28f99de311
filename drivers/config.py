"""Settings: one TOML file, every key with a default, so that no file is needed to start."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

Family = Literal["sma", "value-unit", "described", "hid-scale", "text-probe"]


class ConfigError(ValueError):
    """The configuration cannot be used; says file, key and remedy.

    Attributes:
        where: file and line or key.
        reason: what is wrong and what to write instead.
    """

    def __init__(self, where: str, reason: str) -> None:
        super().__init__(f"{where}: {reason}")
        self.where = where
        self.reason = reason

    def __reduce__(self) -> tuple[type[ConfigError], tuple[str, str]]:
        return (type(self), (self.where, self.reason))


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class BrokerConfig(_Section):
    """Where the broker is.

    Attributes:
        url: ``auto`` (a mosquitto found here, else the embedded one, as a child on loopback),
            ``mosquitto`` or ``embedded`` to insist on one of the two, or ``mqtt://host:1883``.
        port: loopback port of a broker started as a child; 0 picks a free one.
    """

    url: str = "auto"
    port: int = Field(0, ge=0, le=65535)


class ServeConfig(_Section):
    """Where the page and the HTTP API listen (loopback unless told otherwise)."""

    host: str = "127.0.0.1"
    port: int = Field(8017, ge=0, le=65535)


class OutboxConfig(_Section):
    """Budget of the outbox: past it the oldest readings are dropped and declared as a gap."""

    readings: int = Field(1_000_000, ge=100)


class InstrumentConfig(_Section):
    """One instrument.

    Attributes:
        name: its lasting name, used in topics, SenML names and plans.
        family: frame family it speaks.
        port: a lasting path such as ``/dev/serial/by-id/…``; for ``hid-scale`` a hidraw path.
        baud, parity, stop_bits, data_bits: of a serial line.
        mode: ``continuous`` where the instrument sends by itself, ``polled`` where it is asked.
        poll_s: seconds between questions when polled.
        channel: name of the channel of a scale (``mass``); for a thermometer a map from what
            its lines call a channel to the channel's name, e.g. ``{ T1 = "core", T2 = "air" }``.
        description: frame description file for the family ``described``.
        division: e.g. ``1 g``; else learnt from the frames.
        accuracy_class: OIML class of a scale.
        silent_s: seconds without a frame after which it counts as silent.
    """

    name: str
    family: Family
    port: str
    baud: int = 9600
    parity: Literal["N", "E", "O"] = "N"
    stop_bits: Literal[1, 2] = 1
    data_bits: Literal[7, 8] = 8
    mode: Literal["continuous", "polled"] = "continuous"
    poll_s: float = Field(0.2, gt=0)
    channel: str | None = None
    channels: dict[str, str] = Field(default_factory=dict)
    description: str | None = None
    division: str | None = None
    accuracy_class: Literal["I", "II", "III", "IIII"] | None = None
    silent_s: float = Field(10.0, gt=0)


class Config(_Section):
    """The whole configuration.

    Attributes:
        kitchen: short name in topics, e.g. ``harbour-steps``.
        title: name of the kitchen as people say it.
        time_zone: IANA name, for people only.
        folder: where store, outbox and settings live; '' means ``~/.local/share/coolcrumb``
            (or the state folder of the service manager).
        clock_file: clock file of a simulated kitchen; '' means the machine's clock.
    """

    kitchen: str = "kitchen"
    title: str = "Kitchen"
    time_zone: str = ""
    folder: str = ""
    clock_file: str = ""
    broker: BrokerConfig = BrokerConfig()
    serve: ServeConfig = ServeConfig()
    outbox: OutboxConfig = OutboxConfig()
    instrument: list[InstrumentConfig] = Field(default_factory=list)

    @field_validator("kitchen")
    @classmethod
    def _plain(cls, value: str) -> str:
        if not value or any(c in value for c in "/+#\0 "):
            raise ValueError("write a short name without spaces, '/', '+' or '#'")
        return value


def parse(text: str, where: str = "coolcrumb.toml") -> Config:
    """Read a configuration.

    Raises:
        ConfigError: syntax, unknown key or impossible value, naming the place.

    >>> parse('kitchen = "harbour-steps"').kitchen
    'harbour-steps'
    """
    try:
        document: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ConfigError(where, f"not TOML: {error}") from error
    try:
        config = Config.model_validate(document)
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        raise ConfigError(f"{where}, key {key}", first["msg"]) from error
    names = [instrument.name for instrument in config.instrument]
    for name in names:
        if names.count(name) > 1:
            raise ConfigError(where, f"two instruments are called {name!r}; give each its own name")
    return config


def load(path: Path) -> Config:
    """Read the configuration file at `path`; errors as `parse`, and for a missing file."""
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigError(str(path), f"cannot be read: {error}") from error
    return parse(text, str(path))
