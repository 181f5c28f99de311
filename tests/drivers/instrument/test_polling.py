"""Questions and answers by hand-made time."""

from __future__ import annotations

from drivers.polling import Ask, Polling


def test_an_answer_in_time_counts_and_the_next_question_keeps_the_interval() -> None:
    polling = Polling(0.2, answer_within_s=1.0)

    assert polling.due(0.0) is Ask.QUESTION
    assert polling.due(0.1) is Ask.NOTHING
    assert polling.takes_frame(0.15)
    assert polling.due(0.19) is Ask.NOTHING
    assert polling.due(0.2) is Ask.QUESTION


def test_a_slow_instrument_is_asked_as_fast_as_it_answers() -> None:
    polling = Polling(0.2, answer_within_s=1.0)
    polling.due(0.0)

    assert polling.due(0.5) is Ask.NOTHING
    assert polling.takes_frame(0.7)
    assert polling.due(0.7) is Ask.QUESTION


def test_a_missed_answer_costs_one_quiet_interval_in_which_nothing_counts() -> None:
    polling = Polling(0.2, answer_within_s=1.0)
    polling.due(0.0)

    assert polling.due(1.0) is Ask.NOTHING
    assert not polling.takes_frame(1.4)
    assert polling.due(1.9) is Ask.NOTHING
    assert polling.due(2.0) is Ask.EMPTY_THEN_QUESTION
    assert polling.takes_frame(2.1)
    assert (polling.missed, polling.discarded) == (1, 1)


def test_a_frame_nobody_asked_for_does_not_count() -> None:
    polling = Polling(0.2)
    polling.due(0.0)
    polling.takes_frame(0.1)

    assert not polling.takes_frame(0.11)
