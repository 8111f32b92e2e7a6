"""Files about the herd: animals, groups and milk recordings."""

from collections.abc import Mapping
from datetime import datetime, time
from functools import partial
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from psycopg.types.range import TimestamptzRange

from config import cells, entries
from config.columns import DAY, Column, Row, differences
from config.copying import copy_rows
from config.days import estate_zone
from config.errors import Refused
from config.loading import Load, Loader, Option, Strange, given_once, moment_of, register
from herd.load_columns import (
    CONTENTS,
    COW,
    LACTATION,
    ON,
    SESSION,
    SEXES,
    ear_tag,
    electronic_number,
    kilos_column,
)
from herd.load_recordings import RecordingFile
from herd.models import Animal, Group, GroupStay
from herd.roster import Groups, Known, Roster
from herd.services import groups as group_services
from herd.services import withdrawals

DAY_BEGINS = time(0, 0)
USES = cells.known_words(Group.Use.choices)


class AnimalFile:
    """A list of animals, with the groups they stand in."""

    own = ("farm_number", "electronic_number", "sex", "born_on", "breed")

    def __init__(self, load: Load) -> None:
        self.load, self.roster, self.groups = load, Roster(), Groups()
        self.names = [name for name in self.own if name in load.headers]
        self.since = since_option(load)
        self.animals: Mapping[int, Animal] = Animal.objects.standing().in_bulk()
        stays = GroupStay.objects.standing().filter(during__contains=load.request.now)
        self.stands = {stay.animal_id: stay for stay in stays.select_related("group")}
        self.seen: dict[Any, int] = {}
        self.fresh: list[tuple[Animal, Group | None, datetime]] = []
        self.moved: list[int] = []

    def take(self) -> None:
        """Write the file."""
        self.load.judge(self.take_row)
        made = [animal for animal, _, _ in self.fresh]
        Animal.objects.bulk_create(made, batch_size=1000)
        stays = [
            {
                **self.load.columns(since),
                "animal_id": animal.pk,
                "group_id": group.pk,
                "during": TimestamptzRange(since, None),
            }
            for animal, group, since in self.fresh
            if group is not None
        ]
        copy_rows(GroupStay, stays)
        withdrawals.follow([animal.pk for animal in made])

    def take_row(self, row: Row) -> None:
        """Judge one row and do what it says. Raises Strange."""
        known = self.known(row)
        tag, number = row["ear_tag"], row["farm_number"]
        given_once(self.seen, known.id if known else tag, row, "ear_tag")
        if number:
            given_once(self.seen, ("number", number), row, "farm_number")
            self.check_number_free(number, known)
        group = self.groups.find("group", row["group"]) if row["group"] is not None else None
        since = self.load.moment(row, "since", DAY_BEGINS) if row["since"] else self.since
        if known:
            self.take_known(row, self.animals[known.id], group, since)
        else:
            self.take_new(row, group, since)

    def known(self, row: Row) -> Known | None:
        """The animal of a row; None for one that is new."""
        tag, number = row["ear_tag"], row["farm_number"]
        if tag:
            return next(iter(self.roster.called(tag)), None)
        if not number:
            raise Strange("ear_tag", _("an ear tag or a farm number"))
        if not self.roster.called(str(number)):
            raise Strange(
                "farm_number", _("an ear tag too: the number is new, and she needs her tag")
            )
        return self.roster.find("farm_number", str(number), self.load.request.now)

    def check_number_free(self, number: int, known: Known | None) -> None:
        """Refuse a farm number that another animal on the estate has. Raises Strange."""
        for other in self.roster.called(str(number)):
            if other is not known and other.left_at is None and other.farm_number == number:
                raise Strange(
                    "farm_number",
                    _("a number no other animal has; {ear_tag} has it").format(
                        ear_tag=other.ear_tag
                    ),
                    _("If that one has left, write so first; otherwise correct the number"),
                )

    def take_new(self, row: Row, group: Group | None, since: datetime) -> None:
        """An animal the herd does not have yet; without a word on it she came when she was born."""
        came = since
        for column in ("born_on", "arrived_on"):
            if row[column]:
                came = self.load.moment(row, column, DAY_BEGINS)
        said = {name: row[name] for name in self.names if row[name] is not None}
        animal = Animal(**self.load.columns(came), ear_tag=row["ear_tag"], **said)
        self.fresh.append((animal, group, max(came, since)))
        self.load.new(row)

    def take_known(self, row: Row, animal: Animal, group: Group | None, since: datetime) -> None:
        """An animal the herd has: the same, corrected, or moved."""
        found = differences(row, animal, self.names, blank_says_nothing=True)
        stay = self.stands.get(animal.pk)
        moves = group is not None and (stay is None or stay.group_id != group.pk)
        if not found and not moves:
            self.load.same()
            return
        told = (
            {**found, "group": (stay and (stay.group or stay.leaving), group)} if moves else found
        )
        if not self.load.changed(row, _("animal {animal}").format(animal=animal), told):
            return
        if found:
            values = {name: after for name, (_, after) in found.items()}
            entries.correct(
                animal,
                stamp=self.load.stamp(animal.happened_at),
                reason="quantity",
                words=self.load.words(),
                **values,
            )
        if moves:
            group_services.move_animal(stamp=self.load.stamp(since), animal=animal, group=group)


