"""What a reader answers."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from recorder_bench import T0, reading

from drivers.reading import Reading
from logger import events as ev
from logger.entries import Gap, Mark, PlanEntry, Tick
from logger.events import Event
from logger.plan import Plan
from logger.store import Reader, Store
from logger.store.reader import IDLE_CONNECTIONS


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path) as store:
        yield store


@pytest.fixture
def reader(store: Store) -> Iterator[Reader]:
    with Reader(store.folder) as reader:
        yield reader


def bake(store: Store, batch: str, offsets: list[float | None], start_us: int) -> None:
    """A closed batch with one oven cycle per offset."""
    pos, _ = store.add(PlanEntry(start_us, batch, {"plan": {}}), start_us)
    store.open_batch(batch, "Pear and ginger layer cake", "oven-probe/air", pos, pos, start_us)
    for i, offset in enumerate(offsets):
        cycle = ev.OvenCycle(
            from_at=start_us / 1e6, to_at=start_us / 1e6 + 60 * (i + 1), mean_c=170.0, swing_c=8.0,
            period_s=60.0, set_point_c=None if offset is None else 175.0, offset_c=offset,
        )  # fmt: skip
        store.add_events(pos, [Event(i + 1, start_us, batch, cycle)])
    store.close_batch(batch, pos, start_us)
    store.commit()


def test_earlier_bakes_of_an_oven_are_grouped_by_batch(store: Store, reader: Reader) -> None:
    bake(store, "b-1", [-4.0, -6.0], T0)
    bake(store, "b-2", [None, -5.5], T0 + 86_400_000_000)
    bake(store, "b-3", [None], T0 + 2 * 86_400_000_000)
    bake(store, "b-4", [-9.0], T0 + 3 * 86_400_000_000)
    store.add_engine_error(1, "b-4", T0, "the engine failed")
    store.commit()

    rest = {"swing_c": 8.0, "period_s": 60.0, "recovery_s": None, "new_baseline": False}
    assert reader.earlier_bakes("oven-probe/air") == [
        {"batch": "b-1", "at_us": T0 + 120_000_000, "set_point_c": 175.0, "offset_c": -5.0,
         "cycles": 2, **rest},
        {"batch": "b-2", "at_us": T0 + 86_400_000_000 + 120_000_000, "set_point_c": 175.0,
         "offset_c": -5.5, "cycles": 1, **rest},
    ]  # fmt: skip
    assert reader.earlier_bakes("another/air") == []
    assert [b["batch"] for b in reader.earlier_bakes("oven-probe/air", before_pos=2)] == ["b-1"]


def test_centre_tests_of_a_formula_are_those_with_a_core(store: Store, reader: Reader) -> None:
    for day, batch in enumerate(("b-1", "b-2", "b-3")):
        at_us = T0 + day * 86_400_000_000
        bake(store, batch, [], at_us)
        told = [("wet", 93.5), ("clean", None), ("moist crumbs", 96.25)]
        for i, (result, core_c) in enumerate(told):
            formula = "Pear and ginger layer cake" if batch != "b-2" else "Sponge"
            test = ev.BakeTest(at_us / 1e6 + 60 * i, result, core_c, 60.0 * i, formula)
            store.add_events(day + 1, [Event(i + 1, at_us, batch, test)])
    store.add_engine_error(1, "b-3", T0, "the engine failed")
    store.commit()

    assert reader.centre_tests("Pear and ginger layer cake") == [
        {"batch": "b-1", "at_us": T0, "result": "wet", "core_c": 93.5},
        {"batch": "b-1", "at_us": T0 + 120_000_000, "result": "moist crumbs", "core_c": 96.25},
    ]
    assert reader.centre_tests("Pear and ginger layer cake", before_pos=1) == []
    assert reader.centre_tests("another") == []


def test_events_are_resumed_from_any_place_without_loss_or_repetition(
    store: Store, reader: Reader
) -> None:
    bake(store, "b-1", [-4.0] * 7, T0)
    bake(store, "b-2", [-4.0] * 5, T0)
    everything = reader.events_after(0)

    for k, row in enumerate(everything):
        rest, place = [], (row.pos, row.n)
        while page := reader.events_after(*place, limit=3):
            rest += page
            place = (page[-1].pos, page[-1].n)
        assert rest == everything[k + 1 :]
    assert len(everything) == 12
    assert reader.last_event_place() == (everything[-1].pos, everything[-1].n)
    assert [row.id for row in reader.events("b-2", after_id=3)] == [4, 5]
    assert list(reader.events_of("b-1")) == everything[:7]
    assert ev.from_json(everything[0].document).kind == "oven.cycle"


def test_the_entries_of_a_batch_are_those_that_concern_it(store: Store, reader: Reader) -> None:
    plan = Plan(channels={"bench-scale/mass": "scale"})
    plan_entry = PlanEntry(T0, "b-1", {"plan": {}})
    before, other = reading(1), Reading("wall", "air", T0 + 5, 21.0, "Cel")
    mine = [plan_entry, reading(2), Tick(T0 + 6), Mark("note", T0 + 7), reading(3)]
    not_mine = [other, Mark("note", T0 + 8, batch="b-2"), Gap("wall", "b", 1, 1, 2, T0, T0, "x")]
    for entry in (before, mine[0], not_mine[0], *mine[1:4], *not_mine[1:], mine[4]):
        pos, _ = store.add(entry, T0)
    store.open_batch("b-1", None, None, 2, 2, T0)
    store.close_batch("b-1", pos, T0)
    store.add(reading(4), T0)  # after its end
    store.commit()

    for page in (1, 2, 1000):
        assert [entry for _, entry in reader.entries("b-1", plan, page=page)] == mine
    assert reader.plan_entry("b-1") == plan_entry
    with pytest.raises(KeyError):
        list(reader.entries("b-9", plan))


def test_a_chart_shows_every_reading_where_there_are_few(store: Store, reader: Reader) -> None:
    for i in range(1, 6):
        store.add(reading(i, boot="b1", seq=i), T0)
    store.add(
        Reading("bench-scale", "mass", T0 + 600_000, None, "kg", "overload", boot="b1", seq=6), T0
    )
    store.add(Gap("bench-scale", "b1", 1, 7, 9, T0 + 700_000, T0 + 900_000, "unplugged"), T0)
    store.commit()

    chart = reader.chart("bench-scale/mass", T0 + 200_000, T0 + 800_000)

    assert (chart.unit, chart.bucket_us) == ("kg", 0)
    assert [p.mean for p in chart.points] == [0.002, 0.003, 0.004, 0.005]
    assert [(s.state, s.from_us - T0) for s in chart.states] == [("overload", 600_000)]
    assert [gap["reason"] for gap in chart.gaps] == ["unplugged"]
    assert reader.chart("bench-scale/mass", T0, T0 + 100_000).gaps == []
    assert reader.chart("nobody/mass", T0, T0 + 1).points == []


def test_a_thinned_chart_keeps_the_extremes_and_the_mean(store: Store, reader: Reader) -> None:
    n = 20_000
    for i in range(n):
        store.add(reading(i, 50.0 if i == 12_345 else 1.0), T0)
    store.commit()

    chart = reader.chart("bench-scale/mass", T0 - 10**12, T0 + 10**12, points=500)

    assert 400 < len(chart.points) <= 500
    assert sum(p.count for p in chart.points) == n
    assert max(p.highest for p in chart.points) == 50.0
    total = sum(p.mean * p.count for p in chart.points)
    assert total == pytest.approx(n - 1 + 50.0)
    assert [p.from_us for p in chart.points] == sorted(p.from_us for p in chart.points)


def test_the_latest_value_of_a_channel_is_the_newest_by_its_own_time(
    store: Store, reader: Reader
) -> None:
    for i in (1, 9, 4):
        store.add(reading(i), T0)
    store.add(Reading("wall", "air", T0, 21.0, "Cel"), T0)
    store.commit()

    assert reader.latest() == [reading(9), Reading("wall", "air", T0, 21.0, "Cel")]


def test_many_threads_read_at_once_and_leave_no_connection_behind(
    store: Store, reader: Reader
) -> None:
    for i in range(2000):
        store.add(reading(i), T0)
    store.commit()
    found: list[int] = []

    def count() -> None:
        for _ in range(10):
            found.append(sum(1 for _ in reader.log_entries(page=500)))

    threads = [threading.Thread(target=count) for _ in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert found == [2000] * 120
    assert reader._idle.qsize() <= IDLE_CONNECTIONS
    reader.close()
    reader.close()
    assert reader._idle.qsize() == 0
