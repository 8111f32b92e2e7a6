"""The papers of the feed: feed in and out, work on fields, and the proof of no fermented feed.

Each is one ``Paper``, shown as a page, a table file and a PDF. Struck lines stay in, crossed out.
"""

from collections.abc import Callable, Iterable
from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.db.models import F, Q, Sum
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import day_words, local_day, start_of
from config.papers import CAUTION, Line, Paper, Part
from config.templatetags.sheet import amount, moment
from feed.fed import Feeds
from feed.following import not_followed
from feed.models import Discard, Feeding, FeedLot, FieldWork, ForageBatch, HeapCheck, Refusal
from feed.paper_lines import (
    NOT_MEASURED,
    Asked,
    columns,
    counted,
    discards_part,
    fed_part,
    kilos,
    left_part,
    loads_part,
    lots_part,
    name_of,
    unmeasured,
)
from feed.schemes import broken
from feed.services.lots import feed_of, feed_rules

SCHEME = N_(
    "What the scheme forbids, and how long a field waits, is for its own text, the label and local "
    "law to say; the rules used here stand in the book with their sources."
)
JUDGES_NOTHING = N_(
    "Nothing is judged by the rules of {scheme} in the book: the estate does not follow it."
)
NO_PUBLISHED_TIME = N_(
    "No published time until cut grass heats was found: the window of a load is the estate's own "
    "rule. A probe in the heap beats the clock."
)


def paper(asked: Asked, title: str, stem: str, parts: Iterable[Part], **said: Any) -> Paper:
    """A paper about these days."""
    return Paper(
        title=title,
        stem=f"{stem}-{asked.first}-{asked.last}",
        made_by=asked.made_by,
        made_at=asked.made_at,
        known_at=asked.known_at,
        parts=tuple(parts),
        about=(asked.words,),
        **said,
    )


def feed_in_and_out(asked: Asked) -> Paper:
    """Every load and feed lot that came in, every feeding, refusal and discard."""
    batches = asked.rows(ForageBatch, "field")
    lots = asked.rows(FeedLot, "field", "supplier")
    feedings = asked.rows(Feeding, "group", "batch__field", "feed_lot")
    refusals = asked.rows(Refusal, "group")
    discards = asked.rows(Discard, "batch__field", "feed_lot")
    feeds = Feeds((batch.pk for batch in batches), (lot.pk for lot in lots))
    cut, fed = kilos(asked, batches), kilos(asked, feedings)
    answer = _(
        "{cut} kg of grass cut and {asked} kg of other feed brought in; {fed} kg fed to "
        "groups, {asked2} kg left by them, {asked3} kg thrown away."
    ).format(
        cut=cut,
        asked=kilos(asked, lots),
        fed=fed,
        asked2=kilos(asked, refusals),
        asked3=kilos(asked, discards),
    )
    unknown = [row for row in (*batches, *lots) if not asked.struck(row) and unmeasured(row, feeds)]
    missing = (
        (_("{counted} without a dry matter.").format(counted=counted(len(unknown), "feed")),)
        if unknown
        else ()
    )
    return paper(
        asked,
        _("Feed in and out"),
        "feed-in-out",
        (
            loads_part(asked, batches, feeds),
            lots_part(asked, lots, feeds),
            fed_part(asked, feedings),
            left_part(asked, refusals),
            discards_part(asked, discards),
        ),
        answer=answer,
        missing=missing,
        cautions=(_(SCHEME), CAUTION),
    )


def field_works(asked: Asked) -> Paper:
    """Slurry, manure, fertiliser and sprays with their waiting days, and the first cut after."""
    works = asked.rows(FieldWork, "field")
    first_cuts = cuts_after(works, asked)
    early = [
        work
        for work in works
        if not asked.struck(work) and cut_early(work, first_cuts.get(work.pk))
    ]
    standing = [work for work in works if not asked.struck(work)]
    fields = counted(len({work.field_id for work in standing}), "field")
    too_soon = counted(len(early), "cut") if early else _("no cut")
    answer = _("{counted} on {fields}; {too_soon} before a field was free.").format(
        counted=counted(len(standing), "work"), fields=fields, too_soon=too_soon
    )
    return paper(
        asked,
        _("Work on fields"),
        "field-works",
        (works_part(asked, works, first_cuts),),
        answer=answer,
        cautions=(_(SCHEME), CAUTION),
    )


