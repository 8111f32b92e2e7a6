"""Cows nobody could name: where one stands open, and who of the group she could be."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from herd.models import Animal, Calving, CowKnown, GroupStay, TagEvent, UnknownCow
from herd.withheld import Answer, withheld_list


@dataclass(frozen=True, slots=True)
class Candidate:
    """An animal of the group the unknown cow could be.

    ``tag_lost``: when she lost a tag that was not replaced since, None when she did not.
    """

    answer: Answer
    animal: Animal
    tag_lost: datetime | None
    calved: datetime | None


def open_unknown(at: datetime, group: int | None = None) -> QuerySet[Any]:
    """Cows seen by ``at`` whom nobody had named by then; ``group``: number of the one group."""
    known = CowKnown.objects.standing().filter(unknown=OuterRef("pk"), happened_at__lte=at)
    found: QuerySet[Any] = (
        UnknownCow.objects.happened_by(at)
        .filter(~Exists(known))
        .select_related("group")
        .order_by("group__number", "happened_at", "pk")
    )
    return found if group is None else found.filter(group__number=group)


def candidates(cow: UnknownCow, seen: frozenset[int] = frozenset()) -> list[Candidate]:
    """Who of her group she could be: the withheld first, then those that lost a tag.

    ``seen``: animals (ids) that were seen with their tags, and are left out. Read as of the moment
    she was seen.
    """
    at = cow.happened_at
    answers = [
        answer
        for answer in withheld_list(at, group=cow.group.number)
        if answer.animal_id not in seen
    ]
    numbers = [answer.animal_id for answer in answers]
    lost = lost_tags(numbers, at)
    animals = Animal.objects.prefetch_related(
        Prefetch(
            "calvings",
            Calving.objects.happened_by(at).order_by("-happened_at"),
            to_attr="calvings_by_then",
        )
    ).in_bulk(numbers)
    found = [
        Candidate(
            answer,
            animals[answer.animal_id],
            lost.get(answer.animal_id),
            next((one.happened_at for one in animals[answer.animal_id].calvings_by_then), None),
        )
        for answer in answers
    ]
    return sorted(found, key=lambda one: (not one.answer.withheld, one.tag_lost is None))


def lost_tags(animals: list[int], at: datetime) -> dict[int, datetime]:
    """When animals (ids) lost a tag, of those that have no new one since."""
    newest = (
        TagEvent.objects.happened_by(at)
        .filter(animal__in=animals)
        .order_by("animal", "-happened_at", "-pk")
        .distinct("animal")
    )
    return {
        event.animal_id: event.happened_at for event in newest if event.what == TagEvent.What.LOST
    }


def stood_there(animal: Animal, cow: UnknownCow) -> bool:
    """Whether an animal stood in the group of an unknown cow when she was seen."""
    there = GroupStay.objects.at(cow.happened_at).filter(Q(group=cow.group_id), animal=animal)
    return bool(there.exists())
