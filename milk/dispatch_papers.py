"""The paper that goes with a shipment, and the sheet of a pallet: page, table file and PDF."""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.days import day_in_figures, local_day
from config.language import in_readers_form
from config.papers import Column, Line, Paper, Part, joined
from herd.models import Holding
from milk.age import full_months
from milk.grades import last_grades
from milk.models import Dispatch, Pallet, Pick, Shipment, Wheel
from milk.trace import fed_before_rule
from milk.vat_code import vat_code
from milk.wheel_story import stories

CAUTIONS = (
    N_(
        "Data by Article 3(1) of Regulation (EU) 931/2011. Local law may ask for more, such as a "
        "health certificate or an identification mark."
    ),
    N_(
        "Made of raw milk. Keep it cool and clean; the label says who should not eat raw "
        "milk cheese."
    ),
)
WHEELS = (
    Column(_l("Plate"), 1.2),
    Column(_l("Lot (vat)"), 1.5),
    Column(_l("Made on"), 1.3),
    Column(_l("Age, months"), 0.9, figures=True),
    Column(_l("Grade"), 1.2),
    Column("kg", 0.8, figures=True),
    Column(_l("Pallet"), 2),
)
ORIGIN = (
    Column(_l("Lot (vat)"), 1.5),
    Column(_l("Groups milked"), 2),
    Column(_l("Grass from"), 4),
)


def shipment_paper(shipment: Shipment, *, by: Any, at: datetime) -> Paper:
    """The eight items of the law, then every wheel. ``by``: who makes the paper."""
    dispatches = list(
        Dispatch.objects.standing()
        .filter(shipment=shipment)
        .select_related("wheel__vat", "pallet")
        .order_by("pallet__sscc", "wheel__plate")
    )
    order, product = shipment.order, shipment.order.product
    kg = sum((one.kg for one in dispatches), Decimal(0))
    sent = local_day(shipment.happened_at)
    about = (
        _("Food: {product}, {description}. GTIN {gtin}.").format(
            product=product.name, description=product.description, gtin=product.gtin
        ),
        _("Quantity: {count} wheels, {kg} kg.").format(
            count=len(dispatches), kg=in_readers_form(f"{kg:.1f}")
        ),
        _("Sent by: {named}.").format(named=named(product.holding)),
        *owner(_("Owner before"), shipment.owner_before),
        _("Received by: {named}.").format(named=named(order.buyer)),
        *owner(_("Owner after"), shipment.owner_after),
        _("Date of dispatch: {sent}. Order {number}.").format(
            sent=day_in_figures(sent), number=order.number
        ),
        joined(
            (
                _("Carrier: {carrier}").format(carrier=shipment.carrier),
                _("vehicle {vehicle}").format(vehicle=shipment.vehicle) if shipment.vehicle else "",
                f"{shipment.temperature} °C" if shipment.temperature is not None else "",
            )
        )
        + ".",
    )
    wheels = [(one.wheel, one.kg, one.pallet) for one in dispatches]
    return Paper(
        title=_("Dispatch {paper}").format(paper=shipment.paper),
        stem=f"dispatch {shipment.paper}",
        made_by=str(by),
        made_at=at,
        about=about,
        parts=(wheels_part(wheels, sent, shipment.happened_at),),
        cautions=tuple(map(_, CAUTIONS)),
    )


def named(holding: Holding) -> str:
    """A holding with its address, and its approval number where it has one."""
    return joined((holding.name, holding.address, holding.approval))


def owner(label: str, holding: Holding | None) -> tuple[str, ...]:
    return (f"{label}: {named(holding)}.",) if holding else ()


def pallet_paper(pallet: Pallet, *, by: Any, at: datetime) -> Paper:
    """The wheels of a pallet with dates, ages, grades and kg, and what their milk was made of."""
    picks = list(
        Pick.objects.standing()
        .filter(pallet=pallet)
        .select_related("wheel__vat")
        .order_by("wheel__plate")
    )
    kg = sum((pick.kg for pick in picks), Decimal(0))
    order = pallet.order
    wheels = [(pick.wheel, pick.kg, pallet) for pick in picks]
    return Paper(
        title=_("Pallet {sscc}").format(sscc=pallet.sscc),
        stem=f"pallet {pallet.sscc}",
        made_by=str(by),
        made_at=at,
        about=(
            _("{count} wheels, {kg} kg. Order {number} for {buyer}.").format(
                count=len(picks),
                kg=in_readers_form(f"{kg:.1f}"),
                number=order.number,
                buyer=order.buyer,
            ),
            _("{product}, {description}. GTIN {gtin}.").format(
                product=order.product.name,
                description=order.product.description,
                gtin=order.product.gtin,
            ),
        ),
        parts=(
            wheels_part(wheels, local_day(at), at),
            origin_part([pick.wheel for pick in picks], at),
        ),
        cautions=tuple(map(_, CAUTIONS)),
    )


def wheels_part(
    wheels: Sequence[tuple[Wheel, Decimal, Pallet | None]], on: date, at: datetime
) -> Part:
    """Each wheel: plate, lot, day, age and grade at the time, kg."""
    grades = last_grades([wheel.pk for wheel, _, _ in wheels], at)
    lines = []
    for wheel, kg, pallet in wheels:
        made, grade = local_day(wheel.happened_at), grades.get(wheel.pk)
        cells = (
            wheel.plate,
            vat_code(wheel.vat),
            day_in_figures(made),
            str(full_months(made, on)),
            grade.get_grade_display() if grade else _("not graded"),
            in_readers_form(f"{kg:.1f}"),
            pallet.sscc if pallet else "",
        )
        lines.append(Line(cells, url=wheel.get_absolute_url()))
    return Part(WHEELS, tuple(lines), title=_("Wheels"), empty=_("No wheel stands on it."))


def origin_part(wheels: Sequence[Wheel], at: datetime) -> Part:
    """Each vat: the groups milked for it and the fields they were fed from."""
    vats = {wheel.vat_id: wheel.vat for wheel in wheels}
    told = stories(list(vats.values()), fed_before_rule(at))
    lines = [
        Line((vat_code(vat), told[number].groups_said, joined(told[number].fields)))
        for number, vat in sorted(vats.items())
    ]
    return Part(
        ORIGIN, tuple(lines), title=_("What it was made of"), empty=_("No wheel stands on it.")
    )