def works_part(asked: Asked, works: list[FieldWork], first_cuts: dict[int, ForageBatch]) -> Part:
    """The works with their waiting days, and whether the first cut after came too early."""
    lines = tuple(
        Line(
            (
                moment(work.happened_at),
                str(work.field),
                amount(work.field.hectares),
                str(work.get_what_display()),
                " ".join(filter(None, (work.product, work.batch))),
                work.rate,
                f"{work.waiting_days} ({_('label') if work.from_label else _('rule')})",
                day_words(work.free_on),
                cut_said(work, first_cuts.get(work.pk)),
                name_of(work.by),
            ),
            struck=asked.struck(work),
            loud=cut_early(work, first_cuts.get(work.pk)),
        )
        for work in works
    )
    heads = columns(
        (_("Done"), 1.1),
        (_("Field"), 1.1),
        ("ha", 0.5, True),
        (_("Work"), 0.8),
        (_("Product, batch"), 1.3),
        (_("Rate"), 0.9),
        (_("Waiting days"), 0.9),
        (_("Free on"), 1),
        (_("First cut after"), 1.3),
        (_("By"), 0.8),
    )
    return Part(heads, lines, empty=_("No work on fields was written."))


def cuts_after(works: list[FieldWork], asked: Asked) -> dict[int, ForageBatch]:
    """By work (key), the first load cut from its field after it, as known then. One statement."""
    if not works:
        return {}
    fields = {work.field_id for work in works}
    since = min(work.happened_at for work in works)
    loads = ForageBatch.objects.as_known(asked.known_at).filter(
        field__in=fields, happened_at__gte=since
    )
    found: dict[int, ForageBatch] = {}
    for load in loads.order_by("happened_at", "pk"):
        for work in works:
            if work.field_id == load.field_id and work.happened_at <= load.happened_at:
                found.setdefault(work.pk, load)
    return found


def cut_early(work: FieldWork, load: ForageBatch | None) -> bool:
    """Whether the field was cut before the day it was free."""
    return load is not None and local_day(load.happened_at) < work.free_on


def cut_said(work: FieldWork, load: ForageBatch | None) -> str:
    """The first cut after a work, for reading."""
    if load is None:
        return _("not cut since")
    early = _("BEFORE IT WAS FREE, ") if cut_early(work, load) else ""
    reason = f" ({load.early_reason})" if early and load.early_reason else ""
    return f"{early}load {load.pk}, {moment(load.happened_at)}{reason}"


def no_fermented(asked: Asked) -> Paper:
    """What was brought in and how it was kept, what heated, what was fed late, what was discarded.

    Nobody can prove that something was never there; this shows everything the book knows.
    """
    lots = lots_on_hand(asked)
    heated = heated_loads(asked)
    # In three months there are thousands in time; what is late is what ``lateness`` says of each.
    late = asked.rows(Feeding, "group", "batch__field", happened_at__gt=F("batch__deadline"))
    discards = asked.rows(Discard, "batch__field", "feed_lot")
    rules = feed_rules()
    judged = [(lot, broken(feed_of(lot), rules, local_day(lot.happened_at))) for lot in lots]
    bad = [lot for lot, met in judged if any(rule.refuse for rule in met)]
    kept_wet = [lot for lot in lots if lot.kept_as != FeedLot.Kept.DRY]
    standing_late = [one for one in late if not asked.struck(one)]
    answer = _(
        "{counted} on hand, {count} of them not kept dry, {count2} forbidden by a scheme's "
        "rule; {counted2} found heated; {counted3} past the window; {asked} kg thrown away."
    ).format(
        counted=counted(len(lots), "feed lot"),
        count=len(kept_wet),
        count2=len(bad),
        counted2=counted(len(heated), "load"),
        counted3=counted(len(standing_late), "feeding"),
        asked=kilos(asked, discards),
    )
    unknown = [lot for lot in lots if lot.dry_matter is None]
    missing = [_(JUDGES_NOTHING).format(scheme=scheme) for scheme in not_followed(asked.last)]
    if unknown:
        missing.append(
            _("{counted} without a dry matter to judge by.").format(
                counted=counted(len(unknown), "feed lot")
            )
        )
    return paper(
        asked,
        _("No fermented feed"),
        "no-fermented-feed",
        (
            judged_part(judged),
            heated_part(heated),
            late_part(asked, late),
            discards_part(asked, discards),
        ),
        answer=answer,
        missing=tuple(missing),
        cautions=(_(SCHEME), _(NO_PUBLISHED_TIME), CAUTION),
    )


