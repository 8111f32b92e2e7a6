"""What is said of a wrong value: what was expected, in our words, by page and API alike."""

from typing import Any

import pytest
from django.core.exceptions import ValidationError

from config.forms.fields import NumberField
from tests.cast import Api, user_in
from tests.feed.bodies import whole

pytestmark = pytest.mark.django_db


def told(slug: str, role: str, **wrong: Any) -> dict[str, str]:
    answer = Api(user_in(role)).post(f"/api/{slug}/", {**whole(slug), **wrong})
    assert answer.status_code == 400
    return {one["pointer"]: one["detail"] for one in answer.json()["errors"]}


def test_a_bound_says_what_was_expected() -> None:
    assert told("refusals", "feed hand", kg="-5") == {
        "#/kg": "-5.0 is too little. Expected at least 0.1."
    }
    assert told("dry-matter-samples", "feed hand", percent="99.5") == {
        "#/percent": "99.5 is too much. Expected at most 99."
    }


def test_a_bound_with_words_of_its_own_keeps_them() -> None:
    assert told("forage-batches", "feed hand", kg="-5", dry_matter="55") == {
        "#/kg": "A load weighs 500 to 15,000 kg. Split it, or look at the number again.",
        "#/dry_matter": "Fresh grass holds 8 to 40 % dry matter; hay and meal are feed lots.",
    }


def test_a_choice_names_what_may_be_chosen() -> None:
    words = told("discards", "feed hand", where_to="dry {cows}")["#/where_to"]
    assert words.startswith("“dry {cows}” cannot be chosen. Expected one of ")
    assert "manure heap" in words


def test_a_number_of_a_form_says_the_same() -> None:
    field = NumberField(label="kg", min_value=1, max_value=2)
    for text, words in (("0", "0 is too little. Expected at least 1."), ("3", "at most 2.")):
        with pytest.raises(ValidationError, match=words):
            field.clean(text)
