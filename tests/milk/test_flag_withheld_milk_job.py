"""The job that holds lots with withheld milk: one hold for each cause, and gone with its cause."""

import threading
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from config.entries import correct, strike
from config.models import JobRun, Notice
from herd.models import Animal, Course, WithdrawalPeriod
from herd.services import withdrawals
from milk.models import Hold, HoldItem, MilkLot
from milk.services import flags, holds
from milk.tasks import flag_withheld_milk
from tests.cast import user_in
from tests.factories.herd import make_animal, make_course, make_dose, make_group, make_medicine
from tests.factories.milk import (
    EVENING,
    bare_lot,
    bare_parent,
    fill,
    lots_of,
    make_milking,
    make_tank,
    make_vat,
    make_wheel,
    prove,
    stamp_at,
    wash,
)

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
HALF_DAY = 12 * HOUR
NOW = EVENING + 40 * HOUR
# Statements a new cause may take: its tree, its hold, its lots and two notices.
NEW_CAUSE = 36


class Story:
    """A cow milked into a tank four times, dosed before the first, which is written later."""

    def __init__(self, milkings: int = 4, number: int = 1042, tank: str = "B") -> None:
        self.group, self.tank = make_group(), make_tank(name=tank)
        self.cow: Animal = make_animal(number)
        self.other = make_animal()
        self.times = [EVENING + n * HALF_DAY for n in range(milkings)]
        for at in self.times:
            self.milk(at)
        self.course: Course | None = None

    def milk(self, at: Any) -> None:
        cows = [(self.cow, 12), (self.other, 11)]
        make_milking(group=self.group, tank=self.tank, at=at, cows=cows, minutes=60)
        wash(self.tank, at + 8 * HOUR)

    def dose(self) -> Course:
        medicine = make_medicine(actives="a test substance")
        self.course = make_course(self.cow, happened_at=EVENING - 8 * HOUR, medicine=medicine)
        make_dose(self.course)
        return self.course

    @property
    def lots(self) -> list[MilkLot]:
        return lots_of(self.tank)

    def cause(self, number: int = 1) -> str:
        assert self.course is not None
        return f"withheld:{self.course.uuid}" + (f"#{number}" if number > 1 else "")


def run(**options: Any) -> dict[str, int]:
    return flags.flag_withheld_milk(at=options.pop("at", NOW), **options)


def named(hold: Hold) -> set[int]:
    return set(hold.items.filter(gone_at=None).values_list("lot_id", flat=True))


def open_notices() -> set[tuple[str, str]]:
    return set(Notice.objects.filter(closed_at=None).values_list("cause", "role"))


def release(hold: Hold, decision: str = "release") -> None:
    for role in ("vet", "cheesemaker"):
        stamp = stamp_at(NOW + HOUR, user_in(role))
        holds.decide(stamp=stamp, hold=hold, decision=decision, words="chemically negative")


def strike_course(course: Course) -> None:
    for dose in course.given.all():
        strike(dose, by=user_in("vet"), reason="animal")
    strike(course, by=user_in("vet"), reason="animal")
    withdrawals.rebuild([course.animal_id])


def test_a_late_dose_holds_every_lot_its_milk_went_into() -> None:
    story = Story()
    assert run() == {"causes": 0, "lots": 0, "holds": 0, "gone": 0}
    story.dose()
    assert run()["holds"] == 1
    hold = Hold.objects.open().get()
    assert (hold.cause_key, hold.by.username, hold.reason) == (
        story.cause(),
        "swardline",
        "withheld",
    )
    assert named(hold) == {lot.pk for lot in story.lots}
    assert len(story.lots) == 4
    assert hold.words.startswith("milk of 1042, 4 milkings 2026-06-09 16:30 to 2026-06-11 04:30")


