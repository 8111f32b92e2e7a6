"""The heads of sealed days as a paper, for the office to print and keep in a folder."""

from collections.abc import Sequence
from datetime import date, datetime

from django.utils.translation import gettext as _

from config.models import SealedDay
from config.papers import Column, Line, Paper, Part

# Sixteen groups of four: as they are read aloud and compared.
GROUP = 4


def told(head: str) -> str:
    """A head in groups, as on the paper; whoever types it may leave the blanks out."""
    return " ".join(head[at : at + GROUP] for at in range(0, len(head), GROUP))


def heads_paper(days: Sequence[SealedDay], *, month: date, by: str, at: datetime) -> Paper:
    """The sealed days of a month, with the head of each."""
    columns = (
        Column(_("Day (UTC)"), 1.1),
        Column(_("Lines"), 0.7, figures=True),
        Column(_("Head"), 7),
    )
    lines = tuple(Line((day.day.isoformat(), f"{day.lines:,}", told(day.head))) for day in days)
    return Paper(
        title=_("Sealed days %(month)s") % {"month": month.strftime("%Y-%m")},
        stem=f"sealed-days-{month:%Y-%m}",
        made_by=by,
        made_at=at,
        parts=(
            Part(columns, lines, empty=_("No day of this month is sealed yet."), newest_last=True),
        ),
        about=(
            _(
                "Each head is a sum (SHA-256) over everything that arrived on that day, and over "
                "the head before it. Printed and kept away from the computer, it shows later "
                "whether anything was changed behind the book: “manage.py verify” does it here, "
                "tools/verify_chain.py with an export and nothing else."
            ),
        ),
        answer=answer(days),
        cautions=(_("Keep this paper where whoever looks after the computer cannot reach it."),),
    )


def answer(days: Sequence[SealedDay]) -> str:
    """The answer in words."""
    if not days:
        return _("Nothing is sealed in this month.")
    last = days[-1]
    return _("%(days)s days are sealed; the last is %(last)s.") % {
        "days": len(days),
        "last": last.day.isoformat(),
    }
