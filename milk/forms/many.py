"""One number for each of many things on one sheet: the weights of a day, the cream of the trays."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.forms.entries import SheetForm
from config.forms.fields import MomentField, NumberField
from config.language import in_readers_form
from milk.hall_milk import Standing
from milk.models import Tray, Wheel

# A wheel weighed in the next morning's round counts as weighed after a day.
SOON = 18
TOO_SOON = N_("Lifted {hours} h ago only; the first weight counts as the one after 24 h.")
POURED = N_("Nothing is left in it by the book.")
NOTHING_WRITTEN = N_("Write at least one number; what is left blank is not written.")


class ManyForm(SheetForm):
    """When, and a number beside each thing; what is left blank stays as it is."""

    happened_at = MomentField(label=_l("At"), initial=timezone.now)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.things: dict[str, Any] = {}

    def ask(self, name: str, thing: Any, field: forms.Field) -> None:
        self.things[name] = thing
        self.fields[name] = field

    def written(self) -> list[tuple[str, Any, Decimal]]:
        """(name of the field, thing, number) of everything that was written."""
        return [
            (name, thing, value)
            for name, thing in self.things.items()
            if (value := self.cleaned_data.get(name)) is not None
        ]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        # Left as it stood the moment keeps its seconds, and is not before what was just written.
        if "happened_at" in values and "happened_at" not in self.changed_data:
            values["happened_at"] = self.get_initial_for_field(
                self.fields["happened_at"], "happened_at"
            )
        if not self.errors and not self.written():
            self.add_error(None, _(NOTHING_WRITTEN))
        return values


def number(label: str, help_text: str = "") -> NumberField:
    return NumberField(
        label=label, required=False, max_digits=10, decimal_places=3, help_text=help_text
    )


class WeighForm(ManyForm):
    """The weight of every wheel of a day that has none yet."""

    def __init__(self, *args: Any, wheels: Sequence[Wheel], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["happened_at"].label = _("Weighed at")
        for wheel in wheels:
            label = _("Vat {number} {twin}, {plate}, kg").format(
                number=wheel.vat.number, twin=wheel.twin, plate=wheel.plate
            )
            self.ask(f"kg_{wheel.uuid}", wheel, number(label, soon(wheel, timezone.now())))


def soon(wheel: Wheel, at: datetime) -> str:
    """That it is too soon for the weight of a wheel after a day, beside the field; "" when not."""
    hours = (at - wheel.happened_at) / timedelta(hours=1)
    return "" if hours >= SOON else _(TOO_SOON).format(hours=max(0, int(hours)))


class SkimForm(ManyForm):
    """The cream taken off every tray that has milk, and the fat left in it where it was read."""

    def __init__(
        self, *args: Any, trays: Sequence[Standing], others: Sequence[Tray] = (), **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["happened_at"].label = _("Skimmed at")
        for one in trays:
            assert one.tray is not None
            label = _("Tray {number}: cream off now, kg").format(number=one.tray.number)
            self.ask(f"cream_{one.tray.uuid}", one.tray, number(label, said(one)))
        for tray in others:
            if f"cream_{tray.uuid}" not in self.things:
                label = _("Tray {number}: cream off now, kg").format(number=tray.number)
                self.ask(f"cream_{tray.uuid}", tray, number(label, _(POURED)))


def said(one: Standing) -> str:
    """What is known of a tray, beside the field for its cream."""
    words = [_("{left} kg left").format(left=in_readers_form(f"{one.left:,.0f}")), one.said]
    if one.cream:
        words.append(
            _("{cream} kg cream off before").format(cream=in_readers_form(f"{one.cream:,.1f}"))
        )
    if one.against:
        words.insert(0, one.word)
    elif one.cream_to_take is not None and one.cream_to_take > 0:
        words.append(
            _("skim {cream_to_take} kg more").format(
                cream_to_take=in_readers_form(f"{one.cream_to_take:,.1f}")
            )
        )
    return "; ".join(words)
