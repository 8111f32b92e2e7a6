"""The app milk."""

from django.apps import AppConfig


class MilkApp(AppConfig):
    name = "milk"
