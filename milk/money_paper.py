"""The papers of money: what was lost and why, and the owner's page of a month."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime, timedelta
from decimal import Decimal
from math import exp, log

from django.contrib.auth.models import User
from django.db.models import Count, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.days import local, local_day, start_of
from config.language import in_readers_form
from config.papers import CAUTION, Column, Line, Paper, Part
from feed.waste import waste
from milk.day_balance import total
from milk.hold_cost import worth
from milk.models import Inspection, LotTest, Milking, Tank, Vat, VatLot, Wheel, WheelPlace
from milk.money import Losses, losses_between
from milk.recalls_missing import name_of

LOSSES = (
    Column(_l("Cause"), 2.4),
    Column("kg", 1, figures=True),
    Column(_l("Wheels"), 0.8, figures=True),
    Column(_l("Worth"), 1.2, figures=True),
    Column(_l("How it was worked out"), 3.4),
)
HELD = (
    Column(_l("Held"), 3),
    Column(_l("Since"), 1.3),
    Column(_l("kg of milk"), 1, figures=True),
    Column(_l("Wheels"), 0.8, figures=True),
    Column(_l("Worth"), 1.2, figures=True),
)
FIGURES = (Column(_l("Figure"), 3), Column(_l("Value"), 1.2, figures=True), Column(_l("How"), 4))
# Said on the page, so that nobody takes a figure that is not there for a nought.
NOT_HERE = (
    N_(
        "kg a cow and day, cases a hundred cows and the 21-day pregnancy rate: on the herd's "
        "own pages"
    ),
    N_("deaths: nothing is written of them yet"),
    N_("dry matter a cow: on the page of the ration"),
)
MADE_OF = ("brine", "out", "store", "doubt")


def losses_paper(found: Losses, *, by: User, at: datetime) -> Paper:
    """What was lost and why, the dearest first, and what is kept back."""
    return Paper(
        title=_("What was lost, and why"),
        stem=f"losses {found.first} to {found.last}",
        made_by=name_of(by),
        made_at=at,
        about=(
            _("Days {first} to {last}, by the prices of the last.").format(
                first=found.first, last=found.last
            ),
        ),
        answer=answer_of(found),
        missing=tuple(_("no price for: {cause}").format(cause=cause) for cause in found.unpriced),
        parts=(loss_part(found), held_part(found)),
        signed=False,
    )


def answer_of(found: Losses) -> str:
    """The answer in words: how much in all, and the first cause."""
    if not found.losses:
        said = _("Nothing was lost.")
    else:
        first = found.losses[0]
        said = _("{money} lost in all").format(money=money(found.amount, found.currency))
        said += _("; the most by {cause}.").format(cause=first.cause) if first.amount else "."
    if not found.held:
        return f"{said} " + _("No hold of these days is open.")
    held = ngettext(
        "{count} open hold of these days keeps back {kept}.",
        "{count} open holds of these days keep back {kept}.",
        len(found.held),
    ).format(count=len(found.held), kept=money(found.kept_back, found.currency))
    return f"{said} {held}"


def loss_part(found: Losses) -> Part:
    lines = tuple(
        Line(
            (
                one.cause,
                in_readers_form(f"{one.kg:,.1f}") if one.kg else "",
                f"{one.wheels}" if one.wheels else "",
                _("not known") if one.amount is None else money(one.amount, found.currency),
                one.how,
            ),
            loud=one.amount is None,
        )
        for one in found.losses
    )
    return Part(LOSSES, lines, _("Lost, by cause"), empty=_("Nothing was lost on these days."))


def held_part(found: Losses) -> Part:
    lines = tuple(
        Line(
            (
                hold.words,
                local(hold.happened_at),
                in_readers_form(f"{cost.milk_kg:,.1f}") if cost.milk_kg else "",
                f"{cost.wheels}" if cost.wheels else "",
                _("not known") if cost.amount is None else money(cost.amount, found.currency),
            ),
            url=f"/milk/holds/{hold.uuid}/",
        )
        for hold, cost in found.held
    )
    return Part(
        HELD, lines, _("Kept back by open holds, not lost yet"), empty=_("Nothing is held.")
    )


def money(amount: Decimal, currency: str) -> str:
    return f"{amount:,.0f} {currency}"


COUNTS = (("cells", N_("Cell count")), ("plate", N_("Plate count")))
FIRST_YEAR, LAST_YEAR = 1900, 2200


def month_of(text: str, today: date) -> tuple[date, date]:
    """First and last day of a month such as "2026-06"; blank is the last whole one.

    Raises ValueError for another text.
    """
    first = date.fromisoformat(f"{text}-01") if text else before(today)
    if not FIRST_YEAR <= first.year <= LAST_YEAR:
        raise ValueError(text)
    later = (first + timedelta(days=32)).replace(day=1)
    return first, later - timedelta(days=1)


def before(today: date) -> date:
    """The first day of the month before."""
    return (today.replace(day=1) - timedelta(days=1)).replace(day=1)


def owner_paper(first: date, last: date, *, by: User, at: datetime) -> Paper:
    """The owner's page of a month: milk, cheese, stock, holds and losses, what can be computed."""
    lost = losses_between(first, last, at)
    lines = tuple(Line(cells) for cells in (*milk_lines(first, last), *cheese_lines(first, last)))
    return Paper(
        title=_("The month {first}").format(first=f"{first:%B %Y}"),
        stem=f"month {first:%Y-%m}",
        made_by=name_of(by),
        made_at=at,
        about=(_("Days {first} to {last}.").format(first=first, last=last),),
        answer=answer_of(lost),
        missing=tuple(map(_, NOT_HERE)),
        missing_title=_("Not on this page"),
        parts=(
            Part(FIGURES, lines, _("Milk and cheese")),
            Part(STOCK, tuple(stock_lines(last, at)), _("Stock now, by age"), empty=_("No wheel.")),
            loss_part(lost),
            held_part(lost),
        ),
        cautions=(CAUTION,),
        signed=False,
    )


