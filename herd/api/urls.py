"""Addresses of the herd under /api/ besides its kinds of entry."""

from django.urls import path

from herd.api.withheld import WithheldApi

urlpatterns = [path("withheld/", WithheldApi.as_view(), name="api-withheld")]
