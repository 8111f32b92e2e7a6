"""What a recall's board says, the answer first."""

from collections import Counter
from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.language import in_readers_form
from config.templatetags.sheet import amount
from herd.withdrawal import plain
from milk.models import RecallStep
from milk.nouns import counted
from milk.recalls import Board
from milk.recalls_located import Count

MOST_PLATES, MOST_BATHS = 12, 4
CAUTION = N_(
    "A food that may harm and has left the estate is called back and told to the competent "
    "authority at once; the authority decides, and so do the vet and local law. Swardline counts "
    "and reminds. A wheel that was sent counts as located only when its buyer has answered."
)
DRILL = N_("This is a drill: nothing is held, nobody is told, and no notice goes out.")


def word_of(board: Board) -> str:
    """The answer in a word or two."""
    if not board.rows:
        return _("no wheels")
    if board.missing:
        return _("{count} missing").format(count=len(board.missing))
    if board.unheard:
        return _("{count} not heard of").format(count=len(board.unheard))
    return (
        _("all located")
        if board.located.located.pieces == len(board.rows)
        else _("not all located")
    )


def sentences(board: Board, record: timedelta | None = None) -> Iterator[str]:
    """The board in words. ``record``: how long the quickest drill took that found everything."""
    yield located_says(board)
    if board.located.made.unweighed:
        yield _("{wheels} without a weight count in pieces only.").format(
            wheels=wheels(board.located.made.unweighed)
        )
    count = board.located
    if count.made.pieces:
        yield (
            _(
                "Recovered, which is here, come back or destroyed: {of}, {recovered_percent} % "
                "of the pieces."
            ).format(of=of(count.recovered, count.made), recovered_percent=count.recovered_percent)
        )
    if board.missing:
        yield _("Missing: {plates}.").format(
            plates=plates(row.wheel.plate for row in board.missing)
        )
    if board.unheard:
        names = [one.holding.name for one in board.buyers if one.wheels and one.is_open]
        yield _("To be rung: {each}; {wheels} not heard of.").format(
            each=", ".join(names), wheels=wheels(len(board.unheard))
        )
    yield from may_says(board)
    yield balance_says(board)
    yield from changed_says(board)
    if board.recall.pk:
        yield clock_says(board, record)


def located_says(board: Board) -> str:
    """How many are located, held against the estate's target."""
    count = board.located
    if not count.made.pieces:
        return _("No wheel was made of it.")
    reached = count.reaches(board.targets.located)
    verdict = _("reached") if reached else _("FAIL")
    kg = (
        ""
        if count.percent_kg is None
        else _(" and {percent_kg} % of the kg").format(percent_kg=count.percent_kg)
    )
    return _("{of} located: {percent} % of the pieces{kg}. Target {located} %: {verdict}.").format(
        of=of(count.located, count.made),
        percent=count.percent,
        kg=kg,
        located=plain(board.targets.located),
        verdict=verdict,
    )


def balance_says(board: Board) -> str:
    """The balance of the milk, held against the estate's bounds."""
    if board.came_in is None or board.out is None:
        return _("No balance of milk: it begins at the cheese, not at the milk.")
    if not board.came_in:
        return _("No milk of it came into a tank.")
    share = (board.out * 100 / board.came_in).quantize(Decimal("0.01"))
    bounds = _("{low} to {high} %").format(
        low=plain(board.targets.low), high=plain(board.targets.high)
    )
    verdict = _("closes") if board.balanced else _("does NOT close")
    return _(
        "Milk: {came_in} kg came in, {out} kg are accounted for, {share} %: it {verdict} "
        "(bounds {bounds})."
    ).format(
        came_in=in_readers_form(f"{board.came_in:,.1f}"),
        out=in_readers_form(f"{board.out:,.1f}"),
        share=share,
        verdict=verdict,
        bounds=bounds,
    )


