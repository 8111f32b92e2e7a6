"""Whose milk may go into the tank: signs of illness, days after calving, marks, hardly any milk.

The rows are those in use (fixtures/unfit_signs.json, herd_rules.json), so that a changed row is
caught here. What nobody could look up is marked "from memory".
"""

from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from config.entries import strike
from herd.kept_out import colostrum_period
from herd.models import LegBand
from herd.reference import SIGNS, load_reference, rows_of
from herd.services.health import record_health_event
from herd.services.medicines import record_rule
from herd.services.withdrawals import dated_rules, rebuild
from herd.unfit import SignRule, why_unfit
from herd.walk import LISTS, Walk
from herd.withdrawal import COLOSTRUM_DAYS, FEVER_FROM, Estate
from herd.withheld import answer_for, is_withheld
from milk.herd_status import why_not_free
from milk.services.herd_status import record_herd_status
from tests.factories.herd import (
    DAY,
    NOON,
    make,
    make_animal,
    make_course,
    make_dose,
    make_group,
    make_health_event,
    make_recording,
    make_stamp,
    put_in_group,
)
from tests.herd.arithmetic import RULES, ZONE, at, estate, shown

UNION, SWISS = "EU 853/2004", "CH 916.351.021.1"
ROWS = tuple(
    SignRule(row["case"], row["with_fever"], True, row["scheme"], row["valid_from"])
    for row in rows_of(SIGNS)
)
FEVER = next(rule.value for rule in RULES if rule.name == FEVER_FROM)
IN_USE = date(2026, 6, 2)


def named_by(scheme: str, case: str, temperature: str | None = None) -> bool:
    rows = [row for row in ROWS if row.scheme == scheme]
    degrees = None if temperature is None else Decimal(temperature)
    return bool(why_unfit(case, degrees, rows, IN_USE, FEVER))


@pytest.mark.parametrize(
    ("case", "temperature", "union", "swiss"),
    [
        # Union: 853/2004 Annex III Section IX Chapter I Part I point 1; the list as read in its
        # forerunner, SI 1995/1372 Sch. 3 Part I para 1. Swiss order on hygiene in milk production,
        # Art. 10(1).
        pytest.param("udder wound", None, True, True, id="wound of the udder"),
        pytest.param("mastitis", None, True, True, id="inflamed udder"),
        pytest.param("womb", None, True, True, id="discharge"),
        pytest.param("ketosis", None, False, True, id="ketosis"),
        pytest.param("ovary", None, False, True, id="ovarian cysts"),
        # Normal body temperature of a cow 38.0 to 39.3 °C: common practice, from memory.
        pytest.param("scour", "40.1", True, True, id="diarrhoea with fever"),
        pytest.param("scour", "38.6", False, False, id="diarrhoea without fever"),
        pytest.param("scour", None, True, True, id="diarrhoea, nobody took her temperature"),
        pytest.param("lame", "40.1", False, False, id="lame"),
    ],
)
def test_signs_that_keep_milk_out(case, temperature, union, swiss):
    assert named_by(UNION, case, temperature) is union
    assert named_by(SWISS, case, temperature) is swiss


@pytest.fixture
def cow(db):
    animal = make_animal(1042)
    put_in_group(animal, make_group(5), since=NOON - 30 * DAY)
    return animal


def test_open_udder_wound_is_not_for_the_tank_until_she_is_well(cow, vet):
    # SI 1995/1372 Sch. 3 Part I para 1 (forerunner of 853/2004): open "udder wound" event.
    load_reference(make_stamp())
    stamp = make_stamp(by=vet, at=NOON)
    seen = record_health_event(stamp=stamp, animal=cow, sign="cut teat LF", case="udder wound")
    answer = answer_for(cow, NOON)
    assert (answer.word, answer.until) == ("NOT", None)
    assert f"out until she is written well again ({UNION})" in answer.why[0]
    well = make_stamp(by=vet, at=NOON + DAY)
    record_health_event(stamp=well, animal=cow, sign="well again", settles=seen)
    assert is_withheld(cow, NOON)
    assert not is_withheld(cow, NOON + DAY)


