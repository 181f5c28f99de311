"""What is accepted, ignored and refused, without a broker."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from recorder_bench import T0, TOPICS, open_mark, reading, start_batch

from drivers.mqtt import encode
from drivers.reading import Reading
from drivers.senml import pack
from logger.intake import Intake, Message
from logger.running import RunningBatches
from logger.store import Reader, Store


class Desk:
    """An intake on a store, fed by hand."""

    def __init__(self, folder: Path) -> None:
        self.store = Store(folder)
        self.running = RunningBatches(self.store, start_batch)
        self.intake = Intake(self.store, self.running, TOPICS, lambda _d, _p: {}, self.store.commit)
        self.reader = Reader(folder)

    def take(
        self, topic: str, payload: bytes, received_us: int = T0, retained: bool = False
    ) -> None:
        self.intake.take(Message(topic, payload, retained, received_us, len(payload)))

    def rows(self) -> dict[str, list[tuple[Any, ...]]]:
        self.store.commit()
        with sqlite3.connect(self.store.path) as connection:
            found = {
                table: connection.execute(f"SELECT {columns} FROM {table} ORDER BY 1, 2").fetchall()
                for table, columns in (
                    ("log", "pos, kind, t_us, channel, value, state, source, seq, body"),
                    ("event", "pos, n, batch, id, kind, at_us, body"),
                    ("progress", "instrument, boot, seq, gap"),
                )
            }
        connection.close()
        return found

    def close(self) -> None:
        self.reader.close()
        self.store.close()


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    desk = Desk(tmp_path / "store")
    yield desk
    desk.close()


def packs() -> list[bytes]:
    """A hundred readings, some of them worth an event, in packs of four."""
    numbered = [reading(i, 2.0 if i % 7 == 0 else 0.5, boot="b1", seq=i) for i in range(1, 101)]
    return [pack(numbered[i : i + 4]) for i in range(0, 100, 4)]


@pytest.mark.parametrize("draw", range(5))
def test_duplicates_in_any_order_change_nothing(tmp_path: Path, draw: int) -> None:
    random_ = random.Random(draw)
    clean, shaken = Desk(tmp_path / "clean"), Desk(tmp_path / "shaken")
    topic, wanted = TOPICS.readings("bench-scale"), packs()
    for desk in (clean, shaken):
        desk.take(TOPICS.marks, encode(open_mark(batch="pear-1")))
    for payload in wanted:
        clean.take(topic, payload)

    messy = [payload for payload in wanted for _ in range(random_.randint(1, 3))]
    random_.shuffle(messy)
    for payload in messy:
        shaken.take(topic, payload)
    while (at := shaken.store.source("bench-scale", "b1").seq) < 100:
        for payload in wanted[at // 4 :]:  # what an outbox does: again from the first unstored
            shaken.take(topic, payload)

    assert shaken.rows() == clean.rows()
    assert len(clean.rows()["event"]) > 10
    clean.close()
    shaken.close()


@pytest.mark.parametrize("mass_g", [-5, 1e300, "12 g", True, [240]])
def test_a_confirmed_mass_that_cannot_be_is_refused_to_its_sender(
    desk: Desk, mass_g: object
) -> None:
    sent = {"mark": "confirm", "t": 1_800_000_000.0, "id": "c-1", "line": "milk", "mass_g": mass_g}

    desk.take(TOPICS.marks, encode(sent))
    desk.store.commit()

    assert "'mass_g' must be a mass in grams" in (desk.reader.mark_refused("c-1") or "")
    assert list(desk.reader.log_entries()) == []


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "not JSON"),
        (b"\xff\xfe", "UTF-8"),
        (b"{", "not JSON"),
        (b"[]", "empty"),
        (b'[{"n":"bench-scale/mass","u":"kg","t":1800000000,"v":NaN}]', "NaN"),
        (b'[{"n":"bench-scale/mass","u":"kg","t":1800000000,"v":1e999}]', "finite"),
        (b'[{"n":"bench-scale/mass","u":"kg","t":1800000000,"v":1e9}]', "cannot be true"),
        (b'[{"n":"bench-scale/mass","u":"kg","t":1800000000,"v":-5000}]', "cannot be true"),
        (b'[{"n":"bench-scale/mass","u":"kg","t":253402300000,"v":1}]', "2100"),
        (b'[{"bver":99,"n":"bench-scale/mass","u":"kg","t":1800000000,"v":1}]', "newer"),
        (b'[{"n":"other/mass","u":"kg","t":1800000000,"v":1}]', "other"),
        (b'[{"n":"bench-scale/mass","u":"\\ud800","t":1800000000,"v":1}]', "surrogate"),
        (b'[{"n":"bench-scale/mass","u":"kg","t":1800000000,"v":' + b"9" * 5000 + b"}]", ""),
        (b'[{"n":"bench-scale/mass","u":"kg","t":1800000000,"v":1,"crisp_":1}]', "understood"),
        (b"[" * 1000 + b"]" * 1000, ""),
        (b"[" * 200_000, "nested"),
        (b"x" * 5_000_000, "5000000 bytes"),
    ],
    ids=lambda value: repr(value[:24]),
)
def test_poison_is_refused_with_a_reason_and_stops_nothing(
    desk: Desk, payload: bytes, reason: str
) -> None:
    desk.take(TOPICS.readings("bench-scale"), payload)
    desk.take(TOPICS.readings("bench-scale"), pack([reading(1)]))
    desk.store.commit()

    (refused,) = desk.reader.refused()
    assert reason in refused.reason
    assert refused.reason
    assert len(refused.payload) <= 2048
    assert [entry for _, entry in desk.reader.log_entries()] == [reading(1)]


@pytest.mark.parametrize(
    "payload",
    [b"", b"\xff", b"[]", b"{}", b'{"mark":"note","id":"x","t":"soon"}', b'{"mark":"note","t":NaN}',
     b'{"mark":"note","id":"\\ud800","t":1800000000}',
     b'{"mark":"note","id":"x","t":1800000000,"text":"\\ud800"}',
     b'{"mark":"note","id":"x","t":1800000000,"much":1e999}',
     b'{"mark":"note","id":"x","t":253402300000}'],
)  # fmt: skip
def test_poison_among_the_marks_is_refused_with_a_reason(desk: Desk, payload: bytes) -> None:
    desk.take(TOPICS.marks, payload)
    desk.take(TOPICS.gaps("bench-scale"), payload)
    desk.take(TOPICS.commands("bench-scale"), payload)
    desk.store.commit()

    assert len(desk.reader.refused()) == 3
    assert desk.reader.last_pos() == 0


def test_a_numbered_pack_that_is_poison_in_every_record_still_advances(desk: Desk) -> None:
    payload = b'[{"bn":"bench-scale/","boot":"b1","bseq":1,"bver":99,"n":"mass","v":1},{"v":2},7]'

    desk.take(TOPICS.readings("bench-scale"), payload)
    desk.take(TOPICS.readings("bench-scale"), payload)
    desk.store.commit()

    assert desk.reader.progress() == [("bench-scale", "b1", 3, 0)]
    assert [row.seq for row in desk.reader.refused()] == [3, 2, 1]


def test_a_notice_whose_number_skips_is_taken_when_it_is_sent_again(desk: Desk) -> None:
    def jump(number: int) -> bytes:
        return encode({"jump": "bench-scale", "t": T0 / 1e6, "boot": "b1", "number": number,
                       "jump_s": 5})  # fmt: skip

    topic = TOPICS.gaps("bench-scale")
    desk.take(topic, jump(4))  # the first in this log, whatever its number
    desk.take(topic, jump(7))
    assert desk.store.source("bench-scale", "b1").gap == 4
    desk.take(topic, jump(7))  # still the first that is not stored

    assert desk.store.source("bench-scale", "b1").gap == 7


def test_stamps_far_ahead_are_counted_and_stored_all_the_same(desk: Desk) -> None:
    desk.take(TOPICS.readings("bench-scale"), pack([reading(1)]), received_us=T0 - 60_000_000)
    desk.store.commit()

    assert desk.intake.counts["stamped ahead"] == 1
    assert [type(entry) for _, entry in desk.reader.log_entries()] == [Reading]


def test_a_batch_is_named_by_its_time_where_the_mark_gives_no_name(desk: Desk) -> None:
    desk.take(TOPICS.marks, encode(open_mark(mark_id="m1")))
    desk.take(TOPICS.marks, encode(open_mark(mark_id="m2")))

    assert desk.running.names == ["b20270115T080000", "b20270115T080000-2"]
