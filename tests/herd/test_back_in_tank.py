"""Her first milking back: of several periods, of two groups, of a clock that shows a time twice."""

from datetime import date, time

from herd.planned import Stands, back_in_tank, first_milking, later_moment, withheld_until
from herd.withdrawal import course_period
from tests.herd.arithmetic import GROUP_3, GROUP_5, ZONE, at, course, estate, shown, stands_in


def test_two_products_the_later_end_wins_and_striking_gives_the_other_back():
    # T5.
    first = course_period(course("2026-06-03 17:00"), estate())
    second = course_period(course("2026-06-03 09:00", hours=120), estate())
    spans = [(first.since, first.until), (second.since, second.until)]
    moment, stands = at("2026-06-04 12:00"), stands_in(GROUP_5)
    assert shown(back_in_tank(moment, spans, stands, ZONE)[1]) == "2026-06-08 16:30"
    assert shown(back_in_tank(moment, spans[:1], stands, ZONE)[1]) == "2026-06-07 16:30"


def test_moved_cow_is_back_with_her_new_group():
    # T10: withheld until Sunday 05:00, moved to group 3 on Saturday 11:00.
    end = at("2026-06-07 05:00")
    moved = (
        Stands(at("2026-01-01 00:00"), at("2026-06-06 11:00"), GROUP_5),
        Stands(at("2026-06-06 11:00"), None, GROUP_3),
    )
    assert shown(first_milking(moved, ZONE, end)) == "2026-06-07 16:10"


def test_what_begins_before_the_first_ends_counts_too():
    spans = [
        (at("2026-06-02 10:00"), at("2026-06-05 22:00")),
        (at("2026-06-05 12:00"), at("2026-06-08 12:00")),
    ]
    assert shown(withheld_until(at("2026-06-03 00:00"), spans)) == "2026-06-08 12:00"


def test_what_begins_later_does_not_hold_her_now():
    spans = [(at("2026-06-05 12:00"), at("2026-06-08 12:00"))]
    moment = at("2026-06-03 00:00")
    assert withheld_until(moment, spans) == moment


def test_first_milking_inside_the_next_course_is_not_hers():
    spans = [
        (at("2026-06-02 10:00"), at("2026-06-05 22:00")),
        (at("2026-06-06 04:00"), at("2026-06-08 12:00")),
    ]
    until, back = back_in_tank(at("2026-06-03 00:00"), spans, stands_in(GROUP_5), ZONE)
    assert (shown(until), shown(back)) == ("2026-06-08 12:00", "2026-06-08 16:30")


def test_typed_time_that_comes_twice_is_the_later():
    # T29: asked and not answered.
    given = later_moment(date(2026, 10, 25), time(2, 40), ZONE)
    assert given == at("2026-10-25 02:40", fold=1)
