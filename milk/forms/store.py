"""Forms of the brine and the store: rows in and out, wheels named by vat or plate, a room made."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_
from django.utils.translation import pgettext_lazy

from config.forms.entries import SheetForm
from config.forms.fields import DayField, EntryText, MomentField
from milk.models import BrineStay, StorePlace, StoreRound, Wheel
from milk.scans import numbers, plates
from milk.store_search import NOT_GRADED, WHERE, Wanted

NO_WHEELS = N_("Name the wheels: the day and the numbers of their vats, or their plates.")
DAY_NEEDED = N_("Write the day of these vats.")
NO_SUCH_PLATES = N_("Not in the book: {plates}. Look at the plates. Nothing was saved.")
NO_WHEELS_OF = N_("No wheels are numbered of vat {vats} of {day}. Number them first.")
MOST_VATS = 40
MOST_ASKED = 600
NOT_SO_OLD = N_("No wheel is at least {least} and at most {most} months old. Turn the two round.")
TOO_MANY = N_("{number} wheels in one act are too many; at most {most}.")
NEVER_IN_BRINE = N_(
    "Never put into brine by the book: {plates}. Write when they went in, or say here that they go "
    "to the store all the same."
)
NO_RANGE = N_("Expected numbers such as 1-4 or 1, 2, 5.")
PLATES_HELP = _l("One by one or as a range: 0004001-0004012.")


def named_wheels(day: Any, vats: list[int], wanted: list[str]) -> list[Wheel]:
    """The standing wheels of these vats and plates, in the order given; each once.

    Raises ValidationError at ``vats`` or ``plates`` for what the book does not have.
    """
    found: dict[int, Wheel] = {}
    if vats:
        rows = Wheel.objects.standing().filter(vat__day=day, vat__number__in=vats)
        rows = rows.select_related("vat").order_by("vat__round", "vat__number", "twin")
        missing = set(vats) - {wheel.vat.number for wheel in rows}
        if missing:
            names = ", ".join(map(str, sorted(missing)))
            raise ValidationError({"vats": _(NO_WHEELS_OF).format(vats=names, day=day)})
        found.update({wheel.pk: wheel for wheel in rows})
    by_plate = {
        wheel.plate: wheel
        for wheel in Wheel.objects.standing().filter(plate__in=wanted).select_related("vat")
    }
    unknown = [plate for plate in wanted if plate not in by_plate]
    if unknown:
        names = ", ".join(unknown[:8]) + (" …" if len(unknown) > 8 else "")
        raise ValidationError({"plates": _(NO_SUCH_PLATES).format(plates=names)})
    found.update({by_plate[plate].pk: by_plate[plate] for plate in wanted})
    if len(found) > MOST_ASKED:
        raise ValidationError(_(TOO_MANY).format(number=len(found), most=MOST_ASKED))
    return list(found.values())


def never_in_brine(wheels: list[Wheel]) -> list[Wheel]:
    """Those of these wheels that were put into no brine; none where the estate writes no brine."""
    salted = BrineStay.objects.standing()
    put_in = set(salted.filter(wheel__in=wheels).values_list("wheel_id", flat=True))
    missing = [wheel for wheel in wheels if wheel.pk not in put_in]
    return missing if missing and salted.exists() else []


class WheelsNamed(SheetForm):
    """Wheels by the numbers of their vats on a day, or by their plates."""

    day = DayField(label=_l("Vats of the day"), required=False)
    vats = forms.CharField(
        label=_l("Vats"), required=False, max_length=200, help_text=_l("Numbers: 1-6, 9.")
    )
    plates = forms.CharField(
        label=_l("Plates"),
        required=False,
        max_length=8000,
        help_text=PLATES_HELP,
        widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "off", "inputmode": "text"}),
    )

    def clean_vats(self) -> list[int]:
        found: list[int] = self.read(lambda text: numbers(text, most=MOST_VATS), "vats")
        return found

    def clean_plates(self) -> list[str]:
        found: list[str] = self.read(plates, "plates")
        return found

    def read(self, reader: Any, name: str) -> Any:
        try:
            return reader(self.cleaned_data[name])
        except ValueError as error:
            raise ValidationError(str(error)) from error

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if self.errors:
            return values
        if values["vats"] and not values.get("day"):
            raise ValidationError({"day": _(DAY_NEEDED)})
        if not values["vats"] and not values["plates"]:
            raise ValidationError(_(NO_WHEELS))
        values["wheels"] = named_wheels(values.get("day"), values["vats"], values["plates"])
        return values


class RowInForm(WheelsNamed):
    """Wheels into a row of the brine."""

    bath = forms.CharField(label=_l("Bath"), max_length=20)
    row = forms.CharField(label=pgettext_lazy("brine", "Row"), max_length=10, required=False)
    happened_at = MomentField(label=_l("Put in at"), initial=timezone.now)
    field_order = ("bath", "row", "day", "vats", "plates", "happened_at")


class RowOutForm(SheetForm):
    """Everything out of a row."""

    bath = forms.CharField(label=_l("Bath"), max_length=20)
    row = forms.CharField(label=pgettext_lazy("brine", "Row"), max_length=10, required=False)
    happened_at = MomentField(label=_l("Taken out at"), initial=timezone.now)


class LayForm(WheelsNamed):
    """Wheels onto the free places of an aisle."""

    room = forms.CharField(label=_l("Room"), max_length=20)
    aisle = forms.IntegerField(label=_l("Aisle"), min_value=1, max_value=30_000)
    column = forms.IntegerField(
        label=_l("From column"),
        min_value=1,
        max_value=30_000,
        initial=1,
        help_text=_l("Free places on."),
    )
    unsalted = forms.BooleanField(
        label=_l("Some were never in brine by the book: lay them all the same"),
        required=False,
        widget=forms.HiddenInput,
    )
    happened_at = MomentField(label=_l("Laid there at"), initial=timezone.now)
    field_order = ("day", "vats", "plates", "room", "aisle", "column", "unsalted", "happened_at")

    def clean(self) -> dict[str, Any]:
        """Ask once about wheels that the book never had in brine."""
        values = super().clean()
        wheels = [] if self.errors or values.get("unsalted") else values["wheels"]
        unsalted = never_in_brine(wheels)
        if unsalted:
            plates_ = ", ".join(wheel.plate for wheel in unsalted[:8])
            more = " …" if len(unsalted) > 8 else ""
            self.fields["unsalted"].widget = forms.CheckboxInput()
            raise ValidationError({"unsalted": _(NEVER_IN_BRINE).format(plates=plates_ + more)})
        return values


class FoundForm(SheetForm):
    """A wheel found on a place, whatever the book says."""

    wheel = EntryText(Wheel, label=_l("Plate"))
    place = EntryText(
        StorePlace,
        label=_l("Lies on"),
        help_text=_l("Room/aisle/column/shelf, as the shelf is marked."),
    )
    happened_at = MomentField(label=_l("Seen at"), initial=timezone.now)


class RoundForm(SheetForm):
    """An aisle done."""

    room = forms.CharField(label=_l("Room"), max_length=20)
    aisle = forms.IntegerField(label=_l("Aisle"), min_value=0, max_value=32_767)
    what = forms.ChoiceField(label=_l("What"), choices=StoreRound.What.choices, required=False)
    happened_at = MomentField(label=_l("Done at"), required=False)


class RoomForm(SheetForm):
    """The places of a room, as ranges."""

    room = forms.CharField(label=_l("Room"), max_length=20)
    aisles = forms.CharField(label=_l("Aisles"), max_length=20, help_text=_l("A range: 1-4."))
    columns = forms.CharField(
        label=_l("Columns"), max_length=20, help_text=_l("In each aisle: 1-30.")
    )
    shelves = forms.CharField(
        label=_l("Shelves"), max_length=20, help_text=_l("In each column, from the floor: 1-20.")
    )
    happened_at = MomentField(label=_l("In use since"), initial=timezone.now)

    def clean_room(self) -> str:
        name = str(self.cleaned_data["room"]).strip()
        if "/" in name:
            raise ValidationError(_("A room's name has no “/”: shelves are named room/aisle/…."))
        return name

    def clean_aisles(self) -> range:
        return self.span("aisles")

    def clean_columns(self) -> range:
        return self.span("columns")

    def clean_shelves(self) -> range:
        return self.span("shelves")

    def span(self, name: str) -> range:
        """A range typed as “1-30” or as one number."""
        first, _rest, last = str(self.cleaned_data[name]).replace("–", "-").partition("-")
        first, last = first.strip(), last.strip() or first.strip()
        if not (first.isdecimal() and last.isdecimal()):
            raise ValidationError(_(NO_RANGE))
        if not 1 <= int(first) <= int(last) <= 999:
            raise ValidationError(_(NO_RANGE))
        return range(int(first), int(last) + 1)


class SearchForm(SheetForm):
    """What to look for among the wheels; all of it may be blank."""

    plate = forms.CharField(label=_l("Plate, or a part of it"), required=False, max_length=16)
    where = forms.ChoiceField(label=_l("Where"), required=False, choices=WHERE)
    room = forms.CharField(label=_l("Room"), required=False, max_length=20)
    aisle = forms.IntegerField(label=_l("Aisle"), required=False, min_value=0, max_value=32_767)
    day = DayField(label=_l("Vat of the day"), required=False)
    least_age = forms.IntegerField(
        label=_l("At least, full months"), required=False, min_value=0, max_value=600
    )
    most_age = forms.IntegerField(
        label=_l("At most, full months"), required=False, min_value=0, max_value=600
    )
    grade = forms.ChoiceField(label=_l("Last grade"), required=False, choices=())

    def __init__(self, *args: Any, grades: Any = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = (("", _("any")), *grades, (NOT_GRADED, _("not graded yet")))
        field = self.fields["grade"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        least, most = values.get("least_age"), values.get("most_age")
        if least is not None and most is not None and most < least:
            self.add_error("most_age", _(NOT_SO_OLD).format(least=least, most=most))
        return values

    def wanted(self) -> Wanted:
        """What is looked for."""
        values = {
            name: value for name, value in self.cleaned_data.items() if value not in ("", None)
        }
        return Wanted(**values)
