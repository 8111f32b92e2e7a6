"""Milkings of single cows: units asked, groups and tanks found, lots built, nothing twice."""

from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest

from herd.models import Group, Recording
from milk.models import CowMilking, MeterCorrection, Milking, MilkLot
from tests.factories.herd import make_animal, make_group, make_user, put_in_group
from tests.factories.loads import load, load_json, written
from tests.factories.milk import make_milking, make_tank

pytestmark = pytest.mark.django_db

ROWS = """cow;date;milking;milk kg;fat;cells_thousand_per_ml
1042;01.06.2026;M;12,345;4,1;187
1043;01.06.2026;M;11,5;;
1042;01.06.2026;E;9,25;;
1043;01.06.2026;E;;;
"""


@pytest.fixture(autouse=True)
def farm() -> None:
    make_user("owner")
    group = make_group(3)
    for number in (1042, 1043):
        put_in_group(make_animal(number), group)


def meter(number: int, session: str = "M") -> CowMilking:
    return CowMilking.objects.get(animal__farm_number=number, milking__session=session)


def test_rows_become_meter_rows_of_their_groups_milkings() -> None:
    taken = load_json("milkings", ROWS)
    assert taken.counts == (4, 0, 0, 0)
    morning = Milking.objects.get(session="M")
    assert (morning.group.number, morning.day, morning.tank) == (3, date(2026, 6, 1), None)
    assert morning.kg == Decimal("23.845")
    assert morning.metered
    # The group's own planned start.
    assert f"{morning.local_happened_at:%H:%M}" == "04:30"
    assert meter(1042).grams == 12_345
    assert meter(1043, "E").grams is None
    assert "1 rows without a weight: kept as not measured" in taken.report["notes"]


def test_contents_become_a_recording() -> None:
    load("milkings", ROWS)
    recording = Recording.objects.get()
    assert (recording.fat, recording.cells) == (Decimal("4.1"), Decimal("187"))
    assert recording.milk_kg == Decimal("12.345")
    assert recording.session == "M"


def test_latest_count_ends_where_the_next_begins() -> None:
    load("milkings", ROWS)
    later = ROWS.replace("01.06.2026;M;12,345;4,1;187", "03.06.2026;M;12;4,2;90")
    load("milkings", later.replace("1043", "1042").split("1042;01")[0])
    first, second = Recording.objects.order_by("happened_at")
    assert first.valid_to == second.happened_at
    assert second.valid_to is None


def test_a_tank_gets_its_lots() -> None:
    tank = make_tank(name="B")
    load("milkings", ROWS, "--tank", "tank b")
    lots = MilkLot.objects.valid().filter(tank=tank).order_by("opened_at")
    assert [lot.kg for lot in lots] == [Decimal("23.845"), Decimal("9.250")]
    assert meter(1042).lot == lots[0]


def test_milk_kept_out_is_in_no_lot() -> None:
    make_tank(name="B")
    rows = "cow;date;milking;kg;kept out\n1042;01.06.2026;M;12,5;no\n1043;01.06.2026;M;11,5;yes\n"
    load("milkings", rows, "--tank", "B")
    assert Milking.objects.get().kg == Decimal("12.5")
    assert meter(1043).lot is None
    assert meter(1043).goes == CowMilking.Goes.KEPT_OUT


def test_second_load_of_a_file_writes_nothing() -> None:
    make_tank(name="B")
    load("milkings", ROWS, "--tank", "B")
    before = written()
    assert load_json("milkings", ROWS, "--tank", "B").counts == (0, 4, 0, 0)
    assert load_json("milkings", ROWS).counts == (0, 4, 0, 0)
    assert written() == before


def test_cows_of_a_second_file_join_the_milking() -> None:
    make_tank(name="B")
    header, first, second, *_ = ROWS.splitlines()
    load("milkings", f"{header}\n{first}\n", "--tank", "B")
    load("milkings", f"{header}\n{second}\n", "--tank", "B")
    milking = Milking.objects.get()
    assert milking.kg == Decimal("23.845")
    assert MilkLot.objects.valid().get().kg == Decimal("23.845")
    assert meter(1043).lot == meter(1042).lot


