"""Treatment off the leaflet, withheld milk to calves, calvings to be doubted: as the sources say.

The rule values come from fixtures/, as in use, so that a changed row there is caught here.
"""

from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError

from config.days import local_day
from herd import reference
from herd.before_calving import AT_LEAST_AFTER, Known
from herd.book_entries import Asked
from herd.medicine_book import medicine_book
from herd.models import PeriodRule
from herd.models.treatments import Cascade
from herd.services.treatments import record_course
from milk.models import WithheldMilk
from milk.services.withheld import record_withheld
from tests.factories.herd import (
    make_animal,
    make_group,
    make_medicine,
    make_stamp,
    put_in_group,
)
from tests.factories.milk import EVENING, stamp_at

VIENNA = ZoneInfo("Europe/Vienna")


@pytest.fixture
def cow(db):
    stamp = make_stamp()
    rows = [PeriodRule(**{**stamp.columns(), **rule}) for rule in reference.rules()]
    PeriodRule.objects.bulk_create(rows)
    cow = make_animal(1042)
    put_in_group(cow, make_group(5))
    return cow


def order(cow, **changed):
    """A tube three times at 12 h, as its leaflet prints it, for 84 h; with something changed."""
    tube = make_medicine(84, leaflet_doses=3, leaflet_interval=12)
    fields = {"dose": Decimal(1), "doses": 3, "interval_hours": 12, "diagnosis": "mastitis LF"}
    return record_course(stamp=make_stamp(), animal=cow, medicine=tube, **fields | changed)


def test_as_printed_needs_no_period_of_the_vets(cow):
    """Regulation (EU) 2019/6 Art. 115(1): the factor is for use that the summary does not give."""
    assert order(cow).own_milk_hours is None


@pytest.mark.parametrize(
    "changed",
    [pytest.param({"doses": 5}, id="more"), pytest.param({"interval_hours": 8}, id="closer")],
)
def test_more_tubes_or_a_shorter_interval_ask_for_a_period_of_the_vets(cow, changed):
    """An industry guide to withdrawal tables (old edition, read): more tubes, a longer course, a
    shorter interval: the printed period does not hold, the vet sets one. The least is that of
    Art. 115: 84 h x 1.5 = 126 h, rounded up to 6 days."""
    for own in ({}, {"off_leaflet": True}, {"off_leaflet": True, "own_milk_hours": Decimal(143)}):
        with pytest.raises(ValidationError):
            order(cow, **changed, **own)
    own = {"off_leaflet": True, "own_milk_hours": Decimal(144), "grounds": "severe"}
    assert order(cow, **changed, **own).own_milk_hours == 144


def test_step_of_the_cascade_is_kept_with_its_reason(cow):
    """Regulation (EU) 2019/6 Art. 113, from memory: what is made for this species here, then for
    another species or in another member state, then for people, then made up. Reason and step
    stand in the medicine book."""
    assert list(Cascade) == [Cascade.OWN, Cascade.OTHER, Cascade.HUMAN, Cascade.MADE_UP]
    with pytest.raises(ValidationError, match="on it"):
        order(cow, cascade=Cascade.OTHER)
    own = {"off_leaflet": True, "own_milk_hours": Decimal(144), "grounds": "severe"}
    course = order(cow, **own, cascade=Cascade.OTHER)
    said = "off the leaflet: made for another species, or from another member state; severe"
    day = local_day(course.happened_at)
    (line,) = medicine_book(Asked(day, day)).lines
    assert line.leaflet == said


def test_withheld_milk_goes_to_no_calf_but_her_own(cow):
    """Austria, Tiermaterialien-Verordnung § 12 (read): not to animals that give food, the dam's
    own calf excepted."""
    own, other = make_animal(dam=cow), make_animal()
    row = {"day": date(2026, 6, 9), "session": "E", "kg": Decimal(9), "reason": "treated"}
    row |= {"animal": cow, "went": "own calf"}
    with pytest.raises(ValidationError, match="not known as a calf of"):
        record_withheld(stamp=stamp_at(EVENING), calf=other, **row)
    record_withheld(stamp=stamp_at(EVENING), calf=own, **row)
    assert WithheldMilk.objects.get().calf == own


def test_no_calf_lies_between_two_calvings_of_less_than_the_row():
    """Knott 1932 (2,824 calvings of one breed, read): carried 262 to 296 days; a calving at 250
    days is a date to be doubted. The estate's row lies below what was seen, so that a tube put in
    elsewhere is taken for this dry period only where no other calving fits."""
    (least,) = (row["value"] for row in reference.rules() if row["name"] == AT_LEAST_AFTER)
    assert 200 < least < 262
    calving = datetime(2026, 6, 1, 6, tzinfo=VIENNA)
    for days, belongs in ((least - 1, True), (least, False), (262, False)):
        put_in = calving - timedelta(days=float(days))
        known = Known(dried=[put_in], came=[calving - timedelta(days=9)], bought=True)
        assert (known.dry_off(calving, least) == put_in) is belongs
