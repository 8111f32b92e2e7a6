"""Curves over the days with marks below, and shelves: in the drawing, in the table, no style."""

import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest

from config.curves import Curve, Done, Lane
from config.grids import FREE, HELD, TAKEN, WRONG, Grid, Stack


def curve(**fields):
    given = {
        "points": [(10, 32.0, "day ten"), (40, 38.5, "day forty"), (300, 14.0, "late")],
        "lanes": [
            Lane("doses", "corner", [Done(40, "tube"), Done(41, "tube")]),
            Lane("tests", "ring", [Done(0, "CMT")]),
        ],
    }
    words = {"key": "c", "title": "T <1>", "description": "D", "unit": "kg a day", "days": "day"}
    return Curve(**{**words, **given, **fields})


def grid(count=40, cells=(TAKEN, FREE, HELD, WRONG)):
    stacks = [Stack(str(n), f"#column-{n}", f"column {n}", cells) for n in range(1, count + 1)]
    return Grid(key="g", title="Map", description="D", stacks=stacks, what="Column")


@pytest.mark.parametrize("form", ["wide", "narrow"])
@pytest.mark.parametrize(
    "fields", [{}, {"points": []}, {"lanes": []}, {"points": [(0, 0.0, "none")], "lanes": []}]
)
def test_a_curve_is_well_formed_and_inside_its_frame(form, fields):
    made = curve(**fields)
    drawing = getattr(made, form)()
    root = ET.fromstring(drawing)
    width, height = (float(part) for part in root.attrib["viewBox"].split()[2:])
    circles = [one for one in root.iter() if one.tag.endswith("circle")]
    rings = sum(len(lane.marks) for lane in made.lanes if lane.form == "ring")
    assert len(circles) == len(made.points) + rings
    for one in circles:
        assert 0 <= float(one.attrib["cx"]) <= width
        assert 0 <= float(one.attrib["cy"]) <= height
    assert "style" not in drawing
    assert "T &lt;1&gt;" in drawing


def test_days_are_to_scale_and_more_milk_stands_higher():
    root = ET.fromstring(curve(lanes=[]).wide())
    places = [
        (float(one.attrib["cx"]), float(one.attrib["cy"]))
        for one in root.iter()
        if one.tag.endswith("circle")
    ]
    (first, _), (second, _), (third, _) = places
    assert (third - second) / (second - first) == pytest.approx(260 / 30, rel=0.01)
    assert places[1][1] < places[0][1] < places[2][1]


def test_the_rows_of_a_curve_say_everything_in_order_of_the_days():
    rows = curve().rows
    assert [day for day, _, _ in rows] == [0, 10, 40, 40, 41, 300]
    assert ("doses", "tube") in {(what, words) for _, what, words in rows}
    assert len(rows) == 6


@pytest.mark.parametrize("form", ["wide", "narrow"])
@pytest.mark.parametrize("count", [0, 1, 40, 97])
def test_every_stack_is_one_link_inside_the_frame_and_none_covers_another(form, count):
    root = ET.fromstring(getattr(grid(count), form)())
    links = [one for one in root.iter() if one.tag.endswith("}a") or one.tag == "a"]
    assert [one.attrib["href"] for one in links] == [f"#column-{n}" for n in range(1, count + 1)]
    width, height = (float(part) for part in root.attrib["viewBox"].split()[2:])
    starts = []
    for link in links:
        paths = [one.attrib["d"] for one in link if one.tag.endswith("path")]
        assert len(paths) == 4
        corners = [part.split("h")[0].split() for path in paths for part in path.split("M")[1:]]
        for x, y in corners:
            assert 0 <= float(x) <= width - 14
            assert 0 <= float(y) <= height - 14
        starts.append((float(corners[0][0]), float(corners[0][1])))
    assert len(set(starts)) == count


def test_cells_stand_from_the_floor_up():
    root = ET.fromstring(grid(1).wide())
    forms = {one.attrib["class"]: one.attrib["d"] for one in root.iter() if "d" in one.attrib}
    heights = [float(forms[name].split("h")[0].split()[1]) for name in (TAKEN, FREE, HELD, WRONG)]
    assert all(lower > higher for lower, higher in pairwise(heights))


def test_the_two_drawings_lean_on_patterns_of_their_own():
    made = grid()
    assert 'id="hatch-wide"' in made.wide()
    assert 'id="hatch-narrow"' in made.narrow()
