"""What the feed adds to the API besides its kinds of entry."""

from django.urls import path

from feed.api.board import ForageBoardView
from feed.api.fields import FieldsFreeApi
from feed.api.rations import CutPlanApi, RationsApi, SharesApi
from feed.api.unaccounted import UnaccountedApi

app_name = "feed-api"

urlpatterns = [
    path("forage-board/", ForageBoardView.as_view(), name="forage-board"),
    path("fields-free/", FieldsFreeApi.as_view(), name="fields-free"),
    path("unaccounted/", UnaccountedApi.as_view(), name="unaccounted"),
    path("rations/", RationsApi.as_view(), name="rations"),
    path("feed-shares/", SharesApi.as_view(), name="feed-shares"),
    path("cut-plan/", CutPlanApi.as_view(), name="cut-plan"),
]
