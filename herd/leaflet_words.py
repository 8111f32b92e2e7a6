"""The periods of the medicine book in words: as the leaflet prints them, or as the vet set them."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from herd.models import Course, MedicineVersion
from herd.withdrawal import plain

NOT_KNOWN = N_("not known")
# Off the leaflet the vet may leave the meat period to the rule; the end is computed by it.
BY_FLOOR = N_("the least by Art. 115")


def leaflet_words(course: Course) -> str:
    """On or off the leaflet, and why."""
    if not course.off_leaflet:
        return _("on the leaflet")
    said = [words for words in (course.get_cascade_display(), course.grounds) if words]
    return (
        _("off the leaflet: {each}").format(each="; ".join(said)) if said else _("off the leaflet")
    )


def own_milk(course: Course, version: MedicineVersion | None) -> str:
    """The milk period of a course: the vet's own, else the leaflet's."""
    if course.own_milk_hours is not None:
        return _("{own_milk_hours} h, set by the vet").format(
            own_milk_hours=plain(course.own_milk_hours)
        )
    return _(NOT_KNOWN) if course.off_leaflet else leaflet_milk(version)


def own_meat(course: Course, version: MedicineVersion | None) -> str:
    """The meat period of a course: the vet's own, else the leaflet's."""
    if course.own_meat_days is not None:
        return _("{own_meat_days} days, set by the vet").format(own_meat_days=course.own_meat_days)
    return _(BY_FLOOR) if course.off_leaflet else leaflet_meat(version)


def leaflet_milk(version: MedicineVersion | None) -> str:
    """The milk period a leaflet prints."""
    if version is None:
        return _(NOT_KNOWN)
    if version.milk == MedicineVersion.Milk.NEVER:
        return _("not for animals that give milk")
    if version.milk_milkings is not None:
        return _("back at milking {milk_milkings}").format(milk_milkings=version.milk_milkings)
    if version.milk_hours is None:
        return _(NOT_KNOWN)
    hours = f"{plain(version.milk_hours)} h"
    if version.milk == MedicineVersion.Milk.DRY:
        return _("{hours} after calving, at least {dry_days} days dry").format(
            hours=hours, dry_days=version.dry_days
        )
    return hours


def leaflet_meat(version: MedicineVersion | None) -> str:
    """The meat period a leaflet prints."""
    if version is None or version.meat_days is None:
        return _(NOT_KNOWN)
    return _("{meat_days} days").format(meat_days=version.meat_days)
