"""The web application, as gunicorn starts it."""

import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

from config.language import keep_words
from config.memory import roomy, settle

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
# The threads of a web process share their connections to the database.
os.environ.setdefault("DATABASE_POOL_SIZE", "8")

application = roomy(get_wsgi_application())
# The views, imported at the first request otherwise.
assert get_resolver().url_patterns
keep_words()
settle()
