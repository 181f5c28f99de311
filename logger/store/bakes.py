"""Earlier bakes of an oven and centre tests of a formula, out of the events that they left."""

from __future__ import annotations

import sqlite3
from typing import Any

_KEYS = ("batch", "at_us", "set_point_c", "offset_c", "cycles", "swing_c", "period_s",
         "recovery_s", "new_baseline")  # fmt: skip
_EARLIER = """
    WITH cycle AS (
        SELECT e.batch, b.plan_pos, e.id,
               json_extract(e.body, '$.to_at') AS to_at,
               json_extract(e.body, '$.set_point_c') AS set_point_c,
               json_extract(e.body, '$.offset_c') AS offset_c,
               json_extract(e.body, '$.period_s') AS period_s,
               iif(json_extract(e.body, '$.period_s') IS NULL, NULL,
                   json_extract(e.body, '$.swing_c')) AS swing_c
        FROM event e JOIN batch b ON b.id = e.batch
        WHERE e.kind = 'oven.cycle' AND b.oven = :oven AND b.flagged = 0
              AND b.plan_pos < :before
    ), last AS (
        SELECT batch, max(id) AS id FROM cycle WHERE offset_c IS NOT NULL GROUP BY batch
    )
    SELECT c.batch, max(c.to_at), c.set_point_c, avg(c.offset_c), count(*),
           avg(c.swing_c), avg(c.period_s),
           (SELECT avg(json_extract(e.body, '$.after_s')) FROM event e
            WHERE e.kind = 'oven.recovered' AND e.batch = c.batch),
           EXISTS (SELECT 1 FROM event e
                   WHERE e.kind = 'oven.baseline' AND e.batch = c.batch)
    FROM cycle c JOIN last ON last.batch = c.batch
         JOIN cycle s ON s.batch = last.batch AND s.id = last.id
    WHERE c.offset_c IS NOT NULL AND c.set_point_c = s.set_point_c
    GROUP BY c.batch ORDER BY max(c.to_at) DESC, c.plan_pos DESC LIMIT :limit"""


def earlier(
    connection: sqlite3.Connection, oven: str, before_pos: int | None, limit: int
) -> list[dict[str, Any]]:
    """See `Reader.earlier_bakes`."""
    before = 2**62 if before_pos is None else before_pos
    values = {"oven": oven, "before": before, "limit": limit}
    found = connection.execute(_EARLIER, values).fetchall()
    return [
        dict(zip(_KEYS, (row[0], round(row[1] * 1e6), *row[2:-1], bool(row[-1])), strict=True))
        for row in reversed(found)
    ]


_TESTS = """
    SELECT e.batch, json_extract(e.body, '$.tested_at'), json_extract(e.body, '$.result'),
           json_extract(e.body, '$.core_c')
    FROM event e JOIN batch b ON b.id = e.batch
    WHERE e.kind = 'bake.test' AND json_extract(e.body, '$.formula') = :formula
          AND json_extract(e.body, '$.core_c') IS NOT NULL
          AND b.flagged = 0 AND b.plan_pos < :before
    ORDER BY b.plan_pos DESC, e.id DESC LIMIT :limit"""


def tests(
    connection: sqlite3.Connection, formula: str, before_pos: int | None, limit: int
) -> list[dict[str, Any]]:
    """See `Reader.centre_tests`."""
    before = 2**62 if before_pos is None else before_pos
    values = {"formula": formula, "before": before, "limit": limit}
    found = connection.execute(_TESTS, values).fetchall()
    return [
        {"batch": batch, "at_us": round(at * 1e6), "result": result, "core_c": core_c}
        for batch, at, result, core_c in reversed(found)
    ]
