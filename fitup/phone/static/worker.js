// The service worker: the page opens without Wi-Fi, and photos are sent when no page is open.
//
// Own files come from the cache of this version. Pages come from the server, and only where it cannot be
// reached from what was seen last. Nothing else is kept.

import { sendAll } from "./outbox_send.js";

const PAGES = "fitup-pages";
const RESULTS = "fitup-results";
const MOST_PAGES = 60;
const MOST_RESULTS = 40;
const PATIENCE_MS = 6000;

export function startWorker(version, shell) {
  const files = `fitup-files-${version}`;
  self.addEventListener("install", (event) => event.waitUntil(install(files, shell)));
  self.addEventListener("activate", (event) => event.waitUntil(activate(files)));
  self.addEventListener("fetch", (event) => {
    const answer = answerFor(event.request, files);
    if (answer) event.respondWith(answer);
  });
  self.addEventListener("sync", (event) => {
    if (event.tag === "fitup-outbox") event.waitUntil(sync());
  });
}

async function install(files, shell) {
  const cache = await caches.open(files);
  await cache.addAll(shell.filter((path) => path.startsWith("/static/")));
  const pages = await caches.open(PAGES);
  await pages.add(new Request("/offline", { cache: "no-store" }));
  await self.skipWaiting();
}

async function activate(files) {
  const names = await caches.keys();
  const old = names.filter((name) => name.startsWith("fitup-files-") && name !== files);
  await Promise.all(old.map((name) => caches.delete(name)));
  await self.clients.claim();
}

function answerFor(request, files) {
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return null;
  if (url.pathname.startsWith("/static/")) return ownFile(request, files);
  if (request.mode === "navigate") return page(request, url);
  if (/^\/api\/entries\/[^/]+\/(profile\.json|picture\.jpg)$/.test(url.pathname)) {
    return fresh(request, RESULTS, MOST_RESULTS);
  }
  return null;
}

async function ownFile(request, files) {
  const kept = await caches.match(request, { cacheName: files });
  return kept ?? fetch(request);
}

async function page(request, url) {
  const keep = /^\/($|offline$|settings$|cautions$|[jr]\/)/.test(url.pathname);
  try {
    return await fresh(request, keep ? PAGES : null, MOST_PAGES);
  } catch {
    return (await caches.match("/offline", { cacheName: PAGES })) ?? Response.error();
  }
}

// From the server; where it does not answer, what it answered last.
async function fresh(request, name, most) {
  try {
    const answer = await patient(request);
    if (answer.status === 401 || answer.type === "opaqueredirect") await forget();
    else if (name && answer.ok && !answer.redirected && answer.type === "basic") {
      const cache = await caches.open(name);
      await cache.put(request, answer.clone());
      const keys = await cache.keys();
      const spare = keys.filter((one) => new URL(one.url).pathname !== "/offline").slice(0, -most);
      await Promise.all(keys.length > most ? spare.map((one) => cache.delete(one)) : []);
    }
    return answer;
  } catch (error) {
    const kept = name && (await caches.match(request, { cacheName: name }));
    if (kept) return kept;
    throw error;
  }
}

// Bad Wi-Fi often neither answers nor fails: after a while the page that is kept is better than a white one.
async function patient(request) {
  const kept = await caches.match(request);
  if (!kept) return fetch(request);
  const late = new Promise((_, reject) => setTimeout(() => reject(new Error("late")), PATIENCE_MS));
  return Promise.race([fetch(request), late]);
}

// A phone that is no longer paired keeps no results of others.
async function forget() {
  await caches.delete(RESULTS);
  const pages = await caches.open(PAGES);
  for (const one of await pages.keys()) {
    if (new URL(one.url).pathname !== "/offline") await pages.delete(one);
  }
}

async function sync() {
  const windows = await self.clients.matchAll({ type: "window" });
  const seen = windows.filter((one) => one.visibilityState === "visible");
  if (seen.length) {
    seen.forEach((one) => one.postMessage("send")); // it shows how far it is, which the worker cannot
    return;
  }
  const said = await sendAll(byFetch, { force: true });
  if (said === "later") throw new Error("not all photos are sent"); // the browser then tries again later
}

async function byFetch({ url, headers, body }) {
  try {
    const answer = await fetch(url, { method: "POST", headers, body, redirect: "manual" });
    const json = await answer.json().catch(() => null);
    return { status: answer.status, json, retryAfter: Number(answer.headers.get("Retry-After")) || 0 };
  } catch {
    return { status: 0 };
  }
}