def lots_on_hand(asked: Asked) -> list[FeedLot]:
    """Feed lots that lay here on one of the days: in by the last, not finished before the first."""
    end = start_of(asked.last + timedelta(days=1))
    lots = FeedLot.objects.as_known(asked.known_at).filter(happened_at__lt=end)
    there = lots.filter(Q(finished_on=None) | Q(finished_on__gte=asked.first))
    return list(there.select_related("field", "supplier").order_by("happened_at", "pk"))


def judged_part(judged: list[tuple[FeedLot, Any]]) -> Part:
    """The feed lots with how they were kept, and the rules they break."""
    return Part(
        columns(
            (_("Feed"), 1.5),
            (_("Brought in"), 1.2),
            (_("Supplier or field"), 1.4),
            (_("Kept"), 1),
            (_("Water, %"), 0.8, True),
            (_("Judged by the rules in the book"), 2.4),
        ),
        tuple(
            Line(
                (
                    str(lot),
                    moment(lot.happened_at),
                    str(lot.supplier or lot.field or ""),
                    str(lot.get_kept_as_display()),
                    _(NOT_MEASURED) if lot.dry_matter is None else amount(100 - lot.dry_matter),
                    "; ".join(f"{rule.name} ({rule.scheme})" for rule in met)
                    or _("breaks no rule"),
                ),
                loud=bool(met),
            )
            for lot, met in judged
        ),
        title=_("Feed on hand"),
        empty=_("No feed lot is in the book."),
    )


def heated_loads(asked: Asked) -> list[tuple[ForageBatch, HeapCheck | None, Decimal, Decimal]]:
    """(load, the probe, kg fed, kg discarded) of loads of these days that were found heated."""
    known = asked.known_at
    loads = list(
        ForageBatch.objects.as_known(known)
        .filter(heated_at__isnull=False, **asked.span)
        .select_related("field")
        .order_by("happened_at", "pk")
    )
    checks = HeapCheck.objects.as_known(known).filter(batch__in=loads)
    probes = {(check.batch_id, check.happened_at): check for check in checks}
    fed, thrown = (
        dict(
            model.objects.as_known(known)
            .filter(batch__in=loads)
            .order_by()
            .values_list("batch")
            .annotate(sum=Sum("kg"))
        )
        for model in (Feeding, Discard)
    )
    zero = Decimal(0)
    return [
        (
            load,
            probes.get((load.pk, load.heated_at)),
            fed.get(load.pk, zero),
            thrown.get(load.pk, zero),
        )
        for load in loads
    ]


def heated_part(
    heated: list[tuple[ForageBatch, HeapCheck | None, Decimal, Decimal]],
) -> Part:
    """Loads that heated, and where they went."""
    return Part(
        columns(
            (_("Load"), 1.4),
            (_("Cut began"), 1.2),
            (_("Found heated"), 1.2),
            (_("Heap, °C"), 0.8, True),
            (_("Air, °C"), 0.8, True),
            ("kg", 0.8, True),
            (_("Fed, kg"), 0.8, True),
            (_("Thrown away, kg"), 1, True),
        ),
        tuple(
            Line(
                (
                    str(load),
                    moment(load.happened_at),
                    moment(load.heated_at),
                    amount(check.heap) if check else "",
                    amount(check.air) if check else "",
                    amount(load.kg),
                    amount(fed),
                    amount(thrown),
                ),
                url=load.get_absolute_url(),
            )
            for load, check, fed, thrown in heated
        ),
        title=_("Loads found heated"),
        empty=_("No load was found heated."),
    )


def late_part(asked: Asked, late: list[Feeding]) -> Part:
    """Feedings past the window."""
    part = fed_part(asked, late)
    return Part(
        part.columns,
        part.lines,
        title=_("Fed past the window"),
        empty=_("Nothing was fed past its window."),
    )


# Slug -> (title, how it is made, most days, what it is for).
PAPERS: dict[str, tuple[str, Callable[[Asked], Paper], int, str]] = {
    "feed-in-out": (
        N_("Feed in and out"),
        feed_in_and_out,
        92,
        N_("Every load and lot that came in, who got it, what was left and thrown away."),
    ),
    "field-works": (
        N_("Work on fields"),
        field_works,
        1098,
        N_("Slurry, fertiliser and sprays, waiting days, and the first cut after each."),
    ),
    "no-fermented-feed": (
        N_("No fermented feed"),
        no_fermented,
        366,
        N_("How every feed was kept, what heated, what was fed late, and what was thrown away."),
    ),
}
