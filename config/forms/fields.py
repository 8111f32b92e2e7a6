"""Form fields that take what people on a farm type: estate time, tag numbers, decimal commas."""

import re
import uuid
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.db.models import Model, QuerySet
from django.forms.models import ModelChoiceIterator
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import estate_zone
from config.entries import CLOCK_TOLERANCE_MINUTES, Entry
from config.kinds import all_kinds
from config.offline_clock import sending

SHAPE = "%Y-%m-%dT%H:%M"
NO_MOMENT = N_(
    "“{text}” is no date and time. Expected year-month-day and hours:minutes, as 2026-06-06 16:30."
)
SKIPPED_HOUR = N_(
    "{text} did not exist: the clocks went forward that night. Expected the time before or after "
    "the missing hour."
)
NO_DAY = N_(
    "“{text}” is no day that is sure. Expected year-month-day, as 2026-06-09, or day.month.year, "
    "as 9.6.2026."
)
# With strokes nobody knows which is the month.
DAY_SHAPES = ("%Y-%m-%d", "%d.%m.%Y")
YEAR_RANGE = N_("{year} is out of range; expected a year from 1900 to 2200.")
NO_NUMBER = N_("“{text}” is not a number we can trust. Expected a plain one, such as 187 or 187,5.")
POINT_OR_THOUSANDS = N_(
    "“{text}” could be a thousand or a fraction. Write it without a separator ({whole}) or with "
    "its zero ({fraction})."
)
NOBODY = N_("No {name} is called “{text}”. Expected {expected}.")
STRUCK = N_("{entry} was struck. Name the entry that replaces it.")
# A list that a person still reads through; the newest come first.
LONGEST_SELECT = 300


class MomentInput(forms.DateTimeInput):
    """One box for date and time, in the estate's local time."""

    input_type = "datetime-local"

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__(attrs, format=SHAPE)


class MomentField(forms.Field):
    """A moment on the estate's clock.

    The hour that comes twice in autumn is read as the later one, which withholds longer, unless
    that has not come yet; the hour that is skipped in spring is refused. Left as it stood in a
    form, a moment keeps its seconds. ``earlier``: the earlier of the two is meant; what counts from
    a cut ends sooner so.
    """

    widget = MomentInput

    def __init__(self, *, earlier: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.earlier = earlier

    def prepare_value(self, value: Any) -> Any:
        return local_text(value) if isinstance(value, datetime) else value

    def to_python(self, value: Any) -> datetime | None:
        if value in self.empty_values:
            return None
        if isinstance(value, datetime):
            return value
        text = str(value).strip().replace(" ", "T")
        try:
            naive = datetime.fromisoformat(text)
        except ValueError as error:
            raise ValidationError(_(NO_MOMENT).format(text=text[:40])) from error
        if not 1900 <= naive.year <= 2200:
            raise ValidationError(_(YEAR_RANGE).format(year=naive.year))
        sent = sending.get()
        now = sent.written_by_phone if sent else timezone.now()
        moment = naive if naive.tzinfo else meant_by(naive, now, earlier=self.earlier)
        return sent.put_right(moment, str(value)) if sent else moment

    def has_changed(self, initial: Any, data: Any) -> bool:
        return bool(self.prepare_value(initial) != data)


def local_text(moment: datetime) -> str:
    """A moment as the box shows it."""
    return moment.astimezone(estate_zone()).strftime(SHAPE)


def meant_by(naive: datetime, now: datetime, *, earlier: bool = False) -> datetime:
    """The moment a wall clock of the estate means. Raises ValidationError for one that never was.

    Of two moments the later, unless only the earlier can have happened at ``now``: who writes in
    the first of the two hours means that one. ``earlier``: of two moments the earlier.
    """
    zone = estate_zone()
    first, later = (naive.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if later.astimezone(UTC).astimezone(zone).replace(tzinfo=None, fold=0) != naive:
        raise ValidationError(_(SKIPPED_HOUR).format(text=f"{naive:%Y-%m-%d %H:%M}"))
    newest = (now + timedelta(minutes=CLOCK_TOLERANCE_MINUTES)).astimezone(UTC)
    only_first = first.astimezone(UTC) <= newest < later.astimezone(UTC)
    return first if earlier or only_first else later


class DayField(forms.DateField):
    """A date, written in a way that needs no guessing."""

    input_formats = DAY_SHAPES
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")

    def to_python(self, value: Any) -> date | None:
        try:
            day = super().to_python(value)
        except ValidationError as error:
            raise ValidationError(_(NO_DAY).format(text=str(value)[:20])) from error
        if day is not None and not 1900 <= day.year <= 2200:
            raise ValidationError(_(YEAR_RANGE).format(year=day.year))
        return day


class NumberField(forms.DecimalField):
    """A number with a decimal point or comma, and nothing that needs guessing."""

    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})

    def prepare_value(self, value: Any) -> Any:
        return f"{value:f}" if isinstance(value, Decimal) else value

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]
        if isinstance(value, str):
            value = plain_number(value)
        return super().to_python(value)


