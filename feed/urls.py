"""The feed's own pages; the plain pages of its entries stand under /entries/."""

from django.urls import path

from feed.views import board, ration, writing

app_name = "feed"

urlpatterns = [
    path("", board.forage_board),
    path("board/", board.forage_board, name="board"),
    path("batches/<uuid:uuid>/", board.batch, name="batch"),
    path("ration/", ration.rations_of_day, name="ration"),
    path("cuts/new/", writing.start_cut, name="cut"),
    path("feedings/new/", writing.feed, name="feed"),
]
