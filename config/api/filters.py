"""Filters of a kind's list: when it happened, struck or not, and what the kind names."""

from collections.abc import Callable
from functools import cache
from typing import Any

import django_filters
from django.db import models
from django_filters.rest_framework import FilterSet
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request

from config.kinds import kind_named

UNKNOWN_FILTER = "“{key}” is no filter of this list. Expected one of: {known}."
PAGING = {"cursor", "size", "format"}


class EntryFilters(FilterSet):  # type: ignore[misc]
    """What every list of entries can be narrowed by."""

    happened_from = django_filters.IsoDateTimeFilter(field_name="happened_at", lookup_expr="gte")
    happened_to = django_filters.IsoDateTimeFilter(field_name="happened_at", lookup_expr="lt")
    struck = django_filters.ChoiceFilter(
        choices=(("yes", "struck"), ("no", "standing")), method="filter_struck"
    )

    def filter_struck(
        self, queryset: models.QuerySet[Any], name: str, value: str
    ) -> models.QuerySet[Any]:
        return queryset.filter(struck_at__isnull=value == "no")


class StoredFilter(django_filters.CharFilter):  # type: ignore[misc]
    """A column that keeps one spelling, asked for in any; ``stored`` makes it that one."""

    def __init__(self, *, stored: Callable[[str], str], **options: Any) -> None:
        super().__init__(**options)
        self.stored = stored

    def filter(self, qs: models.QuerySet[Any], value: str) -> models.QuerySet[Any]:
        found: models.QuerySet[Any] = super().filter(qs, self.stored(value) if value else value)
        return found


def filter_for(field: Any) -> django_filters.Filter:
    """The filter of one column: another entry by its id, a choice, or the value itself."""
    if hasattr(field, "stored"):
        return StoredFilter(field_name=field.name, max_length=200, stored=field.stored)
    if field.many_to_one:
        return django_filters.UUIDFilter(field_name=f"{field.name}__uuid")
    if field.choices:
        return django_filters.ChoiceFilter(field_name=field.name, choices=field.choices)
    if isinstance(field, models.BooleanField):
        return django_filters.BooleanFilter(field_name=field.name)
    if isinstance(field, models.IntegerField | models.DecimalField):
        return django_filters.NumberFilter(field_name=field.name)
    if isinstance(field, models.DateField) and not isinstance(field, models.DateTimeField):
        return django_filters.DateFilter(field_name=field.name)
    return django_filters.CharFilter(field_name=field.name, max_length=200)


@cache
def filters_of(slug: str) -> type[EntryFilters]:
    """The filter set of a kind."""
    kind = kind_named(slug)
    named = {name: filter_for(kind.model._meta.get_field(name)) for name in kind.filters}
    meta = type("Meta", (), {"model": kind.model, "fields": []})
    return type(f"{kind.model.__name__}Filters", (EntryFilters,), {"Meta": meta, **named})


def refuse_unknown_filters(request: Request, filters: type[EntryFilters]) -> None:
    """A misspelt filter must not quietly give the whole list. Raises ValidationError by name."""
    known = {*filters.base_filters, *PAGING}
    wrong = {
        key[:60]: UNKNOWN_FILTER.format(key=key[:60], known=", ".join(sorted(known)))
        for key in request.query_params
        if key not in known
    }
    if wrong:
        raise ValidationError(wrong)
