"""Wheels on their way out, one by one or as a shipment, and wheels that came back."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import entries
from config.days import local, local_day
from config.entries import Stamp, check_not_ahead
from config.errors import Conflict
from config.language import in_estate_language
from herd.models import Holding
from milk.age import too_young
from milk.dispatch_data import DispatchData, Party, lacking
from milk.grades import last_grades, rules_on
from milk.held import check_may_leave, held_words, open_holds
from milk.models import (
    Dispatch,
    Hold,
    MilkFigure,
    Order,
    Pick,
    RindMark,
    Shipment,
    Wheel,
    WheelDiscard,
    WheelReturn,
)
from milk.models.grading import Grade
from milk.ordered import ordered
from milk.services import holds
from milk.services.flowing import check_stands, check_weight
from milk.services.store import check_here, check_wheel, of_wheel
from milk.services.wheel_places import place_again, strike_step
from milk.ship_facts import Given, decisions, grade_of, rinds_of
from milk.shipping import Word, graded_lately, marked_right
from milk.vat_code import vat_code

NOT_FIT = N_("{wheel} may not leave: {reasons}. Nothing was saved.")
NO_ADDRESS = N_(
    "The address of {buyer} is not in the book, and the paper must name it (Regulation (EU) "
    "931/2011, Art. 3). Nothing was saved. Write it at the holding first."
)
NOTHING_PICKED = N_("Nothing is picked for {order} that has not left. Pick its wheels first.")
LACKS = N_("The paper would lack {missing}. The law asks for it. Nothing was saved.")
NOT_ALL = N_("{number} of {all} picked wheels may not leave: {said}. Nothing was saved.")
CAME_BACK = N_("came back from {buyer}: {why}{words}")
BEFORE_SENT = N_("It was sent at {sent}; it cannot have come back before that.")
SAME_PERSON = N_(
    "A second person must have seen it, besides whoever writes it. Expected their name."
)
SAID_AT_MOST = 5


@transaction.atomic
def record_dispatch(
    *, stamp: Stamp, wheel: Wheel, buyer: Holding, kg: Decimal, **fields: Any
) -> Dispatch:
    """Write down that a single wheel left, without an order: to whom, with which paper.

    Raises ValidationError by field; Conflict when it is held, too young, or has left already.
    """
    check_stands(buyer, "buyer")
    check_weight(kg)
    check_has_address(buyer)
    check_may_leave(wheel, stamp.happened_at, downgraded=is_downgraded(stamp, wheel))
    check_fit(stamp, wheel)
    left: Dispatch = of_wheel(Dispatch, stamp, wheel, buyer=buyer, kg=kg, **fields)
    return left


def is_downgraded(stamp: Stamp, wheel: Wheel) -> bool:
    """Whether a wheel was graded downgraded and its marks were taken off by then."""
    at = stamp.happened_at
    grade = last_grades([wheel.pk], at).get(wheel.pk)
    off = RindMark.What.REMOVED in rinds_of([wheel.pk], at).get(wheel.pk, ())
    return off and grade is not None and grade.grade == Grade.DOWNGRADED


def check_fit(stamp: Stamp, wheel: Wheel) -> None:
    """Refuse a wheel too young, not graded lately, or with the wrong marks. Raises Conflict.

    What a wheel must be stands in the estate's dated rules; without a rule of grades nothing is
    asked of them.
    """
    at, day = stamp.happened_at, local_day(stamp.happened_at)
    rules = rules_on(day)
    last = last_grades([wheel.pk], at).get(wheel.pk)
    said = too_young(
        local_day(wheel.happened_at), day, rules.bounds(last.grade if last else None) or ()
    )
    if rules.grades:
        grade = grade_of(last) if last else None
        said += graded_lately(grade, rules.whole(MilkFigure.What.GRADE_AGE), day)
        if grade is not None:
            rule = rules.grades.get(grade.code)
            rind = rinds_of([wheel.pk], at).get(wheel.pk, frozenset())
            said += marked_right(grade, rule.marks if rule else None, rind)
    if said:
        raise Conflict(_(NOT_FIT).format(wheel=capfirst(str(wheel)), reasons="; ".join(said)))


def check_has_address(buyer: Holding) -> None:
    """Refuse a buyer whose address the paper would lack. Raises ValidationError at ``buyer``."""
    if not buyer.address.strip():
        raise ValidationError({"buyer": _(NO_ADDRESS).format(buyer=buyer)})


@transaction.atomic
def correct_dispatch(
    dispatch: Dispatch, *, stamp: Stamp, reason: str, words: str = "", **fields: Any
) -> Dispatch:
    """Write a dispatch again under its number; another wheel is checked as if it left now."""
    before, wheel = dispatch.wheel_id, fields.get("wheel", dispatch.wheel)
    check_stands(fields.get("buyer", dispatch.buyer), "buyer")
    check_weight(fields.get("kg", dispatch.kg))
    check_wheel(stamp, wheel)
    if wheel.pk != dispatch.wheel_id:
        check_may_leave(wheel, stamp.happened_at, downgraded=is_downgraded(stamp, wheel))
        check_fit(stamp, wheel)
        check_here(stamp, wheel)
    corrected: Dispatch = entries.correct(
        dispatch, stamp=stamp, reason=reason, words=words, **fields
    )
    # The wheel it named before is here again.
    place_again({before, corrected.wheel_id})
    return corrected


@transaction.atomic
def send_order(*, stamp: Stamp, order: Order, paper: str, carrier: str, **fields: Any) -> Shipment:
    """Send what is picked for an order with one paper, if every wheel may leave at that moment.

    Raises Conflict naming the wheels that may not and why, ValidationError for what the paper would
    lack; nothing leaves then.
    """
    check_stands(order, "order")
    check_not_ahead(stamp.happened_at)
    Order.objects.select_for_update(of=("self",)).get(pk=order.pk)
    picks = ordered(order, stamp.happened_at).waiting
    if not picks:
        raise Conflict(_(NOTHING_PICKED).format(order=order))
    check_all_go(stamp, order, picks)
    data = data_of(order, picks, stamp, **{name: fields.get(name) for name in OWNERS})
    missing = lacking(data)
    if missing:
        raise ValidationError({"order": _(LACKS).format(missing="; ".join(missing))})
    shipment: Shipment = entries.record(
        Shipment, stamp=stamp, order=order, paper=paper, carrier=carrier, **fields
    )
    for pick in picks:
        of_wheel(Dispatch, stamp.again(), pick.wheel, **dispatched(shipment, pick))
    return shipment


OWNERS = ("owner_before", "owner_after")


def dispatched(shipment: Shipment, pick: Pick) -> dict[str, Any]:
    """The columns of a wheel's dispatch that follow from its shipment and its pick."""
    return {
        "buyer": shipment.order.buyer,
        "kg": pick.kg,
        "paper": shipment.paper,
        "order": shipment.order.number,
        "carrier": shipment.carrier,
        "shipment": shipment,
        "pallet": pick.pallet,
    }


