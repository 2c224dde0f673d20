"""A push service that reads what it is sent: it checks our signature and opens the message.

It stands where `requests` hands a request to the network, so everything before that is real: the
session, its redirects, the signing and the closing of the message.
"""

from __future__ import annotations

import base64
import json
import secrets
from dataclasses import dataclass, field
from typing import Any

import http_ece
import pytest
import requests
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from py_vapid import Vapid02
from requests.adapters import HTTPAdapter

from coaching.notify import devices
from coaching.notify.models import PushSubscription
from coaching.people.models import User

HOST = "push.example.org"


def plain(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


@dataclass
class Browser:
    """What a browser keeps to itself, and what it tells."""

    endpoint: str
    secret: bytes = field(default_factory=lambda: secrets.token_bytes(16))
    key: ec.EllipticCurvePrivateKey = field(
        default_factory=lambda: ec.generate_private_key(ec.SECP256R1())
    )

    @property
    def told(self) -> dict[str, str]:
        point = self.key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
        return {"endpoint": self.endpoint, "p256dh": plain(point), "auth": plain(self.secret)}


class PushService:
    """`answers` are the next statuses, 201 after the last; `notifications` what was shown."""

    def __init__(self) -> None:
        self.browsers: dict[str, Browser] = {}
        self.answers: list[int] = []
        self.headers: dict[str, str] = {}
        self.asked: list[str] = []
        self.notifications: list[dict[str, Any]] = []

    def browser(self, *, host: str = HOST) -> Browser:
        browser = Browser(f"https://{host}/{secrets.token_urlsafe(20)}")
        self.browsers[browser.endpoint] = browser
        return browser

    def subscribe(self, user: User, browser: Browser | None = None) -> PushSubscription:
        told = (browser or self.browser()).told
        return devices.subscribe(user=user, session_key="a session", **told)

    def send(self, request: requests.PreparedRequest) -> requests.Response:
        self.asked.append(str(request.url))
        answer = requests.Response()
        answer.status_code = self.answers.pop(0) if self.answers else 201
        answer.request, answer.url, answer._content = request, str(request.url), b""
        answer.headers.update(self.headers)
        if answer.status_code == 201:
            assert Vapid02.verify(str(request.headers["Authorization"]))
            assert request.headers["Content-Encoding"] == "aes128gcm"
            browser = self.browsers[str(request.url)]
            opened = http_ece.decrypt(
                request.body, private_key=browser.key, auth_secret=browser.secret
            )
            self.notifications.append(json.loads(opened) | {"headers": request.headers})
        return answer


def install(monkeypatch: pytest.MonkeyPatch, settings: Any) -> PushService:
    from coaching.notify import pushing

    service = PushService()
    settings.PUSH_PRIVATE_KEY = pushing.new_key()
    settings.PUSH_HOSTS = [HOST, "*.push.example.net"]

    def send(adapter: HTTPAdapter, request: requests.PreparedRequest, **how: Any) -> Any:
        assert how["timeout"] == pushing.TIMEOUT_S and how["verify"]
        return service.send(request)

    monkeypatch.setattr(HTTPAdapter, "send", send)
    return service
