"""Forms about one's own access: passwords are asked again, and never shown again."""

from collections.abc import Sequence
from typing import Any, ClassVar

from django import forms
from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.access.passwords import check_again
from config.access.phones import check_pin_fit
from config.access.tokens import LONGEST_DAYS, USUAL_DAYS
from config.forms.entries import SheetForm

MAY_NOTHING = N_("Choose what the program may do; one thing is enough.")
NOT_THE_SAME = N_("The two were not the same. Nothing was changed.")
SAME_AS_BEFORE = N_("That is the password you have. Expected another one.")
# Longer than any sentence somebody remembers, and short enough to scramble in no time.
LONGEST = 200


def password_field(label: Any, *, new: bool = False, help_text: Any = "") -> forms.CharField:
    """A box for a password, with the word by which password managers know which it is."""
    return forms.CharField(
        label=label,
        max_length=LONGEST,
        strip=False,
        help_text=help_text,
        widget=forms.PasswordInput(
            attrs={"autocomplete": "new-password" if new else "current-password"}
        ),
    )


class AskedAgainForm(SheetForm):
    """Base of forms that change who somebody is to the book: their password is asked again."""

    password = password_field(_l("Your password"))
    # The password is asked last, but for the form that changes it.
    asked_last: ClassVar[bool] = True

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.user = user
        if self.asked_last:
            self.order_fields([*(name for name in self.fields if name != "password"), "password"])

    def clean(self) -> dict[str, Any]:
        """What was typed; the password is only looked at when the rest is whole."""
        cleaned = super().clean() or {}
        if not self.errors:
            # Raises TooOften, which is answered as a page of its own.
            check_again(self.user, cleaned["password"])
        return cleaned


class PasswordForm(AskedAgainForm):
    """Another password."""

    asked_last = False
    new = password_field(
        _l("The new password"),
        new=True,
        help_text=_l(
            "At least 12 characters; a few words that do not belong together are good. It holds "
            "until you change it."
        ),
    )
    again = password_field(_l("The new password again"), new=True)

    def clean(self) -> dict[str, Any]:
        """What was typed, once the old password is right and the new one is fit."""
        cleaned = super().clean()
        if self.errors:
            return cleaned
        if cleaned["new"] != cleaned["again"]:
            raise ValidationError({"again": _(NOT_THE_SAME)})
        if cleaned["new"] == cleaned["password"]:
            raise ValidationError({"new": _(SAME_AS_BEFORE)})
        try:
            validate_password(cleaned["new"], self.user)
        except ValidationError as refused:
            raise ValidationError({"new": refused.messages}) from refused
        return cleaned


def code_field(label: Any, help_text: Any = "") -> forms.CharField:
    """A box for a code of an app; phones offer what they have for it."""
    return forms.CharField(
        label=label,
        max_length=40,
        help_text=help_text,
        widget=forms.TextInput(
            attrs={"autocomplete": "one-time-code", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )


class CodeForm(SheetForm):
    """The code that is asked after the password."""

    code = code_field(
        _l("The code"), _l("Six figures from your app, or one of your recovery codes.")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # The only thing to be done there.
        self.fields["code"].widget.attrs["autofocus"] = True


class SetUpForm(AskedAgainForm):
    """The first code of a new app, so that it is known to work."""

    code = code_field(_l("The code that the app shows now"), _l("Six figures."))


def pin_field(label: Any, *, new: bool = False) -> forms.CharField:
    """A box for a PIN: figures only on the keyboard of a phone, and nobody reads along."""
    kind = "new-password" if new else "off"
    widget = forms.PasswordInput(
        attrs={"inputmode": "numeric", "autocomplete": kind, "pattern": "[0-9]*"}
    )
    return forms.CharField(label=label, max_length=LONGEST, widget=widget)


class PinForm(AskedAgainForm):
    """A PIN for shared phones."""

    pin = pin_field(_l("The PIN, 4 to 6 figures"), new=True)
    again = pin_field(_l("The PIN again"), new=True)

    def clean(self) -> dict[str, Any]:
        """What was typed, once the PIN is fit and the password right."""
        if "pin" in self.cleaned_data:
            check_pin_fit(self.cleaned_data["pin"])
        cleaned = super().clean()
        if not self.errors and cleaned["pin"] != cleaned["again"]:
            raise ValidationError({"again": _(NOT_THE_SAME)})
        return cleaned


class ByPinForm(SheetForm):
    """Who stands before a shared phone, and their PIN."""

    person = forms.TypedChoiceField(label=_l("Who are you?"), widget=forms.RadioSelect, coerce=int)
    pin = pin_field(_l("PIN"))

    def __init__(self, *args: Any, people: Sequence[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["person"]
        assert isinstance(field, forms.TypedChoiceField)
        field.choices = [(one.pk, one.get_full_name() or one.username) for one in people]


class PhoneForm(SheetForm):
    """Which phone is to be shared."""

    name = forms.CharField(
        label=_l("Which phone"), max_length=60, help_text=_l("As people call it: “parlour, red”.")
    )


class TokenForm(AskedAgainForm):
    """A token for a program: the least it needs, and not for longer than it needs it."""

    name = forms.CharField(label=_l("Which program"), max_length=60)
    acts = forms.MultipleChoiceField(
        label=_l("What it may do"), required=False, widget=forms.CheckboxSelectMultiple
    )
    kinds = forms.MultipleChoiceField(
        label=_l("Which entries it may write or strike"),
        required=False,
        widget=forms.SelectMultiple(attrs={"size": 8}),
        help_text=_l("None, unless you choose some; more than one with the control key."),
    )
    days = forms.IntegerField(
        label=_l("For how many days"), min_value=1, max_value=LONGEST_DAYS, initial=USUAL_DAYS
    )

    def __init__(self, *args: Any, choices: Sequence[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, of_kinds in (("acts", False), ("kinds", True)):
            field = self.fields[name]
            assert isinstance(field, forms.MultipleChoiceField)
            field.choices = [(code, words) for code, words in choices if (":" in code) == of_kinds]

    def clean(self) -> dict[str, Any]:
        """What was typed; a token that may do nothing is of no use."""
        if not self.errors and not (self.cleaned_data["acts"] or self.cleaned_data["kinds"]):
            raise ValidationError({"acts": _(MAY_NOTHING)})
        return super().clean()
