"""Which requests a page answers."""

from django.views.decorators.http import require_http_methods

# A page with a form: looked at, or sent back.
look_or_send = require_http_methods(["GET", "HEAD", "POST"])
