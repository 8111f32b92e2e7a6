"""A group's milking as one form: the milking, and pasted meter rows."""

from collections import defaultdict
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.forms.entries import SheetForm
from config.forms.fields import DayField, EntrySelect, MomentField, NumberField, plain_number
from herd.models import Animal, Group
from herd.models.groups import Session
from herd.tags import plain_tag
from milk.models import CowMilking, Tank
from milk.services.cow_rows import CowRow

NOON = 12
MOST_LINES = 3000
ROW_SHAPE = N_(
    "line {line}: “{text}” is no meter row. Expected tag;kg (or tag;kg;seconds after the start), "
    "such as 1042;12.4."
)
UNKNOWN_ANIMAL = N_(
    "line {line}: no animal is called “{text}”. Expected a farm number or an ear tag."
)
SEVERAL = N_("line {line}: two animals are called “{text}”. Use the ear tag.")
BAD_WEIGHT = N_("line {line}: “{text}” is no weight. Expected kg such as 12.4 or 12,4.")
TOO_MANY = N_("{number} lines are too many for one milking; expected at most {most}.")
MORE_WRONG = N_("and {number} more lines like these.")
TOLD_AT_MOST = 8
MOST_FARM_NUMBER = 9999
GRAMS = Decimal(1000)


class MilkingForm(SheetForm):
    """Which group, when and into which tank; then the kg, or the rows of the meters."""

    group = EntrySelect(Group.objects.all(), label=_l("Group"))
    tank = EntrySelect(
        Tank.objects.all(),
        label=_l("Into tank"),
        required=False,
        help_text=_l("Blank when it is not known where the milk went."),
    )
    happened_at = MomentField(label=_l("Began at"), initial=timezone.now)
    ended_at = MomentField(label=_l("Ended at"), required=False)
    day = DayField(label=_l("Milking of the day"), initial=timezone.localdate)
    session = forms.ChoiceField(label=_l("Milking"), choices=Session.choices)
    kg = NumberField(
        label=_l("Into the tank, kg"),
        required=False,
        max_digits=10,
        decimal_places=3,
        help_text=_l("As read at the tank. Blank: the meter rows are added up."),
    )
    rows = forms.CharField(
        label=_l("Meter rows"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false"}),
        help_text=_l("One cow a line: tag;kg or tag;kg;seconds after the start."),
    )
    kept_out = forms.CharField(
        label=_l("Kept out of the tank"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 2, "spellcheck": "false"}),
        help_text=_l("Farm numbers or ear tags, one a line."),
    )
    milker = forms.CharField(label=_l("Milker"), max_length=60, required=False)
    remark = forms.CharField(label=_l("Remark"), max_length=200, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        hour = timezone.localtime().hour
        self.fields["session"].initial = Session.MORNING if hour < NOON else Session.EVENING
        # A page that a phone kept is filled in by the hour at which it is opened.
        halves = f"{Session.MORNING} {Session.EVENING}"
        self.fields["session"].widget.attrs["data-by-noon"] = halves

    def clean_rows(self) -> list[CowRow]:
        return read_rows(self.cleaned_data["rows"])

    def clean_kept_out(self) -> list[Animal]:
        lines = numbered(self.cleaned_data["kept_out"].replace(",", "\n").replace(";", "\n"))
        return [animal for _, animal in named(lines)]

    def values(self) -> dict[str, Any]:
        """What ``record_milking`` takes besides the stamp; a cow of both fields is kept out."""
        values = dict(self.cleaned_data)
        del values["happened_at"]
        out = values.pop("kept_out")
        keys = {animal.pk for animal in out}
        rows = values.pop("rows")
        measured = {row.animal.pk for row in rows}
        values["cows"] = [kept_out(row) if row.animal.pk in keys else row for row in rows]
        values["kept_out"] = [animal for animal in out if animal.pk not in measured]
        return values


def kept_out(row: CowRow) -> CowRow:
    return CowRow(animal=row.animal, grams=row.grams, at_s=row.at_s, goes=CowMilking.Goes.KEPT_OUT)


def numbered(text: str) -> list[tuple[int, str]]:
    """The lines of a text that say something, with their numbers. Raises for far too many."""
    lines = [(n, line.strip()) for n, line in enumerate(text.splitlines(), 1) if line.strip()]
    if len(lines) > MOST_LINES:
        raise ValidationError(_(TOO_MANY).format(number=len(lines), most=MOST_LINES))
    return lines


def read_rows(text: str) -> list[CowRow]:
    """Pasted meter rows. Raises ValidationError naming the lines that are none."""
    lines, wrong, read = numbered(text), [], []
    for number, line in lines:
        cells = [cell.strip() for cell in line.replace("\t", ";").split(";")]
        try:
            read.append((number, cells[0], *weight_and_time(number, line, cells)))
        except ValidationError as error:
            wrong += error.messages
    refuse(wrong)
    animals = dict(named([(number, tag) for number, tag, _, _ in read]))
    return [
        CowRow(animal=animals[number], grams=grams, at_s=seconds)
        for number, _, grams, seconds in read
    ]


def weight_and_time(number: int, line: str, cells: list[str]) -> tuple[int | None, int | None]:
    """Grams (None: not measured) and seconds (None: not known) of a row."""
    if len(cells) not in (2, 3) or not cells[0]:
        raise ValidationError(_(ROW_SHAPE).format(line=number, text=line[:40]))
    try:
        grams = int(Decimal(plain_number(cells[1])) * GRAMS) if cells[1] else None
    except (ArithmeticError, ValueError, ValidationError) as error:
        raise ValidationError(_(BAD_WEIGHT).format(line=number, text=cells[1][:20])) from error
    seconds = cells[2] if len(cells) == 3 else ""
    if seconds and not (seconds.isascii() and seconds.isdecimal()):
        raise ValidationError(_(ROW_SHAPE).format(line=number, text=line[:40]))
    return grams, int(seconds) if seconds else None


def named(lines: list[tuple[int, str]]) -> Iterator[tuple[int, Animal]]:
    """The animals that lines name. Raises ValidationError naming the lines that name none."""
    known = by_name({text for _, text in lines})
    wrong = []
    for number, text in lines:
        found = known.get(text, [])
        if len(found) != 1:
            words = _(SEVERAL) if found else _(UNKNOWN_ANIMAL)
            wrong.append(words.format(line=number, text=text[:30]))
    refuse(wrong)
    return ((number, known[text][0]) for number, text in lines)


def by_name(texts: set[str]) -> dict[str, list[Animal]]:
    """By what people call them, the animals of that farm number or ear tag; two statements.

    What neither of them knows is looked up one by one (a tag that was replaced, a number).
    """
    numbers = {text: int(text) for text in texts if text.isascii() and text.isdecimal()}
    small = {text: number for text, number in numbers.items() if number <= MOST_FARM_NUMBER}
    tags = {text: plain_tag(text) for text in texts}
    standing = Animal.objects.standing()
    by_number, by_tag = defaultdict(list), defaultdict(list)
    for animal in standing.filter(farm_number__in=set(small.values())):
        by_number[animal.farm_number].append(animal)
    for animal in standing.filter(ear_tag__in=set(tags.values())):
        by_tag[animal.ear_tag].append(animal)
    return {
        text: by_number[small.get(text)]
        or by_tag[tags[text]]
        or list(Animal.objects.called(text)[:2])
        for text in texts
    }


def refuse(wrong: list[str]) -> None:
    """Raise ValidationError with the first of several complaints, and how many more there are."""
    if not wrong:
        return
    more = len(wrong) - TOLD_AT_MOST
    rest = [_(MORE_WRONG).format(number=more)] if more > 0 else []
    raise ValidationError([*wrong[:TOLD_AT_MOST], *rest])
