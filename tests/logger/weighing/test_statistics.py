"""Over many random weighings, scales and mishaps: how often is the room right?

The goals are the project's. The bench gives every kind of noise, filter and division; nothing in
the room was fitted to it, and it is nastier than most benches.
"""

from __future__ import annotations

from weighing_days import Score, day

DAYS = 96


def test_the_room_is_right_as_often_as_it_promises() -> None:
    score, notes = Score(), []
    for draw in range(1000, 1000 + DAYS):
        notes += [f"{draw}: {note}" for note in score.add(day(draw))]
    report = f"{score}\n" + "\n".join(notes)

    of_284 = score.additions / 284  # the goals are counts among so many additions
    assert score.additions > 400, report
    assert score.false_within == 0, report
    assert score.right >= 0.98 * score.clear, report
    assert score.wrong <= 4 * of_284, report
    assert score.missing <= 3 * of_284, report
    assert score.invented <= 2 * of_284, report
    assert score.close >= 0.93 * score.massed, report
