"""A dry-off of one cow, a round of checks, and who an unknown cow is."""

from copy import deepcopy
from typing import Any
from uuid import UUID

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.forms.entries import EntryForm, SheetForm, form_of
from config.forms.fields import MomentField
from config.language import once_a_language
from herd.models import Animal, PregnancyCheck
from herd.services.checks import Looked
from herd.walk import Row

DAYS_ALONE = N_("Say what was found of her, or clear the days.")
BY_RULE = N_("Left blank it is {tubes}, by the estate's rule for a cow.")
NO_RULE = N_("No rule says how many a cow takes: count them.")
NOTHING_SAID = N_("Nothing is said of any cow yet.")


def part_of(slug: str, *left_out: str) -> type[EntryForm]:
    """The form of a kind without some of its fields, which the page knows."""
    base = form_of(slug)
    fields = {
        name: deepcopy(field) for name, field in base.base_fields.items() if name not in left_out
    }
    return type(f"Part{base.__name__}", (EntryForm,), {"describes": base.describes, **fields})


@once_a_language
def dry_off_form() -> type[EntryForm]:
    """The form of a dry-off; the page knows the cow."""
    return part_of("dry-offs", "animal")


def say_how_many(tubes: forms.Field, by_rule: int | None) -> None:
    """Say how many tubes are counted when none are typed."""
    tubes.help_text = _(BY_RULE).format(tubes=by_rule) if by_rule else _(NO_RULE)
    tubes.widget.attrs["placeholder"] = str(by_rule or "")


@once_a_language
def known_form() -> type[EntryForm]:
    """The form that says who an unknown cow is; the page knows which unknown cow."""
    return part_of("cows-known-again", "unknown")


class ChecksForm(SheetForm):
    """A round of pregnancy checks: one way of looking, a result for each cow that was seen."""

    happened_at = MomentField(label=_l("Checked at"), initial=timezone.now)
    way = forms.ChoiceField(label=_l("How"), choices=PregnancyCheck.Way.choices)

    def __init__(self, *args: Any, rows: list[Row], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.cows = rows
        for row in rows:
            result = forms.ChoiceField(
                label=_("Found in {row}").format(row=row.name),
                choices=(("", _("not seen")), *PregnancyCheck.Result.choices),
                required=False,
            )
            days = forms.IntegerField(
                label=_("Days in calf of {row}").format(row=row.name),
                required=False,
                min_value=20,
                max_value=300,
                widget=forms.TextInput(attrs={"inputmode": "numeric", "size": 4}),
            )
            self.fields |= {f"result_{row.uuid}": result, f"days_{row.uuid}": days}

    def head_fields(self) -> list[Any]:
        """The fields that hold for the whole round."""
        return [self["happened_at"], self["way"]]

    def cow_rows(self) -> list[tuple[Row, Any, Any]]:
        """Each cow with the fields of her result."""
        return [(row, self[f"result_{row.uuid}"], self[f"days_{row.uuid}"]) for row in self.cows]

    def clean(self) -> dict[str, Any]:
        values: dict[str, Any] = super().clean() or self.cleaned_data
        for row in self.cows:
            if values.get(f"days_{row.uuid}") and not values.get(f"result_{row.uuid}"):
                self.add_error(f"result_{row.uuid}", _(DAYS_ALONE))
        if not self.errors and not any(values.get(f"result_{row.uuid}") for row in self.cows):
            self.add_error(None, _(NOTHING_SAID))
        return values

    def looked(self) -> list[Looked]:
        """What was found, of the cows that were seen."""
        seen: dict[UUID, Row] = {
            row.uuid: row for row in self.cows if self.cleaned_data[f"result_{row.uuid}"]
        }
        animals = Animal.objects.standing().filter(uuid__in=list(seen))
        return [
            Looked(
                animal,
                self.cleaned_data[f"result_{animal.uuid}"],
                self.cleaned_data[f"days_{animal.uuid}"],
            )
            for animal in animals
        ]
