"""What a recall's board says, the answer first."""

from collections import Counter
from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal

from herd.withdrawal import plain
from milk.models import RecallStep
from milk.recalls import Board
from milk.recalls_located import Count

MOST_PLATES, MOST_BATHS = 12, 4
CAUTION = (
    "A food that may harm and has left the estate is called back and told to the competent "
    "authority at once; the authority decides, and so do the vet and local law. Swardline counts "
    "and reminds. A wheel that was sent counts as located only when its buyer has answered."
)
DRILL = "This is a drill: nothing is held, nobody is told, and no notice goes out."


def word_of(board: Board) -> str:
    """The answer in a word or two."""
    if not board.rows:
        return "no wheels"
    if board.missing:
        return f"{len(board.missing)} missing"
    if board.unheard:
        return f"{len(board.unheard)} not heard of"
    return "all located" if board.located.located.pieces == len(board.rows) else "not all located"


def sentences(board: Board, record: timedelta | None = None) -> Iterator[str]:
    """The board in words. ``record``: how long the quickest drill took that found everything."""
    yield located_says(board)
    if board.located.made.unweighed:
        yield f"{wheels(board.located.made.unweighed)} without a weight count in pieces only."
    count = board.located
    if count.made.pieces:
        yield (
            f"Recovered, which is here, come back or destroyed: {of(count.recovered, count.made)}, "
            f"{count.recovered_percent} % of the pieces."
        )
    if board.missing:
        yield f"Missing: {plates(row.wheel.plate for row in board.missing)}."
    if board.unheard:
        names = [one.holding.name for one in board.buyers if one.wheels and one.is_open]
        yield f"To be rung: {', '.join(names)}; {wheels(len(board.unheard))} not heard of."
    yield from may_says(board)
    yield balance_says(board)
    yield from changed_says(board)
    if board.recall.pk:
        yield clock_says(board, record)


def located_says(board: Board) -> str:
    """How many are located, held against the estate's target."""
    count = board.located
    if not count.made.pieces:
        return "No wheel was made of it."
    reached = count.reaches(board.targets.located)
    verdict = "reached" if reached else "FAIL"
    kg = "" if count.percent_kg is None else f" and {count.percent_kg} % of the kg"
    return (
        f"{of(count.located, count.made)} located: {count.percent} % of the pieces{kg}. "
        f"Target {plain(board.targets.located)} %: {verdict}."
    )


def balance_says(board: Board) -> str:
    """The balance of the milk, held against the estate's bounds."""
    if board.came_in is None or board.out is None:
        return "No balance of milk: it begins at the cheese, not at the milk."
    if not board.came_in:
        return "No milk of it came into a tank."
    share = (board.out * 100 / board.came_in).quantize(Decimal("0.01"))
    bounds = f"{plain(board.targets.low)} to {plain(board.targets.high)} %"
    verdict = "closes" if board.balanced else "does NOT close"
    return (
        f"Milk: {board.came_in:,.1f} kg came in, {board.out:,.1f} kg are accounted for, {share} %: "
        f"it {verdict} (bounds {bounds})."
    )


def changed_says(board: Board) -> Iterator[str]:
    """What the book says by now that it did not say at the start."""
    if board.trouble:
        yield f"What it started from is not in the book any more: {board.trouble}"
    if board.late:
        yield (
            f"Since the start {wheels(len(board.late))} came to it by a late entry: "
            f"{plates(row.wheel.plate for row in board.late)}."
        )
    if board.gone:
        yield f"Struck since the start: {plates(board.gone)}."
    ring = board.below.ring if board.below else []
    cans = board.below.cans if board.below else []
    if cans:
        names = "; ".join(can.name for can in cans[:MOST_PLATES])
        more = f"; and {len(cans) - MOST_PLATES} more" if len(cans) > MOST_PLATES else ""
        yield f"Whey of these vats is in starter, not called back: {names}{more}."
    if ring:
        names = ", ".join(vat.name for vat in ring[:MOST_PLATES])
        yield f"Second ring, started with whey of these vats and not called back: {names}."
    if board.brine:
        names = "; ".join(bath.name for bath in board.brine[:MOST_BATHS])
        more = f"; and {len(board.brine) - MOST_BATHS} more" if board.brine[MOST_BATHS:] else ""
        yield f"Only shared the brine with them, and not called back: {names}{more}."


def may_says(board: Board) -> Iterator[str]:
    """Loads whose rest nobody wrote: who may have had it, and whether that is called back too."""
    below = board.below
    if below is None or not below.may_feeds:
        return
    told = "; ".join(
        f"{feed.groups_said} may have had of {feed.name} (about {feed.kg:,.0f} kg of it are not "
        "written)"
        for feed in below.may_feeds[:MOST_PLATES]
    )
    yield f"NOT SURE: {told}. Write where it went; until then all of them count."
    if below.reaches_may:
        yield "What only may have it is called back with the rest."
    elif below.may is not None:
        yield (
            f"Their milk may carry it into {wheels(len(below.may.wheels))} more, told apart and "
            "not called back. A recall “also of what only may have it” calls them back."
        )


def clock_says(board: Board, record: timedelta | None) -> str:
    """How long it has taken, against the estate's bound and record."""
    took = length(board.clock.took)
    if not board.is_over:
        said = f"The clock runs since {took}"
    else:
        said = f"Ended after {took}"
        if board.in_time is not None and board.targets.longest is not None:
            held = "in time" if board.in_time else "too long"
            said += f", {held} (at most {length(board.targets.longest)})"
    if board.recall.drill and record is not None:
        said += f"; the estate's record is {length(record)}"
    return f"{said}."


def length(span: timedelta) -> str:
    """“62 min”, “4 h”, “5 h 10 min”, “3 days”."""
    minutes = round(span.total_seconds() / 60)
    if minutes >= 3 * 24 * 60:
        return f"{minutes // (24 * 60)} days"
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
    return ", ".join(f"{number} {word}" for word, number in count.most_common())


def of(part: Count, whole: Count) -> str:
    return f"{part.pieces:,} of {wheels(whole.pieces)}"


def wheels(number: int) -> str:
    return f"{number:,} wheel{'' if number == 1 else 's'}"


def plates(numbers: object) -> str:
    """Plates one after the other, the first dozen by name."""
    told = list(numbers)  # type: ignore[call-overload]
    more = f" and {len(told) - MOST_PLATES:,} more" if len(told) > MOST_PLATES else ""
    return ", ".join(told[:MOST_PLATES]) + more
