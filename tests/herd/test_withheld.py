"""TANK or NOT for every animal at a moment: against a slow reference, and case by case."""

from dataclasses import dataclass
from datetime import timedelta

import pytest

from herd.models import Group, GroupStay, HealthEvent, MilkingTime, WithdrawalPeriod
from herd.planned import planned_moment
from herd.services.health import record_health_event, strike_health_event
from herd.withheld import answer_for, is_withheld, withheld_list
from tests.factories.herd import (
    DAY,
    HOUR,
    NOON,
    make_animal,
    make_calving,
    make_course,
    make_dose,
    make_group,
    make_health_event,
    make_medicine,
    make_stamp,
    put_in_group,
)
from tests.herd.arithmetic import ZONE, at
from tests.herd.farm import grow


@dataclass
class Everything:
    """Every row there is, for the slow reference."""

    stays: list[GroupStay]
    periods: list[WithdrawalPeriod]
    events: list[HealthEvent]
    times: list[MilkingTime]

    @classmethod
    def read(cls):
        return cls(
            list(GroupStay.objects.select_related("group")),
            list(WithdrawalPeriod.objects.all()),
            list(HealthEvent.objects.all()),
            list(MilkingTime.objects.all()),
        )


def slow_group(rows, cow, when) -> Group | None:
    """The group an animal stood in: the last standing move before the moment."""
    moves = [
        stay
        for stay in rows.stays
        if stay.animal_id == cow.pk and not stay.is_struck and stay.happened_at <= when
    ]
    last = max(moves, key=lambda stay: stay.happened_at, default=None)
    return last.group if last else None


def slow_spans(rows, cow) -> list:
    """Every time her milk is kept out, from when until when."""
    spans = [
        (period.during.lower, period.during.upper)
        for period in rows.periods
        if period.animal_id == cow.pk and not period.during.isempty
    ]
    events = [event for event in rows.events if event.animal_id == cow.pk]
    for event in events:
        if event.unfit and not event.is_struck:
            settled = [
                other.happened_at
                for other in events
                if other.settles_id == event.pk and not other.is_struck
            ]
            spans.append((event.happened_at, min(settled, default=None)))
    return spans


def runs(span, when) -> bool:
    since, until = span
    return since <= when and (until is None or when < until)


def slow_answer(rows, cow, when):
    """Group, whether NOT, and the first milking back, reckoned one animal at a time."""
    group = slow_group(rows, cow, when)
    if group is None:
        return None
    spans = slow_spans(rows, cow)
    running = [span for span in spans if runs(span, when)]
    not_milked = group.use in ("dry", "close-up", "young")
    if not running:
        return (group.number, not_milked, None)
    if any(until is None for _, until in running):
        return (group.number, True, None)
    starts = sorted(
        planned_moment(when.astimezone(ZONE).date() + timedelta(days=day), planned.starts, ZONE)
        for planned in rows.times
        if planned.group_id == group.pk
        for day in range(60)
    )
    # From then on: the first milking that nothing reaches from this moment without a gap.
    end = max(until for _, until in running)
    while True:
        more = [span for span in spans if span[0] <= end and (span[1] is None or span[1] > end)]
        if any(until is None for _, until in more):
            return (group.number, True, None)
        if more:
            end = max(until for _, until in more)
            continue
        back = next((start for start in starts if start >= end), None)
        if back is None or not any(runs(span, back) for span in spans):
            return (group.number, True, back)
        end = back


@pytest.mark.parametrize("seed", range(4))
def test_whole_list_agrees_with_the_slow_reference(rules, seed):
    cows = grow(seed)
    rows = Everything.read()
    for days in (-15, -3, 0, 2, 9, 18):
        when = NOON + days * DAY + timedelta(minutes=37 * seed)
        fast = {
            answer.uuid: (answer.group, answer.withheld, answer.back)
            for answer in withheld_list(when)
        }
        slow = {cow.uuid: slow_answer(rows, cow, when) for cow in cows}
        assert fast == {uuid: answer for uuid, answer in slow.items() if answer}


def test_one_animal_and_one_group_say_what_the_whole_list_says(rules):
    cows = grow(77)
    whole = withheld_list(NOON)
    assert [answer_for(cow, NOON) for cow in cows if answer_for(cow, NOON)] == sorted(
        whole, key=lambda answer: answer.animal_id
    )
    for number in (1, 5, 12, 13):
        only = [answer for answer in whole if answer.group == number]
        assert withheld_list(NOON, group=number) == only


