"""A cow in group 5 of the estate, the rules in force, and a tube with 84 h on its leaflet."""

from datetime import time

import pytest

from herd import reference
from herd.models import Animal, Group, Medicine, PeriodRule
from tests.factories.herd import (
    make_animal,
    make_group,
    make_medicine,
    make_milking_time,
    make_stamp,
    put_in_group,
)


@pytest.fixture
def rules(db):
    """The period rules every estate starts with, in one statement."""
    stamp = make_stamp()
    rows = [PeriodRule(**{**stamp.columns(), **rule}) for rule in reference.rules()]
    return PeriodRule.objects.bulk_create(rows)


@pytest.fixture
def group_3(db) -> Group:
    group = make_group(3, milked=False)
    make_milking_time(group, session="M", starts=time(4, 10), line="A")
    make_milking_time(group, session="E", starts=time(16, 10), line="A")
    return group


@pytest.fixture
def group_5(db) -> Group:
    return make_group(5)


@pytest.fixture
def dry_group(db) -> Group:
    return make_group(13, milked=False, use=Group.Use.DRY)


@pytest.fixture
def cow(rules, group_5) -> Animal:
    """Cow 1042 of group 5, milked 04:30 and 16:30."""
    animal = make_animal(1042)
    put_in_group(animal, group_5)
    return animal


@pytest.fixture
def tube(db) -> Medicine:
    return make_medicine(84, name="Tube A", leaflet_doses=3, leaflet_interval=12)
