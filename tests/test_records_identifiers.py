"""Identifiers: made on any device without asking, unique, and in the order in which they were made."""

from __future__ import annotations

import uuid

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wringout.errors import InputError
from wringout.records.identifiers import LATEST, Maker, checked, derived, milliseconds_of, uuid7


def test_the_example_of_rfc_9562() -> None:
    """RFC 9562, appendix A.6: 2022-02-22 14:22:22.00 GMT-05:00, rand_a CC3, rand_b 18C4DC0C0C07398F."""
    made = uuid7(0x017F22E279B0, 0xCC3 << 62 | 0x18C4DC0C0C07398F)
    assert made == "017F22E2-79B0-7CC3-98C4-DC0C0C07398F".lower()
    assert milliseconds_of(made) == 1645557742000
    assert uuid.UUID(made).version == 7
    assert uuid.UUID(made).variant == uuid.RFC_4122


@given(st.integers(0, 2**48 - 1), st.integers(0, 2**74 - 1))
@settings(deadline=None)
def test_time_and_chance_are_all_in_it(milliseconds: int, chance: int) -> None:
    number = uuid.UUID(uuid7(milliseconds, chance)).int
    assert number >> 80 == milliseconds
    assert (number >> 64 & 0xFFF) << 62 | number & (1 << 62) - 1 == chance


@given(st.lists(st.tuples(st.integers(0, 2**48 - 1), st.integers(0, 2**74 - 1)), min_size=2, max_size=9))
@settings(deadline=None)
def test_identifiers_sort_as_their_moments_do(made: list[tuple[int, int]]) -> None:
    assert [uuid7(*m) for m in sorted(made)] == sorted(uuid7(*m) for m in made)


@given(st.lists(st.integers(0, 2**47), min_size=1, max_size=50), st.binary(min_size=10, max_size=10))
@settings(deadline=None)
def test_a_device_makes_growing_identifiers_whatever_its_clock_does(ticks: list[int], chance: bytes) -> None:
    clock = iter(ticks)
    make = Maker(lambda: next(clock), lambda _: chance)
    made = [make() for _ in ticks]
    assert made == sorted(set(made))
    assert {uuid.UUID(identifier).version for identifier in made} == {7}


def test_ten_thousand_made_at_once_are_all_different_and_in_order() -> None:
    make = Maker()
    made = [make() for _ in range(10_000)]
    assert made == sorted(set(made))


@given(st.integers(0, LATEST - 1), st.integers(0, 2**74 - 1))
@settings(deadline=None)
def test_what_came_from_any_clock_is_followed_so_that_the_next_word_is_the_last(ms: int, chance: int) -> None:
    make = Maker(lambda: 1_800_000_000_000)
    seen = uuid7(ms, chance)
    make.after(seen)
    assert make() > seen


def test_a_clock_beyond_reason_is_refused_and_not_followed() -> None:
    late = uuid7(LATEST, 0)
    with pytest.raises(InputError, match="clock of the device"):
        checked(late)
    make = Maker(lambda: 1_800_000_000_000)
    make.after(late)
    assert checked(make()) < late


@given(st.integers(0, 2**48 - 1), st.integers(0, 2**24 - 2), st.text(), st.text())
@settings(deadline=None)
def test_a_derived_identifier_is_the_same_everywhere_and_keeps_its_place(
    milliseconds: int, place: int, name: str, other: str
) -> None:
    made = derived(milliseconds, place, name)
    assert made == derived(milliseconds, place, name)
    assert made < derived(milliseconds, place + 1, other)
    assert uuid.UUID(made).version == 8
    assert (made == derived(milliseconds, place, other)) is (name == other)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "017F22E2-79B0-7CC3-98C4-DC0C0C07398F",
        "017f22e279b07cc398c4dc0c0c07398f",
        "f47ac10b-58cc-4372-a567-0e02b2c3d479",
        "017f22e2-79b0-7cc3-18c4-dc0c0c07398f",
        "017f22e2-79b0-7cc3-98c4-dc0c0c07398f\n",
        7,
        None,
    ],
)
def test_what_is_no_identifier_of_this_kind_is_refused(text: object) -> None:
    with pytest.raises(InputError, match="UUID of version 7"):
        checked(text)


@pytest.mark.parametrize(("milliseconds", "chance"), [(-1, 0), (1 << 48, 0), (0, -1), (0, 1 << 74)])
def test_what_does_not_fit_is_refused(milliseconds: int, chance: int) -> None:
    with pytest.raises(ValueError, match="fit"):
        uuid7(milliseconds, chance)
