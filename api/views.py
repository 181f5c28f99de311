"""Batches folded from their stored events, kept between questions; and their state documents."""

from __future__ import annotations

import dataclasses
import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from drivers.clock import Clock
from drivers.reading import MICROSECOND, Reading
from logger import events as ev
from logger.batch import BatchView
from logger.planfile import plan_from_document
from logger.sentence import no_batch, sentence, zone
from logger.store import Reader

KEPT = 8
# A value older than this says nothing about now; kitchen seconds, times the speed of the clock.
FRESH_S = 30


class NoSuchBatch(KeyError):
    """There is no batch with this id."""


@dataclass(slots=True)
class _Folded:
    view: BatchView
    last_id: int = 0


def machine_zone() -> str:
    """IANA name of the machine's own time zone, UTC where it does not say."""
    try:
        target = str(Path("/etc/localtime").resolve())
    except OSError:
        return "UTC"
    _, found, name = target.partition("zoneinfo/")
    return name if found else "UTC"


class Views:
    """Answers "what stands of this batch now?"; may be asked from several threads.

    Args:
        reader: the log.
        clock: kitchen time.
        time_zone: the kitchen's; '' takes the plan's, and without one the machine's.
    """

    def __init__(self, reader: Reader, clock: Clock, time_zone: str) -> None:
        self._reader = reader
        self._clock = clock
        self._time_zone = time_zone
        self._machine_zone = machine_zone()
        self._folded: OrderedDict[str, _Folded] = OrderedDict()
        self._lock = threading.Lock()

    def zone_name(self, of_plan: str | None = None) -> str:
        """The zone in which times are shown."""
        return self._time_zone or of_plan or self._machine_zone

    def state(self, batch: str, live: Mapping[str, Reading]) -> dict[str, Any]:
        """The state document of a batch, with its sentence.

        Args:
            live: newest reading of each channel, by SenML name.

        Raises:
            NoSuchBatch: unknown id.
            FileError: its plan cannot be read.
            StoreError: the log cannot be read.
        """
        with self._lock:
            view = self._fold(batch)
            now_us = self._clock.now_us()
            name = self.zone_name(view.plan.time_zone)
            said = sentence(
                _as_poured(view, live), now_us, zone(name), self._roles(view, live, now_us)
            )
            return view.to_json() | {"time_zone": name, "sentence": said.to_json()}

    def roles(self, batch: str) -> Mapping[str, str]:
        """SenML name → role of the batch's channels; errors as `state`."""
        with self._lock:
            return self._fold(batch).plan.channels

    def _fold(self, batch: str) -> BatchView:
        folded = self._folded.get(batch)
        if folded is None:
            entry = self._reader.plan_entry(batch)
            if entry is None:
                raise NoSuchBatch(batch)
            folded = _Folded(BatchView.of(batch, plan_from_document(entry.document)))
            self._folded[batch] = folded
            while len(self._folded) > KEPT:
                self._folded.popitem(last=False)
        self._folded.move_to_end(batch)
        for row in self._reader.events(batch, folded.last_id):
            folded.view.apply(ev.from_json(row.document))
            folded.last_id = row.id
        return folded.view

    def _roles(self, view: BatchView, live: Mapping[str, Reading], now_us: int) -> dict[str, float]:
        oldest_us = now_us - int(FRESH_S * MICROSECOND * max(1.0, self._clock.speed()))
        out: dict[str, float] = {}
        for name, role in view.plan.channels.items():
            reading = live.get(name)
            if reading is not None and reading.value is not None and reading.t_us >= oldest_us:
                out[role] = reading.value
        return out


def _as_poured(view: BatchView, live: Mapping[str, Reading]) -> BatchView:
    """The view with the pouring brought up to the newest reading of its scale."""
    pouring = view.pouring
    reading = live.get(str(pouring["scale"])) if pouring else None
    if pouring is None or reading is None or reading.value is None or view.at is None:
        return view
    if reading.t_us < view.at * MICROSECOND:
        return view
    mass_kg = reading.value - pouring["zero_kg"]
    return dataclasses.replace(view, pouring=pouring | {"mass_kg": mass_kg})


def nothing_open(time_zone: str) -> dict[str, Any]:
    """The state document of a kitchen without any batch."""
    return {
        "batch": None,
        "title": None,
        "stage": None,
        "opened_at": None,
        "closed_at": None,
        "at": None,
        "lines": [],
        "pouring": None,
        "time_zone": time_zone,
        "sentence": no_batch().to_json(),
    }
