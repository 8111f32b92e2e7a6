"""Sealed days: late entries, strikes and corrections leave them whole; a changed row is found."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from unittest.mock import patch
from uuid import UUID

import pytest
from django.db import IntegrityError, connection, transaction
from hypothesis import given
from hypothesis import strategies as st

from config.entries import Stamp, correct, strike
from config.kinds import all_kinds
from config.models import SealedDay
from config.seals import lines, reading, sealing
from tests.factories.feed import make_batch
from tests.factories.frame import make_any
from tests.factories.herd import make_animal

DAY = date(2026, 6, 3)
NOON = datetime(2026, 6, 3, 12, tzinfo=UTC)
LATER = NOON + timedelta(days=1)
OVER = NOON + timedelta(days=3)
pytestmark = pytest.mark.django_db


def at(moment: datetime) -> Any:
    """As if it were this moment, for what the services stamp by the clock."""
    return patch("django.utils.timezone.now", lambda: moment)


def behind_the_back(statement: str, *values: Any) -> None:
    """Change the tables as somebody can who switches the triggers off."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(statement, values)
        cursor.execute("SET LOCAL session_replication_role = DEFAULT")


def sealed_book(**values: Any) -> Any:
    """An animal that arrived on the day, and the seals of it and the two days after."""
    animal = make_animal(received_at=NOON, **values)
    sealing.seal(OVER)
    return animal


def test_days_are_sealed_once_they_are_over_and_only_once() -> None:
    make_animal(received_at=NOON)

    assert sealing.seal(NOON) == []
    # Midnight and a little: something may still be under way.
    assert sealing.seal(datetime(2026, 6, 4, 0, 30, tzinfo=UTC)) == []
    assert [day.day for day in sealing.seal(datetime(2026, 6, 4, 1, tzinfo=UTC))] == [DAY]
    assert [str(day.day) for day in sealing.seal(OVER)] == ["2026-06-04", "2026-06-05"]
    assert sealing.seal(OVER) == []
    assert sealing.check().faults == []


def test_an_empty_book_has_nothing_to_seal() -> None:
    assert sealing.seal(OVER) == []
    assert sealing.check().days == 0


def test_each_head_holds_the_one_before() -> None:
    sealed_book()
    days = list(SealedDay.objects.order_by("day"))

    assert days[0].before == "0" * 64
    assert [day.before for day in days[1:]] == [day.head for day in days[:-1]]
    assert len({day.head for day in days}) == 3


def test_a_strike_belongs_to_the_day_it_was_made_on(vet: Any) -> None:
    animal = make_animal(received_at=NOON)
    sealing.seal(LATER)
    head = SealedDay.objects.get(day=DAY).head

    strike(animal, by=vet, reason="twice", at=LATER)
    sealing.seal(OVER)

    assert SealedDay.objects.get(day=DAY).head == head
    assert SealedDay.objects.get(day=LATER.date()).parts["animals"]["lines"] == 1
    assert sealing.check().faults == []


def test_a_correction_under_its_own_number_leaves_what_was_sealed_whole(vet: Any) -> None:
    animal = make_animal(received_at=NOON)
    sealing.seal(LATER)
    heads = set()
    for hours, marks in ((0, "white foot"), (1, "two white feet"), (24, "no white foot")):
        now = LATER + timedelta(hours=hours)
        with at(now):
            correct(animal, stamp=Stamp.now(vet), reason="other", words="misread", marks=marks)
        sealing.seal(now)
        heads.add(SealedDay.objects.get(day=DAY).head)
        assert sealing.check().faults == []

    sealing.seal(OVER)
    assert sealing.check().faults == []
    assert len(heads) == 1
    # Two corrections of one day: the wordings of both, and a strike of what each replaced.
    assert SealedDay.objects.get(day=LATER.date()).parts["animals"]["lines"] == 4


def test_a_late_entry_belongs_to_the_day_it_arrived_on() -> None:
    sealed_book()
    make_animal(received_at=OVER)

    assert sealing.check().faults == []
    assert [str(day.day) for day in sealing.seal(OVER + timedelta(days=1))] == ["2026-06-06"]


def test_a_changed_row_is_found_and_named() -> None:
    animal = sealed_book()
    behind_the_back("UPDATE herd_animal SET device = 'x' WHERE id = %s", animal.pk)

    (fault,) = sealing.check().faults

    assert fault.startswith("2026-06-03, animals: 1 changed or added")
    assert str(animal.uuid) in fault
    assert "1 of the sealed lines not there as they were" in fault


def test_a_deleted_row_is_found() -> None:
    animal = sealed_book()
    behind_the_back("DELETE FROM herd_animal WHERE id = %s", animal.pk)

    assert sealing.check().faults == [
        "2026-06-03, animals: 1 of the sealed lines not there as they were"
    ]


def test_a_row_slipped_in_afterwards_is_found() -> None:
    sealed_book()
    late = make_animal(received_at=NOON + timedelta(days=1))
    early = make_batch(received_at=NOON - timedelta(days=9))

    faults = sealing.check().faults

    assert any(str(late.uuid) in fault for fault in faults)
    assert any("arrived before the first sealed day" in fault for fault in faults)
    assert early.pk