def test_the_tree_below_is_frozen_and_the_notice_says_what_can_be_stopped() -> None:
    story = Story(milkings=1)
    vat = make_vat(at=EVENING + 3 * HOUR)
    fill(vat, tank=story.tank, kg=10, at=EVENING + 3 * HOUR)
    wheel = make_wheel(vat=vat)
    story.dose()
    run(at=EVENING + 7 * HOUR)
    hold = Hold.objects.open().get()
    assert [item["name"] for item in hold.tree["vats"]] == [str(vat)]
    assert [item["name"] for item in hold.tree["wheels"]] == [wheel.plate]
    assert open_notices() == {(story.cause(), "cheesemaker"), (story.cause(), "vet")}
    notice = Notice.objects.get(role="vet")
    assert notice.what.startswith("Stop: tank B 13 kg. Held: milk of 1042")
    assert notice.url == f"/milk/holds/{hold.uuid}/"


def test_run_again_it_comes_out_the_same() -> None:
    story = Story()
    story.dose()
    run()
    before = list(HoldItem.objects.values_list("hold", "lot", "gone_at"))
    assert run()["holds"] == 0
    assert run(at=NOW + HOUR)["holds"] == 0
    assert list(HoldItem.objects.values_list("hold", "lot", "gone_at")) == before
    assert Hold.objects.count() == 1
    assert len(open_notices()) == 2


def statements(at: Any) -> int:
    with CaptureQueriesContext(connection) as captured:
        run(at=at)
    return len(captured)


def test_causes_in_line_cost_no_statement_each() -> None:
    long_after = EVENING + timedelta(days=30)
    counted = []
    for number in (0, 1, 2, 3):
        Story(milkings=1, number=1042 + number, tank=f"B{number}").dose()
        new = statements(long_after)
        counted.append((new, statements(long_after + HOUR)))
    assert run(at=long_after + HOUR) == {"causes": 4, "lots": 4, "holds": 0, "gone": 0}
    assert counted[1][1] == counted[2][1] == counted[3][1]
    assert all(new - same < NEW_CAUSE for new, same in counted)


def test_a_notice_is_brought_up_to_date_while_milk_can_be_stopped() -> None:
    story = Story(milkings=1)
    story.dose()
    run(at=EVENING + HOUR)
    assert Notice.objects.get(role="vet").what.startswith("Stop: tank B")
    run(at=NOW)
    assert Notice.objects.get(role="vet").what.startswith("Nothing of it is left")


def test_a_milking_that_comes_later_joins_the_hold_of_its_cause() -> None:
    story = Story(milkings=2)
    story.dose()
    run()
    story.milk(EVENING + 2 * HALF_DAY)
    run()
    hold = Hold.objects.get()
    assert named(hold) == {lot.pk for lot in story.lots}
    assert len(named(hold)) == 3
    assert len(hold.tree["lots"]) == 2


def test_a_course_struck_lets_the_hold_go_and_closes_the_notices() -> None:
    story = Story()
    course = story.dose()
    run()
    strike_course(course)
    assert run()["gone"] == 1
    assert not Hold.objects.open().exists()
    decision = Hold.objects.with_outcome().get().decisions.get()
    assert (decision.decision, decision.by.username) == ("cause gone", "swardline")
    assert open_notices() == set()


def test_a_cause_that_comes_back_opens_a_further_hold() -> None:
    story = Story()
    course = story.dose()
    run()
    period = WithdrawalPeriod.objects.get(course=course)
    WithdrawalPeriod.objects.filter(pk=period.pk).delete()
    run()
    period.save(force_insert=True)
    assert run()["holds"] == 1
    assert Hold.objects.open().get().cause_key == story.cause(2)
    assert open_notices() == {(story.cause(2), "cheesemaker"), (story.cause(2), "vet")}


def test_what_people_decided_stands_and_later_milk_is_held_anew() -> None:
    story = Story(milkings=2)
    story.dose()
    run()
    for lot in story.lots:
        prove(lot, at=lot.opened_at + HOUR)
    release(Hold.objects.get())
    assert run(at=NOW + 2 * HOUR)["holds"] == 0
    story.milk(EVENING + 2 * HALF_DAY)
    run(at=NOW + 3 * HOUR)
    further = Hold.objects.open().get()
    assert further.cause_key == story.cause(2)
    assert named(further) == {story.lots[-1].pk}


def test_a_lot_the_cause_no_longer_touches_is_let_go_alone() -> None:
    story = Story()
    course = story.dose()
    run()
    WithdrawalPeriod.objects.filter(course=course).update(
        during=(EVENING + HALF_DAY, EVENING + 2 * HALF_DAY)
    )
    run()
    hold = Hold.objects.open().get()
    assert named(hold) == {story.lots[1].pk}
    assert hold.items.count() == 4


