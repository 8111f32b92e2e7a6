"""One row of a queryset by values that change, for what is asked with every page."""

from collections.abc import Callable
from functools import cached_property
from typing import Any, Generic, TypeVar

from django.db import DEFAULT_DB_ALIAS
from django.db.models import Model, QuerySet

from config.asking import ask

Row = TypeVar("Row", bound=Model)


class OneRow(Generic[Row]):
    """Finds a row, by a statement that is put together once for a process.

    Django's doing so, and the server's planning it, took many times as long as to carry it out.
    ``make``: the queryset for some values; ``stand_ins``: as many values of the same types, which
    stand nowhere else in its statement.
    """

    def __init__(self, make: Callable[..., QuerySet[Row]], *stand_ins: Any) -> None:
        self.make, self.stand_ins = make, stand_ins

    @cached_property
    def asked(self) -> tuple[str, list[Any], list[int]]:
        """The statement, its values, and where among them those that change stand."""
        statement, values = self.make(*self.stand_ins).query.sql_with_params()
        return statement, list(values), [values.index(one) for one in self.stand_ins]

    @cached_property
    def names(self) -> tuple[type[Row], list[str], list[str]]:
        """The model, its columns and the annotations, in the order of the statement."""
        rows = self.make(*self.stand_ins)
        columns = [field.attname for field in rows.model._meta.concrete_fields]
        return rows.model, columns, list(rows.query.annotation_select)

    def by(self, *values: Any) -> Row | None:
        """The row for some values, with its annotations; None when there is none."""
        statement, whole, places = self.asked
        whole = whole.copy()
        for place, value in zip(places, values, strict=True):
            whole[place] = value
        rows = ask(statement, whole)
        if not rows:
            return None
        model, columns, annotations = self.names
        found = model.from_db(DEFAULT_DB_ALIAS, columns, rows[0][: len(columns)])
        for name, value in zip(annotations, rows[0][len(columns) :], strict=True):
            setattr(found, name, value)
        return found