def test_meter_rows_join_the_milking_a_milker_wrote() -> None:
    tank = make_tank(name="B")
    start = datetime.fromisoformat("2026-06-01T04:40+02:00")
    milking = make_milking(at=start, group=Group.objects.get(number=3), tank=tank, kg=30)
    load("milkings", ROWS.split("1042;01.06.2026;E")[0])
    milking.refresh_from_db()
    assert CowMilking.objects.filter(milking=milking).count() == 2
    # Read at the tank: the sum of the meters does not change it. Every cow of the group has a row.
    assert milking.kg == 30
    assert milking.metered


def test_a_milking_stays_without_meters_while_a_cow_has_no_row() -> None:
    start = datetime.fromisoformat("2026-06-01T04:40+02:00")
    milking = make_milking(
        at=start, group=Group.objects.get(number=3), tank=make_tank(name="B"), kg=30
    )
    taken = load_json("milkings", "\n".join(ROWS.splitlines()[:2]) + "\n")
    milking.refresh_from_db()
    assert not milking.metered
    assert any("count as without meters still" in note for note in taken.report["notes"])


def test_changed_row_is_shown_and_left() -> None:
    load("milkings", ROWS)
    before = written()
    shown = load("milkings", ROWS.replace("11,5;;", "11,75;;"))
    assert shown.code == 0
    assert "row 3, 1043, 2026-06-01 M: milk kg: 11.500 → 11.750" in shown.out
    assert written() == before
    assert meter(1043).grams == 11_500


def test_changed_row_is_corrected_beside_its_old_value() -> None:
    make_tank(name="B")
    load("milkings", ROWS, "--tank", "B")
    changed = ROWS.replace("11,5;;", "11,75;;").replace(";4,1;187", ";4,1;95")
    taken = load_json("milkings", changed, "--tank", "B", "--take-changed")
    assert taken.counts == (0, 2, 2, 0)
    assert meter(1043).grams == 11_750
    correction = MeterCorrection.objects.get()
    assert (correction.old_grams, correction.new_grams) == (11_500, 11_750)
    assert correction.why == "re-loaded from list.csv"
    assert MilkLot.objects.valid().order_by("opened_at")[0].kg == Decimal("24.095")
    old, new = Recording.objects.order_by("pk")
    assert (old.cells, new.cells) == (187, 95)
    assert old.is_struck
    assert new.replaces == old


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("1049;01.06.2026;M;12;;", "expected an animal of the herd (nearest: 1043, 1042)"),
        ("1042;01.06.2026;M;twelve;;", "column “milk kg”: found “twelve”; expected a number"),
        ("1042;01.06.2026;M;120;;", "expected a number from 0 to 100"),
        ("1042;01.06.2090;M;12;;", "column “date”: found “01.06.2090”; expected a day that has"),
        ("1042;31.02.2026;M;12;;", "expected a day that is in the calendar"),
        ("1042;;M;12;;", "column “date”: found an empty cell; expected a value"),
        ("1042;01.06.2026;N;12;;", "column “milking”: found “N”; expected one of"),
        ("1042;01.06.2026;;12;;", "column “milking”: found “nothing”; expected M (morning)"),
        ("1042;01.06.2026;M;12,345;4,1;187", "expected one row for each; row 2 names it already"),
        ("3.8E+11;01.06.2026;M;12;;", "column “cow”: found “3.8E+11”; expected the whole number"),
    ],
)
def test_strange_row_refuses_the_whole_file(row: str, words: str) -> None:
    before = written()
    refused = load("milkings", f"{ROWS}{row}\n")
    assert refused.code == 1
    assert "row 6" in refused.err
    assert words in refused.err
    assert written() == before


def test_a_cow_in_no_group_is_strange_unless_the_group_is_said() -> None:
    make_animal(1050)
    rows = "cow;date;milking;kg\n1050;01.06.2026;M;12,5\n"
    assert "expected an animal that stood in a group on that day" in load("milkings", rows).err
    assert load_json("milkings", rows, "--group", "3").counts == (1, 0, 0, 0)


def test_a_row_taken_with_another_group_is_strange() -> None:
    make_group(4)
    load("milkings", ROWS)
    refused = load("milkings", ROWS, "--group", "4")
    assert "expected the group it was taken with, group 3, not group 4" in refused.err


