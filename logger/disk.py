"""What the recorder says of its disk: that it cannot be written, can again, or is nearly full."""

from __future__ import annotations

import shutil

from drivers.clock import Clock
from drivers.reading import seconds
from logger.alerts import Alerts
from logger.announcer import Announcer
from logger.presence import Presence
from logger.store import Store, StoreStalled

LOOK_EVERY_S = 10.0
STALLS = ("disk full", "store locked")
NEARLY_FULL = "disk nearly full"


class Disk:
    """Raises the alerts of the store's disk and clears them; used on the writer thread only.

    Args:
        store: written to; its folder is watched.
        clock: kitchen time.
        alerts: what stands.
        presence, announcer: where it is said.
    """

    def __init__(
        self,
        store: Store,
        clock: Clock,
        alerts: Alerts,
        presence: Presence,
        announcer: Announcer,
    ) -> None:
        self._store = store
        self._clock = clock
        self._alerts = alerts
        self._presence = presence
        self._announcer = announcer
        self._looked = float("-inf")

    def stalled(self, stalled: StoreStalled, now_us: int) -> None:
        """A commit failed: say so, once."""
        about = "disk full" if stalled.full else "store locked"
        remedy = "make room on the disk" if stalled.full else "end the program that holds it"
        text = f"{stalled}; nothing is recorded until it can be written again; {remedy}"
        if self._alerts.put(about, text, now_us):
            self._presence.set_alerts(self._alerts.standing())
            self._announcer.alert(about, text, now_us)

    def written_again(self, began_us: int) -> None:
        """A commit succeeded after it had failed from `began_us` on: draft that for the record."""
        for about in STALLS:
            if self._alerts.clear(about):
                lasted_s = seconds(self._clock.now_us() - began_us)
                text = f"nothing could be stored for {lasted_s:.0f} s; the drivers kept it"
                self._store.add_alert(began_us, about, text)
        self._presence.set_alerts(self._alerts.standing())

    def look(self, now: float) -> None:
        """See how much is free, at most every `LOOK_EVERY_S`; `now` is monotonic, in seconds."""
        if now - self._looked < LOOK_EVERY_S:
            return
        self._looked = now
        usage = shutil.disk_usage(self._store.folder)
        if usage.free >= usage.total // 10:
            changed = self._alerts.clear(NEARLY_FULL)
        else:
            text = (
                f"{usage.free // 2**20} of {usage.total // 2**20} MB are free in "
                f"{self._store.folder}; make room before it is full"
            )
            now_us = self._clock.now_us()
            changed = self._alerts.put(NEARLY_FULL, text, now_us)
            if changed:
                self._store.add_alert(now_us, NEARLY_FULL, text)
                self._announcer.alert(NEARLY_FULL, text, now_us)
        if changed:
            self._presence.set_alerts(self._alerts.standing())
