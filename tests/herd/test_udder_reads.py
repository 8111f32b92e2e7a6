"""The reads of the udder board against slow obvious ones on random herds, and their plans."""

import random
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection

from config.days import local_day
from herd.models import Animal, Calving, GroupStay, Recording
from herd.services import recordings as recording_services
from herd.tank_share import tank_cells
from herd.udder import move_of
from herd.udder_board import board
from herd.udder_clinical import clinical, quarters_until
from herd.udder_herd import GOES_TO_TANK, Missing, herd_now
from herd.udder_reads import (
    cow_days,
    fresh_ratios,
    lines_on,
    recordings,
    samples_of,
    signs_of,
    together,
)
from herd.udder_rules import udder_rules
from herd.withheld import withheld_list
from tests.factories.herd import (
    DAY,
    HOUR,
    NOON,
    make,
    make_animal,
    make_calving,
    make_course,
    make_cow_test,
    make_dose,
    make_group,
    make_health_event,
    make_milking_time,
    make_recording,
    make_stamp,
    put_in_group,
)
from tests.herd.test_withheld_plan import statements_of, tables_scanned


@pytest.fixture
def random_herd(rules):
    """Sixteen cows in four groups with a chancy past: sessions, gaps, struck rows, calvings."""
    dice = random.Random(11)
    uses = {1: "fresh", 2: "milking", 3: "milking", 12: "hospital", 13: "dry"}
    groups = {number: make_group(number, milked=False, use=use) for number, use in uses.items()}
    for number, line in ((1, "A"), (2, "A"), (3, "B"), (12, "waste")):
        for session in "ME":
            make_milking_time(groups[number], session=session, line=line)
    cows = [make_animal(2000 + place) for place in range(16)]
    for cow in cows:
        put_in_group(cow, groups[dice.choice([1, 2, 2, 3, 3, 12, 13])])
        for _ in range(dice.randrange(3)):
            make(Calving, dam=cow, at=NOON - dice.randrange(500) * DAY)
        for days in dice.sample(range(400), 6) + dice.sample(range(8), 2):
            at = NOON - days * DAY
            for session in dice.choice([("",), ("M", "E"), ("M",)]):
                row = make(
                    Recording,
                    animal=cow,
                    at=at + (timedelta(hours=4) if session == "E" else timedelta(0)),
                    session=session,
                    cells=dice.choice([None, 0, 80, 150, 200, 900]),
                    milk_kg=dice.choice([None, Decimal("10.5"), Decimal(14)]),
                    fat=dice.choice([None, Decimal("4.9"), Decimal("3.2")]),
                    protein=dice.choice([None, Decimal("3.1"), Decimal("3.3")]),
                )
                if dice.random() < 0.15:
                    recording_services.strike_recording(row, by=row.by, reason="animal")
    make_dose(make_course(cows[3]))
    return cows


def slow_tests(cow, at):
    """All standing recordings of a cow by then, day by day, newest first."""
    days: dict[date, list[Recording]] = {}
    rows = Recording.objects.filter(animal=cow, struck_at=None, happened_at__lte=at)
    for row in rows.order_by("-happened_at"):
        days.setdefault(local_day(row.happened_at), []).append(row)
    return days


def test_latest_tests_are_those_of_the_slow_way(random_herd, django_assert_num_queries):
    with django_assert_num_queries(1):
        found = samples_of([cow.pk for cow in random_herd], NOON)
    checked = 0
    for cow in random_herd:
        slow = slow_tests(cow, NOON)
        assert [test.on for test in found[cow.pk]] == list(slow)[: len(found[cow.pk])]
        assert len(found[cow.pk]) >= 2
        for test in found[cow.pk]:
            rows = slow[test.on]
            kgs = [row.milk_kg for row in rows]
            whole = [row for row in rows if row.session == ""]
            if whole:
                assert (test.cells, test.kg) == (whole[0].cells, whole[0].milk_kg)
            elif len(rows) == 2 and None not in kgs:
                assert test.kg == sum(kgs)
            else:
                assert test.kg is None
            checked += 1
    assert checked > 40


def test_a_day_is_read_whole_or_not_at_all(rules):
    cow = make_animal()
    for days in range(4):
        for hours, session in ((0, "M"), (6, "E")):
            at = NOON - days * DAY + timedelta(hours=hours - 6)
            make_recording(cow, 100, session=session, happened_at=at, milk_kg=Decimal(10))
    found = samples_of([cow.pk], NOON)[cow.pk]
    assert [test.kg for test in found] == [20, 20, 20]