def test_a_strike_that_is_taken_back_is_found(vet: Any) -> None:
    animal = make_animal(received_at=NOON)
    strike(animal, by=vet, reason="twice", at=LATER)
    sealing.seal(OVER)
    behind_the_back(
        "UPDATE herd_animal SET struck_at = NULL, struck_by_id = NULL, struck_reason = '' "
        "WHERE id = %s",
        animal.pk,
    )

    assert sealing.check().faults == [
        "2026-06-04, animals: 1 of the sealed lines not there as they were"
    ]


def test_an_old_wording_that_is_rewritten_is_found(vet: Any) -> None:
    animal = make_animal(received_at=NOON)
    with at(LATER):
        correct(animal, stamp=Stamp.now(vet), reason="other", words="misread", marks="none")
    sealing.seal(OVER)
    behind_the_back(
        "UPDATE herd_animal SET marks = 'never' WHERE struck_at IS NOT NULL AND id > %s", animal.pk
    )

    assert any(
        fault.startswith("2026-06-03, animals: 1 changed") and str(animal.uuid) in fault
        for fault in sealing.check().faults
    )


def test_the_seals_themselves_are_never_changed() -> None:
    sealed_book()
    for statement in (
        "UPDATE config_sealedday SET head = before",
        "DELETE FROM config_sealedday",
    ):
        with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)


@pytest.mark.parametrize(
    ("harm", "words"),
    [
        ("UPDATE config_sealedday SET lines = 0, head = before WHERE day = %s", "does not follow"),
        ("DELETE FROM config_sealedday WHERE day = %s", "the day before it is not sealed"),
        (
            "UPDATE config_sealedday SET parts = '{}' WHERE day = %s",
            "the head does not follow from the day before it and from its parts",
        ),
    ],
)
def test_a_seal_that_was_changed_is_found(harm: str, words: str) -> None:
    make_batch(received_at=LATER)
    sealed_book()
    behind_the_back(harm, LATER.date())

    assert any(words in fault for fault in sealing.check().faults)


def test_what_is_derived_is_not_sealed(vet: Any) -> None:
    batch = make_batch(received_at=NOON)
    sealing.seal(OVER)

    type(batch).objects.filter(pk=batch.pk).update(deadline=NOON)

    assert "deadline" not in reading.sealed_fields(type(batch))
    assert sealing.check().faults == []


def test_a_column_that_comes_later_leaves_old_days_whole() -> None:
    sealed_book()
    real = reading.sealed_fields

    with patch.object(reading, "sealed_fields", lambda model: real(model)[:-1]):
        assert sealing.check().faults == []


def test_a_column_that_is_gone_is_said() -> None:
    sealed_book()
    behind_the_back(
        """UPDATE config_sealedday SET parts =
           jsonb_set(parts, '{animals,fields}', '["happened_at", "horns"]')"""
    )

    assert any("has no column “horns” any more" in fault for fault in sealing.check().faults)


@pytest.mark.parametrize("kind", [pytest.param(kind, id=kind.slug) for kind in all_kinds()])
def test_every_kind_is_in_the_chain(kind: Any) -> None:
    entry = make_any(kind.model)
    day = reading.day_of(entry.received_at)

    found = list(reading.lines_of(kind.slug, day, day + timedelta(days=1)))

    assert any(str(entry.uuid).encode() in line.text for line in found)
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(
            f"UPDATE {kind.model._meta.db_table} SET device = 'x' WHERE id = %s", [entry.pk]
        )
    assert list(reading.lines_of(kind.slug, day, day + timedelta(days=1))) != found


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Decimal("12.500"), "12.5"),
        (Decimal("0.00"), "0"),
        (Decimal("-0.0"), "0"),
        (Decimal("1E+3"), "1000"),
        (Decimal(100), "100"),
        (UUID(int=1), "00000000-0000-0000-0000-000000000001"),
        (datetime(2026, 6, 3, 4, tzinfo=UTC), "2026-06-03T04:00:00.000000Z"),
        (DAY, "2026-06-03"),
        (True, True),
        ({"b": [Decimal("1.0")]}, {"b": ["1"]}),
    ],
)
def test_a_value_has_one_form(value: Any, text: Any) -> None:
    assert lines.plain(value) == text


def test_what_has_no_form_is_a_mistake_of_ours() -> None:
    with pytest.raises(TypeError, match="no canonical form"):
        lines.plain(object())


@given(st.decimals(allow_nan=False, places=3, min_value=-9999, max_value=9999))
def test_decimals_of_one_value_have_one_text(value: Decimal) -> None:
    wider = value.quantize(Decimal("0.000001"))
    assert lines.decimal_text(value) == lines.decimal_text(wider)
    assert Decimal(lines.decimal_text(value)) == value


@given(st.lists(st.binary(min_size=32, max_size=32), unique=True, max_size=20), st.randoms())
def test_the_order_of_lines_does_not_count(digests: list[bytes], random: Any) -> None:
    shuffled = list(digests)
    random.shuffle(shuffled)
    assert lines.part_of(shuffled) == lines.part_of(digests)
