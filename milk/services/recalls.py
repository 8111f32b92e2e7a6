"""Beginning a recall or a drill, its steps, and its end."""

import secrets
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from random import Random
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local, local_day
from config.entries import Stamp
from config.errors import Conflict
from config.language import in_estate_language, in_readers_form
from config.notices import close_gone, raise_notice
from config.roles import CHEESEMAKER, OFFICE, OWNER, STORE_HAND, VET
from herd.models import Holding
from milk.figures import value_on
from milk.models import MilkFigure, Recall, RecallStep, Wheel, WheelDiscard
from milk.nouns import counted
from milk.places import GONE, SENT, Place, where_is
from milk.recalls import Board, board_of
from milk.recalls_below import Below, below_root
from milk.recalls_rings import brine_rings
from milk.recalls_roots import Root, find_root
from milk.services.dispatch import record_discard
from milk.services.flowing import check_stands
from milk.trace_forward import MOVED

DRILL_REASON = N_("a drill")
NO_WHEEL = N_(
    "There is no wheel to draw: none was lifted in the last {months} months. Nothing was saved."
)
BEFORE_THE_START = N_("The recall began at {began}; a step of it cannot be older than that.")
AFTER_THE_END = N_(
    "This {what} ended at {ended}. Nothing was saved. Strike its end first if it goes on."
)
NOT_IN_IT = N_("{wheel} is not part of this {what}. Expected a wheel that is on its list.")
NOT_A_BUYER = N_("{buyer} has nothing of this {what}. Expected a buyer that is on its list.")
NO_PLATES = N_("Name at least one plate; expected plate numbers with blanks or commas between.")
NO_SUCH_PLATES = N_("Not on the list of this {what}: {plates}. Nothing was saved.")
AUTHORITY_IN_DRILL = N_("This is a drill: the authority is not told of it. Write “other” instead.")
RINGS = (VET, CHEESEMAKER, OFFICE, STORE_HAND, OWNER)
MONTH = timedelta(days=365.25 / 12)
WITNESS_MISSING = N_("Name who saw these wheels destroyed, besides whoever writes it.")
WHERE_UNSAID = N_("destroyed in the recall")
PLATES_SHOWN = 8


@transaction.atomic
def record_recall(
    *,
    stamp: Stamp,
    root_kind: str,
    root: Any,
    reason: str,
    reach: str = Recall.Reach.ITSELF,
    since: datetime | None = None,
    until: datetime | None = None,
    drill: bool = False,
    draw: dict[str, Any] | None = None,
) -> Recall:
    """Begin a recall: find what lies below now, and keep it; a real one rings everybody.

    ``draw``: how a drill's wheel was drawn. Raises ValidationError by field.
    """
    # What cannot be found is refused in the reader's words; names are kept in the estate's.
    find_root(root_kind, root)
    with in_estate_language():
        found = find_root(root_kind, root)
        below = below_root(found, reach=reach, since=since, until=until, at=stamp.happened_at)
        places = where_is([wheel.pk for wheel in below.wheels])
    tree = tree_of(found, below, places, stamp.happened_at)
    recall: Recall = entries.record(
        Recall,
        stamp=stamp,
        root_kind=root_kind,
        root=found.text,
        reach=reach,
        since=since,
        until=until,
        reason=reason,
        drill=drill,
        pieces=len(below.wheels),
        located=sum(place.located for place in places.values()),
        tree={**tree, **({"draw": draw} if draw else {})},
    )
    if not drill:
        ring(recall)
    return recall


@in_estate_language()
def tree_of(root: Root, below: Below, places: dict[int, Place], at: datetime) -> dict[str, Any]:
    """What lies below, as it is frozen in a recall: numbers, names and kg."""
    found = below.found
    vats = {vat.pk: vat.name for vat in below.vats}
    rings = [] if root.kind == Recall.Root.BRINE else brine_rings(list(places), at)
    lots = [lot.row for lot in found.lots if not lot.row.void] if found else []
    return {
        "name": root.name,
        "lots": [{"id": str(lot.uuid), "name": lot.code} for lot in lots],
        "vats": [{"id": str(vat.uuid), "name": vat.name} for vat in below.vats],
        "wheels": [
            {
                "id": str(wheel.uuid),
                "plate": wheel.plate,
                "vat": vats[wheel.vat_id],
                "kg": wheel.kg,
                "where": str(places[wheel.pk]),
            }
            for wheel in below.wheels
        ],
        "second_ring": [{"id": str(vat.uuid), "name": vat.name} for vat in below.ring],
        "starter_cans": [{"id": str(can.uuid), "name": can.name} for can in below.cans],
        "brine": [{"name": ring.name} for ring in rings],
        "may": [
            {"id": str(wheel.uuid), "name": wheel.plate}
            for wheel, _ in (below.may.wheels if below.may and not below.reaches_may else ())
        ],
        "elsewhere": [
            {"what": draw.what, "name": draw.name, "kg": round(draw.kg.whole, 3)}
            for draw in (found.draws if found else ())
            if draw.what != MOVED
        ],
    }