def test_herd_is_the_slow_herd(random_herd):
    found = herd_now(NOON)
    rules = udder_rules(local_day(NOON))
    answers = [answer for answer in withheld_list(NOON) if answer.is_milked]
    assert [cow.answer for cow in found.cows] == answers
    for cow in found.cows:
        calvings = Calving.objects.filter(dam=cow.answer.animal_id, happened_at__lte=NOON)
        days = [local_day(row.happened_at) for row in calvings]
        assert sorted(cow.calvings) == sorted(days)[-2:]
        assert cow.move == move_of(cow.tests, days, found.latest.last, rules)
    moves = [cow for cow in found.cows if cow.move]
    assert len(moves) + len(found.missing) == len(found.cows)
    assert found.moved.high.whole == len(moves) > 5


def test_tanks_hold_only_cows_that_go_there_now(random_herd):
    found = herd_now(NOON)
    lines = lines_on(local_day(NOON))
    told = {tank.line: tank for tank in found.tanks}
    assert set(told) == {"A", "B"}
    for answer in withheld_list(NOON):
        goes = not answer.withheld and answer.use in GOES_TO_TANK
        for line, tank in told.items():
            names = {cow.name for cow in tank.cows} | {cow.name for cow in tank.missing}
            assert (answer.name in names) == (goes and line in lines[answer.group_id])
    withheld = {answer.name for answer in withheld_list(NOON) if answer.withheld}
    assert f"{random_herd[3]}" in withheld
    for tank in told.values():
        assert tank.cells == tank_cells(tank.cows)


def test_recording_before_the_calving_is_not_her_milk_now(rules):
    group = make_group(5)
    cow = make_animal(2001)
    put_in_group(cow, group)
    make_recording(cow, 900, happened_at=NOON - 60 * DAY)
    make(Calving, dam=cow, at=NOON - 20 * DAY)
    tank = herd_now(NOON).tank("B")
    assert [answer.name for answer in tank.missing] == ["2001"]
    make_recording(cow, 150, happened_at=NOON - 2 * DAY)
    tank = herd_now(NOON).tank("B")
    assert (tank.cells, tank.kg) == (150, 24)
    assert (tank.older, tank.missing) == (0, ())


def test_why_cows_are_missing(rules):
    group = make_group(5)
    cows = [make_animal(2001 + place) for place in range(6)]
    for cow in cows:
        put_in_group(cow, group)
    recorded = NOON - 3 * DAY
    make_recording(cows[0], 150, happened_at=recorded)
    make(Calving, dam=cows[1], at=NOON - DAY)
    make_recording(cows[2], 150, happened_at=recorded)
    make(Calving, dam=cows[2], at=recorded - 2 * DAY)
    make_recording(cows[3], 150, happened_at=recorded - 30 * DAY)
    make_recording(cows[4], None, happened_at=recorded)
    found = {cow.name: why for cow, why in herd_now(NOON).missing}
    assert found == {
        "2002": Missing.CALVED_SINCE,
        "2003": Missing.TOO_FRESH,
        "2004": Missing.OLDER,
        "2005": Missing.NO_COUNT,
        "2006": Missing.NEVER,
    }


def test_days_close_together_are_one_recording(rules):
    in_force = udder_rules(local_day(NOON))
    days = [(date(2026, 5, day), 10, 2) for day in (1, 2, 20, 26)]
    found = together(days, in_force)
    assert [(one.first.day, one.last.day, one.tests, one.high) for one in found] == [
        (1, 2, 20, 4),
        (20, 26, 20, 4),
    ]
    assert together([], in_force) == []


def test_recordings_of_the_herd_are_counted(random_herd):
    in_force = udder_rules(local_day(NOON))
    found = recordings(NOON, NOON - 400 * DAY, in_force)
    rows = Recording.objects.filter(
        struck_at=None, cells__isnull=False, happened_at__gt=NOON - 400 * DAY, happened_at__lte=NOON
    )
    assert sum(one.tests for one in found) == rows.count()
    assert sum(one.high for one in found) == rows.filter(cells__gte=200).count()


