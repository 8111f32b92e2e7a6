"""A wheel's way back and forward on one sheet."""

import re
from datetime import timedelta
from decimal import Decimal

import pytest

from config.papers.pdf import pdf
from milk.models import BrineStay, LotTest
from milk.services.holds import hold_milk
from milk.wheel_trace_paper import wheel_trace_paper
from tests.cast import user_in
from tests.factories import milk
from tests.factories.feed import make_batch, make_feeding
from tests.factories.herd import make_user

pytestmark = pytest.mark.django_db
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
NOW = milk.EVENING + 20 * DAY


@pytest.fixture
def told(chain):
    """What the paper says, table by table, of a wheel of the chain with a life of its own."""
    wheel, twin = chain.wheels
    load = make_batch(happened_at=milk.EVENING - 3 * HOUR)
    make_feeding(load, chain.plain, kg=Decimal(900), happened_at=milk.EVENING - 2 * HOUR)
    milk.plain(
        LotTest,
        milk.EVENING,
        None,
        lot=chain.evening,
        what="inhibitor",
        verdict="negative",
        unit="",
    )
    milk.plain(BrineStay, wheel.happened_at + DAY, None, wheel=wheel, bath="2", row="4")
    milk.put_in_store(wheel, at=wheel.happened_at + 9 * DAY)
    stamp = milk.stamp_at(NOW - DAY, make_user("vet"))
    hold_milk(stamp=stamp, reason="other", words="bitter", wheel=twin)
    return wheel, twin, wheel_trace_paper(wheel, by=user_in("inspector"), at=NOW)


def test_back_and_forward_stand_on_one_page(chain, told):
    wheel, twin, paper = told
    parts = {part.title: part for part in paper.parts}
    assert [line.cells[0] for line in parts["This wheel and its twin"].lines] == [
        wheel.plate,
        twin.plate,
    ]
    assert parts["This wheel and its twin"].lines[1].cells[-1] == "held"
    lots = {line.cells[0]: line.cells for line in parts["The milk"].lines}
    assert set(lots) >= {chain.evening.code}
    assert lots[chain.evening.code][7] == "inhibitor test: negative"
    (fed,) = [part for title, part in parts.items() if title.startswith("Fed in the 48 h")]
    assert any("load" not in line.cells[1] and line.cells[0] == "7" for line in fed.lines)
    life = [line.cells[1] for line in parts["Its life so far"].lines]
    assert life[0].startswith("weighed")
    assert life[1].startswith("into brine")
    assert "Rennet:" in paper.about[1]
    assert len(re.findall(rb"/Type /Page\b", pdf(paper))) == 1


def test_page_files_and_who_may_not(told, inspector_client, client, django_assert_max_num_queries):
    wheel, *_ = told
    url = f"/milk/wheels/{wheel.uuid}/trace/"
    with django_assert_max_num_queries(50):
        page = inspector_client.get(url)
    assert page.status_code == 200
    assert f"Wheel {wheel.plate}: where it came from" in page.content.decode()
    assert url in inspector_client.get(wheel.get_absolute_url()).content.decode()
    assert inspector_client.get(url, {"as": "pdf"}).content.startswith(b"%PDF")
    assert wheel.plate in inspector_client.get(url, {"as": "csv"}).content.decode()
    assert inspector_client.get(url, {"as": "doc"}).status_code == 404
    assert client.get(url).status_code == 302