@in_estate_language()
def ring(recall: Recall) -> None:
    """Tell everybody who has something to do in a real recall."""
    pieces = counted(recall.pieces, "wheel")
    for role in RINGS:
        raise_notice(
            cause=cause_of(recall),
            role=role,
            what=_("Recall: {root_name}. {reason} {pieces}.").format(
                root_name=recall.root_name, reason=recall.reason, pieces=pieces
            ),
            where=_("store, brine and buyers"),
            otherwise=_("The clock runs until every wheel is located and the recall is ended."),
            url=recall.get_absolute_url(),
        )


def cause_of(recall: Recall) -> str:
    """The cause key of a recall's notices."""
    return f"recall:{recall.uuid}"


@transaction.atomic
def begin_drill(*, stamp: Stamp, reason: str = "", seed: int | None = None) -> Recall:
    """Begin a drill on a wheel that the server draws; everything made of its milk is looked for.

    ``seed``: to draw the same again. Raises Conflict when there is no wheel to draw.
    """
    months = value_on(local_day(stamp.happened_at), MilkFigure.What.DRILL_MONTHS)
    wheels = Wheel.objects.standing().filter(happened_at__lte=stamp.happened_at)
    if months is not None:
        wheels = wheels.filter(happened_at__gte=stamp.happened_at - float(months) * MONTH)
    number = wheels.count()
    if not number:
        raise Conflict(
            _(NO_WHEEL).format(months="" if months is None else in_readers_form(f"{months:f}"))
        )
    seed = secrets.randbits(53) if seed is None else seed
    drawn = Random(seed).randrange(number)
    wheel = wheels.order_by("id")[drawn]
    with in_estate_language():
        said = _(DRILL_REASON)
    return record_recall(
        stamp=stamp,
        root_kind=Recall.Root.WHEEL,
        root=wheel.uuid,
        reach=Recall.Reach.MILK,
        reason=reason or said,
        drill=True,
        draw={"seed": seed, "of": number, "drawn": drawn},
    )


def word_of(recall: Recall) -> str:
    return _("drill") if recall.drill else _("recall")


def ended_at(recall: Recall) -> datetime | None:
    """When it was ended; None while it runs."""
    ended = RecallStep.lasting().filter(recall=recall, what=RecallStep.What.ENDED)
    found: datetime | None = ended.values_list("happened_at", flat=True).first()
    return found


@transaction.atomic
def record_recall_step(*, stamp: Stamp, recall: Recall, what: str, **fields: Any) -> RecallStep:
    """Write one step of a recall that runs; the step that ends it keeps what was located.

    Raises ValidationError by field, Conflict for one that has ended.
    """
    return record_steps(stamp=stamp, recall=recall, what=what, several=[fields])[0]


@transaction.atomic
def record_steps(
    *, stamp: Stamp, recall: Recall, what: str, several: Sequence[dict[str, Any]]
) -> list[RecallStep]:
    """Write several steps of one kind, all or none; otherwise as ``record_recall_step``."""
    recall = Recall.objects.select_for_update(of=("self",)).get(pk=recall.pk)
    check_runs(recall, stamp)
    board = board_of(recall, max(timezone.now(), stamp.happened_at))
    for fields in several:
        check_belongs(recall, board, fields.get("wheel"), fields.get("buyer"))
    if recall.drill and what == RecallStep.What.AUTHORITY:
        raise ValidationError({"what": _(AUTHORITY_IN_DRILL)})
    result = None
    if what == RecallStep.What.ENDED:
        result = result_of(board_of(recall, stamp.happened_at), stamp.happened_at)
    made = [
        entries.record(
            RecallStep,
            stamp=stamp if number == 0 else stamp.again(),
            recall=recall,
            what=what,
            result=result,
            **fields,
        )
        for number, fields in enumerate(several)
    ]
    follow(recall, what)
    return made


def check_runs(recall: Recall, stamp: Stamp) -> None:
    """Refuse a step of a recall that is struck, has ended, or had not begun."""
    check_stands(recall, "recall")
    if stamp.happened_at < recall.happened_at:
        words = _(BEFORE_THE_START).format(began=local(recall.happened_at))
        raise ValidationError({"happened_at": words})
    ended = ended_at(recall)
    if ended is not None:
        raise Conflict(_(AFTER_THE_END).format(what=word_of(recall), ended=local(ended)))