def changed_says(board: Board) -> Iterator[str]:
    """What the book says by now that it did not say at the start."""
    if board.trouble:
        yield _("What it started from is not in the book any more: {trouble}").format(
            trouble=board.trouble
        )
    if board.late:
        yield (
            _("Since the start {wheels} came to it by a late entry: {plates}.").format(
                wheels=wheels(len(board.late)), plates=plates(row.wheel.plate for row in board.late)
            )
        )
    if board.gone:
        yield _("Struck since the start: {plates}.").format(plates=plates(board.gone))
    ring = board.below.ring if board.below else []
    cans = board.below.cans if board.below else []
    if cans:
        names = "; ".join(can.name for can in cans[:MOST_PLATES])
        more = (
            _("; and {count} more").format(count=len(cans) - MOST_PLATES)
            if len(cans) > MOST_PLATES
            else ""
        )
        yield _("Whey of these vats is in starter, not called back: {names}{more}.").format(
            names=names, more=more
        )
    if ring:
        names = ", ".join(vat.name for vat in ring[:MOST_PLATES])
        yield _(
            "Second ring, started with whey of these vats and not called back: {names}."
        ).format(names=names)
    if board.brine:
        names = "; ".join(bath.name for bath in board.brine[:MOST_BATHS])
        more = (
            _("; and {count} more").format(count=len(board.brine) - MOST_BATHS)
            if board.brine[MOST_BATHS:]
            else ""
        )
        yield _("Only shared the brine with them, and not called back: {names}{more}.").format(
            names=names, more=more
        )


def may_says(board: Board) -> Iterator[str]:
    """Loads whose rest nobody wrote: who may have had it, and whether that is called back too."""
    below = board.below
    if below is None or not below.may_feeds:
        return
    told = "; ".join(
        _("{groups_said} may have had of {feed} (about {kg} kg of it are not written)").format(
            groups_said=feed.groups_said, feed=feed.name, kg=in_readers_form(f"{feed.kg:,.0f}")
        )
        for feed in below.may_feeds[:MOST_PLATES]
    )
    yield _("NOT SURE: {told}. Write where it went; until then all of them count.").format(
        told=told
    )
    if below.reaches_may:
        yield _("What only may have it is called back with the rest.")
    elif below.may is not None:
        yield (
            _(
                "Their milk may carry it into {wheels} more, told apart and not called back. A "
                "recall “also of what only may have it” calls them back."
            ).format(wheels=wheels(len(below.may.wheels)))
        )


def clock_says(board: Board, record: timedelta | None) -> str:
    """How long it has taken, against the estate's bound and record."""
    took = length(board.clock.took)
    if not board.is_over:
        said = _("The clock runs since {took}").format(took=took)
    else:
        said = _("Ended after {took}").format(took=took)
        if board.in_time is not None and board.targets.longest is not None:
            held = _("in time") if board.in_time else _("too long")
            said += _(", {held} (at most {length})").format(
                held=held, length=length(board.targets.longest)
            )
    if board.recall.drill and record is not None:
        said += _("; the estate's record is {length}").format(length=length(record))
    return f"{said}."


def length(span: timedelta) -> str:
    """“62 min”, “4 h”, “5 h 10 min”, “3 days”."""
    minutes = round(span.total_seconds() / 60)
    if minutes >= 3 * 24 * 60:
        return _("{minutes} days").format(minutes=minutes // (24 * 60))
    if minutes <= 120:
        return "2 h" if minutes == 120 else f"{minutes} min"
    whole, rest = divmod(minutes, 60)
    return f"{whole} h {rest} min" if rest else f"{whole} h"


def record_of_drills(until: datetime) -> timedelta | None:
    """How long the quickest drill took that located everything, of those ended before a moment."""
    ended = RecallStep.objects.standing().filter(
        what=RecallStep.What.ENDED,
        recall__drill=True,
        recall__struck_at=None,
        happened_at__lt=until,
        result__passed=True,
        result__made__gt=0,
    )
    seconds = [result["seconds"] for result in ended.values_list("result", flat=True)]
    return timedelta(seconds=min(seconds)) if seconds else None


def where_says(board: Board) -> str:
    """Where the wheels are, by kind of place."""
    count = Counter(str(row.fate) for row in board.rows)
    return ", ".join(f"{number} {_(word)}" for word, number in count.most_common())


def of(part: Count, whole: Count) -> str:
    return _("{pieces} of {wheels}").format(pieces=amount(part.pieces), wheels=wheels(whole.pieces))


def wheels(number: int) -> str:
    return counted(number, "wheel")


def plates(numbers: object) -> str:
    """Plates one after the other, the first dozen by name."""
    told = list(numbers)  # type: ignore[call-overload]
    more = (
        _(" and {count} more").format(count=amount(len(told) - MOST_PLATES))
        if len(told) > MOST_PLATES
        else ""
    )
    return ", ".join(told[:MOST_PLATES]) + more