def test_a_scheme_the_estate_does_not_follow_judges_no_sign(cow, settings):
    load_reference(make_stamp())
    make_health_event(cow, sign="thin, smells of acetone", case="ketosis")
    assert not is_withheld(cow, NOON)
    settings.ESTATE_SCHEMES = [UNION, SWISS]
    rebuild([cow.pk])
    assert is_withheld(cow, NOON)


@pytest.mark.parametrize(
    ("schemes", "first_day"),
    [
        # Union: colostrum is secreted up to 3 to 5 days post parturition (853/2004 Annex III
        # Section IX, point 1). Swiss order Art. 10(1): first 8 days. German milk order (repealed)
        # § 18(2): 5 days. Hay milk: 10 days, from memory. Day of calving is day 1, a convention.
        pytest.param([UNION], "2026-05-04", id="Union 3 d"),
        pytest.param([UNION, "DE MilchV"], "2026-05-06", id="5 d"),
        pytest.param([SWISS, UNION], "2026-05-09", id="8 d, the longest"),
        pytest.param([UNION, SWISS, "hay milk"], "2026-05-11", id="10 d, the longest"),
    ],
)
@pytest.mark.django_db
def test_longest_of_the_days_after_calving_that_apply(schemes, first_day, settings):
    load_reference(make_stamp())
    settings.ESTATE_SCHEMES = schemes
    only_days = tuple(rule for rule in dated_rules() if rule.name == COLOSTRUM_DAYS)
    period = colostrum_period(at("2026-05-01 02:00"), Estate(ZONE, only_days))
    assert shown(period.until) == f"{first_day} 00:00"


def test_house_milkings_and_days_of_the_scheme_the_later_counts(db, settings):
    # Eight milkings are a house rule; they outlast the Union's 3 days and not the Swiss 8.
    load_reference(make_stamp())
    calved = at("2026-05-01 02:00")
    house = colostrum_period(calved, estate(rules=dated_rules())).until
    settings.ESTATE_SCHEMES = [SWISS]
    assert colostrum_period(calved, estate(rules=dated_rules())).until > house


def test_days_of_a_scheme_nobody_follows_are_refused(db):
    row = {"value": Decimal(7), "unit": "d", "valid_from": IN_USE, "source": "a scheme, invented"}
    with pytest.raises(ValidationError, match="does not follow"):
        record_rule(stamp=make_stamp(), name=COLOSTRUM_DAYS, scheme="elsewhere", **row)


def listed(name: str) -> list[str]:
    return [row.why for row in LISTS[name][1](Walk(NOON))]


def test_treated_cow_without_a_band_is_on_the_list(cow, vet):
    # Swiss order on hygiene in milk production, Art. 10(2): treated animals are marked.
    assert listed("to-mark") == []
    make_dose(make_course(cow))
    (why,) = listed("to-mark")
    assert why.endswith("no leg band written: mark her")
    band = make(LegBand, animal=cow, on=True)
    assert listed("to-mark") == []
    strike(band, by=vet, reason="animal")
    assert len(listed("to-mark")) == 1


@pytest.mark.parametrize(("kg", "named"), [("2.1", False), ("2.06", False), ("2.0", True)])
def test_cow_under_two_litres_a_day_is_a_hint_only(cow, kg, named):
    # Swiss order, Art. 10(1): cows under 2 l a day; 1.03 kg/l is a handbook value, from memory.
    load_reference(make_stamp())
    make_recording(cow, milk_kg=Decimal(kg), happened_at=NOON - DAY)
    assert bool(listed("little-milk")) is named
    assert not is_withheld(cow, NOON)


@pytest.mark.django_db
@pytest.mark.parametrize("disease", ["brucellosis", "tuberculosis"])
def test_milk_of_a_herd_not_officially_free_goes_into_no_raw_milk_vat(disease):
    # Regulation (EC) 853/2004 Annex III Section IX Chapter I Part I points 2 and 3: officially
    # free of brucellosis and tuberculosis, else heat treated (from memory).
    for free, refused in ((True, False), (False, True), (True, False)):
        record_herd_status(stamp=make_stamp(), disease=disease, free=free, source="a letter")
        assert bool(why_not_free(NOON)) is refused
