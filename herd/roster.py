"""Animals, groups and planned starts by what people call them, all at once, for whole files."""

from collections import defaultdict
from datetime import date, datetime, time
from itertools import chain

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.columns import nearest
from config.loading import Strange, shown
from herd.models import Animal, Group, GroupStay, MilkingTime, TagEvent
from herd.models.animals import called
from herd.tags import plain_tag

# Where nobody has written a group's planned start: usual hours, common practice.
USUAL_STARTS = {"M": time(5, 0), "E": time(16, 30)}
FARM_NUMBER_DIGITS = 4
LOAD_ANIMALS = N_("Load the animal first (load animals), or correct the number")


class Known:
    """An animal as a file can name it."""

    __slots__ = ("came_at", "ear_tag", "farm_number", "id", "left_at")

    def __init__(self, id_: int, ear_tag: str, farm_number: int | None, came_at: datetime) -> None:
        self.id, self.ear_tag, self.farm_number = id_, ear_tag, farm_number
        self.came_at: datetime = came_at
        self.left_at: datetime | None = None

    def was_here(self, at: datetime) -> bool:
        """Whether she had come and not yet left."""
        return self.came_at <= at and (self.left_at is None or at < self.left_at)

    def __str__(self) -> str:
        return called(self.farm_number, self.ear_tag)


class Roster:
    """Every standing animal by farm number and ear tag, replaced tags too."""

    def __init__(self) -> None:
        columns = ("id", "ear_tag", "farm_number", "happened_at")
        rows = Animal.objects.standing().order_by("id").values_list(*columns)
        self.animals = {row[0]: Known(*row) for row in rows}
        self._named: dict[str, list[Known]] = defaultdict(list)
        for animal in self.animals.values():
            self._add(animal.ear_tag, animal)
            if animal.farm_number:
                self._add(str(animal.farm_number), animal)
        tags = TagEvent.objects.standing().exclude(new_tag="")
        for animal_id, tag in tags.values_list("animal_id", "new_tag"):
            if animal_id in self.animals:
                self._add(tag, self.animals[animal_id])
        left = GroupStay.objects.standing().filter(group=None)
        for animal_id, moment in left.values_list("animal_id", "happened_at"):
            if animal_id in self.animals:
                self.animals[animal_id].left_at = moment
        self._nearest: dict[str, list[str]] = {}

    def _add(self, name: str, animal: Known) -> None:
        for key in {name, bare(name)}:
            if animal not in self._named[key]:
                self._named[key].append(animal)

    def called(self, text: str) -> list[Known]:
        """Every animal with this name, whenever it was here."""
        tag = plain_tag(text)
        return self._named.get(tag) or self._named.get(bare(tag)) or []

    def find(self, column: str, text: str, at: datetime) -> Known:
        """The animal that was called ``text`` at a moment. Raises Strange."""
        found = self.called(text)
        here = [animal for animal in found if animal.was_here(at)] if len(found) > 1 else found
        if not found:
            raise Strange(
                column,
                _("an animal of the herd{guess}").format(guess=self.guess(text)),
                _(LOAD_ANIMALS),
            )
        if len(here) != 1:
            raise Strange(
                column,
                _("a number that one animal has; {count} are called so").format(count=len(found)),
                _("Name her by her ear tag"),
            )
        if here[0].left_at is not None and at >= here[0].left_at:
            raise Strange(
                column,
                _("an animal that was here; she left on {left_at}").format(
                    left_at=shown(here[0].left_at)
                ),
                _("Correct the number or the date"),
            )
        return here[0]

    def guess(self, text: str) -> str:
        """The numbers most like an unknown one, in brackets."""
        tag = plain_tag(text)
        if tag not in self._nearest:
            length = len(tag)
            likely = [name for name in self._named if abs(len(name) - length) <= 1]
            self._nearest[tag] = nearest(tag, likely)
        near = self._nearest[tag]
        return _(" (nearest: {each})").format(each=", ".join(near)) if near else ""


def bare(name: str) -> str:
    """A number without the zeros in front, which spreadsheets drop."""
    return name.lstrip("0") or "0" if name.isdigit() else name


class Groups:
    """The standing groups by number."""

    def __init__(self) -> None:
        self.by_number: dict[int, Group] = {
            group.number: group for group in Group.objects.standing()
        }

    def find(self, column: str, number: int | str) -> Group:
        """The group with this number. Raises Strange naming those there are."""
        text = str(number).lower().removeprefix("group").strip()
        group = self.by_number.get(int(text)) if text.isdecimal() else None
        if group is None:
            numbers = ", ".join(str(known) for known in sorted(self.by_number)) or _("none yet")
            raise Strange(
                column,
                _("a group of the estate (there are: {numbers})").format(numbers=numbers),
                _("Load the group first (load groups), or correct the number"),
                found=str(number),
            )
        return group


class Stays:
    """In which group each of some animals stood when."""

    def __init__(self, animal_ids: set[int]) -> None:
        self._stays: dict[int, list[tuple[datetime, int | None]]] = defaultdict(list)
        rows = GroupStay.objects.standing().filter(animal__in=animal_ids).order_by("happened_at")
        for animal_id, since, group_id in rows.values_list("animal_id", "happened_at", "group_id"):
            self._stays[animal_id].append((since, group_id))

    def group_at(self, animal_id: int, at: datetime) -> int | None:
        """Number (id) of the group she stood in; None when in none."""
        held = None
        for since, group_id in self._stays[animal_id]:
            if since > at:
                break
            held = group_id
        return held


class Starts:
    """When milkings are planned to begin, by group, session and day."""

    def __init__(self) -> None:
        self._times: dict[tuple[int, str], list[tuple[date, time]]] = defaultdict(list)
        rows = MilkingTime.objects.standing().order_by("valid_from")
        for group_id, session, since, starts in rows.values_list(
            "group_id", "session", "valid_from", "starts"
        ):
            self._times[group_id, session].append((since, starts))

    def planned(self, group_id: int, session: str, day: date) -> time | None:
        """The planned start of a group's milking on a day; None when nobody wrote one."""
        found = None
        for since, starts in self._times[group_id, session]:
            if since > day:
                break
            found = starts
        return found

    def usual(self, session: str) -> time:
        """The hour by which to tell in which group an animal stood: the latest planned start."""
        known = [
            starts for (_, of), rows in self._times.items() if of == session for _, starts in rows
        ]
        return max(chain(known, [USUAL_STARTS[session]]))
