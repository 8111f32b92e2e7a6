"""The brine, the rounds and the rooms against what is written about hard cheese elsewhere.

Figures of the trade are marked common practice; what nobody could look up, from memory.
"""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from milk.brine import Soak, Terms, same_hour
from milk.models import Dispatch, Wheel
from milk.reference import rows
from milk.wheel_life import Told, weights_of

ZONE = ZoneInfo("Europe/Zurich")


def figure(what):
    (row,) = [row for row in rows("milk_figures.json") if row["what"] == what]
    return row["value"]


def test_days_in_brine_lie_in_the_range_of_the_trade():
    """Common practice: 16 to 20 days on one trade page, 20 on another, 15 to 20 in old books."""
    assert 15 <= figure("brine days") <= 20
    assert figure("brine over") == 2


@pytest.mark.parametrize(
    ("put_in", "due"),
    [
        # Common practice: whole days, at the hour put in.
        ("2026-03-03T15:00+01:00", "2026-03-23T15:00+01:00"),
        # Clocks go forward on the last Sunday in March (Directive 2000/84/EC, Art. 2).
        ("2026-03-20T15:00+01:00", "2026-04-09T15:00+02:00"),
        # And back on the last Sunday in October (Art. 3).
        ("2026-10-20T15:00+02:00", "2026-11-09T15:00+01:00"),
        # A leap day counts like any other (ISO 8601 calendar).
        ("2028-02-20T15:00+01:00", "2028-03-11T15:00+01:00"),
    ],
)
def test_brine_out_date(put_in, due):
    soak = Soak(
        put_in=datetime.fromisoformat(put_in),
        taken_out=None,
        terms=Terms(days=Decimal(20)),
        zone=ZONE,
    )
    assert soak.due == datetime.fromisoformat(due)


def test_left_in_27_days_is_too_long():
    """Common practice: over by more than two days is marked; 27 days is a fault of the trade."""
    put_in = datetime(2026, 6, 1, 13, tzinfo=UTC)
    terms = Terms(days=figure("brine days"), short=figure("brine short"), over=figure("brine over"))
    for days, judged in [(18, "too short"), (20, "in time"), (22, "in time"), (27, "too long")]:
        out = same_hour(put_in, days, ZONE)
        soak = Soak(put_in=put_in, taken_out=out, terms=terms, zone=ZONE)
        assert soak.judged(out) == judged, days


def test_no_bath_is_stronger_than_water_can_be():
    """From memory of handbook tables: water at 20 °C is full at 26.4 % of salt by mass."""
    assert figure("brine low") < figure("brine high") < Decimal("26.4")


def test_rounds_and_rooms_lie_in_the_ranges_of_the_trade():
    """Common practice: turned about every 7 to 10 days, later every 2 to 3 weeks.

    From memory: rooms of 15 to 18 °C (others 16 to 18) and 80 to 85 % relative humidity.
    """
    assert 7 <= figure("round days") <= 14
    assert (figure("room cold"), figure("room warm")) == (15, 18)
    assert (figure("room dry"), figure("room damp")) == (80, 85)


@pytest.mark.parametrize(("kg", "months", "loss"), [("40.2", 12, "15.5"), ("38.6", 24, "18.9")])
def test_loss_of_weight_on_a_wheels_page(kg, months, loss):
    """Common practice: 47.6 kg at 24 h, about 40 kg at 12 months, 38.6 kg at 24 months."""
    made = datetime(2024, 6, 1, 8, tzinfo=UTC)
    later = made + timedelta(days=30 * months)
    wheel = Wheel(kg=Decimal("47.6"), happened_at=made)
    sent = Told("dispatches", Dispatch(kg=Decimal(kg), happened_at=later), "sent")
    first, last = weights_of(wheel, [sent])
    assert first.loss is None
    assert last.loss.quantize(Decimal("0.1")) == Decimal(loss)
