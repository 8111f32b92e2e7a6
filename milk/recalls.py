"""The live board of a recall: every wheel and where it is, who must be rung, how far it has come.

What lay below the start is frozen in the recall; what a late entry adds is counted with it, and
said. Everything is read anew each time, so a place written a minute ago counts. Reads only.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import local_day
from config.language import in_readers_form
from herd.models import Holding
from milk.figures import figures_on
from milk.held import open_holds
from milk.models import Delivery, Dispatch, MilkFigure, Recall, RecallStep, Wheel
from milk.places import SENT, Place, where_is
from milk.recalls_below import Below, below_root
from milk.recalls_located import Fate, Located, Said, balances, counted, fate_of
from milk.recalls_rings import BrineRing, brine_rings
from milk.recalls_roots import find_root
from milk.trace_forward import MOVED
from milk.trace_parts import WheelIn

What = MilkFigure.What
# Where nobody set a figure, everything must be found and the balance must close.
ALL = Decimal(100)
NO_REACH = N_("“{reach}” is no reach of a recall. Expected one of: {known}.")


@dataclass(frozen=True, kw_only=True)
class WheelRow:
    """A wheel of the recall. ``sent``: the dispatch it is out on; ``late``: not known at start."""

    wheel: Wheel
    place: Place
    fate: Fate
    sent: Dispatch | None
    held: bool
    late: bool
    steps: Sequence[RecallStep]

    @property
    def where(self) -> str:
        """Where it is, in words: what a step says of it, else the book."""
        last = self.steps[-1] if self.steps else None
        if self.fate is Fate.FOUND and last is not None and last.place:
            return last.place
        return str(self.place)


@dataclass(kw_only=True)
class Buyer:
    """Somebody who has some of it: wheels, milk or other products, and what they answered."""

    holding: Holding
    wheels: list[WheelRow] = field(default_factory=list)
    others: list[str] = field(default_factory=list)
    calls: list[RecallStep] = field(default_factory=list)

    @property
    def kg(self) -> Decimal:
        """kg of wheels as they left."""
        return sum((row.sent.kg for row in self.wheels if row.sent), Decimal(0))

    @property
    def papers(self) -> list[str]:
        return sorted({row.sent.paper for row in self.wheels if row.sent})

    @property
    def is_open(self) -> bool:
        """Whether they still have to be rung, or rung again."""
        if self.wheels:
            return any(row.fate is Fate.SENT for row in self.wheels)
        return not any(call.answer in ("holds", "sold", "never") for call in self.calls)


@dataclass(frozen=True)
class MayRow:
    """A wheel of which nobody knows whether it has it, and where it is."""

    wheel: WheelIn
    place: Place


@dataclass(frozen=True, kw_only=True)
class Clock:
    """When it began and ended; ``took`` so far while it runs."""

    began: datetime
    ended: datetime | None
    took: timedelta


@dataclass(frozen=True, kw_only=True)
class Targets:
    """The estate's dated figures for a recall: per cent, and how long."""

    located: Decimal
    low: Decimal
    high: Decimal
    longest: timedelta | None


@dataclass(frozen=True, kw_only=True)
class Board:
    """A recall at a moment. ``came_in``, ``out``: kg of its milk, None when it began at cheese."""

    recall: Recall
    as_at: datetime
    below: Below | None
    trouble: str
    rows: list[WheelRow]
    gone: list[str]
    buyers: list[Buyer]
    located: Located
    clock: Clock
    targets: Targets
    steps: list[RecallStep]
    came_in: Decimal | None
    out: Decimal | None

    @cached_property
    def brine(self) -> list[BrineRing]:
        """Wheels that only shared a bath with those of the recall; none when a bath began it."""
        if self.recall.root_kind == Recall.Root.BRINE:
            return []
        return brine_rings([row.wheel.pk for row in self.rows], self.as_at)

    @cached_property
    def may(self) -> list[MayRow]:
        """Wheels that only may have it, and are not called back with the others."""
        below = self.below
        if below is None or below.may is None or below.reaches_may:
            return []
        wheels = [wheel for wheel, _ in below.may.wheels]
        places = where_is([wheel.pk for wheel in wheels], self.as_at)
        return [MayRow(wheel, places[wheel.pk]) for wheel in wheels]

    @property
    def missing(self) -> list[WheelRow]:
        """Wheels that somebody must look for."""
        return [row for row in self.rows if row.fate.is_missing]

    @property
    def unheard(self) -> list[WheelRow]:
        """Wheels whose buyer has not answered."""
        return [row for row in self.rows if row.fate is Fate.SENT]

    @property
    def seen(self) -> int:
        """Wheels of which somebody wrote since the start that they found or did not find them."""
        return sum(bool(row.steps) for row in self.rows)

    @property
    def late(self) -> list[WheelRow]:
        return [row for row in self.rows if row.late]

    @property
    def balanced(self) -> bool | None:
        """Whether the milk's balance closes; None when it began at the cheese."""
        if self.came_in is None or self.out is None:
            return None
        return balances(self.came_in, self.out, self.targets.low, self.targets.high)

    @property
    def passed(self) -> bool:
        """Everything located, and the milk accounted for."""
        return self.located.reaches(self.targets.located) and self.balanced is not False

    @property
    def is_over(self) -> bool:
        return self.clock.ended is not None

    @property
    def in_time(self) -> bool | None:
        """Whether it took no longer than the estate allows; None without such a figure."""
        longest = self.targets.longest
        return None if longest is None else self.clock.took <= longest


