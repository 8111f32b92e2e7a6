"""Several animals of a group moved at once, and an animal that arrives."""

from copy import deepcopy
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.forms.entries import EntryForm, SheetForm, form_of
from config.forms.fields import EntryText, MomentField
from config.language import once_a_language
from herd.models import Animal, Group
from herd.withheld import Answer

TICK_ONE = _l("Tick the animals that move; nobody is ticked.")
ARRIVAL_FIELDS = (
    "ear_tag",
    "farm_number",
    "electronic_number",
    "sex",
    "born_on",
    "breed",
    "arrived_from",
    "marks",
)


class MoveForm(SheetForm):
    """Who of a group moves, where to and when."""

    happened_at = MomentField(label=_l("Moved at"), initial=timezone.now)
    group = EntryText(Group, label=_l("To group"))
    note = forms.CharField(label=_l("Why"), max_length=120, required=False)
    animals = forms.MultipleChoiceField(
        label=_l("Who moves"),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": TICK_ONE},
    )

    def __init__(self, *args: Any, answers: list[Answer], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["animals"]
        assert isinstance(field, forms.MultipleChoiceField)
        field.error_messages["required"] = TICK_ONE
        field.choices = [(str(one.uuid), self.words(one)) for one in answers]

    @staticmethod
    def words(answer: Answer) -> str:
        """An animal as its box says it."""
        return f"{answer.name}, {_(answer.word)}" if answer.is_milked else answer.name

    def moved(self) -> list[Animal]:
        """The animals that were ticked."""
        return list(Animal.objects.standing().filter(uuid__in=self.cleaned_data["animals"]))


@once_a_language
def arrival_form() -> type[EntryForm]:
    """The form of an arrival: an animal, and the group she is put into."""
    animal, stay = form_of("animals").base_fields, form_of("group-stays").base_fields
    fields = {
        "happened_at": deepcopy(animal["happened_at"]),
        **{name: deepcopy(animal[name]) for name in ARRIVAL_FIELDS},
        "group": deepcopy(stay["group"]),
        "note": deepcopy(stay["note"]),
    }
    for name in ("ear_tag", "electronic_number"):
        # As people read it from a paper, with spaces; the service says what is wrong with it.
        fields[name] = forms.CharField(
            label=animal[name].label,
            required=animal[name].required,
            max_length=30,
            widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
        )
    fields["happened_at"].label = _("Arrived at")
    fields["group"].label, fields["group"].required = _("Put into group"), True
    fields["note"].label = _("The paper that came with her")
    described = {"describes": form_of("animals").describes}
    return type("ArrivalForm", (EntryForm,), {**described, **fields})
