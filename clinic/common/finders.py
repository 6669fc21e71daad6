"""Static files that come inside pip packages: just the ones the pages use."""

from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from django.contrib.staticfiles.finders import BaseFinder
from django.core.checks import CheckMessage
from django.core.exceptions import ImproperlyConfigured
from django.core.files.storage import FileSystemStorage

# Package -> folder inside it, folder it is served under, file names.
PACKAGE_FILES = {
    "plotly": ("package_data", "plotly", ["plotly.min.js"]),
    "font_source_sans_pro": (
        "files",
        "fonts",
        [f"SourceSansPro-{cut}.otf" for cut in ("Regular", "It", "Semibold", "Bold")],
    ),
    "font_source_serif_pro": (
        "files",
        "fonts",
        [f"SourceSerifPro-{cut}.otf" for cut in ("Regular", "It", "Semibold")],
    ),
}


def package_file(package: str, name: str) -> Path:
    """Where a listed file of a package lies on this machine."""
    spec = find_spec(package)
    if spec is None or spec.origin is None:
        raise ImproperlyConfigured(f"The package {package} is missing; install this project.")
    return Path(spec.origin).parent / PACKAGE_FILES[package][0] / name


class PackageFinder(BaseFinder):
    """Finds the listed files of the listed packages, and nothing else of them."""

    def check(self, **kwargs: Any) -> list[CheckMessage]:
        return []

    def find(self, path: str, find_all: bool = False, **kwargs: Any) -> Any:
        found = [
            str(package_file(package, name))
            for package, (_, folder, names) in PACKAGE_FILES.items()
            for name in names
            if path == f"{folder}/{name}"
        ]
        return found if find_all else (found[0] if found else [])

    def list(self, ignore_patterns: Any) -> Iterator[tuple[str, FileSystemStorage]]:
        for package, (_, folder, names) in PACKAGE_FILES.items():
            storage = FileSystemStorage(location=package_file(package, names[0]).parent)
            storage.prefix = folder  # type: ignore[attr-defined]  # staticfiles' own protocol
            for name in names:
                yield name, storage
