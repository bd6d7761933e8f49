"""A site as deploy/ sets it up: nginx with TLS in front of gunicorn, on this machine.

Only the ports, the paths and the certificate are the test's own.
"""

import http.client
import os
import re
import shutil
import socket
import ssl
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from email.message import Message
from http.cookies import SimpleCookie
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from axes.models import AccessAttempt
from django.conf import settings
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.contrib.auth.models import User

from config.processes import Child, free_port
from tests.builders import make_plant
from tests.live import child_environment, wait_until
from tests.services import Services

NGINX = shutil.which("nginx") or shutil.which("nginx", path="/usr/sbin")

pytestmark = [
    pytest.mark.live,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(
        not NGINX or not shutil.which("openssl"),
        reason="There is no nginx (or openssl) here: apt-get install nginx openssl.",
    ),
]

NAME = "account.plant.example"
PASSWORD = "a-word-that-only-tests-know"
TOO_MANY = 429
HALL, OFFICE = "127.0.0.2", "127.0.0.3"  # two people's machines

AROUND = """\
daemon off;
master_process off;
pid {folder}/nginx.pid;
error_log stderr;
events {{}}
http {{
    access_log off;
    client_body_temp_path {folder}/body;
    proxy_temp_path {folder}/proxy;
    fastcgi_temp_path {folder}/fastcgi;
    uwsgi_temp_path {folder}/uwsgi;
    scgi_temp_path {folder}/scgi;
    include {folder}/site.conf;
}}
"""


@dataclass(kw_only=True)
class Answer:
    status: int
    headers: Message
    body: str

    @property
    def cookies(self) -> SimpleCookie:
        return SimpleCookie("\r\n".join(self.headers.get_all("Set-Cookie", [])))


def asked(connection: http.client.HTTPConnection, *request: Any) -> Answer:
    with closing(connection):
        connection.request(*request)
        answer = connection.getresponse()
        return Answer(
            status=answer.status, headers=answer.headers, body=answer.read().decode()
        )


@dataclass(kw_only=True)
class Site:
    folder: Path
    plain: int = field(default_factory=free_port)
    secure: int = field(default_factory=free_port)

    def ask(
        self,
        path: str,
        *,
        form: dict[str, str] | None = None,
        cookies: dict[str, str] | None = None,
        machine: str = HALL,
        **headers: str,
    ) -> Answer:
        """Over TLS, whose certificate is checked, as a browser on a machine would."""
        context = ssl.create_default_context(cafile=self.folder / "fullchain.pem")
        raw = socket.create_connection(("127.0.0.1", self.secure), 20, (machine, 0))
        connection = http.client.HTTPConnection(NAME)
        connection.sock = context.wrap_socket(raw, server_hostname=NAME)
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        sent["Cookie"] = "; ".join(f"{k}={v}" for k, v in (cookies or {}).items())
        if form is not None:
            sent["Content-Type"] = "application/x-www-form-urlencoded"
            sent["Referer"] = f"https://{NAME}{path}"
        body = None if form is None else urlencode(form)
        return asked(connection, "GET" if form is None else "POST", path, body, sent)

    def sign_in(self, password: str, machine: str = HALL, **headers: str) -> Answer:
        page = self.ask("/sign-in/", machine=machine)
        token = re.search(r'"csrfmiddlewaretoken" value="(\w+)"', page.body)
        assert token
        form = {
            "username": "petra",
            "password": password,
            "csrfmiddlewaretoken": token[1],
        }
        given = {name: one.value for name, one in page.cookies.items()}
        return self.ask(
            "/sign-in/", form=form, cookies=given, machine=machine, **headers
        )


def make_certificate(folder: Path) -> None:
    subprocess.run(
        [
            *("openssl", "req", "-x509", "-newkey", "ec", "-nodes", "-days", "1"),
            *("-pkeyopt", "ec_paramgen_curve:prime256v1"),
            *("-subj", f"/CN={NAME}", "-addext", f"subjectAltName=DNS:{NAME}"),
            *("-keyout", folder / "key.pem", "-out", folder / "fullchain.pem"),
        ],
        check=True,
        capture_output=True,
    )


def write_configuration(site: Site) -> Path:
    text = (settings.BASE_DIR / "deploy/nginx/minute-account.conf").read_text()
    text = re.sub(r" *listen \[::\].*\n", "", text)
    text = text.replace("listen 80", f"listen 127.0.0.1:{site.plain}")
    text = text.replace("listen 443", f"listen 127.0.0.1:{site.secure}")
    text = text.replace("/etc/ssl/minute-account", str(site.folder))
    text = text.replace("/run/minute-account", str(site.folder))
    (site.folder / "site.conf").write_text(text)
    around = site.folder / "nginx.conf"
    around.write_text(AROUND.format(folder=site.folder))
    return around


