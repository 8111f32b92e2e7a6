"""Serializers made from the kinds: what an entry looks like in the API, and what may be sent."""

import uuid
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any, ClassVar

from django import forms
from django.db import models
from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request

from config.api.fields import ClockField, EntryRelated, MomentField, NumberOfEntry
from config.entries import REASONS, Entry, Stamp, offset_minutes
from config.forms.fields import EntryText
from config.forms.fields import MomentField as FormMoment
from config.kinds import Kind, kind_named
from config.offline_clock import sending
from config.offline_shifts import shifts_on
from config.wording import words_of

UNKNOWN_KEY = "“{key}” is not known here. Expected only: {known}."
SET_BY_SERVER = "“{key}” is set by the server and cannot be sent."
# The clocks of the world run from 12 hours behind to 14 hours ahead of UTC (tz database).
MOST_BEHIND, MOST_AHEAD = -12 * 60, 14 * 60


class Struck(serializers.Serializer[Any]):
    """When, by whom and why an entry was struck."""

    at = MomentField(source="struck_at")
    by = serializers.CharField(source="struck_by.username")
    reason = serializers.ChoiceField(source="struck_reason", choices=REASONS)
    words = serializers.CharField(source="struck_words")


class Strict(serializers.Serializer[Any]):
    """Refuses keys that are not known."""

    def to_internal_value(self, data: Any) -> Any:
        refuse_unknown(self, data)
        return super().to_internal_value(data)


class Act(Strict):
    """When something was done, and by which entry's id."""

    id = serializers.UUIDField(source="uuid", required=False)
    happened_at = MomentField()
    written_at = MomentField(required=False)
    zone_offset = serializers.IntegerField(
        required=False, min_value=MOST_BEHIND, max_value=MOST_AHEAD
    )
    device = serializers.CharField(max_length=64, required=False, allow_blank=True)


class Strike(Strict):
    """Why an entry is struck. The reason “other” needs words."""

    reason = serializers.ChoiceField(choices=REASONS)
    words = serializers.CharField(max_length=400, allow_blank=True, default="")


class EntrySerializer(serializers.ModelSerializer[Any]):
    """Base of every kind's serializer: the stamp's columns, and no key that is not known."""

    describes: ClassVar[Kind]
    serializer_related_field = EntryRelated

    id = NumberOfEntry(source="uuid", required=False)
    happened_at = MomentField()
    written_at = MomentField(required=False)
    zone_offset = serializers.IntegerField(
        required=False,
        min_value=MOST_BEHIND,
        max_value=MOST_AHEAD,
        help_text="Minutes ahead of UTC where it was written.",
    )
    device = serializers.CharField(max_length=64, required=False, allow_blank=True)
    by = serializers.CharField(source="by.username", read_only=True)
    received_at = MomentField(read_only=True)
    struck = serializers.SerializerMethodField()
    replaces = serializers.SerializerMethodField()
    replaced_by = serializers.SerializerMethodField()
    time_corrected = serializers.SerializerMethodField(
        help_text="Seconds added to the times of a phone whose clock was wrong; null: none."
    )

    @extend_schema_field(Struck(allow_null=True))
    def get_struck(self, entry: Entry) -> Any:
        return Struck(entry).data if entry.is_struck else None

    def get_time_corrected(self, entry: Entry) -> int | None:
        known = self.context.get("shifts")
        shift = (shifts_on([entry]) if known is None else known).get(entry.pk)
        return None if shift is None else round(shift.total_seconds())

    def get_replaces(self, entry: Entry) -> uuid.UUID | None:
        return entry.replaces.uuid if entry.replaces else None

    def get_replaced_by(self, entry: Entry) -> uuid.UUID | None:
        return entry.replaced_by.uuid if entry.replaced_by else None

    def to_internal_value(self, data: Any) -> Any:
        refuse_unknown(self, data)
        return super().to_internal_value(data)

    def build_standard_field(self, field_name: str, model_field: Any) -> tuple[Any, dict[str, Any]]:
        field, options = super().build_standard_field(field_name, model_field)
        # A column that is stored in one spelling is taken as people write it; the service reads it.
        if hasattr(model_field, "stored"):
            return field, {**options, "max_length": model_field.longest_typed, "validators": []}
        if words := words_of(model_field, options):
            options["error_messages"] = words
        # The services validate in full; asking the database twice would only cost time.
        if "validators" in options:
            options["validators"] = [
                validator
                for validator in options["validators"]
                if not hasattr(validator, "queryset")
            ]
        return field, options

    def build_relational_field(self, field_name: str, relation_info: Any) -> Any:
        field, options = super().build_relational_field(field_name, relation_info)
        options.pop("view_name", None)
        options.pop("validators", None)
        if "queryset" in options:
            options["queryset"] = relation_info.related_model.objects.all()
            options["struck_ok"] = field_name in self.describes.struck_ok
        return field, options


EntrySerializer.serializer_field_mapping = {
    **serializers.ModelSerializer.serializer_field_mapping,
    models.DateTimeField: MomentField,
    models.TimeField: ClockField,
}

STAMPED = ("id", "happened_at", "written_at", "zone_offset", "device")
SHOWN = ("by", "received_at", "time_corrected", "struck", "replaces", "replaced_by")


