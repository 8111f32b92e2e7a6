"""The laws and schemes whose rows are in the book: which of them count, and which judge nothing."""

from dataclasses import dataclass

from django.conf import settings

from feed.following import schemes as feed_schemes
from milk.models import CheeseLimit, CoolingRule, Limit, ResidueLimit


@dataclass(frozen=True)
class Schemes:
    """``unknown``: chosen by the estate, and no rule is of it; ``off``: of milk, and not chosen."""

    unknown: list[str]
    off: list[str]


def schemes() -> Schemes:
    """How the schemes that the estate chose and those in the book go together. Two statements."""
    rows = [
        model.objects.standing().order_by().values_list("scheme", flat=True)
        for model in (Limit, CoolingRule, CheeseLimit, ResidueLimit)
    ]
    ours = set(rows[0].union(*rows[1:]))
    known, chosen = ours | feed_schemes(), settings.ESTATE_SCHEMES
    return Schemes(
        unknown=[scheme for scheme in chosen if scheme not in known],
        off=sorted(ours - set(chosen)),
    )