def start_web(folder: Path) -> Child:
    return Child(
        "web",
        [
            *(sys.executable, "-m", "gunicorn", "config.wsgi"),
            *("--config", "python:config.web_server"),
            *("--bind", f"unix:{folder / 'web.sock'}"),
        ],
        log=folder / "web.log",
        environment={
            **child_environment(),
            "BASE_ADDRESS": f"https://{NAME}",
            "BEHIND_PROXY": "yes",
            "SECRET_KEY": os.environ["SECRET_KEY"],
            "WEB_CONCURRENCY": "1",
        },
    )


@pytest.fixture
def site(services: Services) -> Iterator[Site]:
    make_plant()
    User.objects.create(
        username="petra", password=PBKDF2PasswordHasher().encode(PASSWORD, "salt" * 6)
    )
    folder = services.directory / "site"  # a socket's path must be short
    folder.mkdir()
    site = Site(folder=folder)
    make_certificate(folder)
    configuration = write_configuration(site)
    subprocess.run([NGINX, "-t", "-q", "-c", configuration], check=True)
    web = start_web(folder)
    proxy = Child("nginx", [NGINX, "-c", configuration], log=folder / "nginx.log")
    try:
        wait_until(lambda: (folder / "web.sock").exists() or not web.runs)
        assert web.runs, web.last_words()
        wait_until(lambda: answers(site.plain) or not proxy.runs)
        assert proxy.runs, proxy.last_words()
        yield site
    finally:
        proxy.stop()
        web.stop()
        shutil.rmtree(folder)


def answers(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), 1).close()
    except OSError:
        return False
    return True


def test_a_site_is_safe_to_sign_in_to_and_tells_people_apart(site: Site) -> None:
    checks: list[Callable[[Site], None]] = [
        plain_requests_are_sent_to_https,
        other_names_get_no_answer,
        cookies_travel_encrypted_only,
        too_much_is_refused_at_the_door,
        monitors_are_answered_without_a_detour,
        a_wrong_guess_on_purpose_locks_out_nobody_elsewhere,
    ]
    for check in checks:  # on one site: starting one takes seconds
        check(site)


def plain_requests_are_sent_to_https(site: Site) -> None:
    plain = http.client.HTTPConnection("127.0.0.1", site.plain)
    answer = asked(plain, "GET", "/plant/?period=week", None, {"Host": NAME})

    assert answer.status == 308
    assert answer.headers["Location"] == f"https://{NAME}/plant/?period=week"


def other_names_get_no_answer(site: Site) -> None:
    plain = http.client.HTTPConnection("127.0.0.1", site.plain)
    with pytest.raises(http.client.RemoteDisconnected):
        asked(plain, "GET", "/", None, {"Host": "elsewhere.example"})
    context = ssl.create_default_context(cafile=site.folder / "fullchain.pem")
    with (
        socket.create_connection(("127.0.0.1", site.secure), 5) as raw,
        pytest.raises(ssl.SSLError),
    ):
        context.wrap_socket(raw, server_hostname="elsewhere.example")


def cookies_travel_encrypted_only(site: Site) -> None:
    answer = site.sign_in(PASSWORD)

    assert answer.status == 302
    assert answer.headers["Strict-Transport-Security"] == "max-age=2592000"
    session = answer.cookies["sessionid"]
    assert session["secure"]
    assert session["httponly"]
    assert session["samesite"] == "Lax"
    page = site.ask("/definitions/", cookies={"sessionid": session.value})
    assert page.status == 200
    assert "default-src 'self'" in page.headers["Content-Security-Policy"]
    style = re.search(r'href="(/static/\S+\.css)"', page.body)
    assert style
    assert site.ask(style[1]).status == 200


def too_much_is_refused_at_the_door(site: Site) -> None:
    assert site.ask("/sign-in/", Content_Length=str(21 << 20)).status == 413


def monitors_are_answered_without_a_detour(site: Site) -> None:
    nobody_works_yet = 503
    assert site.ask("/alive").status == nobody_works_yet
    here = socket.socket(socket.AF_UNIX)
    here.connect(str(site.folder / "web.sock"))
    plain = http.client.HTTPConnection("localhost")
    plain.sock = here
    assert asked(plain, "GET", "/alive").status == nobody_works_yet


def a_wrong_guess_on_purpose_locks_out_nobody_elsewhere(site: Site) -> None:
    """Whatever address the one who guesses claims to have."""
    claims = {"X_Real_IP": OFFICE, "X_Forwarded_For": OFFICE}
    while site.sign_in("a wrong guess", HALL, **claims).status != TOO_MANY:
        pass  # the first is only refused; the next comes too early, or is the fifth

    assert site.sign_in(PASSWORD, OFFICE).status == 302
    guessed_at = AccessAttempt.objects.values_list("username", "ip_address")
    assert list(guessed_at) == [("petra", HALL)]
