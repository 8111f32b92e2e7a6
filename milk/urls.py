"""Addresses of the milk's own pages; the lists and forms of its kinds come from config."""

from django.urls import path

from milk.views import (
    after_feed,
    balance,
    brine,
    cells,
    cheese,
    grades,
    hall,
    holds,
    labels,
    late,
    lots,
    made_by,
    milkings,
    money,
    orders,
    outside,
    quality,
    recalls,
    store,
    store_papers,
    tanks,
    tap,
    trace,
    vats,
    wheel,
    wheels,
    wrong_cow,
)

app_name = "milk"

urlpatterns = [
    # Lots, tests and holds.
    path("", lots.index, name="index"),
    path("lots/", lots.lots, name="lots"),
    path("lots/<uuid:uuid>/", lots.lot, name="lot"),
    path("quality/", quality.page, name="quality"),
    path("cells/", cells.cells, name="cells-now"),
    path("lots/<uuid:uuid>/cows/", made_by.cows, name="lot-cows"),
    path("holds/", holds.holds, name="holds"),
    path("holds/<uuid:uuid>/", holds.hold, name="hold"),
    # The milk after a load, the grass of a field, or of a day.
    path("after-feed/", after_feed.after_feed_of_day, name="after-feed-day"),
    path("after-feed/<str:kind>/<str:id>/", after_feed.after_feed, name="after-feed"),
    path("late/<uuid:uuid>/", late.late, name="late"),
    # Tanks and milkings.
    path("tanks/", tanks.tanks, name="tanks"),
    path("wrong-cow/", wrong_cow.wrong_cow, name="wrong-cow"),
    path("balance/", balance.balance, name="balance"),
    path("milkings/", milkings.milkings, name="milkings"),
    path("milkings/new/", milkings.milk, name="milk"),
    # Vats and wheels.
    path("vats/", vats.vats, name="vats"),
    path("vats/<uuid:uuid>/", vats.vat, name="vat"),
    path("vats/<uuid:uuid>/cheese/", cheese.cheese, name="cheese"),
    path("vats/<uuid:uuid>/fill/", vats.fill, name="vat-fill"),
    path("vats/<uuid:uuid>/wheels/", vats.number, name="vat-wheels"),
    path("vats/<uuid:uuid>/swap/", vats.swap, name="vat-swap"),
    path("vats/<uuid:uuid>/mark/", vats.mark, name="vat-mark"),
    # The dairy hall.
    path("pour/", hall.pour, name="pour"),
    path("starter/", hall.starter, name="starter"),
    path("wheels/today/", hall.wheels_today, name="wheels-today"),
    path("plates/", hall.plates, name="plates"),
    path("vat-sheet/", hall.sheet_of_vats, name="vat-sheet"),
    path("wheels/", wheels.wheels, name="wheels"),
    path("wheels/<uuid:uuid>/", wheel.wheel, name="wheel"),
    # Grading, orders, labels.
    path("tap/", tap.tap, name="tap"),
    path("tap/grade/", tap.grade, name="tap-grade"),
    path("tap/undo/", tap.undo, name="tap-undo"),
    path("grades/", grades.shares, name="grade-shares"),
    path("orders/", orders.orders, name="orders"),
    path("orders/<uuid:uuid>/", orders.order, name="order"),
    path("orders/<uuid:uuid>/pick/", orders.pick, name="order-pick"),
    path("orders/<uuid:uuid>/pallet/", orders.new_pallet, name="order-pallet"),
    path("orders/<uuid:uuid>/send/", orders.send, name="order-send"),
    path("shipments/<uuid:uuid>/", orders.shipment, name="shipment"),
    path("pallets/<uuid:uuid>/", orders.pallet, name="pallet"),
    path("labels/", labels.labels, name="labels"),
    path("wheels/<uuid:uuid>/trace/", wheel.trace_paper, name="wheel-trace"),
    path("wheels/<uuid:uuid>/complaint/", orders.complaint, name="complaint"),
    # Trace: …/<kind of thing>/<what people call it, or its uuid>/; it may hold a slash (vats).
    path("trace/back/<str:kind>/<path:id>/", trace.trace, {"way": "back"}, name="trace-back"),
    path(
        "trace/forward/<str:kind>/<path:id>/", trace.trace, {"way": "forward"}, name="trace-forward"
    ),
    path("trace/<str:way>/<str:kind>/<path:id>/", trace.trace, name="trace"),
    # Brine and store.
    path("brine/", brine.brine, name="brine"),
    path("brine/in/", brine.brine_in, name="brine-in"),
    path("brine/out/", brine.brine_out, name="brine-out"),
    path("store/", store.store, name="store"),
    path("store/lay/", store.lay, name="lay"),
    path("store/found/", store.found, name="found"),
    path("store/rooms/new/", store.room_new, name="room-new"),
    path("store/stock/", store_papers.stock, name="stock"),
    path("store/climate/", store_papers.climate, name="climate"),
    path("store/<str:room>/<int:number>/", store.aisle, name="aisle"),
    path("rounds/", store.rounds, name="rounds"),
    path("rounds/done/", store.round_done, name="round-done"),
    # Money: what was lost, and the owner's month.
    path("losses/", money.losses, name="losses"),
    path("month/", money.month, name="month"),
    # Recalls and drills, and their papers.
    path("findings/", outside.findings, name="findings"),
    path("findings/<uuid:uuid>/", outside.finding, name="finding"),
    path("recalls/", recalls.recalls, name="recalls"),
    path("recalls/new/", recalls.begin, name="recall-begin"),
    path("recalls/drill/", recalls.drill, name="drill-begin"),
    path("recalls/<uuid:uuid>/", recalls.recall, name="recall"),
    path("recalls/<uuid:uuid>/papers/<str:kind>/", recalls.paper, name="recall-paper"),
    path("recalls/<uuid:uuid>/<str:act>/", recalls.act, name="recall-act"),
]
