"""The search in the head of every page finds wheels, vats, lots and tanks."""

from datetime import timedelta

import pytest

from config.find import find
from tests.factories import milk

pytestmark = pytest.mark.django_db


@pytest.fixture
def vat():
    tank = milk.make_tank(name="B")
    milk.make_milking(tank=tank, at=milk.EVENING)
    made = milk.make_vat(at=milk.EVENING + timedelta(hours=12), number=17)
    milk.fill(made, tank=tank, kg=500)
    milk.make_wheel(vat=made, plate="0004711")
    return made


def labels(text):
    return {label: [title for title, _ in found] for label, found in find(text)}


@pytest.mark.parametrize(
    ("text", "label", "title"),
    [
        ("0004711", "Wheels", "wheel 0004711 of vat 2026-06-10/17"),
        ("wheel 00047", "Wheels", "wheel 0004711 of vat 2026-06-10/17"),
        ("2026-06-10/17", "Vats", "Vat 2026-06-10/17"),
        ("b-2026-06-09", "Milk lots", "Lot B-2026-06-09-E"),
        ("tank b", "Tanks", "Tank B"),
    ],
)
def test_what_people_type_is_found(vat, text, label, title):
    assert labels(text)[label] == [title]


@pytest.mark.parametrize("text", ["", "vat 1/2", "2026-99-99/1", "%", "9" * 60, "lot", "plate"])
def test_nonsense_finds_nothing_and_breaks_nothing(vat, text):
    assert not {"Wheels", "Vats", "Milk lots", "Tanks"} & set(labels(text))