def since_option(load: Load) -> datetime:
    """From when on animals stand in the groups a file names; now, unless ``--since`` says."""
    said = load.option("since")
    if not said:
        return load.request.now
    reading = cells.Reading(load.request.now.astimezone(estate_zone()))
    try:
        day = cells.when(said, reading)
    except cells.CellError as error:
        raise Refused(
            _("--since {said}: expected {expected}.").format(said=said, expected=error.expected)
        ) from error
    assert day is not None
    return moment_of(day, DAY_BEGINS)


def take_groups(load: Load) -> None:
    """Write a list of groups."""
    known = Groups().by_number
    names = [name for name in ("name", "use") if name in load.headers]
    seen: dict[Any, int] = {}
    fresh: list[Group] = []

    def take_row(row: Row) -> None:
        given_once(seen, row["number"], row, "number")
        group = known.get(row["number"])
        if group is None:
            said = {name: row[name] for name in names if row[name] is not None}
            fresh.append(Group(**load.columns(load.request.now), number=row["number"], **said))
            load.new(row)
            return
        found = differences(row, group, names, blank_says_nothing=True)
        if not found:
            load.same()
        elif load.changed(row, str(group), found):
            values = {name: after for name, (_, after) in found.items()}
            stamp = load.stamp(group.happened_at)
            entries.correct(group, stamp=stamp, reason="quantity", words=load.words(), **values)

    load.judge(take_row)
    Group.objects.bulk_create(fresh)


ANIMALS = Loader(
    kind="animals",
    title=N_("a list of animals, with the group each stands in"),
    key="the ear tag, or without one the farm number",
    columns=(
        Column(name="ear_tag", names=("tag", "ear tag number"), read=ear_tag),
        Column(
            name="farm_number",
            names=("number", "cow", "cow number", "animal"),
            read=partial(cells.whole, least=1, most=9999),
        ),
        Column(name="electronic_number", names=("electronic tag",), read=electronic_number),
        Column(name="sex", read=partial(cells.choice, words=SEXES)),
        Column(
            name="born_on", names=("born", "birth date", "date of birth"), read=cells.day, looks=DAY
        ),
        Column(name="breed", read=partial(cells.remark, longest=8)),
        Column(name="group", names=("group number",), read=partial(cells.whole, most=32_767)),
        Column(name="since", names=("in group since",), read=cells.when, looks=DAY),
        Column(
            name="arrived_on",
            names=("arrived", "arrival", "bought on"),
            read=cells.when,
            looks=DAY,
        ),
    ),
    either=(("ear_tag", "farm_number"),),
    options=(Option(name="since", help=N_("from which day on the animals stand in their groups")),),
    take=lambda load: AnimalFile(load).take(),
)
GROUPS = Loader(
    kind="groups",
    title=N_("the groups of the estate"),
    key="the number",
    columns=(
        Column(
            name="number",
            names=("group", "group number"),
            read=partial(cells.whole, most=32_767),
            required=True,
        ),
        Column(name="name", read=partial(cells.remark, longest=60)),
        Column(name="use", names=("used for",), read=partial(cells.choice, words=USES)),
    ),
    take=take_groups,
)
RECORDINGS = Loader(
    kind="recordings",
    title=N_("milk recordings of single cows"),
    key="the animal, the day and, where it is given, the milking",
    columns=(
        COW,
        ON,
        SESSION,
        Column(name="time", names=("at", "hour"), read=cells.clock),
        LACTATION,
        kilos_column("milk_kg", "milk", "yield", bare=True),
        kilos_column("evening_kg", N_("evening milk"), "evening"),
        kilos_column("morning_kg", N_("morning milk"), "morning"),
        *CONTENTS,
        Column(
            name="bottle",
            names=("bottle number", "sample", "sample number"),
            read=partial(cells.tag, longest=20),
        ),
    ),
    take=lambda load: RecordingFile(load).take(),
)
register((ANIMALS, GROUPS, RECORDINGS))