def check_belongs(recall: Recall, board: Board, wheel: Wheel | None, buyer: Holding | None) -> None:
    """Refuse a step about a wheel or a buyer that is not part of the recall."""
    what = word_of(recall)
    if wheel is not None and wheel.pk not in {row.wheel.pk for row in board.rows}:
        words = _(NOT_IN_IT).format(wheel=capfirst(str(wheel)), what=what)
        raise ValidationError({"wheel": words})
    if buyer is not None and buyer.pk not in {one.holding.pk for one in board.buyers}:
        raise ValidationError({"buyer": _(NOT_A_BUYER).format(buyer=buyer, what=what)})


@in_estate_language()
def follow(recall: Recall, what: str) -> None:
    """What a step sets in motion: the owner hears of an authority, the end closes notices."""
    if recall.drill:
        return
    if what == RecallStep.What.AUTHORITY:
        raise_notice(
            cause=f"{cause_of(recall)}:authority",
            role=OWNER,
            what=_("The authority was told: recall of {root_name}.").format(
                root_name=recall.root_name
            ),
            url=recall.get_absolute_url(),
        )
    if what == RecallStep.What.ENDED:
        close_gone(cause_of(recall), still=())


@transaction.atomic
def strike_step(step: RecallStep, **why: Any) -> RecallStep:
    """Strike a step; when it was the end of a real recall, everybody is rung again."""
    struck = entries.strike(step, **why)
    if step.what == RecallStep.What.ENDED and not step.recall.drill:
        ring(step.recall)
    return struck


@transaction.atomic
def strike_recall(recall: Recall, **why: Any) -> Recall:
    """Strike a recall that has no steps, and close its notices."""
    struck = entries.strike(recall, **why)
    close_gone(cause_of(recall), still=())
    return struck


@transaction.atomic
def record_plates(
    *, stamp: Stamp, recall: Recall, what: str, plates: str, witness: str = "", **fields: Any
) -> list[RecallStep]:
    """Write the same step for every plate of a text. Raises ValidationError by field.

    Wheels that a real recall has destroyed here are written as such in the book too, before
    the ``witness``; while people still decide about a hold of one it is refused (Conflict).
    """
    asked = list(dict.fromkeys(plates.replace(",", " ").replace(";", " ").split()))
    if not asked:
        raise ValidationError({"plates": _(NO_PLATES)})
    wheels = {wheel.plate: wheel for wheel in Wheel.objects.standing().filter(plate__in=asked)}
    on_list = {row.wheel.plate for row in board_of(recall, timezone.now()).rows}
    strange = [plate for plate in asked if plate not in on_list]
    if strange:
        shown = ", ".join(plate[:16] for plate in strange[:PLATES_SHOWN])
        words = _(NO_SUCH_PLATES).format(what=word_of(recall), plates=shown)
        raise ValidationError({"plates": words})
    several = [{"wheel": wheels[plate], **fields} for plate in asked]
    made = record_steps(stamp=stamp, recall=recall, what=what, several=several)
    if what == RecallStep.What.DESTROYED and not recall.drill:
        destroy_here(stamp, [one["wheel"] for one in several], witness, fields)
    return made


def destroy_here(
    stamp: Stamp, wheels: Sequence[Wheel], witness: str, fields: Mapping[str, Any]
) -> None:
    """Write the discard of those of these wheels that the book has on the estate."""
    places = where_is([wheel.pk for wheel in wheels], stamp.happened_at)
    here = [wheel for wheel in wheels if places[wheel.pk].kind not in (SENT, GONE)]
    if here and not witness.strip():
        raise ValidationError({"witness": _(WITNESS_MISSING)})
    with in_estate_language():
        unsaid = _(WHERE_UNSAID)
    for wheel in here:
        record_discard(
            stamp=stamp.again(),
            wheel=wheel,
            how=WheelDiscard.How.DESTROYED,
            where_to=fields.get("place") or unsaid,
            paper=fields.get("paper", ""),
            witness=witness,
        )


def result_of(board: Board, at: datetime) -> dict[str, Any]:
    """What was located when a recall ended, as it is kept for ever."""
    count = board.located
    return {
        "seconds": int((at - board.recall.happened_at).total_seconds()),
        "made": count.made.pieces,
        "made_kg": str(count.made.kg),
        "located": count.located.pieces,
        "located_kg": str(count.located.kg),
        "recovered": count.recovered.pieces,
        "recovered_kg": str(count.recovered.kg),
        "percent": None if count.percent is None else str(count.percent),
        "percent_kg": None if count.percent_kg is None else str(count.percent_kg),
        "balanced": board.balanced,
        "passed": board.passed,
        "missing": [row.wheel.plate for row in board.missing],
        "unheard": [row.wheel.plate for row in board.unheard],
    }
