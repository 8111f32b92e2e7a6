"""Addresses of the milk under /api/ besides its kinds of entry."""

from django.urls import path

from milk.api.after_feed import AfterFeedApi
from milk.api.balance import DayBalanceApi, TanksNowApi
from milk.api.brine import BrineApi, RowInApi, RowOutApi
from milk.api.cells_now import CellsNowApi
from milk.api.events import EventFaultsApi, EventsApi
from milk.api.hall import LookApi, PlateStockApi, PourApi, VatsBoardApi
from milk.api.holds import HoldReachApi
from milk.api.laboratory import LaboratoryFilesApi
from milk.api.lots import LotApi, LotsApi
from milk.api.made_by import LotCowsApi
from milk.api.milkings import MilkingViewSet
from milk.api.orders import GradeSharesApi, LabelApi, MayLeaveApi, OrderStandsApi
from milk.api.quality import QualityApi
from milk.api.recalls import (
    DrillApi,
    RecallBoardApi,
    RecallHoldApi,
    RecallPlatesApi,
    RecallReachApi,
)
from milk.api.session import SessionApi
from milk.api.store import FreeApi, LayApi, RoomsApi, RoundsApi, SearchApi, StockApi
from milk.api.trace import TraceBackApi, TraceForwardApi
from milk.api.vats import FillApi, WheelsApi

urlpatterns = [
    # Lots, and what a hold keeps back.
    path("lots/", LotsApi.as_view(), name="api-lots"),
    path("lots/<uuid:uuid>/", LotApi.as_view(), name="api-lot"),
    path("quality/", QualityApi.as_view(), name="api-quality"),
    path("laboratory-files/", LaboratoryFilesApi.as_view(), name="api-laboratory-files"),
    path("cells-now/", CellsNowApi.as_view(), name="api-cells-now"),
    path("lots/<uuid:uuid>/cows/", LotCowsApi.as_view(), name="api-lot-cows"),
    path("holds/<uuid:uuid>/reach/", HoldReachApi.as_view(), name="api-hold-reach"),
    # Tanks, and the day's milk in and out.
    path("tanks/now/", TanksNowApi.as_view(), name="api-tanks-now"),
    path("balance/", DayBalanceApi.as_view(), name="api-balance"),
    # Milkings with their cows: before the kind's own address, which it answers as well.
    path("milkings/session/", SessionApi.as_view(), name="api-milkings-session"),
    path(
        "milkings/",
        MilkingViewSet.as_view({"get": "list", "post": "create"}),
        name="api-milkings",
    ),
    # Vats.
    path("vats/<uuid:uuid>/fill/", FillApi.as_view(), name="api-vat-fill"),
    path("vats/<uuid:uuid>/wheels/", WheelsApi.as_view(), name="api-vat-wheels"),
    # Grades, orders and labels.
    path("grade-shares/", GradeSharesApi.as_view(), name="api-grade-shares"),
    path("orders/<uuid:uuid>/stands/", OrderStandsApi.as_view(), name="api-order-stands"),
    path("wheels/<uuid:uuid>/may-leave/", MayLeaveApi.as_view(), name="api-may-leave"),
    path("wheels/<uuid:uuid>/label/", LabelApi.as_view(), name="api-label"),
    path("vats/<uuid:uuid>/look/", LookApi.as_view(), name="api-vat-look"),
    # The dairy hall.
    path("pour/", PourApi.as_view(), name="api-pour"),
    path("vats-board/", VatsBoardApi.as_view(), name="api-vats-board"),
    path("plate-stock/", PlateStockApi.as_view(), name="api-plate-stock"),
    # The milk after a feed.
    path("after-feed/<str:kind>/<str:id>/", AfterFeedApi.as_view(), name="api-after-feed"),
    # Trace.
    path("trace/back/<str:kind>/<path:id>/", TraceBackApi.as_view(), name="api-trace-back"),
    path(
        "trace/forward/<str:kind>/<path:id>/", TraceForwardApi.as_view(), name="api-trace-forward"
    ),
    # Brine and store.
    path("brine/", BrineApi.as_view(), name="api-brine"),
    path("brine/in/", RowInApi.as_view(), name="api-brine-in"),
    path("brine/out/", RowOutApi.as_view(), name="api-brine-out"),
    path("store/wheels/", SearchApi.as_view(), name="api-store-wheels"),
    path("store/free/", FreeApi.as_view(), name="api-store-free"),
    path("store/lay/", LayApi.as_view(), name="api-store-lay"),
    path("store/rooms/", RoomsApi.as_view(), name="api-store-rooms"),
    path("store/stock/", StockApi.as_view(), name="api-store-stock"),
    path("rounds/", RoundsApi.as_view(), name="api-rounds"),
    # Events for other traders.
    path("events/", EventsApi.as_view(), name="api-events"),
    path("events/faults/", EventFaultsApi.as_view(), name="api-event-faults"),
    # Recalls: before the kind's own addresses.
    path("recall-reach/<str:kind>/<path:id>/", RecallReachApi.as_view(), name="api-recall-reach"),
    path("recalls/drill/", DrillApi.as_view(), name="api-drill"),
    path("recalls/<uuid:uuid>/board/", RecallBoardApi.as_view(), name="api-recall-board"),
    path("recalls/<uuid:uuid>/wheels/", RecallPlatesApi.as_view(), name="api-recall-wheels"),
    path("recalls/<uuid:uuid>/hold/", RecallHoldApi.as_view(), name="api-recall-hold"),
]
