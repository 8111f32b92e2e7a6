"""The lines of the feed's papers: what each entry says on paper, struck ones with their reason."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.days import day_words, start_of
from config.entries import Entry
from config.papers import Column, Line, Part
from config.templatetags.sheet import amount, moment
from feed.fed import Feeds
from feed.models import Discard, Feeding, FeedLot, ForageBatch, Refusal
from feed.window import hours_late

NOT_MEASURED = N_("not measured")


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What a paper is asked for: days, by whom, when it is made and as known at which moment."""

    first: date
    last: date
    made_by: str
    made_at: datetime
    known_at: datetime

    @property
    def span(self) -> dict[str, datetime]:
        """A filter on entries of these days."""
        return {
            "happened_at__gte": start_of(self.first),
            "happened_at__lt": start_of(self.last + timedelta(days=1)),
        }

    @property
    def words(self) -> str:
        return _("{first} to {last}").format(first=day_words(self.first), last=day_words(self.last))

    def rows(self, model: type[Entry], *related: str, **said: Any) -> list[Any]:
        """The entries of these days that had arrived by then, struck ones too, in order.

        ``said``: what else is true of them, as for a filter.
        """
        found = model.objects.filter(received_at__lte=self.known_at, **self.span, **said)
        found = found.select_related("by", "struck_by", *related)
        return list(found.order_by("happened_at", "pk"))

    def struck(self, entry: Entry) -> str:
        """Who struck an entry, when and why; "" when it stood at that moment."""
        if entry.struck_at is None or entry.struck_at > self.known_at:
            return ""
        words = f": {entry.struck_words}" if entry.struck_words else ""
        return _("{struck_at} by {struck_by}, {struck_reason}{words}").format(
            struck_at=moment(entry.struck_at),
            struck_by=name_of(entry.struck_by),
            struck_reason=entry.get_struck_reason_display(),
            words=words,
        )


NOUNS: dict[str, Callable[[int], str]] = {
    "cut": lambda number: ngettext("{count} cut", "{count} cuts", number),
    "feed": lambda number: ngettext("{count} feed", "{count} feeds", number),
    "feed lot": lambda number: ngettext("{count} feed lot", "{count} feed lots", number),
    "feeding": lambda number: ngettext("{count} feeding", "{count} feedings", number),
    "field": lambda number: ngettext("{count} field", "{count} fields", number),
    "load": lambda number: ngettext("{count} load", "{count} loads", number),
    "work": lambda number: ngettext("{count} work", "{count} works", number),
}


def counted(number: int, one: str) -> str:
    """So many of something: "1 load", "3 loads"."""
    return NOUNS[one](number).format(count=amount(number))


def name_of(user: Any) -> str:
    """How a person is called on paper."""
    return user.get_full_name() or user.username if user else ""


def columns(*heads: str | tuple[str, float] | tuple[str, float, bool]) -> tuple[Column, ...]:
    """Columns from their heads; a head alone is a text of usual width."""
    return tuple(Column(head) if isinstance(head, str) else Column(*head) for head in heads)


def kilos(asked: Asked, rows: Iterable[Any]) -> str:
    """The kilos of the rows that stand, for reading."""
    return amount(sum((row.kg for row in rows if not asked.struck(row)), Decimal(0)))


def unmeasured(row: Any, feeds: Feeds) -> bool:
    """Whether nobody knows the dry matter of a load or feed lot."""
    known = feeds.of_batches if isinstance(row, ForageBatch) else feeds.of_lots
    return row.pk not in known


def dry(row: Any, feeds: Feeds) -> str:
    """Dry matter of a load or feed lot in %, for reading."""
    known = (feeds.of_batches if isinstance(row, ForageBatch) else feeds.of_lots).get(row.pk)
    return _(NOT_MEASURED) if known is None else f"{amount(known.percent)} ({_(known.how)})"


def about(weighed: bool, kg: Decimal) -> str:
    return amount(kg) if weighed else _("about {kg}").format(kg=amount(kg))


