// Keeps the shell on the phone, so that the tool opens without a server.
const CACHE = "napline-__BUILD__";
const SHELL = __SHELL__;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(SHELL)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  // The build before stays: a page that was opened with it may still start its engine.
  const old = (names) => names.filter((name) => name.startsWith("napline-")).slice(0, -2);
  event.waitUntil(
    caches.keys().then((names) => Promise.all(old(names).map((name) => caches.delete(name)))).then(() => self.clients.claim()),
  );
});

// The server's page when it answers (it also says 401), the kept one when there is no network, or one that stays silent.
const PATIENCE = 3000;
const page = async (request) => {
  const kept = await caches.match("/");
  if (!kept) return fetch(request);
  const late = new Promise((answer) => setTimeout(answer, PATIENCE, kept));
  return Promise.race([fetch(request), late]).catch(() => kept);
};

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  if (url.pathname.startsWith("/assets/") || (SHELL.includes(url.pathname) && url.pathname !== "/")) {
    event.respondWith(caches.match(event.request).then((kept) => kept ?? fetch(event.request)));
  } else if (event.request.mode === "navigate" && !url.pathname.startsWith("/join")) {
    event.respondWith(page(event.request));
  }
});
