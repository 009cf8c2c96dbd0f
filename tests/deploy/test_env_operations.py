"""What the environment says of the file store, the log and the metrics."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from deploy.env import EnvironmentProblem, load

STORE = "s3://key:se%2Fcret@s3.example.org/plant-files/unlit?region=eu-west-1"


def faults(environ: dict[str, str], base: Path) -> str:
    with pytest.raises(EnvironmentProblem) as caught:
        load(environ, base)
    return str(caught.value)


def test_without_a_word_files_are_in_a_folder_and_metrics_for_this_machine(tmp_path: Path) -> None:
    found = load({}, tmp_path)
    assert found.file_store == {"BACKEND": "django.core.files.storage.FileSystemStorage"}
    assert (found.log_format, found.metrics_token) == ("text", "")
    assert found.metrics_allowed == ("127.0.0.1/32", "::1/128")


def test_an_s3_store(tmp_path: Path) -> None:
    found = load({"FILE_STORE_URL": STORE}, tmp_path)
    assert found.file_store["OPTIONS"] == {
        "access_key": "key",
        "secret_key": "se/cret",
        "endpoint_url": "https://s3.example.org",
        "bucket_name": "plant-files",
        "location": "unlit",
        "region_name": "eu-west-1",
    }
    assert "cret" not in repr(found)
    plain = load({"FILE_STORE_URL": "s3+http://k:s@127.0.0.1:9000/bucket"}, tmp_path).file_store["OPTIONS"]
    assert (plain["endpoint_url"], plain["location"]) == ("http://127.0.0.1:9000", "")


@pytest.mark.parametrize(
    "url, words",
    [
        ("https://s3.example.org/bucket", "not the s3:// URL"),
        ("s3://key:hunter2@/bucket", "not the s3:// URL"),
        ("s3://key:hunter2@s3.example.org", "without the name of a bucket"),
        ("s3://key:hunter2@s3.example.org/B", "without the name of a bucket"),
        ("s3://s3.example.org/bucket", "without key and secret"),
        ("s3://key:hunter2@s3.example.org/bucket/../x", "folder of other signs"),
        ("s3://key:hunter2@s3.example.org/bucket?acl=public", "unknown option"),
        ("s3://key:hunter2@s3.example.org:port/bucket", "cannot be read"),
    ],
)
def test_a_store_that_cannot_be_used_is_told_without_its_secret(url: str, words: str, tmp_path: Path) -> None:
    told = faults({"FILE_STORE_URL": url}, tmp_path)
    assert words in told
    assert "hunter2" not in told


def test_folder_and_store_exclude_each_other(tmp_path: Path) -> None:
    assert "MEDIA_DIR" in faults({"FILE_STORE_URL": STORE, "MEDIA_DIR": "/srv/unlit/media"}, tmp_path)


def test_secrets_come_from_files(tmp_path: Path) -> None:
    (tmp_path / "store").write_text(STORE + "\n")
    (tmp_path / "token").write_text("a-token-of-twenty-signs")
    environ = {"FILE_STORE_URL_FILE": str(tmp_path / "store"), "METRICS_TOKEN_FILE": str(tmp_path / "token")}
    found = load(environ, tmp_path)
    assert found.metrics_token == "a-token-of-twenty-signs"
    assert found.file_store["OPTIONS"]["bucket_name"] == "plant-files"


@pytest.mark.parametrize(
    "variable, value, words",
    [
        ("METRICS_ALLOWED", "10.0.0.0/24, everybody", "neither an address nor a network"),
        ("METRICS_ALLOWED", "10.0.0.1/24", "neither an address nor a network"),
        ("CLAMD", "clamd", "neither unix:"),
        ("CLAMD", "127.0.0.1:", "neither unix:"),
        ("CLAMD", "unix:clamd.ctl", "neither unix:"),
        ("BREACHED_PASSWORDS", "/nowhere/sha1.txt", "not the absolute path"),
        ("BREACHED_PASSWORDS", "sha1.txt", "not the absolute path"),
        ("BREACHED_PASSWORDS", "/", "not the absolute path"),
        ("METRICS_TOKEN", "hunter2", "fewer than 20"),
        ("METRICS_TOKEN", "hunter2 with blanks in it", "no header carries"),
        ("LOG_FORMAT", "xml", "none of json, text"),
    ],
)
def test_other_values_are_refused(variable: str, value: str, words: str, tmp_path: Path) -> None:
    told = faults({variable: value}, tmp_path)
    assert words in told
    assert variable != "METRICS_TOKEN" or "hunter2" not in told


def test_production_logs_json(tmp_path: Path) -> None:
    environ: dict[str, Any] = {
        "UNLIT_MODE": "production",
        "SECRET_KEY": "slow-copper-lantern-0123456789-abcdefghijklmnopqrstuvwxyz",
        "ALLOWED_HOSTS": "unlit.example.org",
        "SITE_URL": "https://unlit.example.org",
        "DATABASE_URL": "postgresql://unlit@127.0.0.1/unlit",
        "METRICS_ALLOWED": "10.1.0.0/16, ::1",
    }
    found = load(environ, tmp_path)
    assert found.log_format == "json"
    assert found.metrics_allowed == ("10.1.0.0/16", "::1/128")
    assert load(environ | {"LOG_FORMAT": "text"}, tmp_path).log_format == "text"


def test_a_virus_scanner_breached_passwords_and_the_list_of_browsers_are_asked_for(tmp_path: Path) -> None:
    plain = load({}, tmp_path)
    assert (plain.clamd, plain.breached_passwords, plain.hsts_preload) == ("", None, False)
    (tmp_path / "sha1.txt").touch()
    environ = {"BREACHED_PASSWORDS": str(tmp_path / "sha1.txt"), "HSTS_PRELOAD": "true"}
    for where in ("unix:/run/clamav/clamd.ctl", "127.0.0.1:3310", "[::1]:3310"):
        found = load(environ | {"CLAMD": where}, tmp_path)
        assert (found.clamd, found.breached_passwords, found.hsts_preload) == (where, tmp_path / "sha1.txt", True)