def test_a_cow_that_left_gives_no_milk() -> None:
    animal = make_animal(1051)
    put_in_group(animal, Group.objects.get(number=3))
    put_in_group(animal, None, datetime.fromisoformat("2026-05-01T10:00Z"), leaving="sold")
    refused = load("milkings", ROWS + "1051;01.06.2026;M;12;;\n")
    assert "expected an animal that was here; she left on 2026-05-01 12:00" in refused.err


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--group", "9"), "--group”: found “9”; expected a group of the estate (there are: 3)"),
        (("--tank", "Z"), "expected a tank of the estate (there are: none yet)"),
        (("--unit", "salt=kg"), "--unit salt=…: expected one of milk, cells"),
        (("--column", "weight=kg"), "--column weight=…; expected one of animal, date"),
        (("--by", "stranger"), "--by stranger: nobody signs in under that name. Known: owner"),
        (("--since", "2026-01-01"), "--since does not go with milkings"),
    ],
)
def test_wrong_option_is_named(options: tuple[str, ...], words: str) -> None:
    refused = load("milkings", ROWS, *options)
    assert refused.code == 1
    assert words in refused.err


def test_units_that_the_file_does_not_say_are_asked_for() -> None:
    rows = ROWS.replace("milk kg", "milk").replace("cells_thousand_per_ml", "cells")
    before = written()
    refused = load("milkings", rows)
    assert refused.code == 1
    assert "Column “milk” does not say its unit (a cell: 12,345)." in refused.err
    assert "--unit milk=kg or --unit milk=g or --unit milk=l" in refused.err
    assert "--unit cells=thousands or --unit cells=units" in refused.err
    assert written() == before
    taken = load_json("milkings", rows, "--unit", "milk=kg", "--unit", "cells=thousands")
    assert taken.counts == (4, 0, 0, 0)


def test_units_are_counted_over() -> None:
    rows = "cow;date;milking;milk;cells\n1042;01.06.2026;M;12345;187000\n"
    load("milkings", rows, "--unit", "milk=g", "--unit", "cells=units")
    assert meter(1042).grams == 12_345
    assert Recording.objects.get().cells == 187


def test_a_file_with_its_own_words_is_loaded_by_naming_its_columns() -> None:
    rows = "Tier;Datum;Melkung;Menge\n1042;01.06.2026;M;12,5\n"
    missing = load("milkings", rows)
    assert "row 1, column “animal”: found the columns Tier, Datum, Melkung, Menge" in missing.err
    assert "--column animal=ITS-NAME" in missing.err
    named = ("animal=Tier", "date=Datum", "session=Melkung", "milk_kg=Menge")
    options = [word for name in named for word in ("--column", name)]
    assert load_json("milkings", rows, *options, "--unit", "milk=kg").counts == (1, 0, 0, 0)


def test_time_of_each_cow_is_kept_from_the_start_of_the_milking() -> None:
    rows = "cow;date;time;kg\n1042;01.06.2026;04:42;12,5\n1043;01.06.2026;04:50:30;11,5\n"
    load("milkings", rows)
    assert Milking.objects.get().session == "M"
    assert [meter(1042).at_s, meter(1043).at_s] == [12 * 60, 20 * 60 + 30]
    assert load_json("milkings", rows).counts == (0, 2, 0, 0)


def test_a_cow_twice_at_one_milking_is_kept_in_a_further_milking() -> None:
    rows = "cow;date;time;kg\n1042;01.06.2026;04:42;12,5\n1042;01.06.2026;05:50;1,5\n"
    taken = load_json("milkings", rows)
    assert taken.counts == (2, 0, 0, 0)
    first, second = Milking.objects.order_by("happened_at")
    assert second.happened_at - first.happened_at == timedelta(minutes=80)
    assert load_json("milkings", rows).counts == (0, 2, 0, 0)


def test_a_time_the_clock_jumped_over_is_strange() -> None:
    refused = load("milkings", "cow;date;time;kg\n1042;29.03.2026;02:30;12,5\n")
    assert "expected a time the clock showed" in refused.err
