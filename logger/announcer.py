"""What the recorder says over the wire, after the commit and never before."""

from __future__ import annotations

from collections.abc import Iterable

from drivers.clock import Clock
from drivers.mqtt import Wire
from drivers.reading import seconds
from drivers.topics import Topics
from logger.running import RunningBatches
from logger.store import BatchRow, NumberedSource


class Announcer:
    """Publishes what is stored, the events, and the present state of open batches.

    Called on the writer's thread; nothing here waits for the broker.
    """

    def __init__(self, wire: Wire, topics: Topics, log_id: str, clock: Clock) -> None:
        self._wire = wire
        self._topics = topics
        self._log_id = log_id
        self._clock = clock

    def tell(self, touched: dict[int, NumberedSource], running: RunningBatches) -> None:
        """After a commit: outboxes it touched (taken out of `touched`), events, batches."""
        for key, source in list(touched.items()):
            if not self._stored(source):
                break  # the connection's queue is full: said again after the next commit
            del touched[key]
        said, ended = running.drain()
        for one in said:
            self._wire.publish_json(self._topics.events(one.event.kind), one.event.to_json())
        changed = {one.event.batch for one in said}
        for batch, document in running.documents(changed).items():
            self._wire.publish_json(self._topics.now(batch), document, retain=True)
        self._clear(ended)

    def tell_everything(
        self,
        sources: Iterable[NumberedSource],
        running: RunningBatches,
        batches: Iterable[BatchRow],
    ) -> None:
        """On each connect: how far each instrument is stored, and each batch's present state.

        Args:
            sources: the most recently heard last: that one's boot id is said.
            batches: of which the closed ones are cleared, in case an end was not heard.
        """
        newest = {source.instrument: source for source in sources}
        for source in newest.values():
            self._stored(source)
        for batch, document in running.documents().items():
            self._wire.publish_json(self._topics.now(batch), document, retain=True)
        self._clear(row.id for row in batches if row.closed_pos is not None)

    def alert(self, about: str, text: str, now_us: int) -> None:
        """An alert of the recorder itself; unlike a batch's it has no id."""
        document = {"id": None, "kind": "alert", "at": seconds(now_us), "batch": None}
        document |= {"about": about, "text": text}
        self._wire.publish_json(self._topics.events("alert"), document)

    def _stored(self, source: NumberedSource) -> bool:
        document = {
            "log": self._log_id,
            "boot": source.boot,
            "seq": source.seq,
            "gap": source.gap,
            "t": seconds(self._clock.now_us()),
        }
        topic = self._topics.stored(source.instrument)
        return self._wire.publish_json(topic, document, retain=True)

    def _clear(self, batches: Iterable[str]) -> None:
        for batch in batches:
            self._wire.publish(self._topics.now(batch), b"", retain=True)
