"""The form that gives one load, or one feed lot, to several groups at once."""

from decimal import Decimal
from typing import Any

from django import forms
from django.urls import reverse
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.forms.entries import SheetForm
from config.forms.fields import MomentField, NumberField
from config.templatetags.sheet import amount
from feed.board import fed_groups
from feed.models import FeedLot, ForageBatch
from feed.services.feedings import NO_SHARES
from herd.models import Group

# Stacks and deliveries offered; older ones are fed by the form of the kind.
LOTS_OFFERED = 40
NOTHING_TO_FEED = N_("Nothing with kilos left is in the book. Write a load or a feed lot first.")
LEFT = N_("{thing}: {left} kg left")


class FeedForm(SheetForm):
    """What, when, and the kilos of each group; a group left blank gets nothing."""

    of = forms.ChoiceField(label=_l("What"))
    happened_at = MomentField(label=_l("Fed at"), initial=timezone.now)
    weighed = forms.BooleanField(label=_l("Weighed (else a guess)"), required=False, initial=True)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.things = {str(thing.uuid): thing for thing in (*loads_left(), *lots_left())}
        self.groups = {f"kg_{group.number}": group for group in fed_groups(timezone.now())}
        # Without a network a load that waits on the phone may be fed as well.
        self.fields["of"].widget.attrs["data-offers"] = reverse("feed:cut")
        self.fields["of"].choices = choices_of(self.things)  # type: ignore[attr-defined]
        for name, group in self.groups.items():
            self.fields[name] = NumberField(
                label=capfirst(f"{group}, {group.get_use_display()}, kg"),
                required=False,
                min_value=Decimal("0.1"),
                max_digits=9,
                decimal_places=1,
            )

    def shares(self) -> list[tuple[Group, Decimal]]:
        """(group, kg) of every group that got something."""
        return [
            (group, self.cleaned_data[name])
            for name, group in self.groups.items()
            if self.cleaned_data.get(name) is not None
        ]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if not self.errors and not self.shares():
            self.add_error(None, _(NO_SHARES))
        return values

    def values(self) -> dict[str, Any]:
        """What ``record_feedings`` takes besides the stamp."""
        thing = self.things[self.cleaned_data["of"]]
        name = "batch" if isinstance(thing, ForageBatch) else "feed_lot"
        return {
            name: thing,
            "weighed": self.cleaned_data["weighed"],
            "shares": self.shares(),
        }


def loads_left() -> list[ForageBatch]:
    """Open loads, the soonest deadline first."""
    loads = ForageBatch.objects.open().with_left().select_related("field")
    return list(loads.order_by("deadline", "pk"))


def lots_left() -> list[FeedLot]:
    """The newest feed lots that have something left."""
    lots = FeedLot.objects.standing().with_left().filter(left_kg__gt=0)
    return list(lots.order_by("-happened_at", "-pk")[:LOTS_OFFERED])


def choices_of(things: dict[str, Any]) -> list[tuple[str, Any]]:
    """The loads and feed lots as choices in two groups."""
    named: dict[str, list[tuple[str, str]]] = {}
    for number, thing in things.items():
        label = _("Fresh grass") if isinstance(thing, ForageBatch) else _("Hay and meal")
        words = _(LEFT).format(thing=thing, left=amount(round(thing.left_kg)))
        named.setdefault(label, []).append((number, words))
    return [("", _("choose") if named else _(NOTHING_TO_FEED)), *named.items()]
