"""Whether the herd is officially free of what raw milk carries; read live, one statement.

Source: Regulation (EC) 853/2004 Annex III Section IX Chapter I Part I points 2 and 3 (from memory):
raw milk comes from herds officially free of brucellosis and tuberculosis, else it is heat treated.
The competent authority decides; without an entry nothing is refused, and the quality page says so.
"""

from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.errors import Conflict
from config.once_a_page import once_a_page
from milk.models import HerdStatus

NOT_FREE = N_(
    "The herd is not officially free of {diseases} since {since} ({source}). Milk of it goes into "
    "no vat of raw milk: it must be heat treated, or as the competent authority says."
)
NOTHING_SAVED = N_("Nothing was saved.")
NOBODY_WROTE = N_("Nobody has written whether the herd is officially free of {disease}.")
SAID = N_("The herd is {status} ({source}).")


def statuses(at: datetime, *, known: bool = False) -> dict[str, HerdStatus]:
    """By disease what holds at ``at``; ``known``: only what had been received by then."""
    rows = HerdStatus.objects.standing().filter(happened_at__lte=at)
    if known:
        rows = rows.filter(received_at__lte=at)
    newest = rows.order_by("disease", "-happened_at", "-pk").distinct("disease")
    return {row.disease: row for row in newest}


@once_a_page
def why_not_free(at: datetime, *, known: bool = False) -> str:
    """The sentence why milk of the herd goes into no vat of raw milk; "" when it may."""
    bad = [row for row in statuses(at, known=known).values() if not row.free]
    if not bad:
        return ""
    first = min(bad, key=lambda row: row.happened_at)
    return _(NOT_FREE).format(
        diseases=_(" and ").join(sorted(row.get_disease_display() for row in bad)),
        since=f"{first.local_happened_at:%Y-%m-%d %H:%M}",
        source=first.source,
    )


def check_herd_free(at: datetime) -> None:
    """Refuse the herd's milk for a vat of raw milk at ``at``. Raises Conflict.

    Only what was known by then counts: a vat filled before is written as it was, and held.
    """
    why = why_not_free(at, known=True)
    if why:
        raise Conflict(f"{why} {_(NOTHING_SAVED)}")


def said(at: datetime) -> list[str]:
    """A sentence for each disease, also where nobody wrote anything."""
    found = statuses(at)
    return [
        _(SAID).format(status=found[disease], source=found[disease].source)
        if disease in found
        else _(NOBODY_WROTE).format(disease=label)
        for disease, label in HerdStatus.Disease.choices
    ]
