"""Which schemes the estate follows: rules of others are kept and read, and judge nothing."""

from datetime import date
from typing import Any

from django.conf import settings
from django.db.models import Q

from feed.models import FeedRule, FeedShareRule


def followed(rules: Any) -> Any:
    """The rules (a queryset) of the schemes the estate follows (``ESTATE_SCHEMES``)."""
    return rules.filter(scheme__in=settings.ESTATE_SCHEMES)


def schemes() -> set[str]:
    """Every scheme of which a feed rule stands, followed or not. One statement."""
    shares = FeedShareRule.objects.standing().order_by().values_list("scheme", flat=True)
    feeds = FeedRule.objects.standing().order_by().values_list("scheme", flat=True)
    return set(shares.union(feeds))


def not_followed(day: date) -> list[str]:
    """Schemes with rules in force on a day that judge nothing, by name. One statement."""
    shares = FeedShareRule.objects.standing().filter(valid_from__lte=day)
    feeds = (
        FeedRule.objects.standing()
        .filter(valid_from__lte=day)
        .filter(Q(valid_to=None) | Q(valid_to__gte=day))
    )
    every = [
        rules.exclude(scheme__in=settings.ESTATE_SCHEMES)
        .order_by()
        .values_list("scheme", flat=True)
        for rules in (shares, feeds)
    ]
    return sorted(set(every[0].union(every[1])))
