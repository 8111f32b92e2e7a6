"""What the search finds of the feed."""

import pytest

from config.find import find
from feed.finders import fields, loads
from feed.models import ForageBatch
from tests.factories.feed import make_batch, make_field

pytestmark = pytest.mark.django_db


def found(text: str) -> dict[str, list[str]]:
    return {label: [title for title, _ in rows] for label, rows in find(text)}


def test_load_by_its_number() -> None:
    batch = make_batch(make_field("Mill Field"))
    for text in (str(batch.pk), f"load {batch.pk}", f"Load {batch.pk}"):
        assert found(text)["Loads"] == [str(batch)]


def test_field_and_its_loads_by_name() -> None:
    batch = make_batch(make_field("Mill Field"))
    assert found("mill") == {"Loads": [str(batch)], "Fields": ["Mill Field"]}


@pytest.mark.parametrize("text", ["99999999999999", "²", "0", "-1", "'; --", "x" * 100])
def test_nothing_is_found_by_odd_words(text: str) -> None:
    make_batch(make_field("Mill Field"))
    assert [*loads(text), *fields(text)] == []


def test_load_is_named_on_forms_as_people_call_it() -> None:
    batch = make_batch()
    for text in (str(batch), f"load {batch.pk}", f"{batch.pk}"):
        assert ForageBatch.find(text) == batch
    with pytest.raises(ValueError, match="invalid literal"):
        ForageBatch.find("grass")
    with pytest.raises(ForageBatch.DoesNotExist):
        ForageBatch.find("load 0")
