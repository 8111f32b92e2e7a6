"""The wrong cow in a tank, as one screen: which tank, which cow, when; then stop."""

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.forms.entries import SheetForm
from config.forms.fields import EntrySelect, EntryText, MomentField, NumberField
from herd.models import Animal, Group
from milk.models import HoldStep, Tank

NOBODY_KNOWS = N_("Give her number, or tick that nobody knows who she is.")
BOTH = N_("Her number is given, so somebody knows who she is: untick one of the two.")


class WrongCowForm(SheetForm):
    """What the milker knows at that moment; everything but tank and cow may be blank."""

    tank = EntrySelect(Tank.objects.exclude(use=Tank.Use.WASTE), label=_l("Into which tank?"))
    animal = EntryText(
        Animal, label=_l("Which cow?"), required=False, help_text=_l("Farm number or ear tag.")
    )
    unknown = forms.BooleanField(label=_l("Nobody knows which cow"), required=False)
    happened_at = MomentField(label=_l("When was she milked?"), initial=timezone.now)
    to_tank = EntrySelect(
        Tank.objects.all(),
        label=_l("The rest of this milking goes to"),
        required=False,
        help_text=_l("The hold tank, or another. Blank: milking has stopped."),
    )
    tank_kg = NumberField(
        label=_l("In the tank now, kg"),
        required=False,
        max_digits=10,
        decimal_places=3,
        help_text=_l("As read at the tank. Blank: what the book says."),
    )
    kg = NumberField(
        label=_l("Hers, kg"),
        required=False,
        max_digits=10,
        decimal_places=3,
        help_text=_l("As the meter says, or about."),
    )
    group = EntrySelect(Group.objects.all(), label=_l("Group being milked"), required=False)
    bottle_1 = forms.CharField(label=_l("Sealed bottle 1"), max_length=30, required=False)
    bottle_2 = forms.CharField(label=_l("Sealed bottle 2"), max_length=30, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        hold_tank = Tank.objects.standing().filter(use=Tank.Use.HOLD).order_by("pk").first()
        if hold_tank is not None:
            self.fields["to_tank"].initial = hold_tank

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if not self.errors:
            if values.get("animal") is None and not values.get("unknown"):
                self.add_error("animal", _(NOBODY_KNOWS))
            if values.get("animal") is not None and values.get("unknown"):
                self.add_error("unknown", _(BOTH))
        return values

    def values(self) -> dict[str, Any]:
        """What the service takes."""
        left_out = ("happened_at", "unknown")
        return {name: v for name, v in self.cleaned_data.items() if name not in left_out}


class StepForm(SheetForm):
    """What was done about a hold."""

    what = forms.ChoiceField(label=_l("Done"), choices=(("", _l("choose")), *HoldStep.What.choices))
    why = forms.ChoiceField(
        label=_l("Why it happened"),
        required=False,
        choices=(("", _l("not given")), *HoldStep.Why.choices),
        help_text=_l("Only with “found out why it happened”."),
    )
    bottles = forms.CharField(label=_l("Numbers of the bottles"), max_length=80, required=False)
    paper = forms.CharField(label=_l("Paper, letter or sheet"), max_length=80, required=False)
    words = forms.CharField(
        label=_l("In words"),
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