def test_a_waste_tank_may_hold_such_milk_what_it_gave_on_may_not() -> None:
    story = Story(milkings=0)
    waste = make_tank(use="waste")
    make_milking(group=story.group, tank=waste, at=EVENING, cows=[(story.cow, 12)])
    story.dose()
    assert run()["lots"] == 0
    (lot,) = lots_of(waste)
    after = bare_lot(opened_at=EVENING + HOUR)
    bare_parent(after, lot, 3)
    run()
    assert named(Hold.objects.open().get()) == {after.pk}


def test_a_dry_cow_product_is_a_cause_of_its_own() -> None:
    story = Story(milkings=1)
    source = uuid4()
    WithdrawalPeriod.objects.create(
        animal=story.cow,
        kind="dry",
        source=source,
        during=(EVENING - HOUR, None),
        why="dry-cow tube, nobody knows until when",
    )
    run()
    assert Hold.objects.open().get().cause_key == f"withheld:{source}"


def test_old_milk_is_found_when_its_entry_has_just_arrived() -> None:
    story = Story(milkings=1)
    later = EVENING + timedelta(days=200)
    make_dose(make_course(story.cow, happened_at=EVENING - HOUR, received_at=later - HOUR))
    assert run(at=later)["holds"] == 1


def test_old_milk_is_found_when_its_course_was_corrected_today() -> None:
    """A correction keeps the number of the course, so it does not stand at the end of the table."""
    story = Story(milkings=1)
    course = make_course(story.other, happened_at=EVENING - 30 * HOUR)
    dose = make_dose(course, at=EVENING - HOUR)
    for _ in range(3):
        make_course(make_animal(), happened_at=EVENING - 300 * HOUR)
    stamp = stamp_at(course.happened_at, user_in("vet"))
    correct(course, stamp=stamp, reason="animal", animal=story.cow)
    withdrawals.rebuild([story.cow.pk, story.other.pk])
    assert dose.course_id == course.pk
    assert run(at=timezone.now())["holds"] == 1
    assert "milk of 1042" in Hold.objects.get().words


def test_old_milk_nobody_touched_is_left_to_the_live_read() -> None:
    story = Story(milkings=1)
    story.dose()
    later = EVENING + timedelta(days=200)
    assert run(at=later)["holds"] == 0
    assert run(at=later, since=EVENING - HOUR)["holds"] == 1


def test_only_the_animals_asked_for_however_old() -> None:
    story = Story(milkings=1)
    story.dose()
    later = EVENING + timedelta(days=200)
    assert run(at=later, animals=[story.other.pk])["holds"] == 0
    assert run(at=later, animals=[story.cow.pk])["holds"] == 1


def test_the_task_keeps_a_row_of_its_run() -> None:
    story = Story(milkings=1)
    story.dose()
    flag_withheld_milk(at=NOW.isoformat())
    row = JobRun.objects.get()
    assert (row.name, row.error) == ("milk.tasks.flag_withheld_milk", "")
    assert row.counted == {"causes": 1, "lots": 1, "holds": 1, "gone": 0}
    assert row.ended_at is not None


def test_a_moment_without_its_offset_is_refused_and_kept_with_the_run() -> None:
    with pytest.raises(ValueError, match="no offset"):
        flag_withheld_milk(at="2026-06-09T16:30")
    assert "no offset" in JobRun.objects.get().error


@pytest.mark.django_db(transaction=True)
def test_two_workers_at_the_same_moment_make_one_hold() -> None:
    story = Story(milkings=2)
    story.dose()
    ready, errors = threading.Barrier(3), []

    def work() -> None:
        try:
            ready.wait(timeout=20)
            run()
        except Exception as error:  # noqa: BLE001 - told to the test, whatever it is
            errors.append(error)
        finally:
            connection.close()

    workers = [threading.Thread(target=work) for _ in range(3)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(timeout=60)
    assert errors == []
    assert named(Hold.objects.get()) == {lot.pk for lot in story.lots}
    assert len(open_notices()) == 2
