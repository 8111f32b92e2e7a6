"""A cut in the hour that the clock shows twice: the earlier of the two until somebody says."""

from datetime import UTC, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError

from config.days import shown_alike
from config.forms.entries import form_of
from config.models import Notice
from feed.models import ForageBatch
from feed.services.clocks import answer_hour, doubtful
from feed.services.notices import flag
from tests.cast import Pages
from tests.factories.feed import make_batch, make_feeding, make_field, make_window_rule
from tests.factories.herd import HOUR, make_stamp

pytestmark = pytest.mark.django_db
# Central European clocks go back at 01:00 UTC (Directive 2000/84/EC): 02:30 comes at 00:30 and
# at 01:30 UTC.
EARLIER = datetime(2025, 10, 26, 0, 30, tzinfo=UTC)
LATER = EARLIER + HOUR
TYPED = "2025-10-26T02:30"


def typed(slug: str) -> datetime:
    field = form_of(slug).base_fields["happened_at"]
    found: datetime = field.clean(TYPED)
    return found.astimezone(UTC)


def test_a_typed_cut_is_the_earlier_and_a_dose_or_feeding_the_later() -> None:
    assert typed("forage-batches") == EARLIER
    assert typed("doses") == typed("feedings") == LATER


def test_shown_alike() -> None:
    assert shown_alike(EARLIER) == LATER
    assert shown_alike(LATER) == EARLIER
    assert shown_alike(LATER + HOUR) is None
    # The hour that is skipped in spring is shown never, and none of its neighbours twice.
    assert shown_alike(datetime(2026, 3, 29, 1, 30, tzinfo=UTC)) is None
    assert shown_alike(datetime(2026, 3, 29, 0, 30, tzinfo=UTC)) is None


def test_page_writes_the_earlier_and_its_window_ends_sooner(feed_hand_client: Pages) -> None:
    make_window_rule(hours=12)
    field = make_field()
    answer = feed_hand_client.send(
        "/feed/cuts/new/", field=str(field.uuid), happened_at=TYPED, kg="9000"
    )
    load = ForageBatch.objects.get()
    assert answer.status_code == 302
    assert load.happened_at == EARLIER
    assert load.deadline == EARLIER + 12 * HOUR


@pytest.mark.parametrize(("which", "at"), [("before", EARLIER), ("after", LATER)])
def test_question_rings_until_it_is_answered(which: str, at: datetime) -> None:
    make_window_rule(hours=12)
    load = make_batch(happened_at=EARLIER)
    flag(LATER)
    notice = Notice.objects.get(cause=f"grass:hour:{load.uuid}")
    assert "before or after the clocks went back?" in notice.what
    answer_hour(stamp=make_stamp(), batch=load, which=which)
    load.refresh_from_db()
    assert (load.happened_at, load.deadline) == (at, at + 12 * HOUR)
    flag(LATER)
    notice.refresh_from_db()
    assert notice.closed_at == LATER
    with pytest.raises(ValidationError, match="was said before"):
        answer_hour(stamp=make_stamp(), batch=load, which=which)


def test_a_clocks_own_time_is_sure_and_so_is_any_other_hour() -> None:
    assert not doubtful(make_batch(happened_at=EARLIER + timedelta(seconds=7)))
    assert not doubtful(make_batch(happened_at=EARLIER - HOUR))


def test_not_the_later_when_something_was_fed_before_it() -> None:
    load = make_batch(happened_at=EARLIER)
    make_feeding(load, happened_at=EARLIER + HOUR / 2)
    with pytest.raises(ValidationError, match="fed, discarded or probed"):
        answer_hour(stamp=make_stamp(), batch=load, which="after")
    load.refresh_from_db()
    assert load.happened_at == EARLIER


def test_page_asks_and_takes_one_touch(vet_client: Pages) -> None:
    load = make_batch(happened_at=EARLIER)
    assert "came twice" in vet_client.get(load.get_absolute_url()).content.decode()
    vet_client.send(f"/feed/batches/{load.uuid}/hour/", which="sometime")
    load.refresh_from_db()
    assert load.happened_at == EARLIER
    vet_client.send(f"/feed/batches/{load.uuid}/hour/", which="after")
    load.refresh_from_db()
    assert load.happened_at == LATER
    assert "came twice" not in vet_client.get(load.get_absolute_url()).content.decode()


def test_not_by_the_milker(milker_client: Pages) -> None:
    load = make_batch(happened_at=EARLIER)
    answer = milker_client.send(f"/feed/batches/{load.uuid}/hour/", which="after")
    assert answer.status_code == 403
