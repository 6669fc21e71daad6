"""A clinic's own server gathers its static files, and every page finds the ones it names."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings
from django.test import override_settings

from clinic.common.storage import ManifestStorage

ROOT = Path(__file__).parents[3]
CLINIC = {
    "DATABASE_URL": "postgres://ebbline@db.example/ebbline",
    "EBBLINE_SECRET_KEY": "a-secret-of-fifty-characters-or-more-0123456789-abcdefgh",
    "EBBLINE_HOSTS": "ebbline.example",
}


@pytest.fixture(scope="module")
def collected(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("collected")
    env = {"PATH": os.environ["PATH"], "EBBLINE_STATIC_FOLDER": str(folder), **CLINIC}
    command = [sys.executable, "manage.py", "collectstatic", "--no-input", "--verbosity", "0"]
    done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return folder


def test_every_file_that_a_template_names_was_collected(collected: Path) -> None:
    named = set()
    for template in (ROOT / "templates").rglob("*.html"):
        named |= set(re.findall(r"{% static '([^']+)' %}", template.read_text()))
    assert len(named) > 20
    with override_settings(STATIC_ROOT=collected):
        storage = ManifestStorage(location=collected, base_url=settings.STATIC_URL)
        for name in named:
            stored = storage.stored_name(name)
            assert stored != name
            assert (collected / stored).is_file()
