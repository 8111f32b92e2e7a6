"""Forms of the pages that take files in."""

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.forms.entries import SheetForm, speak
from config.loading import all_loaders

WORDS = {
    "dmy": N_("the day first (31/01/2024)"),
    "mdy": N_("the month first (01/31/2024)"),
    "comma": N_("the comma begins the decimals (1,234 is little more than 1)"),
    "point": N_("the point begins the decimals (1.234 is little more than 1)"),
    "thousands": N_("thousands per ml (a healthy cow has about 100)"),
    "units": N_("single cells per ml (a healthy cow has about 100,000)"),
    "unit plate=thousands": N_("thousands per ml (clean milk has about 10)"),
    "unit plate=units": N_("single bacteria per ml (clean milk has about 10,000)"),
    "kg": "kilograms",
    "g": "grams",
    "l": "litres",
    "t": "tonnes",
}


class UploadForm(SheetForm):
    """Choose what a file holds, and the file."""

    kind = forms.ChoiceField(label=_l("What the file holds"))
    file = forms.FileField(
        label=_l("File"),
        allow_empty_file=True,
        help_text=_l(
            "A table in CSV, as a spreadsheet saves it. Nothing is taken before you say so."
        ),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        loaders = all_loaders()
        kinds = self.fields["kind"]
        assert isinstance(kinds, forms.ChoiceField)
        kinds.choices = [("", _("choose")), *((each.kind, _(each.title)) for each in loaders)]
        self.own: dict[str, set[str]] = {
            each.kind: {option.name for option in each.options} for each in loaders
        }
        for loader in loaders:
            for option in loader.options:
                self.fields.setdefault(
                    option.name,
                    forms.CharField(
                        label=_(option.name.capitalize()),
                        required=False,
                        max_length=40,
                        help_text=_("For {kind}: {help}.").format(
                            kind=loader.kind, help=_(option.help)
                        ),
                    ),
                )

    def options(self) -> dict[str, str]:
        """What was said for the options that go with the chosen kind."""
        own = self.own[self.cleaned_data["kind"]]
        return {name: self.cleaned_data[name] for name in own if self.cleaned_data[name]}


def answer_said(option: str, answer: str) -> str:
    """An answer as the page offers it; what is usual differs by what was measured."""
    return _(WORDS.get(f"{option}={answer}") or WORDS.get(answer, answer))


class AnswersForm(SheetForm):
    """What the file does not tell by itself, one choice for each."""

    def __init__(self, questions: Iterable[Mapping[str, Any]], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for question in questions:
            self.fields[question["option"]] = forms.ChoiceField(
                label=question["words"],
                choices=[
                    (answer, answer_said(question["option"], answer))
                    for answer in question["answers"]
                ],
                widget=forms.RadioSelect,
            )
            speak(self.fields[question["option"]])


class TakeForm(SheetForm):
    """The word to take a file, and what to do with rows that are not plainly new."""

    take_changed = forms.BooleanField(
        label=_l("Write the changed rows again"),
        required=False,
        help_text=_l("The old wording is struck and stays readable."),
    )
    skip_strange = forms.BooleanField(
        label=_l("Leave the strange rows out"),
        required=False,
        help_text=_l("Otherwise nothing of the file is taken while one of its rows is strange."),
    )

    def __init__(self, report: Mapping[str, Any], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not report.get("changed"):
            del self.fields["take_changed"]
        if not report.get("strange"):
            del self.fields["skip_strange"]
