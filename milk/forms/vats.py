"""Filling a vat and numbering its wheels, one screen each."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.entries import REASONS
from config.forms.entries import SheetForm
from config.forms.fields import EntryText, MomentField, NumberField
from config.language import in_readers_form
from milk.answers import POUR
from milk.hall_milk import Standing, trays_standing
from milk.in_tanks import Content, in_tanks
from milk.models import Tank, Tray, Vat, VatMark
from milk.services.vats import Fill
from milk.services.wheels import Plate

WRITTEN_LATE = timedelta(hours=3)
NO_KG = N_("Write the kg beside the tank or tray the milk came from.")
NO_PLATE = N_("Write at least one plate.")
PLATE_MISSING = N_("There is a weight but no plate.")


def weight(label: str, help_text: str = "") -> NumberField:
    return NumberField(
        label=label,
        required=False,
        max_digits=10,
        decimal_places=3,
        min_value=Decimal("0.001"),
        help_text=help_text,
    )


class FillForm(SheetForm):
    """When, and the kg from each tank or tray; what is left blank gave nothing."""

    happened_at = MomentField(label=_l("Filling began at"), initial=timezone.now)
    ended_at = MomentField(
        label=_l("Filling ended at"),
        required=False,
        help_text=_l("Needed when milk was pumped into the tank meanwhile."),
    )

    def __init__(self, *args: Any, vat: Vat, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sources: dict[str, Tank | Tray] = {}
        now = timezone.now()
        # A fill written late is offered what was in the tanks when the vat was begun.
        late = now - vat.happened_at > WRITTEN_LATE
        at = vat.happened_at if late else now
        self.fields["happened_at"].initial = at
        for content in in_tanks(at):
            if content.tank.use != Tank.Use.WASTE:
                said = held_then(content) if late else holds_now(content)
                self.offer(content.tank, _("From {tank}, kg").format(tank=content.tank), said)
        for row in trays_standing(at):
            if row.tray is not None:
                self.offer(
                    row.tray,
                    _("From tray {number}, kg").format(number=row.tray.number),
                    tray_said(row),
                )

    def offer(self, source: Tank | Tray, label: str, said: str) -> None:
        name = f"kg_{source.uuid}"
        self.sources[name] = source
        self.fields[name] = weight(label, said)

    def fills(self) -> list[Fill]:
        """The fills of every tank or tray that gave some."""
        found = []
        for name, source in self.sources.items():
            kg = self.cleaned_data.get(name)
            if kg is not None:
                ended_at = self.cleaned_data.get("ended_at")
                if isinstance(source, Tray):
                    found.append(Fill(kg=kg, tray=source, ended_at=ended_at))
                else:
                    found.append(Fill(kg=kg, tank=source, ended_at=ended_at))
        return found

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        # Left as it stood it keeps its seconds: a hold of this very minute is known already.
        if "happened_at" in values and "happened_at" not in self.changed_data:
            values["happened_at"] = self.fields["happened_at"].initial
        if not self.errors and not self.fills():
            self.add_error(None, _(NO_KG))
        return values


def holds_now(content: Content) -> str:
    """What a tank holds, beside the field for it."""
    if content.answer is None:
        return _("no milk in it by the book")
    said = _("lot {lot}, {left} kg left").format(
        lot=content.lot, left=in_readers_form(f"{content.left:,.0f}")
    )
    return said if content.answer.word == POUR else f"{said}: {content.answer.word}"


def held_then(content: Content) -> str:
    """What a tank held when a vat was begun, beside the field for it."""
    return (
        _("held lot {lot} then").format(lot=content.lot)
        if content.lot
        else _("no milk in it then by the book")
    )


def tray_said(row: Standing) -> str:
    """What stands in a tray, beside the field for it: the word first where it is no."""
    assert row.tray is not None
    filled = timezone.localtime(row.tray.happened_at)
    lots = ", ".join(_("lot {lot}").format(lot=answer.lot) for answer, _rest in row.lots) or _(
        "no lot known"
    )
    said = _("{left} kg from {tank} at {filled}, {lots}, {tests}").format(
        left=in_readers_form(f"{row.left:,.0f}"),
        tank=row.tray.tank,
        filled=f"{filled:%H:%M}",
        lots=lots,
        tests=row.tests,
    )
    return f"{row.word}. {row.against} {said}" if row.against else f"{said}; {row.said}"


class WheelsForm(SheetForm):
    """The plates of a vat, one for each wheel it makes."""

    happened_at = MomentField(label=_l("Lifted at"), initial=timezone.now)

    def __init__(
        self, *args: Any, twins: tuple[str, ...] = ("A", "B"), after: str = "", **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.twins = twins
        for place, twin in enumerate(twins):
            plate = forms.CharField(
                label=_("Plate of twin {twin}").format(twin=twin),
                max_length=16,
                required=False,
                help_text=following(after) if place == 0 else "",
            )
            plate.widget.attrs.update({"inputmode": "numeric", "autocomplete": "off"})
            self.fields[f"plate_{twin}"] = plate
            kg = weight(
                _("Weight of {twin} at 24 h, kg").format(twin=twin), _("When it is known already.")
            )
            self.fields[f"kg_{twin}"] = kg

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        for twin in self.twins:
            if values.get(f"kg_{twin}") is not None and not values.get(f"plate_{twin}"):
                self.add_error(f"plate_{twin}", _(PLATE_MISSING))
        if not self.errors and not self.plates():
            self.add_error(None, _(NO_PLATE))
        return values

    def plates(self) -> list[Plate]:
        """(plate, twin, kg or None) of every plate written."""
        values = self.cleaned_data
        return [
            (values[f"plate_{twin}"], twin, values[f"kg_{twin}"])
            for twin in self.twins
            if values.get(f"plate_{twin}")
        ]


def following(plate: str) -> str:
    """Which plate comes after the last one, beside the field for it; "" when nobody can say."""
    if not (plate.isascii() and plate.isdecimal()):
        return ""
    return _("After {plate} comes {plate2}.").format(
        plate=plate, plate2=f"{int(plate) + 1:0{len(plate)}d}"
    )


class SwapForm(SheetForm):
    """With which vat the wheels are exchanged, and why."""

    other = EntryText(
        Vat, label=_l("The other vat"), help_text=_l("Day and number, such as 2026-06-09/18.")
    )
    reason = forms.ChoiceField(label=_l("Why"), choices=(("", _l("choose the reason")), *REASONS))
    words = forms.CharField(
        label=_l("In words"),
        required=False,
        max_length=400,
        help_text=_l("Needed for “other”."),
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class MarkForm(SheetForm):
    """The next mark of a make: what is read with it, and when, if not now."""

    what = forms.ChoiceField(label=_l("Mark"), choices=VatMark.What.choices)
    happened_at = MomentField(label=_l("At"), required=False)
    celsius = NumberField(label=_l("°C"), required=False, max_digits=4, decimal_places=1)
    acidity = NumberField(label=_l("Acidity, °SH"), required=False, max_digits=5, decimal_places=2)
    remark = forms.CharField(label=_l("Remark"), required=False, max_length=200)
