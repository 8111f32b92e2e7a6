"""Rows whose parents a trigger looks up, all of a statement at once."""

from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, models, transaction

from milk.models import CowMilking
from tests.factories.herd import make_animal
from tests.factories.milk import make_milking

pytestmark = pytest.mark.django_db
INSERT = "INSERT INTO milk_cowmilking (animal_id, milking_id, upload_id, grams, goes) VALUES "
NOBODY = 2_000_000_000


def insert(*rows: tuple[int, int, int | None]) -> None:
    values = ", ".join(["(%s, %s, %s, 1, 0)"] * len(rows))
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(INSERT + values, [value for row in rows for value in row])


@pytest.mark.parametrize(
    ("column", "table"), [(0, "herd_animal"), (1, "milk_milking"), (2, "config_upload")]
)
def test_a_row_without_its_parent_is_refused_at_once(column: int, table: str) -> None:
    animals, milking = [make_animal() for _ in range(3)], make_milking()
    row: list[Any] = [animals[0].pk, milking.pk, None]
    row[column] = NOBODY
    with pytest.raises(IntegrityError, match=f"number {NOBODY} of {table}"):
        insert(*((animal.pk, milking.pk, None) for animal in animals[1:]), tuple(row))
    # Nothing of the statement stays.
    assert not CowMilking.objects.exists()
    insert(*((animal.pk, milking.pk, None) for animal in animals))
    assert CowMilking.objects.count() == 3


def loose() -> list[Any]:
    """Every relation that has no foreign key in the database."""
    return [
        field
        for model in apps.get_models()
        for field in model._meta.concrete_fields
        if isinstance(field, models.ForeignKey) and not field.db_constraint
    ]


def triggers(model: Any) -> dict[str, Any]:
    return {one.name: one for one in getattr(model._meta, "triggers", [])}


def test_only_parents_that_stay_are_looked_up_so() -> None:
    fields = loose()
    assert {field.model for field in fields} == {CowMilking}
    for field in fields:
        own = triggers(field.model)
        assert f"DISTINCT {field.column} AS" in str(own["parents_there"].func)
        assert f"FROM {field.related_model._meta.db_table} WHERE" in str(own["parents_there"].func)
        # Nor does a row go over to another parent, nor a parent leave.
        assert f"NEW.{field.column}" in str(own["refuse_change"].func)
        assert {"refuse_delete", "refuse_truncate"} <= set(triggers(field.related_model))
