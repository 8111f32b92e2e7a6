"""The withheld list and the arithmetic's reads never scan a table that grows over the years."""

import json

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from herd.models import Animal
from herd.services.withdrawals import rebuild
from herd.withheld import answer_for, withheld_list
from tests.factories.herd import DAY, NOON, make_group, make_stamp

# Tables that grow with the years; the few rows of groups and milking times may be scanned.
HISTORY = {
    "herd_groupstay",
    "herd_withdrawalperiod",
    "herd_healthevent",
    "herd_dose",
    "herd_course",
    "herd_calving",
    "herd_dryoff",
}
ANIMALS, HALF_YEARS = 300, 20
# Every half year each animal moves, is withheld five days, and shows a sign; the latest runs now.
GROW = """
    CREATE TEMPORARY TABLE lived ON COMMIT DROP AS
    SELECT a.id AS animal, (SELECT min(id) FROM herd_group) + (a.id + half) %% 8 AS crowd, half,
        %(now)s - (%(halves)s - half) * interval '182 days' - interval '1 day'
            - (a.id %% 300) * interval '5 minutes' AS since
    FROM herd_animal AS a, generate_series(1, %(halves)s) AS half;
    INSERT INTO herd_groupstay (uuid, happened_at, written_at, received_at, zone_offset, by_id,
        device, struck_reason, struck_words, animal_id, group_id, leaving, note, during)
    SELECT gen_random_uuid(), since, since, since, 120, %(by)s, '', '', '', animal, crowd, '', '',
        tstzrange(since, CASE WHEN half < %(halves)s THEN since + interval '182 days' END)
    FROM lived;
    INSERT INTO herd_withdrawalperiod (animal_id, kind, source, during, meat_open, why)
    SELECT animal, 'course', gen_random_uuid(), tstzrange(since, since + interval '5 days'),
        false, '84 h' FROM lived WHERE half < %(halves)s OR animal %% 10 = 0;
    INSERT INTO herd_healthevent (uuid, happened_at, written_at, received_at, zone_offset, by_id,
        device, struck_reason, struck_words, animal_id, sign, diagnosis, "case", quarter, unfit)
    SELECT gen_random_uuid(), since, since, since, 120, %(by)s, '', '', '', animal, 'lame', '', '',
        '', half = 7 AND animal %% 50 = 0 FROM lived;
"""


@pytest.fixture
def ten_years(rules):
    """Three hundred animals over ten years, as many rows as an estate writes in one."""
    for number in range(1, 9):
        make_group(number)
    columns = make_stamp(at=NOON - 3650 * DAY).columns()
    animals = Animal.objects.bulk_create(
        Animal(**columns, ear_tag=f"999{number:09d}") for number in range(ANIMALS)
    )
    with connection.cursor() as cursor:
        values = {"now": NOON, "halves": HALF_YEARS, "by": columns["by"].pk}
        for statement in GROW.split(";")[:-1]:
            cursor.execute(statement, values)
        for table in HISTORY:
            cursor.execute(f"ANALYZE {table}")
    return animals


def scanned(plan: dict) -> set[str]:
    """Tables read from end to end in a plan."""
    found = {plan["Relation Name"]} if plan["Node Type"] == "Seq Scan" else set()
    return found.union(*(scanned(inner) for inner in plan.get("Plans", [])))


def tables_scanned(statements: list[str]) -> set[str]:
    """Tables that any of these statements reads from end to end."""
    found: set[str] = set()
    with connection.cursor() as cursor:
        for statement in statements:
            if statement.startswith("SELECT"):
                cursor.execute(f"EXPLAIN (FORMAT JSON) {statement.replace('%', '%%')}")
                answer = cursor.fetchone()[0]
                plan = json.loads(answer) if isinstance(answer, str) else answer
                found |= scanned(plan[0]["Plan"])
    return found


def statements_of(read) -> list[str]:
    """The statements a read sends."""
    with CaptureQueriesContext(connection) as queries:
        assert read() is not None
    return [query["sql"] for query in queries.captured_queries]


READS = {
    "whole herd now": lambda animal: withheld_list(NOON),
    "whole herd years ago": lambda animal: withheld_list(NOON - 5 * 365 * DAY),
    "one animal": lambda animal: answer_for(animal, NOON),
    "one animal computed again": lambda animal: rebuild([animal.pk]),
}


def test_no_read_scans_history(ten_years):
    found = {
        name: tables_scanned(statements_of(lambda read=read: read(ten_years[7]))) & HISTORY
        for name, read in READS.items()
    }
    # Empty tables are always read from end to end.
    found["one animal computed again"] &= {"herd_groupstay", "herd_withdrawalperiod"}
    assert found == dict.fromkeys(READS, set())
    answers = withheld_list(NOON)
    assert len(answers) == ANIMALS
    assert 0 < sum(answer.withheld for answer in answers) < ANIMALS
    # And the test sees a scan where there is one.
    statement = "SELECT * FROM herd_groupstay WHERE note = 'nothing'"
    assert tables_scanned([statement]) == {"herd_groupstay"}
