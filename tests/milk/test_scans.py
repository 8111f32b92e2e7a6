"""What a hand scanner and a person type for plates, shelves and ranges."""

import pytest

from milk.scans import Scan, Shelf, numbers, plates, scans


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("0004711", [Scan("0004711")]),
        ("14/7\n0471\n14/8 0472", [Scan("0471", Shelf(14, 7)), Scan("0472", Shelf(14, 8))]),
        ("Long store/2/14/7\n4711", [Scan("4711", Shelf(14, 7, "Long store", 2))]),
        ("4711, 4712;4713", [Scan("4711"), Scan("4712"), Scan("4713")]),
        ("https://id.example/01/09506000134352/10/7/21/0004711?x=1", [Scan("0004711")]),
        ("", []),
    ],
)  # fmt: skip
def test_scans_are_plates_each_with_the_shelf_before_it(text, found):
    assert scans(text) == found


@pytest.mark.parametrize("text", ["14/7", "14/7\n14/8\n4711", "4711 <b>", "a/b/c/d/e"])
def test_a_scan_that_is_nothing_is_said(text):
    with pytest.raises(ValueError, match="scanned|neither"):
        scans(text)


def test_plates_may_be_ranges_with_their_noughts():
    assert plates("0004009-0004011, 0005000") == ["0004009", "0004010", "0004011", "0005000"]
    assert plates("4001 to 4002\n7") == ["4001", "4002", "7"]


@pytest.mark.parametrize("text", ["9-1", "1-5000"])
def test_a_range_the_wrong_way_or_too_long_is_refused(text):
    with pytest.raises(ValueError, match="no range"):
        plates(text)


def test_numbers_of_vats():
    assert numbers("1-3, 9, 2", most=40) == [1, 2, 3, 9]
    with pytest.raises(ValueError, match="1 to 40"):
        numbers("41", most=40)
