"""Recordings: which count is the latest at a moment, also after late and struck ones."""

import random
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from herd.models import Recording
from herd.services.recordings import record_recording, set_valid_to, strike_recording
from tests.factories.herd import DAY, NOON, make, make_animal, make_recording, make_stamp


def write(cow, when=NOON, **fields):
    """A recording through the service."""
    fields.setdefault("cells", Decimal(120))
    return record_recording(stamp=make_stamp(at=when), animal=cow, **fields)


def validity(cow):
    """Her standing counts in order, each with its end."""
    found = Recording.objects.standing().filter(animal=cow).order_by("happened_at")
    return list(found.values_list("happened_at", "valid_to"))


def test_count_is_the_latest_until_the_next(db):
    cow = make_animal()
    write(cow, NOON)
    write(cow, NOON + 30 * DAY)
    assert validity(cow) == [(NOON, NOON + 30 * DAY), (NOON + 30 * DAY, None)]


def test_late_recording_finds_its_place(db):
    cow = make_animal()
    write(cow, NOON)
    write(cow, NOON + 30 * DAY)
    late = write(cow, NOON + 10 * DAY)
    assert late.valid_to == NOON + 30 * DAY
    assert validity(cow)[0] == (NOON, NOON + 10 * DAY)


def test_recording_without_a_count_is_never_the_latest(db):
    cow = make_animal()
    write(cow, NOON)
    write(cow, NOON + 10 * DAY, cells=None, milk_kg=Decimal(20))
    assert validity(cow) == [(NOON, None), (NOON + 10 * DAY, None)]


def test_struck_recording_gives_back_the_one_before(db, vet):
    cow = make_animal()
    write(cow, NOON)
    second = write(cow, NOON + 10 * DAY)
    strike_recording(second, by=vet, reason="animal")
    assert validity(cow) == [(NOON, None)]


def test_zero_cells_is_a_value(db):
    cow = make_animal()
    write(cow, NOON, cells=Decimal(0))
    write(cow, NOON + DAY)
    assert validity(cow)[0] == (NOON, NOON + DAY)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        pytest.param({"cells": Decimal(-1)}, "Expected at least 0", id="negative"),
        pytest.param({"cells": Decimal(90000)}, "Expected at most 50000", id="too many"),
        pytest.param({"fat": Decimal(21)}, "Expected at most 20", id="fat"),
        pytest.param({"milk_kg": Decimal(400)}, "Expected at most 100", id="milk"),
        pytest.param({"session": "X"}, "not a valid choice", id="milking"),
    ],
)
def test_wrong_recordings_are_refused(db, fields, words):
    cow = make_animal()
    with pytest.raises(ValidationError, match=words):
        write(cow, **fields)
    assert not Recording.objects.exists()


def test_two_recordings_of_one_sampling_are_refused(db):
    cow = make_animal()
    write(cow)
    with pytest.raises(ValidationError, match="a recording for that milking already"):
        write(cow)


def test_bulk_is_the_same_as_one_by_one_in_one_statement(db, django_assert_num_queries):
    chance = random.Random(42)
    cows = [make_animal() for _ in range(5)]
    for cow in cows:
        for days in chance.sample(range(100), 8):
            cells = chance.choice([None, 0, 100, 900])
            make(Recording, animal=cow, at=NOON + days * DAY, cells=cells)
    with django_assert_num_queries(1):
        changed = set_valid_to([cow.pk for cow in cows])
    assert changed > 0
    for cow in cows:
        counted = [
            row.happened_at
            for row in Recording.objects.filter(animal=cow, cells__isnull=False).order_by(
                "happened_at"
            )
        ]
        # The slow way: for each count, the first one after it.
        for row in Recording.objects.filter(animal=cow):
            later = [moment for moment in counted if moment > row.happened_at]
            expected = later[0] if later and row.cells is not None else None
            assert row.valid_to == expected
    assert set_valid_to([cow.pk for cow in cows]) == 0


def test_database_lets_only_the_derived_column_change(db):
    recording = make_recording()
    with connection.cursor() as cursor, pytest.raises(Exception, match="struck and written again"):
        cursor.execute("UPDATE herd_recording SET cells = 1 WHERE id = %s", [recording.pk])
