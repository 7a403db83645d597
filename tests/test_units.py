"""A length means the same however a person writes it."""

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rootread.errors import BadRequest
from rootread.units import length_in, lengths_shown_in, unit_name

# International yard and pound agreement, 1959: one inch is 25.4 mm exactly.
MM_PER_INCH = 25.4


@pytest.mark.parametrize(
    ("written", "inches"),
    [
        ("15 cm", 150 / MM_PER_INCH),
        ("6 in", 6.0),
        ('6"', 6.0),
        ("6”", 6.0),
        ("6 inches", 6.0),
        ("380 mm", 380 / MM_PER_INCH),
        ("1.5 ft", 18.0),
        ("1.2 m", 1200 / MM_PER_INCH),
        ("7", 7.0),
        ("13 1/2 in", 13.5),
        ("1/2", 0.5),
        ("1 ft 6 in", 18.0),
        ("1' 6\"", 18.0),
        ("-22", -22.0),
        ("−22 in", -22.0),
        ("+8", 8.0),
        ("0,5 m", 500 / MM_PER_INCH),
        ("0,125", 0.125),
        ("  24.5  IN. ", 24.5),
        (".5", 0.5),
    ],
)
def test_a_length_as_written_in_the_field(written, inches):
    assert length_in(written) == pytest.approx(inches, rel=1e-12)


@given(
    inches=st.floats(-1e6, 1e6, allow_nan=False),
    unit=st.sampled_from(
        [("in", MM_PER_INCH), ("ft", 12 * MM_PER_INCH), ("mm", 1.0), ("cm", 10.0), ("m", 1000.0)]
    ),
    between=st.sampled_from(["", " ", "  "]),
)
def test_any_length_comes_back_from_any_unit(inches, unit, between):
    name, mm = unit
    written = f"{inches * MM_PER_INCH / mm!r}{between}{name}"
    assert math.isclose(length_in(written), inches, rel_tol=1e-12, abs_tol=1e-300)


@given(whole=st.integers(0, 60), sixteenths=st.integers(0, 15))
def test_any_reading_of_a_rule_in_sixteenths_is_exact(whole, sixteenths):
    assert length_in(f"{whole} {sixteenths}/16 in") == whole + sixteenths / 16


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("", "not a length"),
        ("deep", "not a length"),
        ("cm", "not a length"),
        ("nan", "not a length"),
        ("6 in deep", "not a length"),
        ("1.5 1/2", "not a length"),
        ("1/0", "not a length"),
        ("5 kg", "kg is not a unit"),
        ("1,000", "two ways"),
        ("6 13", "more than one length"),
        ("5 cm 3 mm", "more than one length"),
        ("6 in 1 ft", "more than one length"),
        ("1e999", "too large"),
    ],
)
def test_what_is_no_length_is_refused_with_how_to_write_one(written, said):
    with pytest.raises(BadRequest, match=said) as refused:
        length_in(written)
    assert repr(written) in refused.value.cause
    assert refused.value.remedy


@given(st.text(max_size=12))
def test_any_text_is_a_finite_length_or_refused(text):
    with contextlib.suppress(BadRequest):
        assert math.isfinite(length_in(text))


def test_the_unit_shown_is_named_in_full():
    assert (unit_name(), unit_name(many=True)) == ("inch", "inches")
    with lengths_shown_in("cm"):
        assert (unit_name(), unit_name(many=True)) == ("centimetre", "centimetres")
