"""Recalls: begin one, find wheels, ring buyers, write what was done, hold, end."""

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _l
from django_stubs_ext import StrOrPromise

from config.forms.entries import SheetForm
from config.forms.fields import MomentField
from herd.models import Holding
from milk.models import Hold, Recall, RecallStep
from milk.services.recall_holds import REASONS

What = RecallStep.What


def long_text(label: StrOrPromise, **options: Any) -> forms.CharField:
    options.setdefault("max_length", 400)
    return forms.CharField(
        label=label, widget=forms.Textarea(attrs={"rows": 2}), strip=True, **options
    )


class BeginForm(SheetForm):
    """What it starts from, how far it goes, and why."""

    root_kind = forms.ChoiceField(
        label=_l("It starts from a"), choices=(("", _l("choose")), *Recall.Root.choices)
    )
    root = forms.CharField(
        label=_l("Which one"),
        max_length=80,
        help_text=_l(
            "Plate, day/vat, lot code, cow's number, number of a course, dose or load, sample, "
            "can, rennet batch, bath or bath/row, order or paper, or the paper of a finding."
        ),
    )
    reach = forms.ChoiceField(
        label=_l("How far"),
        widget=forms.RadioSelect,
        choices=Recall.Reach.choices,
        initial=Recall.Reach.ITSELF,
        help_text=_l(
            "Of a wheel, vat, can, rennet batch, bath or order: with all of the same milk? "
            "Of feed: with the groups that may have had of a load whose rest nobody wrote?"
        ),
    )
    since = MomentField(
        label=_l("Milked or salted since"),
        required=False,
        help_text=_l("Blank: from the beginning."),
    )
    until = MomentField(
        label=_l("Milked or salted until"), required=False, help_text=_l("Blank: until now.")
    )
    reason = long_text(_l("Why"))


class WheelsForm(SheetForm):
    """What became of wheels, by their plates."""

    what = forms.ChoiceField(
        label=_l("These wheels are"),
        widget=forms.RadioSelect,
        choices=[(one, one.label) for one in RecallStep.OF_A_WHEEL],
    )
    plates = long_text(
        _l("Plates"), max_length=4000, help_text=_l("One or many; scan or type them.")
    )
    place = forms.CharField(label=_l("Where"), max_length=80, required=False)
    paper = forms.CharField(
        label=_l("Paper that proves it"),
        max_length=80,
        required=False,
        help_text=_l("Needed for “destroyed”."),
    )
    witness = forms.CharField(
        label=_l("Who saw it"),
        max_length=80,
        required=False,
        help_text=_l("Needed for “destroyed”: somebody besides whoever writes it."),
    )
    happened_at = MomentField(label=_l("When"), initial=timezone.now)


class CallForm(SheetForm):
    """What a buyer answered, about all they have or about some plates."""

    buyer = forms.ModelChoiceField(
        Holding.objects.none(), label=_l("Buyer"), empty_label=_l("choose")
    )
    answer = forms.ChoiceField(
        label=_l("Their answer"), widget=forms.RadioSelect, choices=RecallStep.Answer.choices
    )
    spoke_with = forms.CharField(
        label=_l("Spoke with"),
        max_length=80,
        required=False,
        help_text=_l("Blank when nobody answered."),
    )
    plates = long_text(
        _l("Only these plates"),
        max_length=4000,
        required=False,
        help_text=_l("Blank: all they have."),
    )
    words = long_text(_l("In words"), required=False)
    happened_at = MomentField(label=_l("When"), initial=timezone.now)

    def __init__(self, *args: Any, buyers: list[int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["buyer"]
        field.queryset = Holding.objects.filter(pk__in=buyers).order_by("name")


class StepForm(SheetForm):
    """Anything else that was done."""

    what = forms.ChoiceField(label=_l("Done"), widget=forms.RadioSelect)
    words = long_text(_l("In words"), required=False)
    paper = forms.CharField(label=_l("Paper, letter or number"), max_length=80, required=False)
    happened_at = MomentField(label=_l("When"), initial=timezone.now)

    def __init__(self, *args: Any, drill: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        open_ = (What.NOTICE, What.OTHER) if drill else (What.AUTHORITY, What.NOTICE, What.OTHER)
        field: Any = self.fields["what"]
        field.choices = [(one, one.label) for one in open_]


class HoldForm(SheetForm):
    """Why everything below is held."""

    reason = forms.ChoiceField(
        label=_l("Why"), choices=[(one, Hold.Reason(one).label) for one in REASONS]
    )


class EndForm(SheetForm):
    """The last word."""

    words = long_text(_l("What was learned, and what is changed"), required=False)
