"""`manage.py verify`, the job that seals and the one that rings, and the page with the heads."""

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from config import tasks
from config.models import Notice, SealedDay
from config.seals import sealing
from tests.cast import text
from tests.factories.herd import make_animal
from tests.factories.milk import make_wheel, put_in_store

NOON = datetime(2026, 6, 3, 12, tzinfo=UTC)
OVER = NOON + timedelta(days=3)
pytestmark = pytest.mark.django_db


def behind_the_back(statement: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(statement)
        cursor.execute("SET LOCAL session_replication_role = DEFAULT")


@pytest.fixture
def sealed() -> Any:
    animal = make_animal(received_at=NOON)
    sealing.seal(OVER)
    return animal


def test_a_whole_book_is_said_to_be_whole(sealed: Any, capsys: Any) -> None:
    call_command("verify")
    said = capsys.readouterr().out

    assert "1 standing and 0 struck entries of 1 kinds." in said
    assert "3 sealed days with 1 lines" in said
    assert "Everything is as it was written." in said


def test_nothing_sealed_yet_is_said(capsys: Any) -> None:
    call_command("verify")
    assert "No day is sealed yet" in capsys.readouterr().out


def test_a_changed_row_fails_it(sealed: Any, capsys: Any) -> None:
    behind_the_back("UPDATE herd_animal SET breed = 'x'")

    with pytest.raises(CommandError, match="The book is NOT as it should be"):
        call_command("verify", json=True)

    told = json.loads(capsys.readouterr().out)
    assert told["whole"] is False
    assert str(sealed.uuid) in told["faults"][0]


def test_what_is_derived_is_computed_again_and_nothing_of_it_stays(capsys: Any) -> None:
    put_in_store(make_wheel())
    call_command("verify", derived=True)
    assert "where wheels lie" in capsys.readouterr().out

    behind_the_back("UPDATE milk_wheelplace SET at = at - interval '1 day'")
    with pytest.raises(CommandError, match="where wheels lie: 1 rows of milk_wheelplace") as wrong:
        call_command("verify", derived=True)
    assert "1 rows of milk_wheelplace are not what the entries say" in str(wrong.value)
    with pytest.raises(CommandError, match="where wheels lie"):
        call_command("verify", derived=True)


def test_tables_of_another_version_are_not_judged() -> None:
    recorder = MigrationRecorder(connection)
    recorder.record_applied("config", "9999_of_tomorrow")
    with pytest.raises(CommandError, match="made by a newer version of the program"):
        call_command("verify")
    recorder.record_unapplied("config", "9999_of_tomorrow")
    ((_, newest),) = MigrationLoader(connection).graph.leaf_nodes("config")
    recorder.record_unapplied("config", newest)
    with pytest.raises(CommandError, match=f"older version of the program .config {newest}"):
        call_command("verify")


def test_the_job_seals_and_the_other_rings_until_the_book_is_whole(sealed: Any) -> None:
    assert tasks.seal_days()["days"] > 0
    assert tasks.seal_days() == {"days": 0}
    assert tasks.check_seals()["faults"] == 0
    assert not Notice.objects.exists()

    behind_the_back("UPDATE herd_animal SET breed = 'x'")
    tasks.check_seals()
    tasks.check_seals()
    rung = Notice.objects.filter(closed_at=None)
    assert sorted(notice.role for notice in rung) == ["office", "owner"]
    assert "changed behind its back" in rung[0].what

    behind_the_back("UPDATE herd_animal SET breed = ''")
    behind_the_back(f"UPDATE herd_animal SET breed = '{sealed.breed}'")
    tasks.check_seals()
    assert not Notice.objects.filter(closed_at=None).exists()


def test_the_page_shows_the_heads_of_a_month(sealed: Any, inspector_client: Any) -> None:
    last = SealedDay.objects.order_by("-day")[0]
    page = text(inspector_client.get("/seals/"))

    assert "3 days are sealed; the last is 2026-06-05." in page
    assert last.head[:4] in page
    assert "Nothing is sealed in this month." in text(inspector_client.get("/seals/?month=2026-05"))


def test_the_paper_can_be_printed(sealed: Any, office_client: Any) -> None:
    answer = office_client.get("/seals/?as=pdf")
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")
    table = office_client.get("/seals/?as=csv").content.decode()
    head = SealedDay.objects.order_by("day")[0].head
    assert head[:4] + " " + head[4:8] in table


def test_months_lead_on_and_back(sealed: Any, office_client: Any) -> None:
    sealing.seal(OVER + timedelta(days=40))
    assert "?month=2026-06" in text(office_client.get("/seals/?month=2026-07"))
    assert "?month=2026-07" in text(office_client.get("/seals/?month=2026-06"))


@pytest.mark.parametrize("month", ["2026-13", "June", "0000-01", "2026-06-03", "%00"])
def test_what_is_no_month_is_said(sealed: Any, office_client: Any, month: str) -> None:
    assert office_client.get(f"/seals/?month={month}").status_code == 404


def test_before_anything_is_sealed_the_page_says_so(office_client: Any) -> None:
    assert "Nothing is sealed in this month." in text(office_client.get("/seals/"))


def test_nobody_reads_it_without_a_role(client: Any, nobody_client: Any) -> None:
    assert client.get("/seals/").status_code == 302
    assert nobody_client.get("/seals/").status_code == 403
