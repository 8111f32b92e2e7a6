"""Picking wheels for an order, and sending them."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _l

from config.forms.entries import SheetForm
from config.forms.fields import EntrySelect, EntryText, MomentField, NumberField
from herd.models import Holding
from milk.models import Order, Pallet, StorePlace, Wheel


class PickForm(SheetForm):
    """Plate and shelf read, and the weight; the rest only when something is asked."""

    wheel = EntryText(Wheel, label=_l("Plate"))
    place = EntryText(
        StorePlace, label=_l("Shelf"), help_text=_l("As its code says: room/aisle/column/shelf.")
    )
    kg = NumberField(label=_l("Weight, kg"), max_digits=10, decimal_places=3, min_value=Decimal(1))
    pallet = EntrySelect(Pallet.objects.none(), label=_l("Onto pallet"), required=False)
    weighed_again = forms.BooleanField(
        label=_l("Weighed a second time, and the weight is right"), required=False
    )
    twin_asked = forms.BooleanField(
        label=_l("Its twin is held; I, the cheesemaker, say this one goes"), required=False
    )

    def __init__(self, *args: Any, order: Order, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        pallets: Any = self.fields["pallet"]
        pallets.queryset = Pallet.objects.standing().filter(order=order).order_by("-pk")


class SendForm(SheetForm):
    """The paper, the carrier, and whose the cheese is."""

    happened_at = MomentField(label=_l("Leaves at"))
    paper = forms.CharField(label=_l("Paper number"), max_length=40)
    carrier = forms.CharField(label=_l("Carrier"), max_length=80)
    vehicle = forms.CharField(label=_l("Vehicle"), max_length=40, required=False)
    temperature = NumberField(
        label=_l("In the vehicle, °C"), required=False, max_digits=4, decimal_places=1
    )
    owner_before = EntrySelect(
        Holding.objects.all(), label=_l("Owner, if not who sends it"), required=False
    )
    owner_after = EntrySelect(
        Holding.objects.all(), label=_l("Owner, if not who receives it"), required=False
    )

    def values(self) -> dict[str, Any]:
        """What the service takes."""
        return {name: value for name, value in self.cleaned_data.items() if name != "happened_at"}
