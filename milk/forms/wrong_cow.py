"""The wrong cow in a tank, as one screen: which tank, which cow, when; then stop."""

from typing import Any

from django import forms
from django.utils import timezone

from config.forms.entries import SheetForm
from config.forms.fields import EntrySelect, EntryText, MomentField, NumberField
from herd.models import Animal, Group
from milk.models import HoldStep, Tank

NOBODY_KNOWS = "Give her number, or tick that nobody knows who she is."
BOTH = "Her number is given, so somebody knows who she is: untick one of the two."


class WrongCowForm(SheetForm):
    """What the milker knows at that moment; everything but tank and cow may be blank."""

    tank = EntrySelect(Tank.objects.exclude(use=Tank.Use.WASTE), label="Into which tank?")
    animal = EntryText(
        Animal, label="Which cow?", required=False, help_text="Farm number or ear tag."
    )
    unknown = forms.BooleanField(label="Nobody knows which cow", required=False)
    happened_at = MomentField(label="When was she milked?", initial=timezone.now)
    to_tank = EntrySelect(
        Tank.objects.all(),
        label="The rest of this milking goes to",
        required=False,
        help_text="The hold tank, or another. Blank: milking has stopped.",
    )
    tank_kg = NumberField(
        label="In the tank now, kg",
        required=False,
        max_digits=10,
        decimal_places=3,
        help_text="As read at the tank. Blank: what the book says.",
    )
    kg = NumberField(
        label="Hers, kg",
        required=False,
        max_digits=10,
        decimal_places=3,
        help_text="As the meter says, or about.",
    )
    group = EntrySelect(Group.objects.all(), label="Group being milked", required=False)
    bottle_1 = forms.CharField(label="Sealed bottle 1", max_length=30, required=False)
    bottle_2 = forms.CharField(label="Sealed bottle 2", max_length=30, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        hold_tank = Tank.objects.standing().filter(use=Tank.Use.HOLD).order_by("pk").first()
        if hold_tank is not None:
            self.fields["to_tank"].initial = hold_tank

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if not self.errors:
            if values.get("animal") is None and not values.get("unknown"):
                self.add_error("animal", NOBODY_KNOWS)
            if values.get("animal") is not None and values.get("unknown"):
                self.add_error("unknown", BOTH)
        return values

    def values(self) -> dict[str, Any]:
        """What the service takes."""
        left_out = ("happened_at", "unknown")
        return {name: v for name, v in self.cleaned_data.items() if name not in left_out}


class StepForm(SheetForm):
    """What was done about a hold."""

    what = forms.ChoiceField(label="Done", choices=(("", "choose"), *HoldStep.What.choices))
    why = forms.ChoiceField(
        label="Why it happened",
        required=False,
        choices=(("", "not given"), *HoldStep.Why.choices),
        help_text="Only with “found out why it happened”.",
    )
    bottles = forms.CharField(label="Numbers of the bottles", max_length=80, required=False)
    paper = forms.CharField(label="Paper, letter or sheet", max_length=80, required=False)
    words = forms.CharField(
        label="In words",
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
