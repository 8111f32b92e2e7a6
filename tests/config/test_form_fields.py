"""Typed days and moments: what is sure is taken, what would be a guess is refused."""

from datetime import UTC, date, datetime

import pytest
from django.core.exceptions import ValidationError

from config.forms.fields import DayField, meant_by
from tests.herd.arithmetic import at


@pytest.mark.parametrize("typed", ["2026-04-03", "3.4.2026", "03.04.2026", " 2026-4-3 "])
def test_sure_day_is_taken(typed):
    assert DayField().clean(typed) == date(2026, 4, 3)


@pytest.mark.parametrize(
    "typed",
    ["03/04/2026", "3-4-2026", "03.04.26", "April 3, 2026", "3 Apr 2026", "20260403", "31.4.2026"],
)
def test_day_that_would_be_a_guess_is_refused(typed):
    with pytest.raises(ValidationError, match="Expected year-month-day") as refused:
        DayField().clean(typed)
    assert typed in refused.value.messages[0]
    assert "9.6.2026" in refused.value.messages[0]


# 25 October 2026: 02:00 to 03:00 comes twice, first at UTC+2 and then at UTC+1.
@pytest.mark.parametrize(
    ("now", "fold"),
    [
        pytest.param(at("2026-10-25 02:45"), 0, id="written in the first hour"),
        pytest.param(at("2026-10-25 02:40"), 0, id="written at that minute"),
        pytest.param(at("2026-10-25 02:30", fold=1), 1, id="ten minutes ahead: a fast clock"),
        pytest.param(at("2026-10-25 02:45", fold=1), 1, id="written in the second hour"),
        pytest.param(at("2026-10-25 09:00"), 1, id="written in the morning"),
        pytest.param(at("2026-10-24 20:00"), 1, id="planned the evening before"),
    ],
)
def test_hour_that_comes_twice_is_the_later_unless_that_has_not_come_yet(now, fold):
    meant = meant_by(datetime.fromisoformat("2026-10-25 02:40"), now)
    assert meant.astimezone(UTC) == at("2026-10-25 02:40", fold=fold)


def test_hour_that_never_was_is_refused():
    with pytest.raises(ValidationError, match="did not exist"):
        meant_by(datetime.fromisoformat("2026-03-29 02:30"), at("2026-03-29 12:00"))
