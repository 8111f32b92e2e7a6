"""Addresses of the udder board for programs, below /api/udder/."""

from django.urls import path

from herd.api.udder import MovementApi, UdderApi, WhatIfApi

urlpatterns = [
    path("", UdderApi.as_view(), name="api-udder"),
    path("what-if/", WhatIfApi.as_view(), name="api-udder-what-if"),
    path("movement/", MovementApi.as_view(), name="api-udder-movement"),
]
