"""Settings: documented, and unwilling to start unsafe."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
CLINIC = {
    "DATABASE_URL": "postgres://ebbline@db.example/ebbline",
    "EBBLINE_SECRET_KEY": "a-secret-of-fifty-characters-or-more-0123456789-abcdefgh",
    "EBBLINE_HOSTS": "ebbline.example",
}


def check(**variables: str) -> subprocess.CompletedProcess[str]:
    """`manage.py check --deploy` in a process with just these variables."""
    return subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT,
        env={"PATH": os.environ["PATH"], **variables},
        capture_output=True,
        text=True,
        check=False,
    )


def test_every_variable_read_is_documented_and_every_documented_one_is_read() -> None:
    source = (ROOT / "clinic" / "settings.py").read_text()
    read = set(re.findall(r'"(EBBLINE_[A-Z_]+|DATABASE_URL)"', source))
    documented = set(re.findall(r"^\| `([A-Z_]+)` \|", (ROOT / "DEVELOPERS.md").read_text(), re.M))
    assert read == documented


def test_a_clinics_own_server_passes_djangos_deployment_checks() -> None:
    checked = check(**CLINIC)
    assert checked.returncode == 0, checked.stderr


@pytest.mark.parametrize("missing", ["EBBLINE_SECRET_KEY", "EBBLINE_HOSTS"])
def test_a_clinics_own_server_refuses_to_start_without_key_or_hosts(missing: str) -> None:
    checked = check(**{name: value for name, value in CLINIC.items() if name != missing})
    assert checked.returncode != 0
    assert missing in checked.stderr


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("EBBLINE_BEHIND_PROXY", "maybe"),
        ("EBBLINE_SESSION_MINUTES", "long"),
        ("EBBLINE_IDLE_MINUTES", "0"),
        ("EBBLINE_SECRET_KEY", "..."),
    ],
)
def test_a_bad_value_stops_the_start_and_is_named(name: str, value: str) -> None:
    checked = check(**CLINIC | {name: value})
    assert checked.returncode != 0
    assert f"{name} must be" in checked.stderr


def test_a_space_after_the_comma_between_host_names_is_no_part_of_a_name() -> None:
    code = "from clinic import settings; print(settings.ALLOWED_HOSTS)"
    told = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={"PATH": os.environ["PATH"], **CLINIC, "EBBLINE_HOSTS": "a.example, b.example,"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert told.stdout.strip() == "['a.example', 'b.example']"
