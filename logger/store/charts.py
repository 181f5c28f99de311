"""Readings of a channel for a chart, thinned by the database."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """One bucket of readings: its first and last time, how many, and their extent."""

    from_us: int
    to_us: int
    count: int
    lowest: float
    highest: float
    mean: float


@dataclass(frozen=True, slots=True)
class ChartState:
    """A state without a value (overload, open circuit) within one bucket."""

    state: str
    from_us: int
    to_us: int
    count: int


@dataclass(frozen=True, slots=True)
class Chart:
    """A channel over a time.

    Attributes:
        channel: SenML name.
        unit: of the values; None without readings.
        bucket_us: width of a bucket; 0 where every reading is its own point.
        points: in order of time, at most as many as were asked for.
        states: readings without a value, likewise.
        gaps: declared gaps of the instrument, as documents.
    """

    channel: str
    unit: str | None
    bucket_us: int
    points: list[ChartPoint]
    states: list[ChartState]
    gaps: list[dict[str, Any]]


_WITHIN = "channel IN (SELECT value FROM json_each(:ids)) AND t_us BETWEEN :from AND :to"


def chart(
    connection: sqlite3.Connection, channel: str, from_us: int, to_us: int, points: int
) -> Chart:
    """See `Reader.chart`."""
    instrument, _, name = channel.partition("/")
    ask = connection.execute
    known = ask(
        "SELECT id, unit FROM channel WHERE instrument = ? AND name = ? ORDER BY id",
        (instrument, name),
    ).fetchall()
    values: dict[str, Any] = {
        "ids": json.dumps([id_ for id_, _ in known]),
        "from": from_us,
        "to": to_us,
        "limit": points,
    }
    count, first, last = ask(
        f"SELECT count(*), min(t_us), max(t_us) FROM log WHERE {_WITHIN}", values
    ).fetchone()
    bucket_us = 0
    if count > points:
        # Over the time that has readings, not the time asked for: the detail is where they are.
        values["from"], values["to"] = first, last
        bucket_us = max(1, -(-(last - first + 1) // points))
    # Every reading its own bucket: by its position, which no other shares.
    values["width"] = bucket_us
    bucket = "(t_us - :from) / :width" if bucket_us else "pos"
    found = ask(
        "SELECT min(t_us), max(t_us), count(*), min(value), max(value), avg(value) FROM log"
        f" WHERE {_WITHIN} AND value IS NOT NULL GROUP BY {bucket} ORDER BY 1 LIMIT :limit",
        values,
    ).fetchall()
    states = ask(
        "SELECT state, min(t_us), max(t_us), count(*) FROM log"
        f" WHERE {_WITHIN} AND state IS NOT NULL GROUP BY {bucket}, state ORDER BY 2 LIMIT :limit",
        values,
    ).fetchall()
    return Chart(
        channel=channel,
        unit=known[-1][1] if known else None,
        bucket_us=bucket_us,
        points=[ChartPoint(*row) for row in found],
        states=[ChartState(*row) for row in states],
        gaps=gaps(connection, instrument, from_us, to_us),
    )


def gaps(
    connection: sqlite3.Connection, instrument: str, from_us: int, to_us: int
) -> list[dict[str, Any]]:
    """See `Reader.gaps`."""
    # A gap's t_us is its end.
    found = connection.execute(
        "SELECT body FROM log WHERE channel IS NULL AND kind = 'gap' AND instrument = ?"
        " AND t_us >= ? AND json_extract(body, '$.from_at') <= ? ORDER BY t_us, pos",
        (instrument, from_us, to_us / 1e6),
    ).fetchall()
    return [json.loads(body) for (body,) in found]
