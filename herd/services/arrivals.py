"""An animal comes to the estate: she is written and stands in a group in one act."""

from typing import Any

from django.db import transaction

from config.entries import Stamp
from herd.models import Animal, Group
from herd.services.animals import record_animal
from herd.services.groups import move_animal


@transaction.atomic
def arrive(*, stamp: Stamp, group: Group, note: str = "", **fields: Any) -> Animal:
    """An animal arrived and put into a group; both or nothing. Raises ValidationError by field."""
    animal = record_animal(stamp=stamp, **fields)
    move_animal(stamp=stamp.again(), animal=animal, group=group, note=note)
    return animal
