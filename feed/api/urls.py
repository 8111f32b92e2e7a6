"""What the feed adds to the API besides its kinds of entry."""

from django.urls import path

from feed.api.board import ForageBoardView

app_name = "feed-api"

urlpatterns = [path("forage-board/", ForageBoardView.as_view(), name="forage-board")]
