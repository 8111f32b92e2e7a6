"""A large file is worked on by a job; the page says how far it is, without JavaScript."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from config import jobs, waiting_work
from config.models import JobRun, Upload
from config.tasks import work_on_file
from config.waiting import any_waiting
from herd.models import Animal
from tests.cast import Pages, text
from tests.factories.herd import make_group

pytestmark = pytest.mark.django_db
ROWS = 450
HERD = "farm number;ear tag;sex;group\n" + "".join(
    f"{number};9990000000{number:05};F;3\n" for number in range(1, ROWS + 1)
)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """The jobs that are asked for; every file counts as a large one."""
    make_group(3)
    found: list[Any] = []
    monkeypatch.setattr(waiting_work, "AT_ONCE_BYTES", 100)

    def send_job(name: str, args: tuple[str, ...]) -> bool:
        found.append((name, *args))
        return True

    monkeypatch.setattr(jobs, "send", send_job)
    return found


def send(client: Pages, content: str = HERD) -> str:
    file = SimpleUploadedFile("herd.csv", content.encode(), content_type="text/csv")
    address: str = client.send("/uploads/new/", kind="animals", file=file).headers["Location"]
    return address


def test_a_large_file_is_looked_at_and_taken_by_a_job(
    asked: list[Any], office_client: Pages
) -> None:
    address = send(office_client)
    page = office_client.get(address)
    assert "The file is being looked at" in text(page)
    assert page["Refresh"] == "2"
    ((name, number),) = asked
    assert name == "config.tasks.work_on_file"
    work_on_file(number)
    assert "Ready to be taken" in text(office_client.get(address))
    sent = office_client.send(f"{address}take/")
    assert sent.headers["Location"] == address
    assert "being taken" in text(office_client.get(address))
    assert not Animal.objects.exists()
    work_on_file(number)
    assert Animal.objects.count() == ROWS
    done = office_client.get(address)
    assert done.headers["Location"] == f"/uploads/{Upload.objects.get().pk}/"
    # A job that comes again finds nothing to do.
    assert work_on_file(number) == {"rows": 0}
    assert Animal.objects.count() == ROWS
    assert JobRun.objects.filter(name="config.tasks.work_on_file", error="").count() == 3


def test_the_page_says_how_far_it_is(
    asked: list[Any], office_client: Pages, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = send(office_client)
    number = asked[0][1]
    monkeypatch.setattr(waiting_work, "TELL_SECONDS", 0)
    said = []
    tell = waiting_work.Teller.__call__

    def told(self: Any, done: int, rows: int) -> None:
        tell(self, done, rows)
        said.append(text(office_client.get(address)))

    monkeypatch.setattr(waiting_work.Teller, "__call__", told)
    work_on_file(number)
    assert ["0 of 450 rows" in said[0], "200 of 450 rows" in said[1]] == [True, True]
    assert "400 of 450 rows" in said[2]


def test_without_a_broker_it_is_done_at_once(
    asked: list[Any], office_client: Pages, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(jobs, "send", lambda name, args: False)
    address = send(office_client)
    assert "Ready to be taken" in text(office_client.get(address))


def test_when_no_worker_comes_the_page_says_so_and_does_it_here(
    asked: list[Any], office_client: Pages, vet_client: Pages
) -> None:
    address = send(office_client)
    waiting = any_waiting(asked[0][1])
    assert waiting is not None
    assert office_client.send(f"{address}here/").status_code == 302
    assert "being looked at" in text(office_client.get(address))
    waiting.moved_at = (timezone.now() - timedelta(minutes=3)).isoformat()
    waiting.keep()
    page = office_client.get(address)
    assert "Nothing was heard of it" in text(page)
    assert "Refresh" not in page
    assert vet_client.send(f"{address}here/").status_code == 404
    assert office_client.send(f"{address}here/").status_code == 302
    assert "Ready to be taken" in text(office_client.get(address))


def test_a_file_that_is_no_such_table_is_refused_by_the_job_too(
    asked: list[Any], office_client: Pages
) -> None:
    address = send(office_client, "colour;taste\n" + "red;sweet\n" * 40)
    work_on_file(asked[0][1])
    page = text(office_client.get(address))
    assert "This file cannot be taken" in page or "to say first" in page
