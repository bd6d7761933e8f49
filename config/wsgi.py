"""The web server's door: gunicorn config.wsgi"""

import os

from django.core.wsgi import get_wsgi_application

from config import environment

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
environment.require_for_serving()

application = get_wsgi_application()