def board_of(recall: Recall, at: datetime, known: Below | None = None) -> Board:
    """Everything about a recall as the book has it at ``at``; what is ended stands still then.

    ``known``: what lies below it, when that was read at this moment already.
    """
    steps = list(
        RecallStep.lasting()
        .filter(recall_id=recall.pk, happened_at__lte=at)
        .select_related("by", "wheel", "buyer")
    )
    ended = next((step.happened_at for step in steps if step.what == RecallStep.What.ENDED), None)
    as_at = ended or at
    now_below, trouble = (known, "") if known else below_now(recall, as_at)
    rows, gone = rows_of(recall, now_below, steps, as_at)
    balance = now_below.found.balance if now_below and now_below.found else None
    return Board(
        recall=recall,
        as_at=as_at,
        below=now_below,
        trouble=trouble,
        rows=rows,
        gone=gone,
        buyers=buyers_of(rows, now_below, steps),
        located=counted([(row.fate, row.wheel.kg) for row in rows]),
        clock=Clock(began=recall.happened_at, ended=ended, took=as_at - recall.happened_at),
        targets=targets_on(recall.happened_at),
        steps=steps,
        came_in=None if balance is None else grams(balance.came_in.whole + balance.over.whole),
        out=None if balance is None else grams(balance.out.whole),
    )


def preview(
    kind: str,
    what: Any,
    *,
    reach: str = Recall.Reach.ITSELF,
    since: datetime | None = None,
    until: datetime | None = None,
    at: datetime,
) -> Board:
    """The board of a recall that nobody has begun; nothing is written.

    Raises ValidationError by field.
    """
    if reach not in Recall.Reach.values:
        words = _(NO_REACH).format(reach=str(reach)[:20], known=", ".join(Recall.Reach.values))
        raise ValidationError({"reach": words})
    root = find_root(kind, what)
    below = below_root(root, reach=reach, since=since, until=until, at=at)
    tree = {
        "name": root.name,
        "wheels": [{"id": str(one.uuid), "plate": one.plate} for one in below.wheels],
    }
    span = {"since": since, "until": until}
    recall = Recall(root_kind=kind, root=root.text, reach=reach, happened_at=at, tree=tree, **span)
    return board_of(recall, at, below)


def grams(kg: float) -> Decimal:
    return Decimal(kg).quantize(Decimal("0.001"))


def below_now(recall: Recall, at: datetime) -> tuple[Below | None, str]:
    """What lies below the start by now; words when the start was struck meanwhile."""
    try:
        root = find_root(recall.root_kind, recall.root)
        return (
            below_root(root, reach=recall.reach, since=recall.since, until=recall.until, at=at),
            "",
        )
    except ValidationError as refused:
        return None, " ".join(word for words in refused.message_dict.values() for word in words)


