"""What the frameworks say of a wrong value, said as the book says it: what was expected."""

from typing import Any

from django.core.validators import (
    DecimalValidator,
    MaxLengthValidator,
    MaxValueValidator,
    MinValueValidator,
    ProhibitNullCharactersValidator,
)
from django.forms import IntegerField
from django.utils.functional import lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_
from django_stubs_ext import StrOrPromise
from rest_framework import serializers

TOO_LITTLE = _l("%(show_value)s is too little. Expected at least %(limit_value)s.")
TOO_MUCH = _l("%(show_value)s is too much. Expected at most %(limit_value)s.")
WHOLE = _l("That is no whole number. Expected one such as 7.")
TOO_LONG = _l("%(show_value)d letters are too many. Expected at most %(limit_value)d.")
NO_TEXT = _l("There is a character in it that no text has. Type it again.")
DIGITS: dict[str, Any] = {
    "max_digits": _l("Too long a number. Digits in all: at most %(max)s."),
    "max_decimal_places": _l("Too fine a number. Digits after the point: at most %(max)s."),
    "max_whole_digits": _l("Too large a number. Digits before the point: at most %(max)s."),
}
ONE_OF = N_("“{{input}}” cannot be chosen. Expected one of {known}.")
BOUNDS = {"min_value": MinValueValidator, "max_value": MaxValueValidator}


def speak_plainly() -> None:
    """Give bounds without words of their own ours, in models, forms and API alike; at start-up."""
    MinValueValidator.message = TOO_LITTLE
    MaxValueValidator.message = TOO_MUCH
    MaxLengthValidator.message = TOO_LONG
    ProhibitNullCharactersValidator.message = NO_TEXT
    DecimalValidator.messages = {**DecimalValidator.messages, **DIGITS}
    IntegerField.default_error_messages = {"invalid": WHOLE}
    serializers.IntegerField.default_error_messages |= {"invalid": WHOLE}
    for field in (serializers.DecimalField, serializers.IntegerField, serializers.FloatField):
        field.default_error_messages |= {"min_value": TOO_LITTLE, "max_value": TOO_MUCH}


def words_of(column: Any, options: dict[str, Any]) -> dict[str, StrOrPromise]:
    """What the API says of a wrong value of a column, by code, in the language it is said in.

    The bounds of a column with words of its own in those words, a choice with what may be chosen.
    """
    words: dict[str, StrOrPromise] = {
        code: braced_later(validator.message)
        for code, bound in BOUNDS.items()
        for validator in column.validators
        if type(validator) is bound and validator.message != bound.message
    }
    if "choices" in options:
        known = ", ".join(str(value) for value, _ in column.flatchoices if value != "")
        words["invalid_choice"] = one_of_later(known)
    return words


def braced(words: StrOrPromise) -> str:
    """Words in which braces mean themselves."""
    return str(words).replace("{", "{{").replace("}", "}}")


def one_of(known: str) -> str:
    """That a choice is none of those known."""
    return _(ONE_OF).format(known=braced(known))


# A field of the API is made once, and speaks the language of each request.
braced_later, one_of_later = lazy(braced, str), lazy(one_of, str)
