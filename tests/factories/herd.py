"""The herd's cast for tests; every field can be overridden.

``make_…`` writes the row as it is, without the refusals of its service, and then computes what is
derived from it (stays, withdrawal periods, the validity of recordings), so that reads find what
they would find in life.
"""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from itertools import count
from typing import Any

from django.contrib.auth.models import Group as Role
from django.contrib.auth.models import User
from psycopg.types.range import TimestamptzRange

from config.entries import Entry, Stamp
from herd.models import (
    Animal,
    Calving,
    Course,
    CowTest,
    Dose,
    DryOff,
    Group,
    GroupStay,
    HealthEvent,
    Holding,
    Medicine,
    MedicineMove,
    MedicineVersion,
    MilkingTime,
    Recording,
    UnknownCow,
)
from herd.services import groups, recordings, touched, withdrawals

# A Tuesday in June, 12:00 on the estate's clock; far enough back for any clock a test runs on.
NOON = datetime(2026, 6, 2, 10, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
# From when on animals stand in their groups, medicines have their leaflet, groups their times.
LONG_AGO = NOON - 200 * DAY

number = count(1)
# Tags of tests begin here: the demo estate counts its own from 1, and both may be in one book.
OF_TESTS = 200_000_000_000


def make_user(role: str | None = "vet", **fields: Any) -> User:
    """A user with a role; ``role=None`` for somebody without one.

    The same role gives the same user, unless a name is given.
    """
    fields.setdefault("username", (role or "nobody").replace(" ", "-"))
    user, made = User.objects.get_or_create(username=fields.pop("username"), defaults=fields)
    if role and made:
        user.groups.add(Role.objects.get_or_create(name=role)[0])
    return user


def make_stamp(by: Any = None, at: datetime | None = None, **fields: Any) -> Stamp:
    """Who and when of an entry about ``at`` (default: NOON), written a minute later."""
    at = at or NOON
    fields.setdefault("written_at", at + timedelta(minutes=1))
    return Stamp.now(by or make_user(), at, **fields)


def make(model: type[Entry], at: datetime | None = None, by: Any = None, **fields: Any) -> Any:
    """An entry of any model, written as it is; entry columns and fields alike can be given."""
    at = fields.pop("happened_at", at)
    if "by" not in fields:
        fields["by"] = by or make_user()
    stamp = make_stamp(fields["by"], at)
    return model._default_manager.create(
        **{"received_at": stamp.written_at, **stamp.columns(), **fields}
    )


def make_holding(**fields: Any) -> Holding:
    """A holding with a name of its own."""
    fields.setdefault("name", f"Holding {next(number)}")
    holding: Holding = make(Holding, **fields)
    return holding


def make_animal(farm_number: int | None = None, **fields: Any) -> Animal:
    """A cow with a farm number, 5000 or more unless given, and an ear tag of the test code 999."""
    own = farm_number or next(number) % 5000 + 5000
    fields.setdefault("ear_tag", f"999{OF_TESTS + next(number):012d}")
    fields.setdefault("happened_at", LONG_AGO)
    animal: Animal = make(Animal, farm_number=own, **fields)
    return animal


def make_group(number_: int | None = None, *, milked: bool = True, **fields: Any) -> Group:
    """A group in milk, milked 04:30 and 16:30 into tank B unless ``milked`` is False."""
    fields.setdefault("number", number_ if number_ is not None else next(number) % 30000 + 100)
    fields.setdefault("happened_at", LONG_AGO)
    group: Group = make(Group, **fields)
    if milked:
        make_milking_time(group, session="M", starts=time(4, 30))
        make_milking_time(group, session="E", starts=time(16, 30))
    return group


def make_milking_time(group: Group | None = None, **fields: Any) -> MilkingTime:
    """Mornings 04:30 into tank B, for long."""
    fields.setdefault("session", "M")
    fields.setdefault("starts", time(4, 30))
    fields.setdefault("valid_from", date(2020, 1, 1))
    fields.setdefault("line", "B")
    fields.setdefault("happened_at", LONG_AGO)
    made: MilkingTime = make(MilkingTime, group=group or make_group(milked=False), **fields)
    return made


def put_in_group(
    animal: Animal, group: Group | None, since: datetime | None = None, **fields: Any
) -> GroupStay:
    """An animal moved to a group (or away, with ``leaving=``) since long, or a given moment."""
    stay: GroupStay = make(
        GroupStay,
        at=since or LONG_AGO,
        animal=animal,
        group=group,
        during=TimestamptzRange(empty=True),
        **fields,
    )
    groups.set_during([animal.pk])
    withdrawals.rebuild([animal.pk])
    stay.refresh_from_db()
    return stay


def make_medicine(
    milk_hours: Any = 84, *, valid_from: date = date(2020, 1, 1), **fields: Any
) -> Medicine:
    """A medicine with one version of its leaflet; fields of both can be given.

    ``milk_hours=None`` is a period nobody knows; ``valid_from=None`` makes no version at all.
    """
    columns = ("name", "actives", "form", "antimicrobial", "unit")
    own = {name: fields.pop(name) for name in columns if name in fields}
    own.setdefault("name", f"Medicine {next(number)}")
    medicine: Medicine = make(Medicine, at=LONG_AGO, **own)
    if valid_from is not None:
        # Nobody was treated with it yet: there is nothing to compute.
        version = {"milk_hours": milk_hours, "valid_from": valid_from, **fields}
        make(MedicineVersion, **version_fields(medicine, version))
    return medicine


def version_fields(medicine: Medicine, given: dict[str, Any]) -> dict[str, Any]:
    """The fields of a version of a leaflet, those not given filled in."""
    return {
        "medicine": medicine,
        "milk_hours": 84,
        "meat_days": 10,
        "valid_from": date(2020, 1, 1),
        "source": "leaflet, invented",
        "happened_at": LONG_AGO,
        **given,
    }


def make_version(medicine: Medicine, **fields: Any) -> MedicineVersion:
    """A version of a leaflet: 84 h milk and 10 days meat."""
    version: MedicineVersion = make(MedicineVersion, **version_fields(medicine, fields))
    withdrawals.rebuild(touched.treated_with(medicine))
    return version


def make_course(animal: Animal | None = None, **fields: Any) -> Course:
    """A course of one dose for an animal, planned at NOON."""
    fields.setdefault("diagnosis", "mastitis LF")
    fields.setdefault("dose", Decimal(1))
    fields.setdefault("doses", 1)
    fields.setdefault("interval_hours", 12)
    if "medicine" not in fields:
        fields["medicine"] = make_medicine()
    course: Course = make(Course, animal=animal or make_animal(), **fields)
    withdrawals.rebuild([course.animal_id])
    return course


def make_dose(course: Course | None = None, at: datetime | None = None, **fields: Any) -> Dose:
    """One dose of a course, given when the course starts unless a moment is given."""
    course = course or make_course()
    fields.setdefault("quantity", Decimal(1))
    fields.setdefault("quarter", "LF")
    dose: Dose = make(Dose, at=at or course.happened_at, course=course, **fields)
    withdrawals.rebuild([course.animal_id])
    return dose


def make_calving(dam: Animal | None = None, **fields: Any) -> Calving:
    """A calving at NOON, one calf alive."""
    calving: Calving = make(Calving, dam=dam or make_animal(), **fields)
    withdrawals.rebuild([calving.dam_id])
    return calving


def make_unknown_cow(group: Group | None = None, **fields: Any) -> UnknownCow:
    """A cow nobody could name, in a group."""
    made: UnknownCow = make(UnknownCow, group=group or make_group(), **fields)
    return made


def make_dry_off(animal: Animal | None = None, **fields: Any) -> DryOff:
    """A cow dried off with nothing but a seal, unless told otherwise."""
    fields.setdefault("cover", "seal")
    dry_off: DryOff = make(DryOff, animal=animal or make_animal(), **fields)
    withdrawals.rebuild([dry_off.animal_id])
    return dry_off


def make_health_event(animal: Animal | None = None, **fields: Any) -> HealthEvent:
    """Flakes in the milk of one quarter."""
    fields.setdefault("sign", "flakes LF")
    event: HealthEvent = make(HealthEvent, animal=animal or make_animal(), **fields)
    withdrawals.rebuild([event.animal_id])
    return event


def make_cow_test(animal: Animal | None = None, **fields: Any) -> CowTest:
    """A CMT of one quarter."""
    fields.setdefault("what", "cmt")
    fields.setdefault("result", "2")
    test: CowTest = make(CowTest, animal=animal or make_animal(), **fields)
    return test


def make_recording(animal: Animal | None = None, cells: Any = 120, **fields: Any) -> Recording:
    """A recording of a whole day with a cell count in thousands per ml."""
    fields.setdefault("milk_kg", Decimal("24.0"))
    recording: Recording = make(Recording, animal=animal or make_animal(), cells=cells, **fields)
    recordings.set_valid_to([recording.animal_id])
    recording.refresh_from_db()
    return recording


def receive(medicine: Medicine, batch: str = "B-1", **fields: Any) -> MedicineMove:
    """A receipt of a batch, as the delivery note has it."""
    fields.setdefault("quantity", Decimal(40))
    fields.setdefault("expires_on", date(2027, 5, 31))
    fields.setdefault("proof", "delivery note 1207")
    fields.setdefault("happened_at", LONG_AGO)
    move: MedicineMove = make(
        MedicineMove, medicine=medicine, what="received", batch=batch, **fields
    )
    return move