def loads_part(asked: Asked, batches: list[ForageBatch], feeds: Feeds) -> Part:
    """The loads of fresh grass."""
    return Part(
        columns(
            (_("Load"), 0.7),
            (_("Field"), 1.3),
            (_("Cut began"), 1.4),
            ("kg", 0.9, True),
            (_("Dry matter, %"), 1.3),
            (_("Past from"), 1.3),
            (_("Foreign matter, remark"), 1.6),
            (_("By"), 0.9),
        ),
        tuple(
            Line(
                (
                    str(batch.pk),
                    str(batch.field),
                    moment(batch.happened_at),
                    about(batch.weighed, batch.kg),
                    dry(batch, feeds),
                    moment(batch.deadline),
                    "; ".join(filter(None, (batch.foreign_matter, batch.remark))),
                    name_of(batch.by),
                ),
                struck=asked.struck(batch),
                url=batch.get_absolute_url(),
            )
            for batch in batches
        ),
        title=_("Fresh grass in"),
        empty=_("No grass was cut."),
    )


def lots_part(asked: Asked, lots: list[FeedLot], feeds: Feeds) -> Part:
    """Hay, meal and other feed brought in, with where it came from."""
    return Part(
        columns(
            (_("Feed"), 1.5),
            (_("Brought in"), 1.3),
            (_("Supplier or field"), 1.5),
            (_("Batch"), 1),
            ("kg", 0.9, True),
            (_("Dry matter, %"), 1.2),
            (_("Kept"), 1),
            (_("By"), 0.9),
        ),
        tuple(
            Line(
                (
                    str(lot),
                    moment(lot.happened_at),
                    str(lot.supplier or lot.field or ""),
                    lot.batch_number,
                    amount(lot.kg),
                    dry(lot, feeds),
                    str(lot.get_kept_as_display()),
                    name_of(lot.by),
                ),
                struck=asked.struck(lot),
            )
            for lot in lots
        ),
        title=_("Hay, meal and other feed in"),
        empty=_("No other feed came in."),
    )


def fed_part(asked: Asked, feedings: list[Feeding]) -> Part:
    """What the groups got, late feedings marked."""
    return Part(
        columns(
            _("Group"),
            (_("Fed"), 1.3),
            (_("Feed"), 2),
            ("kg", 0.9, True),
            (_("Late, h"), 0.7, True),
            _("By"),
        ),
        tuple(
            Line(
                (
                    str(feeding.group),
                    moment(feeding.happened_at),
                    str(feeding.batch or feeding.feed_lot),
                    about(feeding.weighed, feeding.kg),
                    f"{late:.1f}" if late else "",
                    name_of(feeding.by),
                ),
                struck=asked.struck(feeding),
                loud=bool(late),
            )
            for feeding in feedings
            for late in [lateness(feeding)]
        ),
        title=_("Fed to groups"),
        empty=_("Nothing was fed."),
    )


def lateness(feeding: Feeding) -> float:
    """Hours past the load's deadline; 0 in time."""
    return hours_late(feeding.happened_at, feeding.batch.deadline) if feeding.batch else 0.0


def left_part(asked: Asked, refusals: list[Refusal]) -> Part:
    """What the groups left and where it went."""
    return Part(
        columns(
            _("Group"), _("Cleared"), ("kg", 0.8, True), _("State"), (_("Where to"), 1.6), _("By")
        ),
        tuple(
            Line(
                (
                    str(refusal.group),
                    moment(refusal.happened_at),
                    amount(refusal.kg),
                    str(refusal.get_state_display()),
                    str(refusal.get_where_to_display() or _("not written")),
                    name_of(refusal.by),
                ),
                struck=asked.struck(refusal),
            )
            for refusal in refusals
        ),
        title=_("Left by groups"),
        empty=_("No refusals were written."),
    )


def discards_part(asked: Asked, discards: list[Discard]) -> Part:
    """What was thrown away, why and where to."""
    return Part(
        columns(
            (_("Feed"), 1.4),
            _("Discarded"),
            ("kg", 0.8, True),
            _("Why"),
            (_("Where to"), 1.6),
            _("Witness"),
            _("By"),
        ),
        tuple(
            Line(
                (
                    str(discard.batch or discard.feed_lot),
                    moment(discard.happened_at),
                    amount(discard.kg),
                    str(discard.get_why_display()),
                    str(discard.get_where_to_display()),
                    discard.witness,
                    name_of(discard.by),
                ),
                struck=asked.struck(discard),
            )
            for discard in discards
        ),
        title=_("Thrown away"),
        empty=_("Nothing was thrown away."),
    )
