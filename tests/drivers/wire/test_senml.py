"""SenML against the examples of RFC 8428 (section 5.1), and back and forth."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.reading import Reading, ReadingRefused, microseconds, seconds
from drivers.senml import pack, parse, record

T = 1_800_000_000_000_000


def test_a_pack_resolves_as_rfc_8428_says():
    # RFC 8428, section 5.1.3 (the names here have a slash, as the project's do).
    text = (
        '[{"bn":"urn-dev-ow-10e2/","bt":1.676020076001e+09,"bu":"A","bver":5,'
        '"n":"voltage","u":"V","v":120.1},{"n":"current","t":-5,"v":1.2},{"n":"current","v":1.7}]'
    )

    found = parse(text)

    assert [(r.name, r.unit, r.t_us, r.value) for r in found] == [
        ("urn-dev-ow-10e2/voltage", "V", 1_676_020_076_001_000, 120.1),
        ("urn-dev-ow-10e2/current", "A", 1_676_020_071_001_000, 1.2),
        ("urn-dev-ow-10e2/current", "A", 1_676_020_076_001_000, 1.7),
    ]


def test_times_below_two_to_the_28_are_relative_to_now():
    # RFC 8428, section 4.5.3.
    (reading,) = parse('[{"n":"a/b","u":"Cel","v":21.5,"t":-10}]', now_us=T)

    assert reading.t_us == T - 10_000_000


def test_grams_are_understood_and_kilograms_said():
    # RFC 8428, table 6: g is "NOT RECOMMENDED to be produced", consumers SHOULD understand it.
    (reading,) = parse('[{"n":"s/mass","u":"g","v":240,"t":1800000000}]')

    assert (reading.value, reading.unit) == (pytest.approx(0.24), "kg")


def test_an_overload_is_a_state_without_a_value():
    reading = Reading("s", "mass", T, None, "kg", state="overload")

    line = record(reading)

    assert line["n"] == "s/mass-state"
    assert parse(json.dumps(line)) == [reading]


def test_a_pack_numbers_its_records_from_bseq():
    readings = [
        Reading("s", "mass", T + i, 0.1 * i, "kg", stable=True, boot="b1", seq=7 + i)
        for i in range(3)
    ]

    assert parse(pack(readings)) == readings


@pytest.mark.parametrize(
    ("payload", "word"),
    [
        (b"\xff\xfe", "UTF-8"),
        (b"", "JSON"),
        (b"{", "JSON"),
        (b"[" * 5000, "nested"),
        (b'[{"n":"a/b","v":NaN,"t":1800000000}]', "NaN"),
        (b'[{"n":"a/b","v":1e999,"t":1800000000}]', "finite"),
        (b'[{"n":"a/b","u":"kg","v":1e9,"t":1800000000}]', "cannot be true"),
        (b'[{"n":"a/b","v":1,"t":253370764800}]', "2020 to 2100"),
        (b'[{"bver":11,"n":"a/b","v":1,"t":1800000000}]', "newer"),
        (b'[{"n":"a/b","v":1,"t":1800000000,"secret_":1}]', "understood"),
        (b'[{"n":"ab","v":1,"t":1800000000}]', "instrument/channel"),
        (b'[{"n":"a/b","t":1800000000}]', "no value"),
        (b"[]", "empty"),
        (b"[1]", "not an object"),
    ],
)
def test_poison_is_refused_with_its_reason(payload, word):
    with pytest.raises(ReadingRefused, match=word):
        parse(payload)


@given(
    st.integers(1_577_836_800_000_000, 4_102_444_799_999_999),
    st.floats(-50, 50, allow_nan=False),
)
def test_time_and_value_survive_the_wire_exactly(t_us, value):
    reading = Reading("s", "mass", t_us, value, "kg", boot="b", seq=1)

    assert parse(pack([reading])) == [reading]
    assert microseconds(seconds(t_us)) == t_us
