"""Notifications to a browser: asked for on the page, shown by the worker, ended by signing out.

The browser's own push service is not asked: its `subscribe` is a fake that gives real keys, and
what the server would send is handed to the worker by the browser's own tools.
"""

from __future__ import annotations

import json
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from coaching.notify import devices, pushing, saying
from coaching.notify.models import PushSubscription
from coaching.people.models import Student, User
from tests.browser.test_offline import ready
from tests.coaching.notify.test_emails import record

pytestmark = pytest.mark.django_db(transaction=True)
# As PushManager.subscribe (https://www.w3.org/TR/push-api/), without the network.
SUBSCRIBE = """
PushManager.prototype.getSubscription = async () => null;
PushManager.prototype.subscribe = async function ({ userVisibleOnly, applicationServerKey }) {
  if (!userVisibleOnly || applicationServerKey.byteLength !== 65) throw new TypeError("no");
  const curve = { name: "ECDH", namedCurve: "P-256" };
  const pair = await crypto.subtle.generateKey(curve, false, ["deriveBits"]);
  const plain = (raw) => btoa(String.fromCharCode(...new Uint8Array(raw)))
    .replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
  const keys = {
    p256dh: plain(await crypto.subtle.exportKey("raw", pair.publicKey)),
    auth: plain(crypto.getRandomValues(new Uint8Array(16))),
  };
  const endpoint = "https://push.example.org/one";
  return { toJSON: () => ({ endpoint, keys }), unsubscribe: async () => true };
};
"""


def deliver(page: Page, data: str) -> None:
    """Hand a message to the worker, as the browser does with one of the push service."""
    tools = page.context.new_cdp_session(page)
    found: list[str] = []
    tools.on(
        "ServiceWorker.workerRegistrationUpdated",
        lambda event: found.extend(row["registrationId"] for row in event["registrations"]),
    )
    tools.send("ServiceWorker.enable")
    for _turn in range(40):
        if found:
            break
        page.wait_for_timeout(100)
    origin = page.evaluate("location.origin")
    tools.send(
        "ServiceWorker.deliverPushMessage",
        {"origin": origin, "registrationId": found[0], "data": data},
    )


SHOWN = """navigator.serviceWorker.ready.then((r) => r.getNotifications()).then((rows) =>
  rows.map((n) => ({ title: n.title, body: n.body, url: n.data.url, tag: n.tag })))"""


# A page may not be opened without a real touch, so what would be opened is told instead.
TOUCHED = """async () => {
  const opened = new Promise((resolve) => {
    self.clients.openWindow = async (href) => resolve(href);
  });
  const rows = await self.registration.getNotifications();
  const notification = rows.find((row) => row.title === "Newer");
  self.dispatchEvent(new NotificationEvent("notificationclick", { notification }));
  return opened;
}"""


def shown(page: Page, count: int) -> list[dict[str, Any]]:
    for _turn in range(40):
        rows: list[dict[str, Any]] = page.evaluate(SHOWN)
        if len(rows) == count:
            return rows
        page.wait_for_timeout(100)
    raise AssertionError(f"{rows} are not {count}")


def test_notes_are_asked_for_shown_and_ended(
    student: Student,
    coach: User,
    phone: Any,
    picture: Any,
    assert_accessible: Any,
    settings: Any,
) -> None:
    settings.PUSH_PRIVATE_KEY = pushing.new_key()
    settings.PUSH_HOSTS = ["push.example.org"]
    page = phone(student.user)
    page.context.grant_permissions(["notifications"])
    page.add_init_script(SUBSCRIBE)
    page.goto("/you/emails/")
    ready(page)
    picture(page, "push-off")
    page.get_by_role("button", name="Tell me on this device").tap()
    expect(page.get_by_role("listitem").filter(has_text="This device since")).to_be_visible()
    picture(page, "push-on")
    assert_accessible(page)
    assert devices.of_user(student.user) == [PushSubscription.objects.get()]

    notification = saying.notification_of(
        [record(student, "message", author=coach, text="Hi")], student.user
    )
    deliver(page, json.dumps(notification | {"tag": "thread-1"}))
    (row,) = shown(page, 1)
    assert row["title"] == "Robin Vale wrote to you" and row["url"] == notification["url"]
    deliver(page, json.dumps(notification | {"tag": "thread-1", "title": "Newer"}))
    page.wait_for_timeout(300)
    assert [row["title"] for row in shown(page, 1)] == ["Newer"]  # takes the place of the first
    deliver(page, "odd")
    assert "Something is new" in [row["title"] for row in shown(page, 2)]

    (worker,) = page.context.service_workers
    assert worker.evaluate(TOUCHED) == page.evaluate("location.origin") + notification["url"]

    page.goto("/you/")
    page.get_by_role("button", name="Sign out").tap()
    expect(page.get_by_role("button", name="Sign in").first).to_be_visible()
    assert not PushSubscription.objects.exists()


def test_a_browser_that_may_not_says_so(student: Student, phone: Any, settings: Any) -> None:
    settings.PUSH_PRIVATE_KEY = pushing.new_key()
    page = phone(student.user)
    page.add_init_script("Notification.requestPermission = async () => 'denied';")
    page.goto("/you/emails/")
    page.get_by_role("button", name="Tell me on this device").tap()
    expect(page.get_by_text("does not allow notifications from here")).to_be_visible()
    assert not PushSubscription.objects.exists()
