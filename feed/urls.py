"""The feed's own pages; the plain pages of its entries stand under /entries/."""

from django.urls import path

from feed.views import board, fields, loads, papers, ration, writing

app_name = "feed"

urlpatterns = [
    path("", board.forage_board),
    path("board/", board.forage_board, name="board"),
    # /feed/batches/<uuid>/
    path("batches/<uuid:uuid>/", board.batch, name="batch"),
    path("batches/<uuid:uuid>/weigh/", loads.weigh, name="weigh"),
    path("batches/<uuid:uuid>/heap/", loads.heap, name="heap"),
    path("batches/<uuid:uuid>/where/", loads.where, name="where"),
    path("batches/<uuid:uuid>/hour/", loads.hour, name="hour"),
    path("fields/", fields.fields, name="fields"),
    path("fields/<uuid:uuid>/", fields.field, name="field"),
    # Did they eat, and what to cut.
    path("ration/", ration.rations_of_day, name="ration"),
    path("ration/week/", ration.rations_of_week, name="ration-week"),
    path("ration/year/", ration.shares_of_year, name="ration-year"),
    path("tomorrow/", ration.cut_plan, name="tomorrow"),
    path("papers/", papers.papers, name="papers"),
    path("papers/<slug:slug>/", papers.paper, name="paper"),
    path("cuts/new/", writing.start_cut, name="cut"),
    path("feedings/new/", writing.feed, name="feed"),
]