def check_all_go(stamp: Stamp, order: Order, picks: Sequence[Pick]) -> None:
    """Refuse when one of the wheels may not leave any more. Raises Conflict."""
    wheels = [pick.wheel for pick in picks]
    given = {
        pick.wheel_id: Given(
            kg=pick.kg,
            place=pick.place,
            weighed_again=pick.weighed_again,
            twin_asked=pick.twin_asked,
        )
        for pick in picks
    }
    answers = decisions(wheels, order, stamp.happened_at, lines={}, given=given)
    stay = [
        f"{wheel} ({'; '.join(answers[wheel.pk].all_said)})"
        for wheel in wheels
        if answers[wheel.pk].word != Word.SHIP
    ]
    if stay:
        more = (
            _(" and {count} more").format(count=len(stay) - SAID_AT_MOST)
            if len(stay) > SAID_AT_MOST
            else ""
        )
        said = ", ".join(stay[:SAID_AT_MOST]) + more
        raise Conflict(_(NOT_ALL).format(number=len(stay), all=len(wheels), said=said))


def data_of(
    order: Order,
    picks: Sequence[Pick],
    stamp: Stamp,
    owner_before: Holding | None,
    owner_after: Holding | None,
) -> DispatchData:
    """What the paper of a shipment would say."""
    return DispatchData(
        description=order.product.description,
        pieces=len(picks),
        kg=sum((pick.kg for pick in picks), Decimal(0)),
        sender=party(order.product.holding),
        owner_before=party(owner_before) if owner_before else None,
        receiver=party(order.buyer),
        owner_after=party(owner_after) if owner_after else None,
        lots=tuple(sorted({vat_code(pick.wheel.vat) for pick in picks})),
        sent_on=local_day(stamp.happened_at),
    )


