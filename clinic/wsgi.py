"""The WSGI application."""

import gc
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.settings")

application = get_wsgi_application()

# What is loaded now stays: the collector need not look at it again in the middle of a page.
gc.collect()
gc.freeze()
