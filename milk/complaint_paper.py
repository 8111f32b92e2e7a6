"""The answer to a buyer's complaint: this wheel, its twin, and what became of that day's others."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.days import day_in_figures, local_day
from config.language import in_readers_form
from config.papers import CAUTION, Column, Line, Paper, Part
from milk.grades import last_grades
from milk.held import open_holds
from milk.models import Dispatch, Inspection, Wheel
from milk.places import where_is
from milk.trace import TraceBack
from milk.vat_code import vat_code

WHEELS = (
    Column(_l("Plate"), 1),
    Column(_l("Lot (vat)"), 1.4),
    Column(_l("Twin"), 0.6),
    Column(_l("Last grade"), 1.6),
    Column(_l("Where it is"), 3),
    Column(_l("Sold to, with paper"), 3),
    Column("kg", 0.8, figures=True),
    Column(_l("Held"), 0.8),
)
ELSEWHERE = N_("sold to somebody else")
SEEN = (Column(_l("Day"), 1), Column(_l("How"), 1), Column(_l("Grade"), 1), Column(_l("Found"), 4))


def complaint_paper(wheel: Wheel, *, by: Any, at: datetime) -> Paper:
    """What can be said of a wheel a buyer complains about. ``by``: who makes the paper."""
    of_day = list(
        Wheel.objects.standing()
        .filter(vat__day=wheel.vat.day, vat__struck_at=None)
        .select_related("vat")
        .order_by("vat__round", "vat__number", "twin")
    )
    sold_to = Dispatch.objects.happened_by(at).filter(wheel=wheel).order_by("-happened_at", "-id")
    buyer = sold_to.values_list("buyer", flat=True).first()
    # The buyer who complains reads this: who else bought of that day is not for them to know.
    lines = lines_of(of_day, at, only=frozenset([buyer]))
    twins = [one for one in of_day if one.vat_id == wheel.vat_id]
    others = [one for one in of_day if one.vat_id != wheel.vat_id]
    sold = sum(bool(lines[one.pk].cells[5]) for one in of_day)
    loud = sum(lines[one.pk].loud for one in of_day)
    return Paper(
        title=_("Wheel {plate}: answer to a complaint").format(plate=wheel.plate),
        stem=f"complaint {wheel.plate}",
        made_by=str(by),
        made_at=at,
        about=(
            _("Made on {happened_at}, lot {vat_code}, twin {twin}.").format(
                happened_at=day_in_figures(local_day(wheel.happened_at)),
                vat_code=vat_code(wheel.vat),
                twin=wheel.twin,
            ),
        ),
        answer=(
            _(
                "{count} wheels were made that day, {sold} of them were sold; {loud} are worse "
                "than first, or held."
            ).format(count=len(of_day), sold=sold, loud=loud)
        ),
        parts=(
            Part(WHEELS, tuple(lines[one.pk] for one in twins), title=_("This wheel and its twin")),
            Part(SEEN, tuple(seen(twins)), title=_("What was found on them")),
            Part(
                WHEELS,
                tuple(lines[one.pk] for one in others),
                title=_("The other wheels of that day"),
                empty=_("No other vat was made that day."),
            ),
        ),
        cautions=(CAUTION,),
    )


def lines_of(
    wheels: list[Wheel],
    at: datetime,
    only: frozenset[int | None] | None = None,
    known: TraceBack | None = None,
) -> dict[int, Line]:
    """By wheel (key), its line; a line is loud when it is worse than first, or held.

    ``only``: the buyers (keys) who may be named; None: all of them. ``known``: a trace of one of
    these wheels, which has where all of its vat are and what holds them.
    """
    numbers = [wheel.pk for wheel in wheels]
    grades = last_grades(numbers, at)
    places = known.places if known else where_is(numbers, at)
    held = known.held if known else open_holds(wheel_ids=numbers)
    rows = Dispatch.objects.happened_by(at).filter(wheel__in=numbers).select_related("buyer")
    sold = {row.wheel_id: row for row in rows.order_by("happened_at", "id")}
    found = {}
    for wheel in wheels:
        grade, out = grades.get(wheel.pk), sold.get(wheel.pk)
        is_held = ("wheel", wheel.pk) in held
        kg = out.kg if out else wheel.kg
        named = only is None or out is None or out.buyer_id in only
        cells = (
            wheel.plate,
            vat_code(wheel.vat),
            wheel.twin,
            grade.get_grade_display() if grade else _("not graded"),
            str(places[wheel.pk]) if named else _(ELSEWHERE),
            "" if out is None else f"{out.buyer}, {out.paper}" if named else _(ELSEWHERE),
            in_readers_form(f"{kg:.1f}") if kg else "",
            _("held") if is_held else "",
        )
        worse = grade is not None and grade.grade != Inspection.Grade.FIRST
        found[wheel.pk] = Line(cells, url=wheel.get_absolute_url(), loud=worse or is_held)
    return found


def seen(wheels: Iterable[Wheel]) -> Iterable[Line]:
    """Every inspection of some wheels, struck ones too, the oldest first."""
    rows = Inspection.objects.filter(wheel__in=[wheel.pk for wheel in wheels])
    related = ("wheel", "fault", "struck_by")
    for row in rows.select_related(*related).order_by("wheel__twin", "happened_at", "id"):
        fault = f"{row.fault}" if row.fault else ""
        words = ", ".join(
            filter(None, (_("wheel {plate}").format(plate=row.wheel.plate), fault, row.findings))
        )
        struck = ""
        if row.struck_at is not None:
            struck = _("{struck_at} by {struck_by}").format(
                struck_at=day_in_figures(local_day(row.struck_at)), struck_by=row.struck_by
            )
        day = day_in_figures(local_day(row.happened_at))
        yield Line((day, row.get_way_display(), row.get_grade_display(), words), struck=struck)
