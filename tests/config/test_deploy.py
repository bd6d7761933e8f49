"""What deploy/ holds fits the program, and systemd and nginx can read it."""

import configparser
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.management import load_command_class

import config.settings
from config import environment, web_server

DEPLOY = settings.BASE_DIR / "deploy"
UNITS = sorted((DEPLOY / "systemd").iterdir())
SERVICES = [unit for unit in UNITS if unit.suffix == ".service"]
CHECKOUT = "/opt/minute-account"


def example() -> dict[str, str]:
    text = (DEPLOY / "environment.example").read_text()
    return dict(re.findall(r"^(\w+)='(.*)'$", text, re.MULTILINE))


def unit(file: Path) -> Any:
    parser = configparser.RawConfigParser(strict=False)
    parser.optionxform = str  # type: ignore[assignment, method-assign]
    parser.read_string(file.read_text())
    return parser


def command_of(file: Path) -> list[str]:
    return unit(file)["Service"]["ExecStart"].split()


def nginx(name: str) -> list[str]:
    """The values that the site's file gives a directive."""
    text = (DEPLOY / "nginx" / "minute-account.conf").read_text()
    return re.findall(rf"^ *{name} (.*);$", text, re.MULTILINE)


def test_the_example_names_every_setting_and_no_other() -> None:
    told = re.findall(r"^([A-Z_]+) +\S", config.settings.__doc__ or "", re.MULTILINE)

    assert sorted(example()) == sorted(told)


def test_nothing_starts_on_the_examples_secrets(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for name, value in example().items():
        monkeypatch.setenv(name, value)

    with pytest.raises(ImproperlyConfigured, match="SECRET_KEY still has “REPLACE-ME”"):
        environment.require_for_serving()


def test_the_example_is_whole_once_its_secrets_are_replaced(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for name, value in example().items():
        monkeypatch.setenv(name, value.replace("REPLACE-ME", "an0ther-Secret" * 4))

    environment.require_for_serving()
    assert environment.in_production()
    assert environment.secret_key(otherwise="")
    assert environment.base_address("BASE_ADDRESS", "").startswith("https://")
    assert environment.database(Path("never-used"))["USER"] == "minute_account"
    assert environment.redis_url("").startswith("redis://:an0ther")


@pytest.mark.parametrize("file", SERVICES, ids=lambda file: file.name)
def test_every_service_has_its_own_user_the_settings_and_few_rights(
    file: Path,
) -> None:
    service = unit(file)["Service"]

    assert service["User"] == "minute-account"
    assert service["EnvironmentFile"] == "/etc/minute-account/environment"
    assert service["WorkingDirectory"] == CHECKOUT
    assert service["ProtectSystem"] == "strict"
    assert service["NoNewPrivileges"] == "yes"
    assert f"/var/lib/{service['StateDirectory']}" == example()["VAR_DIR"]


@pytest.mark.parametrize("file", SERVICES, ids=lambda file: file.name)
def test_every_service_calls_a_program_that_the_lock_installs(file: Path) -> None:
    program = command_of(file)[0]

    assert program.startswith(f"{CHECKOUT}/venv/bin/")
    assert (Path(sys.executable).parent / Path(program).name).exists()


def test_the_backups_options_are_those_of_the_command() -> None:
    _, _, name, *options = command_of(
        DEPLOY / "systemd" / "minute-account-backup.service"
    )
    command = load_command_class("config", name)

    asked = command.create_parser("manage.py", name).parse_args(options)

    assert asked.try_restore
    assert str(asked.target) == "/var/backups/minute-account"


def test_all_but_the_backup_start_again_by_themselves_and_with_the_target() -> None:
    always = [file for file in SERVICES if "backup" not in file.name]

    assert len(always) == 3
    for file in always:
        assert unit(file)["Service"]["Restart"] == "always"
        assert unit(file)["Unit"]["PartOf"] == "minute-account.target"
        assert unit(file)["Install"]["WantedBy"] == "minute-account.target"


def test_the_proxy_asks_where_the_web_server_listens() -> None:
    [socket] = re.findall(
        r"--bind (\S+)", (DEPLOY / "systemd" / "minute-account-web.service").read_text()
    )

    assert nginx("server") == [f"{socket} fail_timeout=0"]


def test_the_proxy_says_who_asks_and_waits_longer_than_a_page_may_take() -> None:
    said = dict(header.split(" ", 1) for header in nginx("proxy_set_header"))

    assert said["X-Real-IP"] == "$remote_addr"
    assert said["X-Forwarded-Proto"] == "$scheme"
    assert said["Host"] == "$host"
    [wait] = nginx("proxy_read_timeout")
    assert int(wait.rstrip("s")) > web_server.timeout


def test_the_way_to_a_running_site_names_every_file() -> None:
    readme = (DEPLOY / "README.md").read_text()

    for file in DEPLOY.rglob("*"):
        if file.is_file() and file.name != "README.md":
            assert file.name in readme, file


def verify(folder: Path) -> subprocess.CompletedProcess[str]:
    """systemd's own reading of the units, with the programs of this checkout."""
    return subprocess.run(
        ["systemd-analyze", "verify", *sorted(folder.iterdir())],
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.skipif(
    not shutil.which("systemd-analyze"), reason="There is no systemd-analyze here."
)
def test_systemd_finds_no_fault_in_the_units(tmp_path: Path) -> None:
    for file in UNITS:
        text = file.read_text().replace(
            f"{CHECKOUT}/venv/bin", str(Path(sys.executable).parent)
        )
        (tmp_path / file.name).write_text(
            text.replace(CHECKOUT, str(settings.BASE_DIR))
        )

    good = verify(tmp_path)
    beat = tmp_path / "minute-account-beat.service"
    beat.write_text(beat.read_text().replace("Restart=always", "Restart=perhaps"))
    bad = verify(tmp_path)

    assert (good.returncode, good.stderr) == (0, "")
    assert "perhaps" in bad.stderr
