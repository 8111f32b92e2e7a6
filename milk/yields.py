"""What meters say a cow gives at a milking, for whoever asks the herd."""

from datetime import datetime, timedelta
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from herd.models import Animal
from herd.yields import Yield, register
from milk.models import CowMilking

# A week of milkings; older ones tell of another cow.
MOST, LATELY = 14, timedelta(days=14)
METERED = N_("the mean of her last {count} milkings at the meter")


def metered(animal: Animal, at: datetime) -> Yield | None:
    """The mean of her last milkings at the meter; None when there were none lately."""
    rows = CowMilking.objects.filter(animal=animal, grams__isnull=False)
    newest = rows.order_by("-milking_id").values_list("milking__happened_at", "grams")[:MOST]
    grams = [weight for milked, weight in newest if weight and at - LATELY < milked <= at]
    if not grams:
        return None
    mean = Decimal(sum(grams)) / len(grams) / 1000
    return Yield(mean, _(METERED).format(count=len(grams)))


register(metered)
