"""Files of single cows' milkings, as meters and recording offices give them.

A row is a meter row (CowMilking) of its group's milking, and a Recording besides when contents were
measured. A cow that stands twice at one milking (two times of day, or two lactation numbers) has a
second row in a further milking of the group, so that nothing of the file is lost.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.columns import Row
from config.copying import copy_rows
from config.loading import Load, Strange, day_of, given_once, moment_of
from herd.load_recordings import replace_recording, write_recordings
from herd.models import Animal, Group, Recording
from herd.roster import USUAL_STARTS, Groups, Known, Roster, Starts, Stays
from milk.meter_rows import (
    RECORDED,
    Here,
    Key,
    Reading,
    Target,
    complete_milkings,
    contents_of,
    kilos,
    may_be,
    meter_rows,
    order,
    recordings_between,
    seconds_after,
    session_of,
)
from milk.models import CowMilking, Milking, Tank
from milk.services import cow_rows, lots, milkings
from milk.services.arrivals import note_arrival
from milk.services.flowing import milk_moved

GRAMS_PER_KG = 1000
LONGEST_WHY = 120
NO_GROUP = N_("an animal that stood in a group on that day")
NAME_GROUP = N_("Say the group with --group, or write her stay first")
SEVERAL_TANKS = N_("one tank: {group} has milkings into several tanks then")
NAME_TANK = N_("Say the tank with --tank, or in a column “tank”")
OTHER_GROUP = N_("the group it was taken with, {old}, not {new}")
LOOK_UP = N_("Correct the group, or strike that milking first")
ROWS_ADDED = N_("meter rows of the whole group came with {file}")
PART_OF_GROUP = N_(
    "{n} milkings count as without meters still: the file does not hold every cow that stood there"
)
ASSUMED_START = N_("no planned start is written for {n} milkings: 05:00 and 16:30 were used")
FURTHER = N_(
    "{n} further milkings hold rows of cows that stand twice at one milking (another lactation "
    "number or time): nothing of the file is left out"
)
NOT_MEASURED = N_("{n} rows without a weight: kept as not measured")


class MilkingFile:
    """Single cows' milkings, on their way into the book."""

    def __init__(self, load: Load) -> None:
        self.load, self.roster, self.groups, self.starts = load, Roster(), Groups(), Starts()
        self.tanks: dict[str, Tank] = {
            tank.name.casefold(): tank for tank in Tank.objects.standing()
        }
        self.group: Group | None = (
            self.groups.find("--group", load.option("group")) if load.option("group") else None
        )
        self.tank = self.find_tank("--tank", load.option("tank")) if load.option("tank") else None
        self.numbers: dict[int, Group] = {
            group.pk: group for group in self.groups.by_number.values()
        }
        self.compared = [name for name in RECORDED if name in load.headers]
        self.readings: list[Reading] = []
        self.seen: dict[Any, int] = {}
        self.stays: Stays | None = None
        self.targets: dict[Key, list[Target]] = defaultdict(list)
        self.here: dict[Key, list[Here]] = defaultdict(list)
        self.recordings: list[dict[str, Any]] = []
        self.touched: set[int] = set()

    def take(self) -> None:
        """Write the file."""
        if self.group is None and "group" not in self.load.headers:
            self.stays = Stays(set(self.roster.animals))
        self.load.judge(self.look_up)
        self.read_book()
        by_key: dict[Key, list[Reading]] = defaultdict(list)
        for reading in self.readings:
            by_key[reading.key].append(reading)
        for key, readings in by_key.items():
            self.sort_out(readings, self.here[key])
        self.write()

    def look_up(self, row: Row) -> None:
        """Find the animal, group and tank a row names. Raises Strange."""
        day, session = day_of(row["date"]), session_of(row)
        timed = row["time"] is not None or isinstance(row["date"], datetime)
        near = self.load.moment(row, "date", row["time"] or self.starts.usual(session))
        animal = self.roster.find("animal", row["animal"], near)
        group = self.group_of(row, animal, near)
        tank = self.find_tank("tank", row["tank"]) if row["tank"] else self.tank
        at = near if timed else None
        given_once(self.seen, (animal.id, day, session, at, row["lactation"]), row, "animal")
        self.readings.append(
            Reading(
                row=row,
                animal=animal,
                group_id=group.pk,
                tank_id=tank.pk if tank else None,
                day=day,
                session=session,
                at=at,
                grams=None if row["milk_kg"] is None else int(row["milk_kg"] * GRAMS_PER_KG),
                goes=CowMilking.Goes.KEPT_OUT if row["kept_out"] else CowMilking.Goes.TANK,
                contents=contents_of(row, self.compared),
            )
        )

    def group_of(self, row: Row, animal: Known, at: datetime) -> Group:
        """The group a row belongs to. Raises Strange."""
        if row["group"] is not None:
            return self.groups.find("group", row["group"])
        if self.group is not None:
            return self.group
        if self.stays is None:
            self.stays = Stays(set(self.roster.animals))
        group = self.numbers.get(self.stays.group_at(animal.id, at) or 0)
        if group is None:
            raise Strange("animal", _(NO_GROUP), _(NAME_GROUP))
        return group

    def find_tank(self, column: str, name: str) -> Tank:
        """The tank of this name. Raises Strange naming those there are."""
        text = name.casefold().removeprefix("tank ").strip()
        if text not in self.tanks:
            names = ", ".join(tank.name for tank in self.tanks.values()) or _("none yet")
            raise Strange(
                column,
                _("a tank of the estate (there are: {names})").format(names=names),
                found=name,
            )
        return self.tanks[text]

    def read_book(self) -> None:
        """Read what is in the book about the days of the file."""
        if not self.readings:
            return
        days = [reading.day for reading in self.readings]
        span = (min(days), max(days))
        known = Milking.objects.standing().filter(day__range=span).order_by("happened_at")
        by_pk: dict[int, Target] = {}
        for milking in known.filter(group__in={reading.group_id for reading in self.readings}):
            target = Target(milking.happened_at, milking.tank_id, milking)
            self.targets[milking.group_id, milking.day, milking.session].append(target)
            by_pk[milking.pk] = target
        animals = {reading.animal.id for reading in self.readings}
        recordings = recordings_between(span, animals)
        for here, day, session, start in meter_rows(span, animals):
            self.here[here.animal_id, day, session].append(here)
            if here.milking_id in by_pk:
                by_pk[here.milking_id].animals.add(here.animal_id)
            here.recording = recordings.get((here.animal_id, start, session), {})

    def sort_out(self, readings: list[Reading], here: list[Here]) -> None:
        """Tell which rows of one cow at one milking are in the book already."""
        open_here = list(here)
        left = []
        for reading in readings:
            same = next((each for each in open_here if self.is_same(reading, each)), None)
            if same is None:
                left.append(reading)
            else:
                open_here.remove(same)
                self.load.same()
        for reading in sorted(left, key=order):
            old = next((each for each in open_here if may_be(reading, each)), None)
            if old is None:
                self.add(reading)
            else:
                open_here.remove(old)
                self.change(reading, old)

    def is_same(self, reading: Reading, here: Here) -> bool:
        """Whether the book says what the row says, word for word."""
        return may_be(reading, here) and not self.differences(reading, here)

    def differences(self, reading: Reading, here: Here) -> dict[str, tuple[Any, Any]]:
        """What a row says otherwise than the book: name -> (old, new)."""
        found: dict[str, tuple[Any, Any]] = {}
        if reading.group_id != here.group_id:
            found["group"] = (self.number(here.group_id), self.number(reading.group_id))
        if reading.grams != here.grams:
            found["milk_kg"] = (kilos(here.grams), kilos(reading.grams))
        if "kept_out" in self.load.headers and reading.goes != here.goes:
            found["kept_out"] = (bool(here.goes), bool(reading.goes))
        if here.recording or reading.contents:
            for name in self.compared:
                old, new = here.recording.get(name), reading.row[name]
                if old != new:
                    found[name] = (old, new)
        return found

    def number(self, group_id: int) -> str:
        return str(self.numbers.get(group_id, group_id))

    def add(self, reading: Reading) -> None:
        """A row the book does not have: into a milking of its group that lacks the cow."""
        slot = reading.group_id, reading.day, reading.session
        targets = self.targets[slot]
        if reading.tank_id is None and len({target.tank_id for target in targets}) > 1:
            words = _(SEVERAL_TANKS).format(group=self.number(reading.group_id))
            self.load.leave_out(reading.row, Strange("animal", words, _(NAME_TANK)))
            return
        fits = (
            target
            for target in targets
            if reading.animal.id not in target.animals
            and (reading.tank_id is None or reading.tank_id == target.tank_id)
        )
        target = next(fits, None) or self.open_target(slot, reading)
        target.animals.add(reading.animal.id)
        target.rows.append(reading)
        self.load.new(reading.row)
        if reading.grams is None:
            self.load.note(_(NOT_MEASURED))

    def open_target(self, slot: Key, reading: Reading) -> Target:
        """A further milking of a group; the first begins when it is planned."""
        group_id, day, session = slot
        planned = self.starts.planned(group_id, session, day)
        if planned is None:
            self.load.note(_(ASSUMED_START))
        start = moment_of(day, planned or USUAL_STARTS[session])
        targets = self.targets[slot]
        if targets and reading.tank_id in {target.tank_id for target in targets}:
            self.load.note(_(FURTHER))
        if reading.at is not None and (not targets or reading.at > targets[-1].start):
            start = reading.at if targets else min(start, reading.at)
        taken = {target.start for target in targets}
        while start in taken:
            start += timedelta(minutes=1)
        target = Target(start, reading.tank_id)
        targets.append(target)
        return target

    def change(self, reading: Reading, here: Here) -> None:
        """A row the book has with other values: struck and written again when that is wanted."""
        found = self.differences(reading, here)
        if "group" in found:
            old, new = found["group"]
            self.load.leave_out(
                reading.row, Strange("animal", _(OTHER_GROUP).format(old=old, new=new), _(LOOK_UP))
            )
            return
        who = f"{reading.animal}, {reading.day} {reading.session}"
        if not self.load.changed(reading.row, who, found):
            return
        milking = Milking.objects.get(pk=here.milking_id)
        if "milk_kg" in found or "kept_out" in found:
            goes = reading.goes if "kept_out" in self.load.headers else here.goes
            milkings.correct_meter(
                stamp=self.load.stamp(milking.happened_at),
                animal=Animal.objects.get(pk=here.animal_id),
                milking=milking,
                new_grams=reading.grams,
                new_goes=goes,
                why=self.load.words()[:LONGEST_WHY],
            )
        if here.recording or reading.contents:
            self.record_again(reading, here, milking.happened_at)

    def record_again(self, reading: Reading, here: Here, at: datetime) -> None:
        """Write the recording of a meter row again, or for the first time."""
        said = {name: reading.row[name] for name in self.compared}
        said["milk_kg"] = reading.row["milk_kg"]
        self.touched.add(here.animal_id)
        if here.recording:
            old = Recording.objects.get(pk=here.recording["id"])
            replace_recording(self.load, old, said)
        else:
            self.recordings.append(self.recording(reading, self.load.columns(at)))

    def write(self) -> None:
        """Write everything that is new, and what follows from it."""
        targets = [each for slot in self.targets.values() for each in slot if each.rows]
        fresh = [target for target in targets if target.milking is None]
        for target in fresh:
            target.milking = self.milking(target)
        Milking.objects.bulk_create([target.written for target in fresh], batch_size=1000)
        further = [target for target in targets if target not in fresh]
        parts = {target.pk: cow_rows.parts_of(target.written) for target in further}
        # Rows of one milking lie together.
        targets.sort(key=lambda target: target.pk)
        copy_rows(
            CowMilking,
            (
                self.meter_row(target, reading, parts.get(target.pk, ()))
                for target in targets
                for reading in target.rows
            ),
        )
        note_arrival(
            (reading.animal.id, target.pk) for target in targets for reading in target.rows
        )
        for target in targets:
            stamp = self.load.columns(target.start)
            self.recordings += [
                self.recording(reading, stamp) for reading in target.rows if reading.contents
            ]
        write_recordings(self.recordings, self.touched)
        self.follow(fresh, further)

    def follow(self, fresh: list[Target], further: list[Target]) -> None:
        """What follows from rows that were written: weights of milkings, and lots of tanks."""
        complete = complete_milkings([target.pk for target in further])
        for target in further:
            if not target.written.metered and target.pk in complete:
                entries.correct(
                    target.written,
                    stamp=self.load.stamp(target.start),
                    reason="other",
                    words=_(ROWS_ADDED).format(file=self.load.request.file),
                    metered=True,
                )
            milkings.weigh_again(target.written)
            if target.pk not in complete and not target.written.metered:
                self.load.note(_(PART_OF_GROUP))
        tanks = {target.tank_id for target in fresh if target.tank_id}
        if tanks:
            lots.rebuild(
                tanks=Tank.objects.filter(pk__in=tanks),
                since=min(target.start for target in fresh if target.tank_id),
            )
        if fresh or further:
            milk_moved()

    def milking(self, target: Target) -> Milking:
        """The milking of rows that have none yet; it weighs what the meters say."""
        first = target.rows[0]
        return Milking(
            **self.load.columns(target.start),
            group_id=first.group_id,
            day=first.day,
            session=first.session,
            tank_id=target.tank_id,
            kg=kilos(target.grams()),
            metered=True,
        )

    def meter_row(
        self, target: Target, reading: Reading, parts: Sequence[tuple[float, int]]
    ) -> dict[str, Any]:
        """The meter row of a reading; its lot, where its milking has lots already."""
        seconds = seconds_after(target.start, reading.at)
        return {
            "animal_id": reading.animal.id,
            "milking_id": target.pk,
            "lot_id": cow_rows.lot_for(reading.goes, seconds, parts),
            "upload_id": self.load.upload.pk if self.load.upload else None,
            "grams": reading.grams,
            "at_s": seconds,
            "goes": int(reading.goes),
        }

    def recording(self, reading: Reading, stamp: Mapping[str, Any]) -> dict[str, Any]:
        """The recording that goes with a meter row."""
        return {
            **stamp,
            **reading.contents,
            "animal_id": reading.animal.id,
            "session": reading.session,
            "milk_kg": reading.row["milk_kg"],
        }
