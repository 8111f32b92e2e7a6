"""Whether the book holds anything yet: asked with who is signed in, so that no page pays for it."""

from collections.abc import Callable
from functools import reduce
from operator import or_
from typing import Any

from django.db.models import BooleanField, Exists, ExpressionWrapper, Q, QuerySet, Value

_first: list[Callable[[], QuerySet[Any, Any]]] = []


def begun_when(rows: Callable[[], QuerySet[Any, Any]]) -> None:
    """Offer rows of an app; while there are none of any, the book is empty."""
    _first.append(rows)


def begun() -> ExpressionWrapper[Q]:
    """As a column of a statement: whether anything is in the book."""
    asked = reduce(or_, (Q(Exists(rows())) for rows in _first), Q(Value(False)))
    return ExpressionWrapper(asked, output_field=BooleanField())


def has_begun(user: Any) -> bool:
    """Whether the book held anything when this page was asked for by somebody signed in."""
    return bool(getattr(user, "book_begun", True))