def test_cow_days_are_the_sum_of_stays(rules):
    groups = [make_group(1), make_group(2, use="dry")]
    dice = random.Random(5)
    for _ in range(8):
        cow = make_animal()
        for days in sorted(dice.sample(range(1, 200), 3), reverse=True):
            put_in_group(cow, dice.choice(groups), NOON - days * DAY)
        if dice.random() < 0.5:
            put_in_group(cow, None, NOON - 12 * HOUR, leaving="sold")
    spans = [(NOON - 150 * DAY, NOON - 90 * DAY), (NOON - 90 * DAY, NOON)]
    slow = [Decimal(0), Decimal(0)]
    for stay in GroupStay.objects.filter(group=groups[0]):
        for place, (since, until) in enumerate(spans):
            begin, end = max(since, stay.during.lower), min(until, stay.during.upper or until)
            if begin < end:
                slow[place] += Decimal((end - begin).total_seconds()) / 86400
    assert [round(days, 6) for days in cow_days(spans)] == [round(days, 6) for days in slow]
    assert all(slow)


def test_fresh_ratios_are_the_slow_ones(random_herd):
    in_force = udder_rules(local_day(NOON))
    since = NOON - 300 * DAY
    slow = []
    for row in Recording.objects.filter(struck_at=None, happened_at__gte=since):
        calved = Calving.objects.filter(dam=row.animal, happened_at__lte=row.happened_at)
        last = calved.order_by("-happened_at").first()
        if last is None or row.fat is None or not row.protein or row.happened_at >= NOON:
            continue
        if 5 <= (local_day(row.happened_at) - local_day(last.happened_at)).days <= 60:
            slow.append(round(row.fat / row.protein, 6))
    found = [round(ratio, 6) for ratio in fresh_ratios(since, NOON, in_force)]
    assert sorted(found) == sorted(slow)
    assert found


def test_signs_know_their_clearing_and_their_calving(rules):
    cow = make_animal()
    make_calving(cow, happened_at=NOON - 10 * DAY)
    sign = make_health_event(cow, case="mastitis", quarter="LF RH", happened_at=NOON - 5 * DAY)
    make_health_event(cow, settles=sign, sign="clear", happened_at=NOON - DAY)
    make_health_event(cow, case="lame", happened_at=NOON - 5 * DAY)
    found = signs_of(NOON - 30 * DAY, NOON)
    assert sorted(sign.quarter for sign in found) == ["LF", "RH"]
    assert {(sign.seen, sign.cleared, sign.calved) for sign in found} == {
        (local_day(NOON - 5 * DAY), local_day(NOON - DAY), local_day(NOON - 10 * DAY))
    }


def test_clinical_quarters(rules):
    cow = make_animal()
    put_in_group(cow, make_group(1))
    make_calving(cow, happened_at=NOON - 100 * DAY)
    for days in (95, 40, 30, 29):
        make_health_event(cow, case="mastitis", quarter="LF", happened_at=NOON - days * DAY)
    found = clinical(NOON, udder_rules(local_day(NOON)))
    assert [quarter.name for quarter in found.quarters] == [
        f"{year}, quarter {number}" for year, number in quarters_until(local_day(NOON))
    ]
    # 27 Feb, then 23 Apr, and 3 and 4 May, which are one.
    assert [quarter.cases for quarter in found.quarters] == [0, 0, 0, 1, 2]
    assert found.dry_origin == 12
    assert found.unknown_origin == 0
    assert found.other_habit == (14, 1)
    assert found.now.rate > 1000


def test_board_names_fresh_cows_to_test(rules):
    group = make_group(5)
    for number, fat, days in ((2001, "5.2", 20), (2002, "4.0", 20), (2003, "5.2", 80)):
        cow = make_animal(number)
        put_in_group(cow, group)
        make(Calving, dam=cow, at=NOON - (days + 2) * DAY)
        make_recording(cow, 90, happened_at=NOON - 2 * DAY, fat=Decimal(fat), protein=Decimal(3))
        if number == 2001:
            make_cow_test(
                cow, what="ketones", value=Decimal("1.2"), fluid="blood", happened_at=NOON - DAY
            )
    found = board(NOON).fresh
    assert found.cows == 2
    assert [(row.cow.name, row.days) for row in found.to_test] == [("2001", 20)]
    assert found.to_test[0].tested.value == Decimal("1.2")
    assert (found.ketosis.part, found.ketosis.whole) == (1, 1)


