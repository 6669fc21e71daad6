"""Serves the app from this very process: gunicorn as a library, without a command line."""

import os
import socket
import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib import import_module
from typing import Any

from django.conf import settings
from django.core.wsgi import get_wsgi_application
from django.db import connections
from gunicorn.app.base import BaseApplication
from gunicorn.glogging import Logger

from clinic.letters import crew

ADDRESS = "127.0.0.1"
WORKERS = 2


class PortTaken(Exception):
    """Something listens on the port already, or this account may not use it."""


class DemoLogger(Logger):  # type: ignore[misc]  # untyped library
    """Says nothing of a page that Ctrl-C cut off in the middle: that is no fault."""

    def exception(self, msg: object, *args: object, **kwargs: object) -> None:
        if not isinstance(sys.exception(), SystemExit):
            super().exception(msg, *args, **kwargs)


class OwnServer(BaseApplication):  # type: ignore[misc]  # untyped library
    """A few workers on this machine only, until Ctrl-C."""

    def __init__(self, port: int, when_ready: Callable[[], None]) -> None:
        self.port = port
        self.when_ready = when_ready
        super().__init__()

    def init(self, parser: Any, opts: Any, args: Any) -> None:
        """Nothing is read from a command line or a file."""

    def load_config(self) -> None:
        settings: dict[str, Any] = {
            "bind": f"{ADDRESS}:{self.port}",
            "workers": WORKERS,
            "worker_class": "sync",
            "preload_app": True,
            "timeout": 120,
            "loglevel": "warning",
            "logger_class": DemoLogger,
            "when_ready": lambda server: self.when_ready(),
            "control_socket_disable": True,
        }
        for name, value in settings.items():
            self.cfg.set(name, value)

    def load(self) -> Any:
        # The trial serves files where they lie, so the folder of collected ones need not exist.
        warnings.filterwarnings("ignore", "No directory at", UserWarning)
        app = get_wsgi_application()
        # Every view is read in before the workers part: else each does it at its first request.
        import_module(settings.ROOT_URLCONF)
        return app


def check_port(port: int) -> None:
    """Raise PortTaken unless the port can be had now."""
    with socket.socket() as tried:
        tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            tried.bind((ADDRESS, port))
        except (OSError, OverflowError) as error:
            raise PortTaken(port) from error


def serve(port: int, *, when_ready: Callable[[], None]) -> None:
    """Serve until stopped; ends by SystemExit, so that what was started at the start is stopped."""
    connections.close_all()  # a worker must not share its parent's connection
    OwnServer(port, when_ready).run()


@contextmanager
def letters_compiled() -> Iterator[None]:
    """Meanwhile letters are compiled by processes beside this one, which end with it."""
    compiling, own = crew.started(), os.getpid()
    try:
        yield
    finally:
        if os.getpid() == own:  # the server's own workers leave through here as well
            crew.stop(compiling)
