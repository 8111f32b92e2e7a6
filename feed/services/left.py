"""What each way out of a load or feed lot must keep to: after its start, no more than is left."""

from datetime import datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.templatetags.sheet import amount, moment
from feed.models import FeedLot, ForageBatch

Thing = ForageBatch | FeedLot

ONE_THING = N_("Name one load or one feed lot, not {found}.")
STRUCK = N_("{thing} was struck. Name the entry that replaces it.")
BEFORE_START = N_(
    "{thing} was only {begun} at {start}. Nothing of it can have gone anywhere at {at}; look at "
    "the time, or at the load."
)
MORE_THAN_LEFT = N_(
    "{thing} has {left} kg left of {loaded} kg, and this says {kg} kg. Look at the kilos, at what "
    "was written before, or correct the weight of the load first."
)
NOTHING_LEFT = N_("Nothing is left of {thing}: {fed} kg were fed and {discarded} kg discarded.")
GONE = N_("{gone} kg of {thing} are fed or discarded already; it cannot have weighed {kg} kg.")
GONE_BEFORE = N_("Something of {thing} was fed, discarded or probed at {at}, before {start}.")


def locked_thing(batch: ForageBatch | None, feed_lot: FeedLot | None) -> Thing:
    """The one thing named, locked, with what is left of it annotated. Raises ValidationError.

    It is locked first and summed in a statement of its own, so that of two people who empty the
    same load at the same moment the second sees what the first wrote.
    """
    thing = batch or feed_lot
    if thing is None or (batch and feed_lot):
        raise ValidationError(_(ONE_THING).format(found=_("both") if thing else _("neither")))
    model, name = type(thing), "batch" if batch else "feed_lot"
    model.objects.select_for_update().get(pk=thing.pk)
    found: Thing = model.objects.with_left().get(pk=thing.pk)
    if found.is_struck:
        raise ValidationError({name: _(STRUCK).format(thing=found)})
    return found


def check_goes_out(thing: Thing, at: datetime, kg: Decimal) -> None:
    """Refuse kilos that cannot have gone out of a thing then. Raises ValidationError by field."""
    check_begun(thing, at)
    left: Decimal = thing.left_kg  # type: ignore[union-attr]
    if left <= 0:
        raise ValidationError({"kg": nothing_left(thing)})
    if kg > left:
        words = _(MORE_THAN_LEFT).format(
            thing=thing, left=amount(left), loaded=amount(thing.kg), kg=amount(kg)
        )
        raise ValidationError({"kg": words})


def nothing_left(thing: Thing) -> str:
    """The sentence for a thing that is used up; ``thing`` comes from ``locked_thing``."""
    fed, discarded = thing.fed_kg, thing.discarded_kg  # type: ignore[union-attr]
    return _(NOTHING_LEFT).format(thing=thing, fed=amount(fed), discarded=amount(discarded))


def check_begun(thing: Thing, at: datetime) -> None:
    """Refuse a moment before the cut, or before a lot came in. Raises ValidationError."""
    if at < thing.happened_at:
        begun = _("cut") if isinstance(thing, ForageBatch) else _("brought in")
        words = _(BEFORE_START).format(
            thing=thing, begun=begun, start=moment(thing.happened_at), at=moment(at)
        )
        raise ValidationError({"happened_at": words})


def check_new_wording(thing: Thing, start: datetime, kg: Decimal) -> None:
    """Refuse a corrected start or weight that what was written before rules out.

    ``thing`` comes from ``locked_thing``. Raises ValidationError by field.
    """
    gone = thing.fed_kg + thing.discarded_kg  # type: ignore[union-attr]
    if kg < gone:
        words = _(GONE).format(gone=amount(gone), thing=thing, kg=amount(kg))
        raise ValidationError({"kg": words})
    first = min(firsts_of(thing), default=None)
    if first is not None and first < start:
        words = _(GONE_BEFORE).format(thing=thing, at=moment(first), start=moment(start))
        raise ValidationError({"happened_at": words})


def firsts_of(thing: Thing) -> list[datetime]:
    """When the first of each kind of entry that hangs on a thing happened."""
    related = [thing.feedings, thing.discards]
    if isinstance(thing, ForageBatch):
        related.append(thing.checks)
    found = (rows.standing().order_by("happened_at").first() for rows in related)
    return [entry.happened_at for entry in found if entry is not None]