def test_board_of_an_empty_estate(rules):
    found = board(NOON)
    assert found.herd.latest is None
    assert found.herd.is_old
    assert found.makers == []
    assert found.fresh.cows == 0


# What grows over the years; groups and milking times are few.
HISTORY = {
    "herd_recording",
    "herd_calving",
    "herd_groupstay",
    "herd_healthevent",
    "herd_cowtest",
}


GROW = """
    INSERT INTO herd_groupstay (uuid, happened_at, written_at, received_at, zone_offset, by_id,
        device, struck_reason, struck_words, animal_id, group_id, leaving, note, during)
    SELECT gen_random_uuid(), since, since, since, 120, %(by)s, '', '', '', a.id,
        (SELECT min(id) FROM herd_group) + (a.id + half) %% 4, '', '',
        tstzrange(since, CASE WHEN half > 0 THEN since + interval '91 days' END)
    FROM herd_animal AS a, generate_series(0, 39) AS half,
        LATERAL (SELECT %(now)s - (half + 1) * interval '91 days' AS since) AS began;
    INSERT INTO herd_recording (uuid, happened_at, written_at, received_at, zone_offset, by_id,
        device, struck_reason, struck_words, animal_id, session, milk_kg, fat, protein, cells,
        bottle)
    SELECT gen_random_uuid(), %(now)s - month * interval '30 days', %(now)s, %(now)s, 120, %(by)s,
        '', '', '', a.id, '', 20, 4, 3, 100 + a.id %% 200, ''
    FROM herd_animal AS a, generate_series(0, 120) AS month;
    INSERT INTO herd_calving (uuid, happened_at, written_at, received_at, zone_offset, by_id,
        device, struck_reason, struck_words, dam_id, ease, calves, alive, calf_tags, abortion)
    SELECT gen_random_uuid(), %(now)s - year * interval '365 days' - a.id %% 300 * interval '1 day',
        %(now)s, %(now)s, 120, %(by)s, '', '', '', a.id, 1, 1, 1, '', false
    FROM herd_animal AS a, generate_series(0, 9) AS year;
    INSERT INTO herd_healthevent (uuid, happened_at, written_at, received_at, zone_offset, by_id,
        device, struck_reason, struck_words, animal_id, sign, diagnosis, quarter, unfit, "case")
    SELECT gen_random_uuid(), %(now)s - n * interval '20 days', %(now)s, %(now)s, 120, %(by)s,
        '', '', '', a.id, 'flakes', '', 'LF', false, 'mastitis'
    FROM herd_animal AS a, generate_series(1, 130) AS n;
    INSERT INTO herd_cowtest (uuid, happened_at, written_at, received_at, zone_offset, by_id,
        device, struck_reason, struck_words, animal_id, what, quarter, sample, result, fluid,
        growth, germ, sensitivity)
    SELECT gen_random_uuid(), %(now)s - n * interval '20 days', %(now)s, %(now)s, 120, %(by)s,
        '', '', '', a.id, 'growth', 'LF', '', 'none', '', 'none', '', ''
    FROM herd_animal AS a, generate_series(1, 130) AS n;
"""


@pytest.fixture
def ten_years(rules):
    """A hundred and fifty cows with ten years of recordings, calvings, signs and plates."""
    for number in range(1, 5):
        make_group(number)
    columns = make_stamp(at=NOON - 3650 * DAY).columns()
    animals = Animal.objects.bulk_create(
        Animal(**columns, ear_tag=f"999{number:09d}", farm_number=number)
        for number in range(1, 151)
    )
    with connection.cursor() as cursor:
        for statement in GROW.split(";")[:-1]:
            cursor.execute(statement, {"now": NOON, "by": columns["by"].pk})
        for table in HISTORY:
            cursor.execute(f"ANALYZE {table}")
    return animals


def test_no_read_scans_history_and_the_number_is_fixed(ten_years):
    statements = statements_of(lambda: board(NOON))
    assert tables_scanned(statements) & HISTORY == set()
    assert len(statements) <= 20
    found = board(NOON)
    assert found.herd.moved.high.whole > 100
    assert len(found.herd.recordings) == 14
    assert found.clinical.now.cases > 0
    assert found.plates.read == 600