def yield_line(
    milk: Mapping[int, Decimal], cheese: Mapping[int, tuple[int, int, Decimal]]
) -> tuple[str, str, str]:
    """kg at 24 h from 100 kg, of the vats whose milk is known and whose wheels are all weighed.

    ``milk``: kg by vat; ``cheese``: by vat its wheels, how many of them are weighed, and their kg.
    """
    whole = [vat for vat in milk if vat in cheese and cheese[vat][0] == cheese[vat][1]]
    kg = sum((milk[vat] for vat in whole), Decimal(0))
    name, how = (
        _("kg of cheese from 100 kg of milk"),
        _("of {count} vats weighed in full").format(count=len(whole)),
    )
    if not kg:
        return name, "", how
    return name, in_readers_form(f"{sum(cheese[vat][2] for vat in whole) / kg * 100:.2f}"), how


STOCK = (
    Column(_l("Age in full years"), 2),
    Column(_l("Wheels"), 1, figures=True),
    Column(_l("kg at 24 h"), 1.2, figures=True),
    Column(_l("Worth"), 1.4, figures=True),
)


def milk_lines(first: date, last: date) -> Iterator[tuple[str, str, str]]:
    """Milk to the dairy, counts, feed thrown away."""
    since, until = start_of(first), start_of(last + timedelta(days=1))
    days = (last - first).days + 1
    milked = Milking.objects.standing().filter(happened_at__gte=since, happened_at__lt=until)
    kg = total(milked.exclude(tank__use=Tank.Use.WASTE), "kg")
    yield (
        _("Milk to the dairy, kg"),
        in_readers_form(f"{kg:,.0f}"),
        _("{kg} kg a day").format(kg=in_readers_form(f"{kg / days:,.0f}")),
    )
    results = results_between(since, until)
    for what, name in COUNTS:
        yield count_line(results[what], _(name))
    thrown = waste(first, last)
    yield (
        _("Feed thrown away, kg"),
        in_readers_form(f"{thrown.kg:,.0f}"),
        _("{count} discards").format(count=len(thrown.thrown)),
    )
    yield (
        _("Refusals cleared, kg"),
        in_readers_form(f"{thrown.refused_kg:,.0f}"),
        _("left by the groups, fresh weight"),
    )


