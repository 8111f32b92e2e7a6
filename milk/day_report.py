"""The day on one screen: who is withheld, what is past its window, over a limit or held, and a
trace each way with its closing balance. Reads only; the same answers as the pages give.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta
from textwrap import wrap
from typing import Any

from django.utils import timezone

from feed.board import board
from feed.window import State
from herd.models import Dose
from herd.withheld import Answer, withheld_list
from milk import trace
from milk.models import Hold, LotFlag, Wheel

MOST_ROWS = 6
FEW = 4
WIDTH = 98
LATE_HOURS = 12
COLOSTRUM = "colostrum"
FLAGS_WITHIN = timedelta(days=7)
CAUTION = (
    "Swardline computes and reminds. The leaflet, the prescribing vet, the laboratory, the "
    "authority and local law decide."
)


def day_report(at: datetime) -> list[str]:
    """The lines of the report, at most 100 columns wide."""
    return [
        f"Swardline, as at {local(at)}",
        *section("Withheld: NOT in the tank", withheld_lines(at)),
        *section("Grass past its window", grass_lines(at)),
        *section("Lots over a limit", limit_lines(at)),
        *section("Held", hold_lines()),
        *section("Trace", trace_lines()),
        "",
        CAUTION,
    ]


def section(title: str, lines: Iterator[str]) -> list[str]:
    found = list(lines) or ["nothing"]
    more = [f"… and {len(found) - MOST_ROWS} more"] if len(found) > MOST_ROWS else []
    shown = [*found[:MOST_ROWS], *more]
    return ["", title, *(part for line in shown for part in folded(line))]


def folded(line: str) -> list[str]:
    """A line in parts of at most WIDTH columns, indented below the title."""
    own = " " * (2 + len(line) - len(line.lstrip()))
    return wrap(line.strip(), WIDTH, initial_indent=own, subsequent_indent=own + "  ")


def local(moment: datetime | None) -> str:
    """A moment on the estate's clock."""
    return timezone.localtime(moment).strftime("%a %d %b %Y %H:%M") if moment else "not known"


def withheld_lines(at: datetime) -> Iterator[str]:
    out = [answer for answer in withheld_list(at) if answer.withheld and answer.is_milked]
    if out:
        yield f"{len(out)} animals; those of groups whose milk goes to the dairy first"
    for answer in sorted(out, key=place):
        back = f"back {local(answer.back)}" if answer.back else "nobody knows when she is back"
        yield f"{answer.name} group {answer.group}: {back}, {answer.why[0] if answer.why else ''}"


def place(answer: Answer) -> tuple[bool, bool, int, str]:
    """Groups on the tank's line first, and of those the treated before the freshly calved."""
    fresh = any(words.startswith(COLOSTRUM) for words in answer.why)
    return answer.use == "hospital", fresh, answer.group, answer.name


def grass_lines(at: datetime) -> Iterator[str]:
    for row in board(at):
        if row.state is State.PAST:
            yield (
                f"{row.batch}: {row.left_kg:,.0f} kg lie there, past since "
                f"{local(row.batch.deadline)}"
            )


def limit_lines(at: datetime) -> Iterator[str]:
    flags = (
        LotFlag.objects.filter(test__happened_at__gte=at - FLAGS_WITHIN)
        .select_related("lot")
        .order_by("-test__happened_at", "pk")
    )
    for flag in flags:
        yield f"{flag.lot}: {flag.words}"


def hold_lines() -> Iterator[str]:
    for hold in Hold.objects.open().order_by("-happened_at"):
        count = {name: len(hold.tree.get(name, ())) for name in ("lots", "vats", "wheels")}
        yield hold.words
        yield f"  {count['lots']} lots, {count['vats']} vats, {count['wheels']} wheels{late(hold)}"
        for name in ("lots", "vats", "wheels"):
            yield from named(name, [row["name"] for row in hold.tree.get(name, ())])


def named(kind: str, names: list[str]) -> Iterator[str]:
    """The first few names of what a hold reached, and the last."""
    if names:
        few = names if len(names) <= FEW else [*names[: FEW - 1], "…", names[-1]]
        yield f"  {kind}: {', '.join(few)}"


def late(hold: Hold) -> str:
    """How late the dose behind a hold was written; nothing when it was written the same day."""
    source = hold.cause_key.rpartition(":")[2] if hold.cause_key.count(":") == 1 else ""
    doses = Dose.objects.standing().filter(course__uuid=source) if source else ()
    hours = max((dose.hours_late for dose in doses), default=0.0)
    return f"; the dose was written {hours:.0f} h late" if hours >= LATE_HOURS else ""


def trace_lines() -> Iterator[str]:
    """One trace back from a held wheel, or any, and one forward from a lot that is in it."""
    wheel = example_wheel()
    if wheel is None:
        return
    back = trace.back("wheel", wheel)
    found = back.found
    yield (
        f"back from {back.name}: {found.kg:,.1f} kg of milk, {len(found.lots)} lots, "
        f"{len(found.animals)} animals, {len(found.feeds)} feeds ({back.took_ms:.0f} ms)"
    )
    yield f"  in {sum(lot.kg for lot in found.lots):,.1f} kg by lots = {found.kg:,.1f} kg in it"
    yield from forward_lines(found.lots[0].row.uuid)


def forward_lines(lot: Any) -> Iterator[str]:
    forward = trace.forward("lot", lot)
    found = forward.found
    balance = found.balance
    verdict = "closes" if balance.closes else "does NOT close"
    yield (
        f"forward from {forward.name}: {len(found.vats)} vats, {len(found.wheels)} wheels "
        f"({forward.took_ms:.0f} ms)"
    )
    yield (
        f"  in {balance.came_in.whole:,.1f} = vats {balance.vats.whole:,.1f} + drawn "
        f"{(balance.cream + balance.drawn).whole:,.1f} + trays {balance.trays.whole:,.1f} + tanks "
        f"{balance.tanks.whole:,.1f} + lost {balance.lost.whole:,.1f} kg: {verdict}"
    )


def example_wheel() -> Wheel | None:
    """A wheel below an open hold, newest first; without one, the newest wheel."""
    for hold in Hold.objects.open().order_by("-happened_at"):
        held = [row["name"] for row in hold.tree.get("wheels", ())]
        if held:
            return Wheel.objects.standing().filter(plate__in=held).order_by("plate").first()
    return Wheel.objects.standing().order_by("-happened_at", "-plate").first()
