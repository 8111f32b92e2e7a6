"""API fields that the entries need and the REST framework lacks."""

import uuid
from datetime import datetime, tzinfo
from typing import Any

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from config.entries import Entry
from config.offline_clock import sending

NO_OFFSET = (
    "“{text}” does not say which clock it is of. Expected a date and time with its offset, such as "
    "2026-06-06T16:30:00+02:00."
)
OUT_OF_RANGE = "{year} is out of range; expected a year from {first} to {last}."
CLOCK = r"^([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9](\.[0-9]{1,6})?)?$"
FIRST_YEAR, LAST_YEAR = 1900, 2200
UNKNOWN = "There is no {name} with the id {number}. Look it up under its own list."
STRUCK = "The {name} {number} was struck. Name the entry that replaces it."


@extend_schema_field(OpenApiTypes.DATETIME)
class MomentField(serializers.DateTimeField):
    """A moment with its offset; one without is refused, for it would be a guess."""

    def enforce_timezone(self, value: datetime, zone: tzinfo | None = None) -> datetime:
        if value.tzinfo is None:
            raise serializers.ValidationError(NO_OFFSET.format(text=value.isoformat()))
        if not FIRST_YEAR <= value.year <= LAST_YEAR:
            raise serializers.ValidationError(
                OUT_OF_RANGE.format(year=value.year, first=FIRST_YEAR, last=LAST_YEAR)
            )
        sent = sending.get()
        return sent.put_right(value, "") if sent else value

    def to_representation(self, value: datetime) -> str:
        # The base class would send the time through enforce_timezone, which is for input.
        return timezone.localtime(value).isoformat()


@extend_schema_field({"type": "string", "pattern": CLOCK})
class ClockField(serializers.TimeField):
    """A time of day on the estate's clock; OpenAPI's own “time” has an offset (RFC 3339)."""


class NumberOfEntry(serializers.UUIDField):
    """The id of an entry; the base class would also take a whole number for one."""

    def to_internal_value(self, data: Any) -> uuid.UUID:
        if not isinstance(data, str):
            self.fail("invalid", value=data)
        return super().to_internal_value(data)


@extend_schema_field(OpenApiTypes.UUID)
class EntryRelated(serializers.RelatedField[Any, Any, str]):
    """Another entry, by its id; a struck one is refused unless ``struck_ok``.

    A serializer read many times may bring the entries it is going to name in its context, as
    ``known``: model to entries by id.
    """

    def __init__(self, *, struck_ok: bool = False, **kwargs: Any) -> None:
        self.struck_ok = struck_ok
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> Entry:
        queryset = self.get_queryset()
        assert queryset is not None
        name = queryset.model._meta.verbose_name
        try:
            number = uuid.UUID(data) if isinstance(data, str) else None
        except ValueError:
            number = None
        known: Any = self.context.get("known", {}).get(queryset.model)
        entry: Entry | None
        if known is not None:
            entry = known.get(number)
        else:
            entry = queryset.filter(uuid=number).first() if number else None
        if entry is None:
            raise serializers.ValidationError(UNKNOWN.format(name=name, number=str(data)[:60]))
        if entry.is_struck and not self.struck_ok:
            raise serializers.ValidationError(STRUCK.format(name=name, number=number))
        return entry

    def to_representation(self, value: Any) -> str:
        return str(value.uuid)

    def use_pk_only_optimization(self) -> bool:
        return False