def results_between(since: datetime, until: datetime) -> dict[str, list[LotTest]]:
    """The estate's own counts of a span, by what was counted."""
    found: dict[str, list[LotTest]] = {what: [] for what, _name in COUNTS}
    tests = LotTest.objects.standing().filter(
        what__in=found,
        happened_at__gte=since,
        happened_at__lt=until,
        lot__isnull=False,
        lot__delivery=None,
    )
    for test in tests:
        found[test.what].append(test)
    return found


def count_line(tests: Iterable[LotTest], name: str) -> tuple[str, str, str]:
    """The geometric mean of some results."""
    known = [test.standard for test in tests if test.standard]
    if not known:
        return _("{name}, thousand per ml").format(name=name), "", _("no result of this month")
    mean = exp(sum(log(value) for value in known) / len(known))
    return (
        _("{name}, thousand per ml").format(name=name),
        in_readers_form(f"{mean:,.0f}"),
        _("geometric mean of {count} results").format(count=len(known)),
    )


def cheese_lines(first: date, last: date) -> Iterator[tuple[str, str, str]]:
    """Vats, wheels, yield and grades."""
    vats = Vat.objects.standing().filter(day__gte=first, day__lte=last)
    wheels = Wheel.objects.standing().filter(vat__in=vats)
    by_vat = wheels.order_by().values_list("vat")
    made = by_vat.annotate(Count("pk"), Count("kg"), kg=Coalesce(Sum("kg"), Decimal(0)))
    cheese = {vat: (number, weighed, kg) for vat, number, weighed, kg in made}
    milk = dict(VatLot.objects.filter(vat__in=vats).values_list("vat").annotate(Sum("kg")))
    yield (
        _("Vats"),
        in_readers_form(f"{vats.count():,}"),
        _("{milk} kg of milk").format(milk=in_readers_form(f"{sum(milk.values()):,.0f}")),
    )
    pieces, kg = sum(one[0] for one in cheese.values()), sum(one[2] for one in cheese.values())
    yield (
        _("Wheels"),
        in_readers_form(f"{pieces:,}"),
        _("{made} kg at 24 h").format(made=in_readers_form(f"{kg:,.0f}")),
    )
    yield yield_line(milk, cheese)
    since, until = start_of(first), start_of(last + timedelta(days=1))
    looked = Inspection.objects.standing().filter(happened_at__gte=since, happened_at__lt=until)
    grades = dict(looked.order_by("grade").values_list("grade").annotate(Count("pk")))
    number = sum(grades.values())
    for grade in Inspection.Grade:
        part = grades.get(grade, 0)
        share = (
            _("{part} % of {number} looked at").format(
                part=in_readers_form(f"{part / number * 100:.1f}"), number=number
            )
            if number
            else _("none looked at")
        )
        yield _("Graded {label}").format(label=grade.label), in_readers_form(f"{part:,}"), share


def stock_lines(last: date, at: datetime) -> Iterable[Line]:
    """Wheels on the estate now, by full years of age, at the price of a wheel."""
    today = local_day(at)
    lying = WheelPlace.objects.filter(what__in=MADE_OF, wheel__struck_at=None)
    by_year: dict[int, tuple[int, Decimal]] = {}
    rows = lying.order_by().values_list("wheel__vat__day")
    for day, number, kg in rows.annotate(number=Count("pk"), kg=Sum("wheel__kg")):
        years = today.year - day.year - ((today.month, today.day) < (day.month, day.day))
        pieces, known = by_year.get(years, (0, Decimal(0)))
        by_year[years] = (pieces + number, known + (kg or Decimal(0)))
    for years, (pieces, known) in sorted(by_year.items()):
        cost = worth(Decimal(0), pieces, last)
        said = _("not known") if cost.amount is None else money(cost.amount, cost.currency)
        yield Line(
            (f"{years}", in_readers_form(f"{pieces:,}"), in_readers_form(f"{known:,.0f}"), said)
        )
