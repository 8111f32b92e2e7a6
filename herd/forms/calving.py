"""A calving and its calves as one form."""

from collections.abc import Iterator
from copy import deepcopy
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.forms.entries import EntryForm, form_of
from config.language import once_a_language
from herd.models import Animal
from herd.services.calvings import MOST_CALVES, Born

CALF_FIELDS = ("sex", "alive", "ear_tag", "weight_kg", "colostrum_l", "colostrum_hours")
CALVING_FIELDS = ("ease", "abortion", "afterbirth_ok")
SEX_MISSING = N_("Say whether this calf is male or female, or clear what else is said of it.")
NO_CALF = N_("Say the sex of each calf. If there was none to see, tick “abortion”.")


class CalvingForm(EntryForm):
    """The dam's calving, and up to three calves."""

    def calf_rows(self) -> Iterator[tuple[int, list[Any]]]:
        """The fields of each calf, by its number."""
        for number in range(1, MOST_CALVES + 1):
            yield number, [self[f"calf_{number}_{name}"] for name in CALF_FIELDS]

    def own_fields(self) -> list[Any]:
        """The fields of the calving itself."""
        return [self[name] for name in ("happened_at", *CALVING_FIELDS, "calf_group")]

    def clean(self) -> dict[str, Any]:
        values = super().clean()
        named = [number for number in range(1, MOST_CALVES + 1) if self.is_said(values, number)]
        for number in named:
            if not values.get(f"calf_{number}_sex"):
                self.add_error(f"calf_{number}_sex", _(SEX_MISSING))
        if not named and not values.get("abortion"):
            self.add_error("calf_1_sex", _(NO_CALF))
        return values

    def is_said(self, values: dict[str, Any], number: int) -> bool:
        """Whether anything is said of a calf."""
        said = (name for name in CALF_FIELDS if name != "alive")
        return any(values.get(f"calf_{number}_{name}") not in (None, "") for name in said)

    def calving_values(self) -> dict[str, Any]:
        """What is said of the calving."""
        values = {name: self.cleaned_data[name] for name in CALVING_FIELDS}
        return {**values, "calf_group": self.cleaned_data["calf_group"]}

    def born(self) -> list[Born]:
        """The calves."""
        return [
            Born(**{name: self.cleaned_data[f"calf_{number}_{name}"] for name in CALF_FIELDS})
            for number in range(1, MOST_CALVES + 1)
            if self.is_said(self.cleaned_data, number)
        ]


@once_a_language
def calving_form() -> type[CalvingForm]:
    """The form; made when first asked for, because the kinds are known only then."""
    calving, calf = form_of("calvings").base_fields, form_of("calves").base_fields
    fields: dict[str, forms.Field] = {
        "happened_at": deepcopy(calving["happened_at"]),
        **{name: deepcopy(calving[name]) for name in CALVING_FIELDS},
        "calf_group": deepcopy(form_of("group-stays").base_fields["group"]),
    }
    fields["calf_group"].label = _("Group of the calves")
    fields["calf_group"].required = False
    for number in range(1, MOST_CALVES + 1):
        own = {
            "sex": forms.ChoiceField(
                label=_("Sex"), choices=(("", "none"), *Animal.Sex.choices), required=False
            ),
            "alive": forms.BooleanField(label=_("Alive"), required=False, initial=True),
            "ear_tag": forms.CharField(
                label=_("Ear tag"),
                max_length=30,
                required=False,
                widget=forms.TextInput(
                    attrs={"autocomplete": "off", "autocapitalize": "characters"}
                ),
            ),
            **{
                name: deepcopy(calf[name])
                for name in ("weight_kg", "colostrum_l", "colostrum_hours")
            },
        }
        fields |= {f"calf_{number}_{name}": field for name, field in own.items()}
    described = {"describes": form_of("calvings").describes}
    return type("CalvingWithCalvesForm", (CalvingForm,), {**described, **fields})