def rows_of(
    recall: Recall, now_below: Below | None, steps: Iterable[RecallStep], at: datetime
) -> tuple[list[WheelRow], list[str]]:
    """The wheels of a recall by plate, and the plates that were struck since it began."""
    frozen = {
        UUID(wheel["id"]): wheel["plate"]
        for wheel in recall.tree.get("wheels", ())
        if "id" in wheel
    }
    new = {wheel.uuid for wheel in now_below.wheels} - set(frozen) if now_below else set()
    found = Wheel.objects.standing().filter(uuid__in=[*frozen, *new])
    wheels = list(found.select_related("vat").order_by("plate"))
    numbers = [wheel.pk for wheel in wheels]
    places, sent = where_is(numbers, at), sent_of(numbers, at)
    held = open_holds(wheel_ids=numbers)
    about = steps_by_wheel(wheels, sent, steps)
    rows = [
        WheelRow(
            wheel=wheel,
            place=places[wheel.pk],
            fate=fate_of(
                places[wheel.pk].kind,
                places[wheel.pk].at,
                [Said(one.happened_at, one.what, one.answer) for one in about[wheel.pk]],
            ),
            sent=sent.get(wheel.pk) if places[wheel.pk].kind == SENT else None,
            held=("wheel", wheel.pk) in held,
            late=wheel.uuid in new,
            steps=about[wheel.pk],
        )
        for wheel in wheels
    ]
    standing = {wheel.uuid for wheel in wheels}
    return rows, sorted(plate for uuid, plate in frozen.items() if uuid not in standing)


def sent_of(numbers: Collection[int], at: datetime) -> dict[int, Dispatch]:
    """By wheel (key), the last time it left."""
    rows = Dispatch.objects.happened_by(at).filter(wheel_id__in=numbers)
    rows = rows.select_related("buyer").order_by("happened_at", "written_at", "id")
    return {row.wheel_id: row for row in rows}


def steps_by_wheel(
    wheels: Iterable[Wheel], sent: dict[int, Dispatch], steps: Iterable[RecallStep]
) -> dict[int, list[RecallStep]]:
    """By wheel (key), the steps about it; a call about all that a buyer has is about each."""
    found: dict[int, list[RecallStep]] = defaultdict(list)
    at_buyer: dict[int, list[int]] = defaultdict(list)
    for wheel in wheels:
        if wheel.pk in sent:
            at_buyer[sent[wheel.pk].buyer_id].append(wheel.pk)
    for step in steps:
        if step.wheel_id is not None:
            found[step.wheel_id].append(step)
        elif step.buyer_id is not None:
            for number in at_buyer[step.buyer_id]:
                found[number].append(step)
    return found


def buyers_of(
    rows: Iterable[WheelRow], now_below: Below | None, steps: Iterable[RecallStep]
) -> list[Buyer]:
    """Everybody who has some of it, those to be rung first, then by name."""
    buyers: dict[int, Buyer] = {}

    def of(holding: Holding) -> Buyer:
        return buyers.setdefault(holding.pk, Buyer(holding=holding))

    for row in rows:
        if row.sent is not None:
            of(row.sent.buyer).wheels.append(row)
    if now_below is not None:
        for product in now_below.products:
            of(product.buyer).others.append(
                _("{kg} kg of {what}, paper {paper}").format(
                    kg=in_readers_form(f"{product.kg.normalize():f}"),
                    what=product.what,
                    paper=product.paper,
                )
            )
        for holding, words in milk_sent(now_below):
            of(holding).others.append(words)
    for step in steps:
        if step.buyer is not None and step.buyer_id in buyers:
            buyers[step.buyer_id].calls.append(step)
    return sorted(buyers.values(), key=lambda one: (not one.is_open, one.holding.name))


def milk_sent(now_below: Below) -> list[tuple[Any, str]]:
    """Milk of it that was delivered to others: to whom, and how much."""
    draws = [draw for draw in (now_below.found.draws if now_below.found else ()) if draw.what]
    sent = {draw.uuid: draw for draw in draws if draw.what not in (MOVED, "dumped", "drawn")}
    if not sent:
        return []
    rows = Delivery.objects.filter(uuid__in=list(sent)).select_related("holding")
    return [
        (
            row.holding,
            _("{whole} kg of milk of {happened_at}").format(
                whole=in_readers_form(f"{sent[row.uuid].kg.whole:,.1f}"),
                happened_at=local_day(row.happened_at),
            ),
        )
        for row in rows.order_by("happened_at", "id")
    ]


def targets_on(at: datetime) -> Targets:
    """The figures of the day it began."""
    rows = figures_on(local_day(at))

    def of(what: str, otherwise: Decimal) -> Decimal:
        return rows[what].value if what in rows else otherwise

    hours = rows.get(What.RECALL_HOURS)
    return Targets(
        located=of(What.RECALL_LOCATED, ALL),
        low=of(What.RECALL_LOW, ALL),
        high=of(What.RECALL_HIGH, ALL),
        longest=None if hours is None else timedelta(hours=float(hours.value)),
    )
