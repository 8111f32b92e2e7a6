"""Cows nobody could name: where one stands open, and who of the group she could be."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from herd.models import Animal, Calving, CowKnown, GroupStay, TagEvent, UnknownCow
from herd.seen import Milked, Seen, meters
from herd.withheld import Answer, withheld_list


@dataclass(frozen=True, slots=True)
class Candidate:
    """An animal of the group the unknown cow could be.

    ``tag_lost``: when she lost a tag that was not replaced since, None when she did not.
    ``last``: what she gave at the meter at her last milkings, the newest first.
    """

    answer: Answer
    animal: Animal
    tag_lost: datetime | None
    calved: datetime | None
    last: tuple[Milked, ...] = ()


@dataclass(frozen=True)
class Search:
    """Who an unknown cow could be, without those whom a meter has read at this milking."""

    candidates: list[Candidate]
    read: Seen

    @property
    def withheld(self) -> list[Candidate]:
        """Those of them whose milk may not go into the tank."""
        return [one for one in self.candidates if one.answer.withheld]


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


def search(cow: UnknownCow, named: frozenset[int] = frozenset()) -> Search:
    """Who she could be; ``named``: animals (ids) that people have seen with their tags."""
    read = meters().seen(cow.group, cow.happened_at)
    return Search(candidates(cow, read.animals | named), read)


def candidates(cow: UnknownCow, seen: frozenset[int] = frozenset()) -> list[Candidate]:
    """Who of her group she could be: the withheld first, then those that lost a tag.

    ``seen``: animals (ids) that were seen at this milking, and are left out. Read as of the moment
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
    last = meters().last(numbers, at)
    found = [
        Candidate(
            answer,
            animals[answer.animal_id],
            lost.get(answer.animal_id),
            next((one.happened_at for one in animals[answer.animal_id].calvings_by_then), None),
            tuple(last.get(answer.animal_id, ())),
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