def plain_number(text: str) -> str:
    """A typed number with a point for the comma. Raises ValidationError when it needs guessing."""
    text = text.strip().replace("\u00a0", "").replace("\u2212", "-")
    if not text:
        return ""
    if not re.fullmatch(r"[+-]?[0-9]+([.,][0-9]+)?", text, re.ASCII):
        raise ValidationError(_(NO_NUMBER).format(text=text[:40]))
    if re.fullmatch(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}", text):
        raise ValidationError(
            _(POINT_OR_THOUSANDS).format(
                text=text, whole=text.replace(",", ""), fraction=text.replace(",", ".") + "0"
            )
        )
    return text.replace(",", ".")


NOT_OFFERED = N_("That is not among those offered here. Choose one of the list.")


class NewestFirst(ModelChoiceIterator[Any]):
    """The choices of an EntrySelect: the newest of a long list, and the one that stands already."""

    def __iter__(self) -> Iterator[tuple[Any, str]]:
        field: Any = self.field
        if field.empty_label is not None:
            yield "", field.empty_label
        newest = list(field.queryset[:LONGEST_SELECT])
        if field.kept is not None and field.kept not in newest:
            yield self.choice(field.kept)
        for entry in newest:
            yield self.choice(entry)


class EntrySelect(forms.ModelChoiceField[Any]):
    """One of the standing entries of a short list, by number of the entry."""

    iterator = NewestFirst
    kept: Entry | None = None

    def __init__(self, queryset: QuerySet[Any], *, struck_ok: bool = False, **kwargs: Any) -> None:
        standing = queryset if struck_ok else queryset.filter(struck_at=None)
        super().__init__(standing.order_by("-happened_at", "-pk"), to_field_name="uuid", **kwargs)

    def keep(self, value: Any) -> None:
        """Offer this one too, however old it is: what stands in a form must not get lost."""
        assert self.queryset is not None
        try:
            self.kept = self.queryset.get(uuid=uuid.UUID(str(value)))
        except (ValueError, ObjectDoesNotExist):
            self.kept = None

    def prepare_value(self, value: Any) -> Any:
        return str(value.uuid) if isinstance(value, Entry) else value

    def to_python(self, value: Any) -> Any:
        try:
            return super().to_python(value)
        except forms.ValidationError as wrong:
            # Of what is no number of an entry at all the column would say that it is no UUID.
            raise forms.ValidationError(_(NOT_OFFERED), code="invalid_choice") from wrong


class EntryText(forms.CharField):
    """An entry by what people call it: a tag, a farm number, a plate, a lot, or its own number."""

    def __init__(self, model: type[Entry], *, struck_ok: bool = False, **kwargs: Any) -> None:
        self.model, self.struck_ok = model, struck_ok
        kwargs.pop("to_field_name", None)
        super().__init__(max_length=80, **kwargs)
        self.widget.attrs.update({"autocomplete": "off", "autocapitalize": "characters"})

    def prepare_value(self, value: Any) -> Any:
        return called(value) if isinstance(value, Model) else value

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        return find_entry(self.model, text, struck_ok=self.struck_ok) if text else None


def called(entry: Any) -> str:
    """What to type to name an entry: what it is called when that finds it, else its number."""
    try:
        return str(entry) if find_entry(type(entry), str(entry)) == entry else str(entry.uuid)
    except ValidationError:
        return str(entry.uuid)


def find_entry(model: type[Entry], text: str, *, struck_ok: bool = False) -> Entry:
    """The entry people call ``text``. Raises ValidationError when there is not just one."""
    name = str(model._meta.verbose_name)
    try:
        if "\x00" in text:
            raise ValueError(text)
        entry = by_number(model, text) or model.find(text)  # type: ignore[attr-defined]
    except ObjectDoesNotExist as error:
        words = str(error) if "matching query" not in str(error) else ""
        raise ValidationError(
            words or _(NOBODY).format(name=name, text=text, expected=_("its name or number"))
        ) from error
    except (ValueError, OverflowError) as error:
        words = str(error) if str(error).endswith(".") else ""
        raise ValidationError(
            words or _(NOBODY).format(name=name, text=text, expected=_("its name or number"))
        ) from error
    if entry.is_struck and not struck_ok:
        raise ValidationError(_(STRUCK).format(entry=entry))
    found: Entry = entry
    return found


def by_number(model: type[Entry], text: str) -> Entry | None:
    """The entry with this id; None when the text is no id."""
    try:
        number = uuid.UUID(text)
    except ValueError:
        return None
    found: Entry = model.objects.get(uuid=number)
    return found


def entry_field(model: type[Entry], *, struck_ok: bool, **kwargs: Any) -> forms.Field:
    """The field that names an entry: typed when its model can be searched, else chosen."""
    if hasattr(model, "find"):
        return EntryText(model, struck_ok=struck_ok, **kwargs)
    described = next((kind for kind in all_kinds() if kind.model is model), None)
    entries = described.entries() if described else model.objects.all()
    return EntrySelect(entries, struck_ok=struck_ok, **kwargs)
