"""Line charts: the data in the drawing and in the table, the scale, and no style in the markup."""

import xml.etree.ElementTree as ET

import pytest

from config.line_charts import LineChart, Point, figure, step_of


def chart(values, **fields):
    points = [Point(f"day {place}", value) for place, value in enumerate(values)]
    given = {"key": "c", "title": "T <1>", "description": "D", "unit": "%", **fields}
    return LineChart(points=points, **given)


@pytest.mark.parametrize("form", ["wide", "narrow"])
@pytest.mark.parametrize("values", [[], [7], [0, 0], [3, 8, 5], list(range(40))])
def test_drawing_is_well_formed_and_holds_every_point(form, values):
    drawing = getattr(chart(values, limit=20, limit_words="at most 20 %"), form)()
    root = ET.fromstring(drawing)
    circles = [mark for mark in root.iter() if mark.tag.endswith("circle")]
    assert len(circles) == len(values)
    assert "style" not in drawing
    assert "at most 20 %" in drawing
    assert "T &lt;1&gt;" in drawing
    width, height = (float(part) for part in root.attrib["viewBox"].split()[2:])
    for mark in circles:
        assert 0 <= float(mark.attrib["cx"]) <= width
        assert 0 <= float(mark.attrib["cy"]) <= height


def test_higher_values_stand_higher():
    root = ET.fromstring(chart([1, 9, 4]).wide())
    heights = [float(mark.attrib["cy"]) for mark in root.iter() if mark.tag.endswith("circle")]
    assert heights[1] < heights[2] < heights[0]


def test_rows_say_the_same():
    assert chart([1, 8.25]).rows == [("day 0", "1"), ("day 1", "8.2")]


@pytest.mark.parametrize(
    ("tallest", "step"), [(0, 0.01), (5, 1), (5.1, 2), (23, 5), (26, 10), (1200, 500)]
)
def test_steps_of_the_scale(tallest, step):
    assert step_of(tallest) == pytest.approx(step)


def test_figures_have_one_decimal_at_most():
    assert [figure(value) for value in (1200, 3.0, 3.14)] == ["1,200", "3", "3.1"]
