import gc
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")

application = get_wsgi_application()
# What was loaded by now is never garbage: no collection between requests walks through it.
gc.freeze()
