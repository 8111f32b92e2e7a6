"""Flow drawings: the data as boxes, bands and a table; escaped, without a style of their own."""

from xml.etree import ElementTree

import pytest

from config.charts import MOST_NODES, Chart, Flow, Node, gathered, placed, slices

SVG = "{http://www.w3.org/2000/svg}"


def chart(**fields: object) -> Chart:
    nodes = [
        Node(key="a", stage="Lots", name="Lot A", kg=300, href="/lots/a/"),
        Node(key="b", stage="Lots", name="Lot <B>", kg=100, held=True, why="held since 09:00"),
        Node(key="v", stage="Vat", name="Vat 17", kg=400, words="held", held=True),
    ]
    flows = [
        Flow(source="a", target="v", kg=300),
        Flow(source="b", target="v", kg=100, held=True),
    ]
    values = {"title": "T", "description": "Two lots.", "nodes": nodes, "flows": flows, **fields}
    return Chart(key="c", stages=("Lots", "Vat", "Wheels"), **values)


def parsed(markup: str) -> ElementTree.Element:
    return ElementTree.fromstring(f'<div xmlns="http://www.w3.org/2000/svg">{markup}</div>')


@pytest.mark.parametrize("form", ["wide", "tall"])
def test_drawing_has_title_and_description(form: str) -> None:
    svg = parsed(getattr(chart(), form)())[0]
    titles = {node.get("id"): node.text for node in svg if node.get("id")}
    assert svg.get("role") == "group"  # its boxes lead somewhere
    named = (svg.get("aria-labelledby") or "").split()
    assert [titles[name] for name in named] == ["T", "Two lots."]


@pytest.mark.parametrize("form", ["wide", "tall"])
def test_drawing_has_no_style_and_no_script(form: str) -> None:
    for node in parsed(getattr(chart(), form)()).iter():
        assert "style" not in node.attrib
        assert not any(name.startswith("on") for name in node.attrib)


def test_names_are_escaped_and_links_kept() -> None:
    markup = chart().wide()
    assert "Lot &lt;B&gt;" in markup
    assert '<a href="/lots/a/">' in markup


def test_boxes_are_as_high_as_their_milk_and_bands_fill_them() -> None:
    drawing = chart()
    boxes = placed(["Lots", "Vat"], drawing.nodes)
    assert boxes["a"].height == pytest.approx(3 * boxes["b"].height)
    parts = slices(boxes, list(drawing.flows), lambda flow: flow.target)
    tops = sorted(parts.values())
    assert tops[0][0] == pytest.approx(boxes["v"].y)
    assert tops[-1][1] == pytest.approx(boxes["v"].y + boxes["v"].height)


def test_held_is_drawn_held() -> None:
    svg = parsed(chart().wide())[0]
    bands = [node.get("class") for node in svg if node.tag == f"{SVG}path"]
    assert sorted(filter(None, bands)) == ["flow", "flow held"]


def test_table_has_every_node_in_the_order_of_the_stages() -> None:
    assert chart().rows() == [
        ("Lots", "Lot A", 300, ""),
        ("Lots", "Lot <B>", 100, "held since 09:00"),
        ("Vat", "Vat 17", 400, "held"),
    ]


def test_many_small_boxes_are_drawn_as_one_and_held_ones_stay() -> None:
    nodes = [Node(key=str(n), stage="Vat", name=f"Vat {n}", kg=n) for n in range(1, 20)]
    nodes[0] = Node(key="1", stage="Vat", name="Vat 1", kg=1, held=True)
    flows = [Flow(source="start", target=node.key, kg=node.kg) for node in nodes]
    kept, merged = gathered(nodes, flows)
    assert len(kept) == MOST_NODES
    assert kept[0].name == "Vat 1"
    assert kept[-1].name == "and 12 more"
    assert sum(node.kg or 0 for node in kept) == sum(range(1, 20))
    assert sum(flow.kg or 0 for flow in merged) == sum(range(1, 20))


def test_nothing_to_draw_is_still_a_drawing() -> None:
    empty = chart(nodes=[], flows=[])
    assert parsed(empty.wide())[0].tag == f"{SVG}svg"
    assert empty.rows() == []
