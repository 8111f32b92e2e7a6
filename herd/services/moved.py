"""A withheld animal that moves: the group she leaves and the one she comes to are told once."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local
from config.language import in_estate_language
from config.notices import raise_notice
from config.roles import MILKER
from herd.models import GroupStay
from herd.withheld import NOT_MILKED, answer_for
from herd.words import milking_words

MOVED = N_("{animal} moved from {before} to {group}, {at}. She is NOT {until} ({why}).")
UNTIL, UNTIL_SAID = N_("until the milking of {back}"), N_("until the vet has said")
OTHERWISE = N_("Her milk would go into the tank of {group}.")


@in_estate_language()
def tell_of_move(stay: GroupStay) -> None:
    """Tell the milkers of both groups that a withheld animal changed between them.

    One notice for a move, however often it is looked at; it closes when the move is struck.
    """
    if stay.group is None:
        return
    answer = answer_for(stay.animal, stay.happened_at)
    before = (
        GroupStay.objects.standing()
        .filter(animal=stay.animal, happened_at__lt=stay.happened_at)
        .select_related("group")
        .order_by("-happened_at")
        .first()
    )
    if answer is None or not answer.why or before is None or before.group is None:
        return
    if not (answer.withheld and (answer.is_milked or before.group.use not in NOT_MILKED)):
        return
    until = _(UNTIL).format(back=milking_words(answer.back)) if answer.back else _(UNTIL_SAID)
    raise_notice(
        cause=cause_of_move(stay),
        role=MILKER,
        what=_(MOVED).format(
            animal=stay.animal,
            before=before.group,
            group=stay.group,
            at=local(stay.happened_at),
            until=until,
            why=answer.why[0],
        ),
        where=_("{group} and {group2}").format(group=before.group, group2=stay.group),
        otherwise=_(OTHERWISE).format(group=stay.group),
        until=answer.back or answer.until,
        url=stay.group.get_absolute_url(),
    )


def cause_of_move(stay: GroupStay) -> str:
    return f"moved:{stay.uuid}"
