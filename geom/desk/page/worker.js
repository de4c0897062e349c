"use strict";
/** Keeps the page itself, so that it opens while the desk is away; nothing that was
 * typed goes through here. */

const KEPT = "desk page";

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(KEPT).then((kept) => kept.add("/")));
  self.skipWaiting();
});

self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname === "/") event.respondWith(page());
});

/** The page from the desk; if it is away, as it was last. */
async function page() {
  const kept = await caches.open(KEPT);
  try {
    const fresh = await fetch("/", { cache: "no-store" });
    if (fresh.ok) {
      await kept.put("/", fresh.clone());
      return fresh;
    }
  } catch {
    // Away: what was kept will do.
  }
  return (await kept.match("/")) ?? Response.error();
}