def refuse_unknown(serializer: Any, data: Any) -> None:
    """Refuse keys that are misspelt or not for the sender to set. Raises ValidationError by key."""
    if not isinstance(data, Mapping):
        return
    writable = {name for name, field in serializer.fields.items() if not field.read_only}
    wrong = {}
    for key in set(data) - writable:
        words = SET_BY_SERVER if key in serializer.fields else UNKNOWN_KEY
        wrong[str(key)[:60]] = words.format(key=str(key)[:60], known=", ".join(sorted(writable)))
    if wrong:
        raise serializers.ValidationError(wrong)


@cache
def serializer_of(slug: str) -> type[EntrySerializer]:
    """The serializer class of a kind, named after its model."""
    kind = kind_named(slug)
    columns = [name for name in kind.fields if name not in kind.extra]
    shown = [name for name in kind.shown if name not in columns]
    extra = {name: api_field(form_field) for name, form_field in kind.extra.items()}
    meta = type(
        "Meta",
        (),
        {
            "model": kind.model,
            "fields": (*STAMPED, *columns, *extra, *shown, *SHOWN),
            "read_only_fields": tuple(shown),
            "validators": [],
        },
    )
    name = kind.model.__name__
    return type(
        name, (EntrySerializer,), {"describes": kind, "Meta": meta, "__doc__": kind.help, **extra}
    )


@cache
def re_entry_of(slug: str) -> type[EntrySerializer]:
    """The serializer class of a re-entry: the entry in full, and why the old one is struck."""
    base = serializer_of(slug)
    reason, words = base.describes.why_names.values()
    meta = type("Meta", (base.Meta,), {"fields": (reason, words, *base.Meta.fields)})
    return type(
        f"{base.describes.model.__name__}ReEntry",
        (base,),
        {
            "Meta": meta,
            reason: serializers.ChoiceField(choices=REASONS, write_only=True),
            words: serializers.CharField(
                max_length=400, allow_blank=True, default="", write_only=True
            ),
        },
    )


# What a form field of each class takes over into the API's field of the same meaning.
LIKENESS: tuple[tuple[type[forms.Field], Any, tuple[str, ...]], ...] = (
    (forms.DateTimeField, MomentField, ()),
    (FormMoment, MomentField, ()),
    (forms.DateField, serializers.DateField, ()),
    (
        forms.DecimalField,
        serializers.DecimalField,
        ("max_digits", "decimal_places", "min_value", "max_value"),
    ),
    (forms.IntegerField, serializers.IntegerField, ("min_value", "max_value")),
    (forms.BooleanField, serializers.BooleanField, ()),
    (forms.JSONField, serializers.JSONField, ()),
    (forms.ChoiceField, serializers.ChoiceField, ("choices",)),
    (forms.CharField, serializers.CharField, ("max_length",)),
)


def api_field(field: Any) -> serializers.Field[Any, Any, Any, Any]:
    """The API's field for a form field that is no column (``Kind.extra``).

    Raises LookupError for a class of form field that has no likeness.
    """
    options: dict[str, Any] = {
        "required": field.required,
        "help_text": field.help_text,
        "write_only": True,
    }
    if isinstance(field, EntryText):
        return EntryRelated(queryset=field.model.objects.all(), **options)
    if isinstance(field, forms.ModelMultipleChoiceField):
        child = EntryRelated(queryset=field.queryset)
        return serializers.ListField(child=child, allow_empty=not field.required, **options)
    if isinstance(field, forms.ModelChoiceField):
        return EntryRelated(queryset=field.queryset, allow_null=not field.required, **options)
    for form_class, api_class, taken in LIKENESS:
        if isinstance(field, form_class):
            options.update({name: getattr(field, name) for name in taken})
            if isinstance(field, forms.CharField | forms.ChoiceField):
                options["allow_blank"] = not field.required
            elif not field.required and not isinstance(field, forms.BooleanField):
                options["allow_null"] = True
            made: serializers.Field[Any, Any, Any, Any] = api_class(**options)
            return made
    raise LookupError(f"{type(field).__name__} has no likeness in the API")


def stamp_from(request: Request, values: dict[str, Any]) -> Stamp:
    """Take the stamp's columns out of validated values; what was not sent is worked out."""
    happened_at, now = values.pop("happened_at"), timezone.now()
    offset = values.pop("zone_offset", None)
    if offset is None:
        sent = request.data if isinstance(request.data, Mapping) else {}
        offset = sent_offset(happened_at, str(sent.get("happened_at", "")))
    assert request.user.is_authenticated
    stamp = Stamp(
        by=request.user,
        happened_at=happened_at,
        written_at=values.pop("written_at", now),
        zone_offset=offset,
        device=values.pop("device", ""),
        uuid=values.pop("uuid", None),
    )
    phone = sending.get()
    if phone is None:
        return stamp
    # By these its correction is found again.
    number = stamp.uuid or phone.number
    return replace(stamp, written_at=phone.written_at, device=phone.device, uuid=number)


def sent_offset(moment: Any, text: str) -> int:
    """Minutes ahead of UTC of the clock a moment was sent by.

    A trailing Z means "in UTC, local clock not told" (RFC 9557, 2), so the estate's clock counts.
    """
    offset = moment.utcoffset()
    if offset is None or text.strip().upper().endswith("Z"):
        return offset_minutes(moment)
    return int(offset.total_seconds() // 60)
