"""Addresses of the udder board, below /herd/udder/."""

from django.urls import path

from herd.views import udder

urlpatterns = [
    path("", udder.udder, name="udder"),
    path("what-if/", udder.udder_what_if, name="udder-what-if"),
    path("movement/", udder.udder_movement, name="udder-movement"),
    path("recordings/", udder.recording_days, name="recordings"),
    path("recordings/<str:day>/", udder.recording, name="recording"),
    path("animals/<uuid:uuid>/", udder.animal_udder, name="animal-udder"),
]
