"""From a message on the wire to entries of the log: what is accepted, ignored, refused.

Per instrument and boot id only the next sequence is accepted (or the one after a declared gap);
what is stored already and what is ahead is ignored, for the outbox sends it again. So no broker,
however forgetful, loses or doubles a reading.
"""

from __future__ import annotations

import logging
import re
from collections import Counter, OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from drivers import mqtt
from drivers.reading import MICROSECOND, Reading, seconds
from drivers.topics import Topics
from logger import entries
from logger.engine import batch_id
from logger.entries import ClockJump, Entry, EntryRefused, Gap, InstrumentState, Mark, PlanEntry
from logger.packs import Pack, read_pack
from logger.running import RunningBatches
from logger.store import NumberedSource, Store

log = logging.getLogger(__name__)

# A pack of a thousand readings is about 80 kB; a plan with its formula is smaller.
LARGEST_PAYLOAD = 1_000_000
AHEAD_US = 2 * MICROSECOND
# Commands and answers repeated by the broker are known again among the last so many.
REMEMBERED = 1000
BATCH_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
LONGEST_BOOT = 64

Freeze = Callable[[Mapping[str, Any], int], Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class Message:
    """One message as it came.

    Attributes:
        payload: cut after `LARGEST_PAYLOAD` bytes; `size` is the whole length.
        received_us: kitchen time when it came.
        speed: kitchen seconds per real second at that time.
    """

    topic: str
    payload: bytes
    retained: bool
    received_us: int
    size: int
    speed: float = 1.0


class Intake:
    """Takes one message after the other and drafts what becomes of it.

    Args:
        freeze: what a plan's document freezes in: called with the open-batch mark's document and
            the position up to which the log is asked.
        on_fresh_plan: called before a batch opens, so that all before it is committed.

    Attributes:
        touched: outboxes whose progress is to be published (again).
        counts: what was ignored or refused, by kind.
    """

    def __init__(
        self,
        store: Store,
        running: RunningBatches,
        topics: Topics,
        freeze: Freeze,
        on_fresh_plan: Callable[[], None],
    ) -> None:
        self._store = store
        self._running = running
        self._topics = topics
        self._freeze = freeze
        self._on_fresh_plan = on_fresh_plan
        self.touched: dict[int, NumberedSource] = {}
        self.counts: Counter[str] = Counter()
        self._logged: set[tuple[str, ...]] = set()
        self._seen: OrderedDict[tuple[str, str], None] = OrderedDict()
        self._drivers: dict[str, bool] = {}
        self._announced: dict[str, dict[str, Any]] = {}
        self._waiting_notice: dict[int, int] = {}
        self._kinds: dict[str, Callable[[Message, str], None]] = {
            "readings": self._readings,
            "gaps": self._notice,
            "instruments": self._instrument,
            "drivers": self._driver,
            "marks": self._mark,
            "commands": self._command,
            "answers": self._answer,
        }

    def take(self, message: Message) -> None:
        """Draft what becomes of the message; nothing in it can raise."""
        parsed = self._topics.parse(message.topic)
        if parsed is None or parsed[0] not in self._kinds:
            return
        kind, name = parsed
        try:
            if message.size > LARGEST_PAYLOAD:
                raise EntryRefused(
                    f"{message.size} bytes in one message; at most {LARGEST_PAYLOAD} are read"
                )
            self._kinds[kind](message, name)
        except ValueError as refused:
            self._refuse(message, str(refused) or type(refused).__name__)
        except Exception as error:
            log.exception("a message on %s cannot be taken in", message.topic)
            self._refuse(message, f"cannot be taken in ({type(error).__name__}: {error})")

    # -- readings ------------------------------------------------------------------------------

    def _readings(self, message: Message, instrument: str) -> None:
        if message.retained:
            # Held by the broker since who knows when: never taken for live.
            if self._once("retained", message.topic):
                self._refuse(message, "a retained reading is not live; publish it without retain")
            return
        pack = read_pack(message.payload, instrument, message.received_us)
        if pack.boot is None or pack.first is None:
            if pack.refused:
                raise EntryRefused(pack.refused[0][1])
            for reading in pack.readings.values():
                self._foreign(replace(reading, boot=None, seq=None), message)
            return
        self._numbered(pack, message, self._source(instrument, pack.boot))

    def _foreign(self, reading: Reading, message: Message) -> None:
        if self._store.has_reading(reading):
            self.counts["repeated"] += 1
            return
        self._append(reading, message)

    def _numbered(self, pack: Pack, message: Message, source: NumberedSource) -> None:
        assert pack.first is not None
        self.touched[source.id] = source
        refused = dict(pack.refused)
        for i in range(pack.count):
            seq = pack.first + i
            if seq <= source.seq:
                self.counts["repeated"] += 1
                continue
            if seq > source.seq + 1:
                self.counts["ahead"] += pack.count - i
                if self._once("ahead", source.instrument, source.boot):
                    log.info(
                        "%s: reading %d came before %d of boot %s; waiting for it to be sent again",
                        source.instrument, seq, source.seq + 1, source.boot,
                    )  # fmt: skip
                return
            if i in refused:
                self.counts["refused"] += 1
                if self._once("refused", source.instrument, refused[i]):
                    log.warning("%s: reading %d is refused: %s", source.instrument, seq, refused[i])
                self._store.refuse(
                    message.received_us, message.topic, refused[i], pack.text_of(i),
                    source=source, seq=seq,
                )  # fmt: skip
            else:
                self._append(replace(pack.readings[i], boot=source.boot, seq=seq), message)
            self._store.advance_source(source, message.received_us, seq=seq)

    def _source(self, instrument: str, boot: str) -> NumberedSource:
        if not 0 < len(boot) <= LONGEST_BOOT:
            raise EntryRefused(f"a boot id has 1 to {LONGEST_BOOT} characters, not {len(boot)}")
        boot.encode()  # half a character could be stored nowhere
        return self._store.source(instrument, boot)

    def _append(self, entry: Entry, message: Message) -> int:
        """Append one entry and conclude from it; its position."""
        pos, stored = self._store.add(entry, message.received_us)
        ahead_us = entry.t_us - message.received_us
        if ahead_us > AHEAD_US * max(1.0, message.speed):
            self.counts["stamped ahead"] += 1
            name = entry.name if isinstance(entry, Reading) else type(entry).__name__
            if self._once("stamped ahead", name):
                log.warning(
                    "%s: stamps lie %.1f s ahead of this machine's clock; set the clock of the "
                    "machine that sends them", name, ahead_us / MICROSECOND,
                )  # fmt: skip
        self._running.take(pos, stored, message.received_us)
        return pos

    # -- gaps and clock jumps ------------------------------------------------------------------

    def _notice(self, message: Message, instrument: str) -> None:
        if message.retained:
            return
        (entry,) = entries.from_json(mqtt.decode(message.payload))
        if not isinstance(entry, Gap | ClockJump) or entry.instrument != instrument:
            raise EntryRefused(f"gaps/{instrument} carries gaps and clock jumps of {instrument}")
        source = self._source(instrument, entry.boot)
        self.touched[source.id] = source
        if entry.number <= source.gap:
            self.counts["repeated"] += 1
            return
        numbered = isinstance(entry, Gap) and entry.first is not None
        if isinstance(entry, Gap) and entry.first is not None and entry.first > source.seq + 1:
            self.counts["ahead"] += 1
            return
        if not numbered and not self._is_next_notice(source, entry.number):
            self.counts["ahead"] += 1
            return
        self._waiting_notice.pop(source.id, None)
        if not isinstance(entry, Gap) or entry.last is None:
            self._append(entry, message)
            self._store.advance_source(source, message.received_us, gap=entry.number)
            return
        if entry.last > source.seq:
            # What is stored is not missing: sent = stored + declared missing.
            self._append(replace(entry, first=source.seq + 1), message)
        self._store.advance_source(
            source, message.received_us, seq=max(source.seq, entry.last), gap=entry.number
        )

    def _is_next_notice(self, source: NumberedSource, number: int) -> bool:
        """Whether a notice without readings may be stored now.

        The numbers may skip: a log put back from a copy, or a new one, has not seen those that an
        older log stored. So one that is ahead is taken when it is sent again and still the first.
        """
        if number == source.gap + 1 or source.gap == 0:
            return True
        if self._waiting_notice.get(source.id) == number:
            return True
        self._waiting_notice[source.id] = min(number, self._waiting_notice.get(source.id, number))
        return False

    # -- states --------------------------------------------------------------------------------

    def _instrument(self, message: Message, instrument: str) -> None:
        if not message.payload:
            self._announced.pop(instrument, None)
            return  # a cleared topic
        document = mqtt.decode(message.payload)
        self._announced[instrument] = document
        self._state(instrument, document, message)

    def _state(self, instrument: str, document: dict[str, Any], message: Message) -> None:
        head = dict(document)
        head.setdefault("instrument", instrument)
        head.setdefault("t", head.get("since", seconds(message.received_us)))
        entry = entries.instrument_state(head)
        if entry.instrument != instrument:
            raise EntryRefused(f"instruments/{instrument} speaks of {entry.instrument!r}")
        driver = head.get("driver")
        if isinstance(driver, str) and self._drivers.get(driver) is False:
            entry = replace(entry, state="offline", t_us=max(entry.t_us, message.received_us))
        last = self._store.instruments.get(instrument)
        if last is not None and _same_state(last, entry):
            return
        self._append(entry, message)

    def _driver(self, message: Message, driver: str) -> None:
        if not message.payload:
            self._drivers.pop(driver, None)
            return
        online = mqtt.decode(message.payload).get("online") is True
        if self._drivers.get(driver) == online:
            return
        self._drivers[driver] = online
        for instrument, document in list(self._announced.items()):
            if document.get("driver") == driver:
                self._state(instrument, document, message)
        if not online:
            # Instruments known only from the log, before their announcements came (again).
            for name, state in list(self._store.instruments.items()):
                known = state.document.get("driver") == driver and name not in self._announced
                if known and state.state != "offline":
                    self._append(replace(state, state="offline", t_us=message.received_us), message)

    # -- marks, commands, answers --------------------------------------------------------------

    def _mark(self, message: Message, _: str) -> None:
        if message.retained:
            if self._once("retained", message.topic):
                self._refuse(message, "a retained mark is not taken; publish it without retain")
            return
        mark = entries.mark(mqtt.decode(message.payload))
        if mark.id is None:
            raise EntryRefused("a mark on the wire needs an 'id', by which a repeated one is known")
        mark.id.encode()
        if self._store.has_mark(mark.id):
            self.counts["repeated"] += 1
            return
        try:
            if mark.kind == "confirm":
                entries.told_mass_g(mark)
            if mark.kind == "open batch":
                self._open_batch(mark, message)
            else:
                self._append(mark, message)
        except ValueError as refused:
            self._refuse(message, str(refused), mark=mark.id)

    def _open_batch(self, mark: Mark, message: Message) -> None:
        batch = mark.batch if mark.batch is not None else self._free_name(mark.t_us)
        if not BATCH_NAME.fullmatch(batch):
            raise EntryRefused(
                f"{batch!r} cannot name a batch; write letters, digits, '.', '_', '-', at most 64"
            )
        if self._store.has_batch(batch):
            raise EntryRefused(f"there is a batch {batch!r} already; choose another id")
        plan = mark.document.get("plan")
        if not isinstance(plan, dict):
            raise EntryRefused("an 'open batch' mark needs a 'plan' (the plan's TOML as JSON)")
        self._on_fresh_plan()
        document = {
            "plan": plan,
            "formulas": mark.document.get("formulas") or [],
            "frozen": dict(self._freeze(mark.document, self._store.pos)),
        }
        entry = PlanEntry(mark.t_us, batch, document)
        state = self._running.start(entry)
        opened_pos = self._append(mark, message)
        self._running.open(state, entry, opened_pos, message.received_us)

    def _free_name(self, t_us: int) -> str:
        name = first = batch_id(t_us)
        n = 1
        while self._store.has_batch(name):
            n += 1
            name = f"{first}-{n}"
        return name

    def _command(self, message: Message, instrument: str) -> None:
        self._exchange(message, instrument, "command")

    def _answer(self, message: Message, instrument: str) -> None:
        self._exchange(message, instrument, "answer")

    def _exchange(self, message: Message, instrument: str, what: str) -> None:
        if message.retained:
            return
        document = mqtt.decode(message.payload)
        document.setdefault("instrument", instrument)
        document.setdefault("t", seconds(message.received_us))
        if what == "answer" and "id" in document:
            document.setdefault("answer", document["id"])
        entry = entries.command(document) if what == "command" else entries.answer(document)
        if entry.instrument != instrument:
            raise EntryRefused(f"{what}s/{instrument} speaks of {entry.instrument!r}")
        if (key := (what, entry.id)) in self._seen:
            self.counts["repeated"] += 1
            return
        self._append(entry, message)
        self._seen[key] = None
        if len(self._seen) > REMEMBERED:
            self._seen.popitem(last=False)

    # -- refusing ------------------------------------------------------------------------------

    def _refuse(self, message: Message, reason: str, mark: str | None = None) -> None:
        self.counts["refused"] += 1
        if self._once("refused", message.topic, reason[:60]):
            log.warning("refused on %s: %s", message.topic, reason)
        self._store.refuse(message.received_us, message.topic, reason, message.payload, mark=mark)

    def _once(self, *matter: str) -> bool:
        """True the first time; a bounded memory, for anybody can make up topics."""
        if matter in self._logged:
            return False
        if len(self._logged) >= REMEMBERED:
            self._logged.clear()
        self._logged.add(matter)
        return True


def _same_state(last: InstrumentState, new: InstrumentState) -> bool:
    """Whether an announcement says nothing new (its time aside)."""
    volatile = {"since", "t"}
    before, after = (
        {k: v for k, v in s.document.items() if k not in volatile} for s in (last, new)
    )
    return last.state == new.state and before == after
