"""The herd's steps of the first day: what a right withheld list is made of."""

from datetime import datetime

from django.db.models import Exists, OuterRef
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from config.begun import begun_when
from config.first_day import Held, Step, brings_rules, file_of, new, step
from herd.models import (
    Animal,
    Course,
    DryOff,
    Group,
    GroupStay,
    LegBand,
    Medicine,
    MedicineVersion,
    MilkingTime,
    PeriodRule,
    Recording,
    WallScreen,
)
from herd.reference import load_reference
from herd.withheld import NOT_MILKED

RULES, GROUPS, TIMES, ANIMALS, SHELF, LEAFLETS, TODAY, DRY, WALL = range(1, 10)
RECORDINGS = 40
DRY_USES = (Group.Use.DRY, Group.Use.CLOSE_UP)


def rules(at: datetime) -> Held:
    count = PeriodRule.objects.standing().count()
    if not count:
        return Held(False, _("No rule is in the book: not even how a period is counted."))
    return Held(True, _("{count} rules, each with its source.").format(count=count))


def groups(at: datetime) -> Held:
    count = Group.objects.standing().count()
    if not count:
        return Held(False, _("No group is in the book."))
    return Held(True, _("{count} groups.").format(count=count))


def times(at: datetime) -> Held:
    """Whether every milked group has its hours."""
    written = MilkingTime.objects.standing().filter(group=OuterRef("pk"))
    milked = Group.objects.standing().exclude(use__in=NOT_MILKED)
    found = list(milked.annotate(planned=Exists(written)).order_by("number"))
    without = [str(group) for group in found if not group.planned]
    if not found:
        return Held(False, _("No group that is milked is in the book."))
    if without:
        return Held(False, _("Without its hours: {groups}.").format(groups=", ".join(without)))
    return Held(True, _("Every milked group has its hours."))


def animals(at: datetime) -> Held:
    """Whether the herd is in, and stands somewhere."""
    count = Animal.objects.standing().count()
    standing = GroupStay.objects.at(at).filter(group__isnull=False).count()
    says = _("{count} animals, {standing} of them stand in a group.")
    return Held(bool(standing), says.format(count=count, standing=standing))


def shelf(at: datetime) -> Held:
    """Whether the cupboard is in the book."""
    count = Medicine.objects.standing().count()
    if not count:
        return Held(False, _("No medicine is in the book."))
    return Held(True, _("{count} medicines.").format(count=count))


def leaflets(at: datetime) -> Held:
    """Whether every medicine has a leaflet."""
    leaflet = MedicineVersion.objects.standing().filter(medicine=OuterRef("pk"))
    found = Medicine.objects.standing().filter(~Exists(leaflet)).order_by("name")
    without = [str(medicine) for medicine in found[:20]]
    if without:
        return Held(False, _("Without its leaflet: {names}.").format(names=", ".join(without)))
    count = MedicineVersion.objects.standing().count()
    return Held(bool(count), _("{count} leaflets.").format(count=count))


def today(at: datetime) -> Held:
    """Whether anything of who is withheld now was written."""
    courses = Course.objects.standing().count()
    bands = LegBand.objects.standing().filter(on=True).count()
    says = _("{courses} courses and {bands} bands written.")
    return Held(bool(courses), says.format(courses=courses, bands=bands))


def dry(at: datetime) -> Held:
    """Whether each cow in a dry group has the word with what she was dried off."""
    written = DryOff.objects.standing().filter(animal=OuterRef("animal"))
    stays = GroupStay.objects.at(at).filter(group__use__in=DRY_USES)
    count = stays.count()
    without = stays.filter(~Exists(written)).count()
    if not count:
        return Held(True, _("No cow stands in a dry group."))
    if without:
        says = _("{without} of {count} cows in dry groups have no dry-off: theirs is not known.")
        return Held(False, says.format(without=without, count=count))
    return Held(True, _("Every cow in a dry group has her dry-off."))


def wall(at: datetime) -> Held:
    """Whether a screen hangs that has asked for its list."""
    screens = list(WallScreen.objects.filter(withdrawn_at=None).values_list("seen_at", flat=True))
    seen = sum(one is not None for one in screens)
    says = _("{hung} screens have a link, {seen} of them were opened.")
    return Held(bool(seen), says.format(hung=len(screens), seen=seen))


def recordings(at: datetime) -> Held:
    """Whether two recordings are in, which is the least a movement needs."""
    days = Recording.objects.standing().dates("happened_at", "day").count()
    return Held(days > 1, _("{days} days of recordings.").format(days=days))


begun_when(Animal.objects.all)
brings_rules(load_reference)

step(
    RULES,
    Step(
        name=_l("The dated rules"),
        why=_l(
            "How periods are counted, floors, windows and limits, each with its source. Read those "
            "marked “from memory” before you rely on them."
        ),
        read=rules,
        address=lambda: "",
        act=_l("Write the rules every estate starts with"),
        action="write:period-rules",
    ),
)
step(
    GROUPS,
    Step(
        name=_l("Groups"),
        why=_l("Where the cows stand, and which groups are milked. One by one, or as a file."),
        read=groups,
        address=lambda: new("groups"),
        act=_l("Write a group"),
        action="write:groups",
    ),
)
step(
    TIMES,
    Step(
        name=_l("Milking times"),
        why=_l("When each group is milked and into which line: TANK again is said by them."),
        read=times,
        address=lambda: new("milking-times"),
        act=_l("Write a milking time"),
        action="write:milking-times",
    ),
)
step(
    ANIMALS,
    Step(
        name=_l("The herd"),
        why=_l(
            "The download of the national database, or your own list: ear tag, farm number, group. "
            "You see what is new or strange before anything is written."
        ),
        read=animals,
        address=lambda: file_of("animals"),
        act=_l("Take in the herd list"),
        action="take in files",
    ),
)
step(
    SHELF,
    Step(
        name=_l("Medicines"),
        why=_l("What lies in the cupboard; of the rest the book asks when it is bought."),
        read=shelf,
        address=lambda: new("medicines"),
        act=_l("Write a medicine"),
        action="write:medicines",
    ),
)
step(
    LEAFLETS,
    Step(
        name=_l("Leaflets"),
        why=_l("A course can only be ordered of a medicine whose leaflet is in the book."),
        read=leaflets,
        address=lambda: new("medicine-versions"),
        act=_l("Write a leaflet"),
        action="write:medicine-versions",
    ),
)
step(
    TODAY,
    Step(
        name=_l("Who is withheld today"),
        why=_l("From the chalk board and the bands: each cow, what she got, and every dose of it."),
        read=today,
        address=lambda: reverse("herd:withheld"),
        act=_l("Find the cow, then Treat"),
        action="write:courses",
    ),
)
step(
    DRY,
    Step(
        name=_l("Dry cows and their tubes"),
        why=_l("Before she calves somebody must know what is in her udder; not known is NOT."),
        read=dry,
        address=lambda: new("dry-offs"),
        act=_l("Write a dry-off"),
        action="write:dry-offs",
    ),
)
step(
    WALL,
    Step(
        name=_l("The wall of the parlour"),
        why=_l("The milker looks at the wall. Hang up a screen and open its link there."),
        read=wall,
        address=lambda: reverse("herd:walls"),
        act=_l("Hang up a screen"),
        action="hang up walls",
    ),
)
step(
    RECORDINGS,
    Step(
        name=_l("The last two recordings"),
        why=_l("From two on, the udder board says who is new, chronic or cured."),
        read=recordings,
        address=lambda: file_of("recordings"),
        act=_l("Take in a recording"),
        action="take in files",
        needed=False,
    ),
)
