"""Instruments made of settings, and what is found plugged in."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from drivers import catalogue, config
from drivers.catalogue import Found
from drivers.clock import SystemClock
from drivers.config import ConfigError
from drivers.ports import PortLost

SCALE = bytes.fromhex("05 8D 09 20 A1 01 C0")
KEYBOARD = bytes.fromhex("05 01 09 06 A1 01 C0")
# A constant 0x8D05 within another item is no usage page.
MISLEADING = bytes.fromhex("05 01 26 05 8D C0")


@dataclass
class PluggedIn:
    device: str
    description: str


class NoSink:
    driver_id = "drivers-test"

    def put(self, items: Any) -> bool:
        raise AssertionError("nothing was started")

    announce = answer = put


def made(text: str, folder: Path | None = None) -> list[Any]:
    one = config.parse(f'[[instrument]]\nname = "bench-scale"\nport = "/dev/scale"\n{text}')
    return catalogue.instruments(
        one, NoSink(), SystemClock(), lambda _name: None, lambda _error: None, folder
    )


def test_lasting_links_come_first_and_their_targets_are_not_named_twice(tmp_path: Path) -> None:
    by_id, dev = tmp_path / "by-id", tmp_path / "dev"
    by_id.mkdir()
    dev.mkdir()
    (dev / "ttyUSB0").touch()
    (by_id / "usb-Bench_Scale-port0").symlink_to(dev / "ttyUSB0")
    ports = [PluggedIn(str(dev / "ttyUSB0"), "Bench"), PluggedIn("/dev/ttyS7", "a serial port")]

    found = catalogue.found(by_id, lambda: ports, tmp_path / "none")

    assert found == [
        Found(str(by_id / "usb-Bench_Scale-port0"), "usb-Bench Scale-port0", None, True),
        Found("/dev/ttyS7", "a serial port", None, False),
    ]


def test_a_usb_scale_is_known_by_its_usage_page(tmp_path: Path) -> None:
    for name, descriptor in (("hidraw0", KEYBOARD), ("hidraw1", SCALE), ("hidraw2", MISLEADING)):
        (tmp_path / name / "device").mkdir(parents=True)
        (tmp_path / name / "device" / "report_descriptor").write_bytes(descriptor)
    (tmp_path / "hidraw1" / "device" / "uevent").write_text("X=1\nHID_NAME=Flour scale\n")
    (tmp_path / "hidraw3").mkdir()

    found = catalogue.found(tmp_path / "none", list, tmp_path)

    assert found == [Found("/dev/hidraw1", "Flour scale", "hid-scale", False)]


def test_where_nothing_is_plugged_in_nothing_is_found(tmp_path: Path) -> None:
    assert catalogue.found(tmp_path / "none", list, tmp_path / "none") == []


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('family = "sma"\ndivision = "1 stone"', "write '1 g'"),
        ('family = "sma"\ndivision = "0 g"', "write '1 g'"),
        ('family = "described"', "needs the key description"),
        ('family = "described"\ndescription = "none.toml"', "none.toml"),
        ('family = "value-unit"\nmode = "polled"', "cannot be asked; use mode continuous"),
        ('family = "text-probe"\nchannels = { T1 = "core", T2 = "core" }', "two labels"),
    ],
)
def test_settings_no_instrument_can_be_made_of_are_refused_with_a_remedy(
    text: str, words: str, tmp_path: Path
) -> None:
    with pytest.raises(ConfigError, match=words):
        made(text, tmp_path)


def test_the_division_of_the_settings_is_kilograms() -> None:
    (instrument,) = made('family = "sma"\ndivision = "0.5 g"')

    assert instrument._division_kg == 0.0005


def test_a_hid_device_that_is_no_scale_is_named_not_fatal(tmp_path: Path) -> None:
    (tmp_path / "scale" / "device").mkdir(parents=True)
    (tmp_path / "scale" / "device" / "report_descriptor").write_bytes(KEYBOARD)
    one = config.parse(
        '[[instrument]]\nname = "flour-scale"\nfamily = "hid-scale"\nport = "/dev/scale"'
    ).instrument[0]

    with pytest.raises(PortLost, match="/dev/scale: this is no scale"):
        catalogue._parsers(one, None, tmp_path)()
