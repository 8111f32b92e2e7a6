"""Meter rows in the sealed days: what comes late leaves them whole, a changed row is found."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from unittest.mock import patch

import pytest
from django.db import IntegrityError, connection, transaction

from config.models import SealedDay
from config.seals import sealing
from milk.models import MeterArrival
from milk.seals import METER_ROWS, meter_rows
from milk.services import milkings
from milk.services.cow_rows import CowRow
from tests.factories.frame import guessed
from tests.factories.herd import make_animal
from tests.factories.milk import a_day, stamp_at

pytestmark = pytest.mark.django_db
FIRST = datetime(2026, 6, 20, 8, tzinfo=UTC)
NEXT = FIRST + timedelta(days=1)
OVER = FIRST + timedelta(days=4)


def at(moment: datetime) -> Any:
    """As if it were this moment, for what the services stamp by the clock."""
    return patch("django.utils.timezone.now", lambda: moment)


def behind_the_back(statement: str, *values: Any) -> int:
    """Change the tables as somebody can who switches the triggers off."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(statement, values)
        changed = int(cursor.rowcount)
        cursor.execute("SET LOCAL session_replication_role = DEFAULT")
    return changed


@pytest.fixture
def spare() -> Any:
    """An animal without a meter row."""
    return make_animal(received_at=FIRST)


@pytest.fixture
def milking(spare: Any) -> Any:
    """A milking with meter rows that came on the first day, which is sealed."""
    with at(FIRST):
        made = a_day().milking
    sealing.seal(NEXT + timedelta(hours=2))
    assert not sealing.check().faults
    return made


def rows_on(day: date) -> Any:
    return SealedDay.objects.get(day=day).parts.get(METER_ROWS)


def correct(milking: Any, cow: Any, vet: Any, grams: int, now: datetime) -> Any:
    with at(now):
        return milkings.correct_meter(
            stamp=stamp_at(now, vet), animal=cow, milking=milking, new_grams=grams, why="stuck"
        )


def test_the_rows_of_a_milking_are_one_line_of_the_day_they_came_on(milking: Any) -> None:
    assert rows_on(FIRST.date())["lines"] == 1
    (line,) = meter_rows(FIRST, NEXT)
    assert str(milking.uuid).encode() in line.text
    assert f'"rows":{milking.cows.count()}'.encode() in line.text


@pytest.mark.parametrize(
    "change",
    [
        "grams = coalesce(grams, 0) + 1",
        "goes = 1 - goes",
        "at_s = 4711",
        "animal_id = (SELECT max(id) FROM herd_animal WHERE received_at = '2026-06-20T08:00Z')",
    ],
)
def test_a_changed_row_is_found(milking: Any, change: str) -> None:
    where = "WHERE ctid = (SELECT min(ctid) FROM milk_cowmilking)"
    assert behind_the_back(f"UPDATE milk_cowmilking SET {change} {where}") == 1
    (fault,) = sealing.check().faults
    assert str(FIRST.date()) in fault
    assert "meter rows" in fault
    assert str(milking.uuid) in fault


def test_a_row_that_is_gone_is_found(milking: Any) -> None:
    for sql in ("DELETE FROM milk_cowmilking WHERE ctid = (SELECT min(ctid) FROM milk_cowmilking)",
                "DELETE FROM milk_cowmilking"):  # fmt: skip
        assert behind_the_back(sql)
        assert "meter rows" in " ".join(sealing.check().faults)


def test_a_row_slipped_in_is_found(milking: Any, spare: Any) -> None:
    row = "INSERT INTO milk_cowmilking (animal_id, milking_id, grams, goes) VALUES (%s, %s, 1, 0)"
    behind_the_back(row, spare.pk, milking.pk)
    assert "meter rows" in " ".join(sealing.check().faults)


def test_rows_slipped_in_under_a_milking_without_any_are_found(milking: Any, spare: Any) -> None:
    with at(FIRST + timedelta(hours=1)):
        bare = guessed("Milking", received_at=FIRST + timedelta(hours=1))
    sealing.seal(OVER)
    row = "INSERT INTO milk_cowmilking (animal_id, milking_id, grams, goes) VALUES (%s, %s, 1, 0)"
    behind_the_back(row, spare.pk, bare.pk)
    assert "nobody knows when" in " ".join(sealing.check().faults)


def test_rows_that_come_late_leave_the_first_day_whole(milking: Any, spare: Any) -> None:
    head, cow = SealedDay.objects.get(day=FIRST.date()).head, spare
    with at(NEXT):
        assert milkings.add_rows(milking=milking, cows=[CowRow(animal=cow, grams=9000)]) == 1
        # The same once more brings nothing.
        assert milkings.add_rows(milking=milking, cows=[CowRow(animal=cow, grams=9000)]) == 0
    sealing.seal(OVER)

    assert MeterArrival.objects.filter(milking=milking).count() == 2
    assert rows_on(NEXT.date())["lines"] == 1
    assert SealedDay.objects.get(day=FIRST.date()).head == head
    assert not sealing.check().faults
    behind_the_back("UPDATE milk_cowmilking SET grams = 1 WHERE animal_id = %s", cow.pk)
    (fault,) = sealing.check().faults
    assert str(NEXT.date()) in fault


def test_a_row_of_the_first_is_not_hidden_by_saying_it_came_later(milking: Any) -> None:
    cow = milking.cows.first().animal
    behind_the_back("UPDATE milk_cowmilking SET grams = 1 WHERE animal_id = %s", cow.pk)
    with at(OVER):
        MeterArrival.objects.create(milking=milking, received_at=OVER, animals=[cow.pk])
    assert "meter rows" in " ".join(sealing.check().faults)


def test_a_correction_leaves_the_chain_whole_and_its_own_change_is_found(
    milking: Any, vet: Any
) -> None:
    cow = milking.cows.filter(grams__isnull=False).first().animal
    was = milking.cows.get(animal=cow).grams
    correct(milking, cow, vet, 7000, NEXT)
    second = correct(milking, cow, vet, 7500, NEXT + timedelta(hours=1))
    with at(NEXT + timedelta(hours=2)):
        milkings.strike_meter_correction(second, by=vet, reason="other", words="was right")
    sealing.seal(OVER)
    assert not sealing.check().faults
    assert milking.cows.get(animal=cow).grams == 7000

    # Back to what it said first: no correction says so.
    for grams in (was, 7500, 1):
        with transaction.atomic():
            behind_the_back(
                "UPDATE milk_cowmilking SET grams = %s WHERE animal_id = %s", grams, cow.pk
            )
            assert "meter rows" in " ".join(sealing.check().faults)
            transaction.set_rollback(True)
    assert not sealing.check().faults


def test_when_rows_came_is_never_changed(milking: Any) -> None:
    for sql in (
        "UPDATE milk_meterarrival SET received_at = now()",
        "DELETE FROM milk_meterarrival",
    ):
        with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql)
