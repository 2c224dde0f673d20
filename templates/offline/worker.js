{% load i18n %}// Keeps the shell for a phone without a connection. A student's own pages are kept by
// offline/reading.js, which also forgets them; this only finds them where there is no line.
const NAME = "causeway-shell-{{ version }}";
const PAGE = "{% url 'offline' %}";
const FILES = [{% for file in files %}"{{ file|escapejs }}", {% endfor %}];

const STATIC = "{{ static_url|escapejs }}";

/** The student's own page, kept by offline/reading.js. */
const kept = async (path) => (await caches.open("causeway-pages")).match(path);

const picture = async (address) => (await caches.open("causeway-pictures")).match(address);

async function fetchedOrKept(request) {
  const cache = await caches.open(NAME);
  try {
    const answer = await fetch(request);
    if (answer.status === 200) await cache.put(request.url, answer.clone()).catch(() => {});
    return answer;
  } catch {
    return (await cache.match(request.url)) ?? Response.error();
  }
}

addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(NAME);
    // Without cookies: the page of nobody.
    await Promise.all([PAGE, ...FILES].map(async (url) => {
      const answer = await fetch(url, { credentials: "omit", cache: "no-cache" });
      if (answer.ok) await cache.put(url, answer);
    }));
    await self.skipWaiting();
  })());
});

addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) {
      if (name.startsWith("causeway-shell-") && name !== NAME) await caches.delete(name);
    }
    await self.clients.claim();
  })());
});

addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (request.mode === "navigate") {
    event.respondWith(fetch(request).catch(async () => (await kept(url.pathname)) ?? (await caches.match(PAGE)) ?? Response.error()));
  } else if (url.pathname.startsWith(STATIC) && !FILES.includes(url.pathname) && !url.pathname.endsWith(".wasm")) {
    event.respondWith(fetchedOrKept(request)); // what the kept pages look and work with
  } else if (request.destination === "image" && !FILES.includes(url.pathname)) {
    event.respondWith(fetch(request).catch(async () => (await picture(url.href)) ?? Response.error()));
  } else if (FILES.includes(url.pathname)) {
    event.respondWith(fetch(request).catch(async () => (await caches.match(url.pathname)) ?? Response.error()));
  }
});

// A notification: what it says and where it leads is the server's. A browser wants something shown for each.
addEventListener("push", (event) => {
  let note = {};
  try { note = event.data?.json() ?? {}; } catch { /* not ours: said in general */ }
  event.waitUntil(self.registration.showNotification(note.title ?? "{% filter escapejs %}{% translate 'Something is new' %}{% endfilter %}", {
    body: note.body ?? "",
    tag: note.tag ?? "new",
    renotify: true,
    icon: "{{ icon|escapejs }}",
    data: { url: note.url ?? "" },
  }));
});

addEventListener("notificationclick", (event) => {
  event.notification.close();
  const to = new URL(event.notification.data?.url ?? "", location.origin);
  if (to.origin !== location.origin) return;
  event.waitUntil((async () => {
    const open = await self.clients.matchAll({ type: "window" });
    const there = open.find((page) => new URL(page.url).pathname === to.pathname);
    if (there) await there.focus();
    else await self.clients.openWindow(to.href);
  })());
});
