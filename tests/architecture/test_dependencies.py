"""No installed package has a published vulnerability: asked of the advisory database by pip-audit.

Where the database cannot be asked the test is skipped and says so; a build must not fail because a
network is absent. What the database answers is never overlooked.
"""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

TOOL = Path(sys.executable).parent / "pip-audit"
LONGEST_S = 120


def vulnerable(report: dict[str, Any]) -> list[str]:
    """Package, version, advisories and the version that mends it, one line a package."""
    return [
        f"{one['name']} {one['version']}: "
        + ", ".join(
            f"{found['id']} (mended in {' or '.join(found['fix_versions']) or 'no version yet'})"
            for found in one["vulns"]
        )
        for one in report["dependencies"]
        if one.get("vulns")
    ]


def unasked(report: dict[str, Any]) -> list[str]:
    """Packages of which the database said nothing, though the tool calls them clean."""
    return [one["name"] for one in report["dependencies"] if "skip_reason" in one]


def asked() -> dict[str, Any] | str:
    """The tool's report, or why there is none."""
    command = [str(TOOL), "--progress-spinner", "off", "--format", "json", "--skip-editable"]
    try:
        ran = subprocess.run(
            command, capture_output=True, text=True, check=False, timeout=LONGEST_S
        )
    except subprocess.TimeoutExpired:
        return f"no answer within {LONGEST_S} s"
    if not ran.stdout.startswith("{"):
        return (ran.stderr.strip().splitlines() or ["no answer"])[-1]
    report: dict[str, Any] = json.loads(ran.stdout)
    return report


def test_no_installed_package_has_a_known_vulnerability() -> None:
    report = asked()
    if isinstance(report, str):
        pytest.skip(f"could not ask the advisory database: {report}")
    assert not vulnerable(report), "\n".join(vulnerable(report))
    silent = [name for name in unasked(report) if name != "ebbline"]
    if silent:
        pytest.skip(f"could not ask the advisory database about {len(silent)} packages")


# The form of the report: pip-audit's README, "Output formats".
REPORT = {
    "dependencies": [
        {"name": "flask", "version": "0.5", "vulns": []},
        {"name": "left", "skip_reason": "Dependency not found on PyPI"},
        {
            "name": "jinja2",
            "version": "3.0.2",
            "vulns": [{"id": "PYSEC-0000-1", "fix_versions": ["3.1.4"], "aliases": []}],
        },
    ]
}


def test_a_known_vulnerability_is_named_with_what_mends_it() -> None:
    assert vulnerable(REPORT) == ["jinja2 3.0.2: PYSEC-0000-1 (mended in 3.1.4)"]


def test_what_the_database_did_not_answer_is_not_taken_for_clean() -> None:
    assert unasked(REPORT) == ["left"]