def test_four_statements_for_the_whole_herd(rules, django_assert_max_num_queries):
    grow(3)
    with django_assert_max_num_queries(4):
        assert withheld_list(NOON)


def test_free_cow_is_tank(cow):
    answer = answer_for(cow, NOON)
    assert (answer.word, answer.withheld, answer.until, answer.why) == ("TANK", False, None, ())


def test_withheld_cow_is_not_until_her_milking(cow, tube):
    # T2, two hours later: NOON is 12:00 on the estate's clock.
    make_dose(make_course(cow, medicine=tube))
    answer = answer_for(cow, NOON + HOUR)
    assert answer.word == "NOT"
    assert (answer.until, answer.back) == (at("2026-06-06 00:00"), at("2026-06-06 04:30"))
    assert answer.why == ("Tube A: 84 h after the last dose Tue 02 Jun 12:00",)


def test_the_minute_of_the_dose_is_not_and_the_minute_before_is_tank(cow, tube):
    make_dose(make_course(cow, medicine=tube))
    assert not is_withheld(cow, NOON - timedelta(minutes=1))
    assert is_withheld(cow, NOON)


def test_the_end_itself_is_tank(cow, tube):
    make_dose(make_course(cow, medicine=tube))
    assert is_withheld(cow, NOON + 84 * HOUR - timedelta(seconds=1))
    assert not is_withheld(cow, NOON + 84 * HOUR)


def test_animal_that_stands_nowhere_is_not(rules):
    stray = make_animal()
    assert answer_for(stray, NOON) is None
    assert is_withheld(stray, NOON)


def test_cow_that_left_is_not_on_the_list(cow):
    put_in_group(cow, None, NOON, leaving="sold")
    assert withheld_list(NOON) == []
    assert len(withheld_list(NOON - HOUR)) == 1


def test_dry_group_is_not_milked(rules, dry_group):
    cow = make_animal()
    put_in_group(cow, dry_group)
    answer = answer_for(cow, NOON)
    assert (answer.word, answer.is_milked) == ("NOT", False)


def test_free_cow_in_the_hospital_group_is_told_so(rules):
    cow = make_animal()
    put_in_group(cow, make_group(12, use=Group.Use.HOSPITAL))
    assert answer_for(cow, NOON).why == ("free; move her out of the hospital group",)


def test_group_without_milking_times_has_no_first_milking(rules, tube):
    cow = make_animal()
    put_in_group(cow, make_group(6, milked=False))
    make_dose(make_course(cow, medicine=tube))
    answer = answer_for(cow, NOON)
    assert (answer.until, answer.back) == (NOON + 84 * HOUR, None)


def test_reason_that_lasts_longest_is_told_first(cow, tube):
    make_dose(make_course(cow, medicine=tube))
    make_dose(make_course(cow, medicine=make_medicine(120, name="Injection B")))
    make_health_event(cow, unfit=True, sign="blood in the milk")
    why = answer_for(cow, NOON).why
    assert [words.split(":")[0].split(",")[0] for words in why] == [
        "blood in the milk",
        "Injection B",
        "Tube A",
    ]


def test_unfit_milk_is_out_until_settled(cow, vet):
    seen = record_health_event(
        stamp=make_stamp(by=vet), animal=cow, sign="clots LF", unfit=True, quarter="LF"
    )
    assert answer_for(cow, NOON).until is None
    clean = record_health_event(
        stamp=make_stamp(by=vet, at=NOON + DAY), animal=cow, sign="clean", settles=seen
    )
    assert is_withheld(cow, NOON + DAY - HOUR)
    assert not is_withheld(cow, NOON + DAY)
    strike_health_event(clean, by=vet, reason="animal")
    assert is_withheld(cow, NOON + DAY)


def test_struck_sign_frees_her(cow, vet):
    seen = make_health_event(cow, unfit=True)
    strike_health_event(seen, by=vet, reason="animal")
    assert not is_withheld(cow, NOON)


def test_sign_that_is_not_unfit_keeps_nobody_out(cow):
    make_health_event(cow, sign="lame")
    assert not is_withheld(cow, NOON)


def test_fresh_cow_counts_milkings_of_her_group(cow):
    make_calving(cow, happened_at=at("2026-06-01 02:00"))
    assert answer_for(cow, NOON).back == at("2026-06-05 04:30")


def test_second_course_planned_later_keeps_her_out_further(cow, tube):
    make_dose(make_course(cow, medicine=tube))
    make_course(cow, medicine=tube, happened_at=NOON + 80 * HOUR)
    assert answer_for(cow, NOON).until == NOON + 164 * HOUR