def party(holding: Holding) -> Party:
    """A holding as a paper names it."""
    return Party(holding.name, holding.address)


@transaction.atomic
def correct_shipment(
    shipment: Shipment, *, stamp: Stamp, reason: str, words: str = "", **fields: Any
) -> Shipment:
    """Write a shipment again under its number, and what its wheels' dispatches say of it.

    Another order is refused: strike the dispatches and send again. Raises ValidationError by field.
    """
    order = fields.get("order", shipment.order)
    if order.pk != shipment.order_id:
        raise ValidationError({"order": _(OTHER_ORDER)})
    corrected = entries.correct(shipment, stamp=stamp, reason=reason, words=words, **fields)
    for dispatch in Dispatch.objects.standing().filter(shipment=shipment).order_by("pk"):
        entries.correct(
            dispatch,
            stamp=stamp.again(),
            reason=reason,
            words=words,
            paper=corrected.paper,
            carrier=corrected.carrier,
        )
    return corrected


OTHER_ORDER = N_(
    "A shipment keeps its order. Strike what was sent by mistake, and send the other order."
)


@transaction.atomic
def record_return(
    *,
    stamp: Stamp,
    dispatch: Dispatch,
    why: str,
    words: str = "",
    kg: Decimal | None = None,
) -> WheelReturn:
    """Write down that a wheel came back; it is held at once, until two people have decided.

    Raises ValidationError by field.
    """
    check_stands(dispatch, "dispatch")
    check_weight(kg)
    if stamp.happened_at < dispatch.happened_at:
        sent = local(dispatch.happened_at)
        raise ValidationError({"happened_at": _(BEFORE_SENT).format(sent=sent)})
    label = dict(WheelReturn.Why.choices).get(why, why)
    with in_estate_language():
        said = _(CAME_BACK).format(
            buyer=dispatch.buyer, why=label, words=f", {words.strip()}" if words.strip() else ""
        )
    hold = holds.hold_milk(
        stamp=stamp.again(), reason=Hold.Reason.OTHER, words=said[:400], wheel=dispatch.wheel
    )
    back: WheelReturn = entries.record(
        WheelReturn,
        stamp=stamp,
        dispatch=dispatch,
        wheel=dispatch.wheel,
        why=why,
        words=words,
        kg=kg,
        hold=hold,
    )
    place_again([dispatch.wheel_id])
    return back


@transaction.atomic
def record_discard(
    *, stamp: Stamp, wheel: Wheel, witness: str, kg: Decimal | None = None, **fields: Any
) -> WheelDiscard:
    """Write down that a wheel was destroyed or used otherwise than as food, before a witness.

    Raises ValidationError by field; Conflict while people still decide about a hold of it.
    """
    check_weight(kg)
    by = stamp.by
    names = {str(by.get_username()).casefold(), str(by.get_full_name()).casefold()}  # type: ignore[attr-defined]
    if witness.strip().casefold() in names:
        raise ValidationError({"witness": _(SAME_PERSON)})
    for held in open_holds(wheel_ids=[wheel.pk]).get(("wheel", wheel.pk), []):
        if held.is_open and held.hold.received_at <= stamp.happened_at:
            raise Conflict(held_words(capfirst(str(wheel)), _("be destroyed or used"), held))
    made: WheelDiscard = of_wheel(WheelDiscard, stamp, wheel, witness=witness, kg=kg, **fields)
    return made


def strike_shipment(
    shipment: Shipment, *, by: User, reason: str, words: str = "", **options: Any
) -> Shipment:
    """Strike a shipment with the dispatches of its wheels: none of it left. All or nothing."""
    with transaction.atomic():
        for dispatch in Dispatch.objects.standing().filter(shipment=shipment).order_by("pk"):
            strike_step(dispatch, by=by, reason=reason, words=words)
        return entries.strike(shipment, by=by, reason=reason, words=words, **options)
