"""Forms made from the kinds: write an entry, strike it, write it again."""

from collections.abc import Mapping
from copy import deepcopy
from functools import cache
from typing import Any, ClassVar

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models, transaction
from django.forms.models import fields_for_model
from django.utils import timezone
from django.utils.functional import lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.entries import REASONS, Entry
from config.errors import as_validation_error
from config.forms.fields import DayField, EntrySelect, MomentField, NumberField, entry_field
from config.kinds import Kind, kind_named

FILL_IN = N_("Fill this in; it cannot be blank.")
CHOOSE = N_("Choose one; it cannot be blank.")
# What Django calls the empty choice of a column.
BLANK = "---------"


class SheetForm(forms.Form):
    """Base of every form: errors tied to their field, and services' refusals shown like its own."""

    required_css_class = "required"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            speak(field)
            if isinstance(field, EntrySelect):
                field.keep(self[name].value())

    def carry_out(self, service: Any, *args: Any, **kwargs: Any) -> Any:
        """Call a service; what it returns, or None when it refused and the form says why."""
        try:
            with transaction.atomic():
                return service(*args, **kwargs)
        except Exception as error:
            refused = as_validation_error(error)
            if refused is None:
                raise
            self.take_errors(refused)
        return None

    def take_errors(self, refused: ValidationError) -> None:
        """Show a refusal at the fields it names, and above the form for those it does not have."""
        if not hasattr(refused, "error_dict"):
            self.add_error(None, refused)
            return
        for name, errors in refused.error_dict.items():
            self.add_error(name if name in self.fields else None, errors)


def speak(field: forms.Field) -> None:
    """Say in the book's words what is missing, and what an empty choice means."""
    chosen = isinstance(field, forms.ChoiceField)
    field.error_messages["required"] = _(CHOOSE) if chosen else _(FILL_IN)
    if isinstance(field, EntrySelect):
        field.empty_label = _("choose") if field.required else _("none")
    elif isinstance(field, forms.ChoiceField) and not callable(field.choices):
        empty = _("choose") if field.required else _("not given")
        field.choices = [
            (value, empty if value == "" and label == BLANK else label)
            for value, label in field.choices
        ]


class EntryForm(SheetForm):
    """A new entry of a kind. Moments left as they stood keep their seconds."""

    # Not “kind”, which is the name of a field of some of them.
    describes: ClassVar[Kind]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        for name, field in self.fields.items():
            initial = self.get_initial_for_field(field, name)
            if (
                isinstance(field, MomentField)
                and name in values
                and initial is not None
                and name not in self.changed_data
            ):
                values[name] = initial
        return values

    def entry_values(self) -> dict[str, Any]:
        """What was entered, by field of the kind."""
        return {name: self.cleaned_data[name] for name in self.describes.fields}


class StrikeForm(SheetForm):
    """Why an entry is struck."""

    reason = forms.ChoiceField(label=_l("Why"), choices=(("", _l("choose the reason")), *REASONS))
    words = forms.CharField(
        label=_l("In words"),
        required=False,
        max_length=400,
        help_text=_l("Needed for “other”."),
        widget=forms.Textarea(attrs={"rows": 2}),
    )


@cache
def form_of(slug: str) -> type[EntryForm]:
    """The form for a new entry of a kind."""
    kind = kind_named(slug)
    columns = fields_for_model(
        kind.model,
        fields=[name for name in kind.fields if name not in kind.extra],
        formfield_callback=lambda column, **options: field_for(kind, column, options),
    )
    fields = {
        "happened_at": MomentField(
            label=sentence_of(kind.moment), initial=timezone.now, earlier=kind.earlier
        ),
        **{
            name: deepcopy(kind.extra[name]) if name in kind.extra else columns[name]
            for name in kind.fields
        },
    }
    return type(f"{kind.model.__name__}Form", (EntryForm,), {"describes": kind, **fields})


@cache
def re_entry_form_of(slug: str) -> type[EntryForm]:
    """The form that writes an entry again: the reason first, then all of it."""
    base = form_of(slug)
    fields = {
        sent: deepcopy(StrikeForm.base_fields[name])
        for name, sent in base.describes.why_names.items()
    }
    return type(
        f"{base.describes.model.__name__}ReEntryForm",
        (base,),
        {**fields, "field_order": list(fields)},
    )


def field_for(kind: Kind, column: Any, options: dict[str, Any]) -> forms.Field | None:
    """The form field of a column."""
    options.pop("widget", None)
    # A milk lot is no entry, but people name it the same way.
    named = column.many_to_one and hasattr(column.related_model, "find")
    if named or (column.many_to_one and issubclass(column.related_model, Entry)):
        return entry_field(
            column.related_model,
            struck_ok=column.name in kind.struck_ok,
            label=sentence_of(column.verbose_name),
            required=not column.blank,
            help_text=column.help_text,
        )
    match column:
        case models.DateTimeField():
            options["form_class"] = MomentField
        case models.DateField():
            options["form_class"] = DayField
        case models.DecimalField():
            options["form_class"] = NumberField
        case models.IntegerField():
            options |= narrower(column)
        case models.TimeField():
            options["widget"] = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    options.setdefault("label", sentence_of(column.verbose_name))
    field: forms.Field | None = column.formfield(**options)
    return field


def narrower(column: Any) -> dict[str, int]:
    """The bounds a whole number has of its own, where the column would take more."""
    least = [v.limit_value for v in column._validators if type(v) is MinValueValidator]
    most = [v.limit_value for v in column._validators if type(v) is MaxValueValidator]
    found = {"min_value": max(least, default=None), "max_value": min(most, default=None)}
    return {name: bound for name, bound in found.items() if bound is not None}


def sentence(words: Any) -> str:
    """Words with a capital at the start, the rest left alone."""
    text = str(words)
    return text[:1].upper() + text[1:]


def said_name(name: Any) -> str:
    """What a column is called; a name that Django made from the column's is translated here."""
    return _(name) if isinstance(name, str) else str(name)


# For forms that are made once and shown in any language.
sentence_of: Any = lazy(lambda name: sentence(said_name(name)), str)


def initial_from(kind: Kind, query: Mapping[str, str]) -> dict[str, Any]:
    """What a link already filled in (``?animal=<id>&quarter=LF``); unknown names are left out."""
    fields = form_of(kind.slug).base_fields
    return {name: value[:200] for name, value in query.items() if name in fields}


def initial_of(kind: Kind, entry: Entry) -> dict[str, Any]:
    """An entry as the starting point of its re-entry."""
    names = ("happened_at", *kind.fields)
    values = {name: getattr(entry, name, None) for name in names}
    return {
        name: list(value.all()) if isinstance(value, models.Manager) else value
        for name, value in values.items()
    }
