"""The table of what a job file may say: any value is checked or refused with its key."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit import units
from coverage_audit.errors import InputError
from coverage_audit.jobs import checks, keys
from coverage_audit.jobs import tolerances as tol


def test_date_option_is_a_date():
    assert checks.date("2026-05-30", "--date") == dt.date(2026, 5, 30)


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.dates() | st.datetimes(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
KEYS = [(name, key) for name, table in keys.TABLES.items() for key in table.keys]


@given(st.sampled_from(KEYS), VALUES)
def test_any_value_is_checked_or_refused_with_its_key(table_key, value):
    table, key = table_key
    try:
        keys.TABLES[table].keys[key](value, f"job.toml, {table}.{key}")
    except InputError as error:
        assert error.place.startswith(f"job.toml, {table}.{key}")  # noqa: PT017 - either outcome is right


@given(VALUES)
def test_any_toml_is_refused_in_words(value):
    with pytest.raises(InputError) as caught:
        keys.job_file(value, "job.toml")
    assert caught.value.place.startswith("job.toml")


def test_every_table_of_arrays_is_one_line_more():
    """How a later table such as [[load]] is added: list_of(table(...))."""
    check = checks.list_of(
        checks.table({"volume": checks.quantity(units.VOLUME_L, most=tol.MAX_APPLIED_L)}, required=("volume",))
    )
    assert check([{"volume": "2 L"}], "job.toml, load") == ({"volume": 2.0},)
    with pytest.raises(InputError) as caught:
        check([{"volume": "2 L"}, {}], "job.toml, load")
    assert caught.value.place == "job.toml, load[2].volume"
