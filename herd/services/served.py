"""Services and heats: of females only; a service inside the waiting days is asked about."""

from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local_day
from config.entries import Stamp
from config.language import in_estate_language
from config.notices import close_gone, raise_notice
from config.roles import VET
from herd.breeding import RULE_NAMES
from herd.breeding_rules import rule_value
from herd.models import Animal, Calving, Heat, Service
from herd.services.checks import check_female

EARLY = N_(
    "{animal} was served {days} days after she calved; the estate waits {waiting}. Read her number "
    "and the day again, or leave it so."
)
OTHERWISE = N_("An early service holds less often; a wrong number gives a wrong day of calving.")


@transaction.atomic
def record_service(*, stamp: Stamp, animal: Animal, **fields: Any) -> Service:
    """A cow was served. Raises ValidationError at ``animal`` for a male."""
    check_female(animal)
    service = entries.record(Service, stamp=stamp, animal=animal, **fields)
    ask_about_early(service)
    return service


@transaction.atomic
def strike_service(
    service: Service, *, by: Any, reason: str, words: str = "", at: datetime | None = None
) -> Service:
    """Take a service back, and what was asked about it."""
    service = entries.strike(service, by=by, reason=reason, words=words, at=at)
    close_gone(cause_of(service), still=())
    return service


@transaction.atomic
def record_heat(*, stamp: Stamp, animal: Animal, **fields: Any) -> Heat:
    """Signs of heat were seen. Raises ValidationError at ``animal`` for a male."""
    check_female(animal)
    return entries.record(Heat, stamp=stamp, animal=animal, **fields)


@in_estate_language()
def ask_about_early(service: Service) -> None:
    """Ask the vet about a service inside the waiting days; of an old one nobody is asked."""
    at = service.happened_at
    waiting, fresh = (rule_value(RULE_NAMES[name], at) for name in ("waiting", "period"))
    before = Calving.objects.standing().filter(dam=service.animal, happened_at__lt=at)
    calved = before.order_by("-happened_at").values_list("happened_at", flat=True).first()
    if waiting is None or fresh is None or calved is None:
        return
    days = (local_day(at) - local_day(calved)).days
    written_after = (service.written_at - at).days
    if days < waiting and written_after <= fresh:
        raise_notice(
            cause=cause_of(service),
            role=VET,
            what=_(EARLY).format(animal=service.animal, days=days, waiting=int(waiting)),
            where=str(service.animal),
            otherwise=_(OTHERWISE),
            url=service.animal.get_absolute_url(),
        )


def cause_of(service: Service) -> str:
    return f"served-early:{service.uuid}"
