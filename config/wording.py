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
from rest_framework import serializers

TOO_LITTLE = "%(show_value)s is too little. Expected at least %(limit_value)s."
TOO_MUCH = "%(show_value)s is too much. Expected at most %(limit_value)s."
WHOLE = "That is no whole number. Expected one such as 7."
TOO_LONG = "%(show_value)d letters are too many. Expected at most %(limit_value)d."
NO_TEXT = "There is a character in it that no text has. Type it again."
DIGITS = {
    "max_digits": "Too long a number. Expected at most %(max)s digits in all.",
    "max_decimal_places": "Expected at most %(max)s digits after the point.",
    "max_whole_digits": "Too long a number. Expected at most %(max)s digits before the point.",
}
ONE_OF = "“{{input}}” cannot be chosen. Expected one of {known}."
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


def words_of(column: Any, options: dict[str, Any]) -> dict[str, str]:
    """What the API says of a wrong value of a column, by code.

    The bounds of a column with words of its own in those words, a choice with what may be chosen.
    """
    words = {
        code: braced(str(validator.message))
        for code, bound in BOUNDS.items()
        for validator in column.validators
        if type(validator) is bound and validator.message != bound.message
    }
    if "choices" in options:
        known = ", ".join(str(value) for value, _ in column.flatchoices if value != "")
        words["invalid_choice"] = ONE_OF.format(known=braced(known))
    return words


def braced(words: str) -> str:
    """Words in which braces mean themselves."""
    return words.replace("{", "{{").replace("}", "}}")
