"""The curve of a cow's lactation, with the doses she got and the tests on her below it."""

from collections.abc import Sequence
from datetime import date, datetime

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.curves import Curve, Done, Lane
from config.days import day_words, local_day
from herd.models import Animal, CowTest, Dose
from herd.udder_of_animal import Udder

# More marks than this nobody tells apart; they stand in her book.
MOST = 120
TITLE = N_("Lactation of {animal}, with doses and tests")
BEST = N_(
    "{tests} recordings since she calved {calved}: the best {best} kg a day on day {day}, the last "
    "{last} kg on day {last_day}. {doses} doses and {looks} tests of hers stand below the curve."
)
POINT = N_("{day}: {kg} kg, {cells} thousand cells per ml")
POINT_WITHOUT = N_("{day}: {kg} kg, cells not counted")


def lactation_curve(animal: Animal, udder: Udder) -> Curve | None:
    """The curve since her last calving; None without a calving or a recorded weight since.

    Two statements besides the udder.
    """
    calved = udder.calved
    tests = (
        []
        if calved is None
        else [
            one.test
            for one in reversed(udder.tests)
            if one.test.kg is not None and one.test.on >= calved
        ]
    )
    if calved is None or not tests:
        return None
    points = [
        ((test.on - calved).days, float(test.kg or 0), point_words(test.on, test.kg, test.cells))
        for test in tests
    ]
    doses = marks(calved, doses_of(animal, calved, udder.at))
    looks = marks(calved, tests_of(animal, calved, udder.at))
    best = max(points, key=lambda point: point[1])
    return Curve(
        key="lactation",
        title=_(TITLE).format(animal=animal),
        description=_(BEST).format(
            tests=len(points),
            calved=day_words(calved),
            best=f"{best[1]:.1f}",
            day=best[0],
            last=f"{points[-1][1]:.1f}",
            last_day=points[-1][0],
            doses=len(doses),
            looks=len(looks),
        ),
        unit=_("kg a day"),
        days=_("day"),
        points=points,
        lanes=[Lane(_("doses"), "corner", doses), Lane(_("tests"), "ring", looks)],
    )


def point_words(on: date, kg: object, cells: object) -> str:
    """A recording as its title says it."""
    words = POINT_WITHOUT if cells is None else POINT
    return _(words).format(day=day_words(on), kg=kg, cells=cells)


def marks(calved: date, done: Sequence[tuple[datetime, str]]) -> list[Done]:
    """What was done, by the days since she calved."""
    return [
        Done((local_day(at) - calved).days, f"{day_words(local_day(at))}: {words}")
        for at, words in done
    ]


def doses_of(animal: Animal, calved: date, at: datetime) -> list[tuple[datetime, str]]:
    """The doses given to her since she calved."""
    rows = Dose.objects.happened_by(at).filter(
        course__animal=animal, happened_at__date__gte=calved, skipped=False
    )
    rows = rows.select_related("course__medicine").order_by("happened_at")[:MOST]
    return [
        (row.happened_at, f"{row.course.medicine}{f', {row.quarter}' if row.quarter else ''}")
        for row in rows
    ]


def tests_of(animal: Animal, calved: date, at: datetime) -> list[tuple[datetime, str]]:
    """The tests on her since she calved, beside the recordings."""
    rows = CowTest.objects.happened_by(at).filter(animal=animal, happened_at__date__gte=calved)
    return [
        (row.happened_at, f"{row.get_what_display()}: {row.result}")
        for row in rows.order_by("happened_at")[:MOST]
    ]
