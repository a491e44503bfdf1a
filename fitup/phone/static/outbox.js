// The outbox as a person sees it: every photo on its way, from the phone's memory to the verdict.

import { sendAll } from "./outbox_send.js";
import {
  anyPassing, dropPhoto, dropShot, isPassing, keepPhoto, keepShot, photoKey, photos, shots,
} from "./outbox_store.js";
import { sha256 } from "./sha256.js";
import { make, text } from "./words.js";

const FOLLOWED = 3; // at once: browsers open few connections to a server
const DONE_STAYS_MS = 6 * 3600 * 1000;

const percent = new Map(); // by photo: how much of it is sent
const following = new Set();
let paired = true;
let timer = 0;

// The photos whose verdict this page waits for, to go there by itself; they survive a reload.
const watched = {
  keys: () => JSON.parse(sessionStorage.getItem("fitup-watch") ?? "[]"),
  add: (key) => sessionStorage.setItem("fitup-watch", JSON.stringify([...watched.keys(), key])),
  drop: (key) =>
    sessionStorage.setItem("fitup-watch", JSON.stringify(watched.keys().filter((one) => one !== key))),
};

export async function addPhoto(file, job, joint) {
  const bytes = await file.arrayBuffer();
  if (bytes.byteLength === 0) throw new Error("empty");
  const digest = await sha256(bytes);
  const key = photoKey(digest, job, joint);
  const photo = { key, digest, job, joint, name: file.name || "photo.jpg", bytes, added: Date.now(), tries: 0 };
  photo.notBefore = 0;
  const safe = await keepPhoto(photo);
  if (safe) navigator.storage?.persist?.().catch(() => {});
  watched.add(key);
  await show();
  pump({ force: true });
  return safe ? "safe" : "full";
}

export async function pump(how = {}) {
  clearTimeout(timer);
  const said = await sendAll(byRequest, how).catch(() => "later");
  paired = said !== "pair";
  await show();
  follow();
  if (said === "empty" || said === "pair") return;
  askForSync();
  const due = (await photos()).filter((one) => !one.refused).map((one) => one.notBefore);
  const wait = said === "busy" ? 2000 : Math.max(Math.min(...due) - Date.now(), 500);
  if (Number.isFinite(wait)) timer = setTimeout(pump, wait);
}

async function askForSync() {
  const registration = await navigator.serviceWorker?.getRegistration?.();
  registration?.sync?.register("fitup-outbox").catch(() => {});
}

// XMLHttpRequest tells how much has been sent; fetch does not.
function byRequest({ url, headers, body }, key) {
  return new Promise((resolve) => {
    const request = new XMLHttpRequest();
    request.open("POST", url);
    for (const [name, value] of Object.entries(headers)) request.setRequestHeader(name, value);
    request.responseType = "json";
    request.upload.onprogress = (event) => {
      const now = Math.floor((10 * event.loaded) / Math.max(event.total, 1)) * 10;
      if (percent.get(key) !== now) {
        percent.set(key, now);
        show();
      }
    };
    request.onloadend = () => {
      percent.delete(key);
      const retryAfter = Number(request.getResponseHeader("Retry-After")) || 0;
      resolve({ status: request.status, json: request.response, retryAfter });
    };
    percent.set(key, 0);
    request.send(body);
    show();
  });
}

// Photos that are being measured: ask until the verdict is there.
async function follow() {
  const open = (await shots()).filter((shot) => !shot.resultUrl && shot.state !== "failed");
  for (const shot of open.slice(0, FOLLOWED)) if (!following.has(shot.id)) followOne(shot);
}

async function followOne(shot) {
  following.add(shot.id);
  let [seen, misses] = [0, 0];
  let known = shot;
  while (misses < 8) {
    const answer = await fetch(`/api/shots/${shot.id}?wait=20&seen=${seen}`, { cache: "no-store" }).catch(() => null);
    if (answer?.status === 404) {
      await dropShot(shot.id);
      break;
    }
    if (!answer?.ok) {
      misses += 1;
      await new Promise((resolve) => setTimeout(resolve, 500 * 2 ** Math.min(misses, 5)));
      continue;
    }
    misses = 0;
    const said = await answer.json();
    [seen, known] = [said.version ?? seen + 1, { ...known, state: said.state, position: said.position ?? 0 }];
    known.verdict = said.verdict;
    known.error = said.verdict === "retake" || said.code === 5 ? "" : said.error;
    if (said.state === "done" || said.state === "failed") known.resultUrl = said.result_url ?? `/s/${shot.id}`;
    await keepShot(known);
    await show();
    if (known.resultUrl) {
      goThere(known);
      break;
    }
  }
  following.delete(shot.id);
  if (misses === 0) follow();
}

// To the verdict by itself, from where the photo was taken, but not away from somebody who is writing.
function goThere(shot) {
  const lists = [...document.querySelectorAll("[data-shots]")];
  if (!watched.keys().includes(shot.key) || !lists.some((list) => belongs(shot, list.dataset))) return;
  watched.drop(shot.key);
  const busy = document.activeElement?.matches("input:not([type=file], [type=search]), textarea, select");
  if (document.visibilityState === "visible" && !busy) location.assign(shot.resultUrl);
}

async function show() {
  const waiting = await photos();
  const sent = (await shots()).filter(stillTold);
  const all = [...waiting.map((photo) => ({ photo })), ...sent.map((shot) => ({ shot }))];
  const lists = [...document.querySelectorAll("[data-shots]")];
  const shown = new Set();
  for (const list of lists) {
    const own = all.filter(({ photo, shot }) => belongs(photo ?? shot, list.dataset));
    own.forEach((one) => shown.add(one));
    fill(list, own);
  }
  showBanner(all.filter((one) => !shown.has(one) && one.photo), waiting.length);
}

// Until its result has been looked at.
function stillTold(shot) {
  const old = shot.resultUrl && Date.now() - shot.since > DONE_STAYS_MS;
  const looked = shot.resultUrl === location.pathname;
  if (old || looked) dropShot(shot.id);
  return !old && !looked;
}

function belongs(one, { job, joint }) {
  return (job === undefined || job === one.job) && (joint === undefined || joint === one.joint);
}

function showBanner(others, count) {
  const banner = document.getElementById("outbox");
  if (!banner) return;
  banner.hidden = others.length === 0;
  if (others.length === 0) return banner.replaceChildren();
  if (!banner.firstChild) {
    const list = make("ul", { class: "shots" });
    banner.append(make("details", {}, make("summary", {}), list));
  }
  const said = count === 1 ? text("unsent_one") : text("unsent_many", { count });
  setText(banner.querySelector("summary"), said);
  fill(banner.querySelector("ul"), others);
}

// Rows are changed in place, so that focus and what a screen reader has read stay.
function fill(list, rows) {
  const kept = new Map([...list.children].map((row) => [row.dataset.key ?? row.dataset.shot, row]));
  const wanted = rows.map(({ photo, shot }) => {
    const key = photo?.key ?? shot.key ?? shot.id;
    const row = kept.get(key) ?? kept.get(shot?.id) ?? make("li", { class: "shot" });
    row.dataset.key = key;
    return photo ? photoRow(row, photo) : shotRow(row, shot);
  });
  const ids = new Set(rows.map(({ shot }) => shot?.id));
  for (const row of list.children) {
    if (!row.dataset.shot && !row.dataset.key) wanted.unshift(row); // a photo that is being read, or could not be
    const ofServer = row.dataset.shot && !row.dataset.key && !ids.has(row.dataset.shot);
    if (ofServer) wanted.push(row); // sent from another page or phone: the server told it
  }
  if (wanted.length !== list.children.length || wanted.some((row, k) => row !== list.children[k])) {
    list.replaceChildren(...wanted);
  }
}

function photoRow(row, photo) {
  const part = percent.get(photo.key);
  const said = photo.refused
    ? `${text("refused")}: ${photo.refused}`
    : !paired
      ? text("pair_again")
      : part !== undefined
        ? text("sending", { percent: part })
        : text(photo.tries ? "waiting_net" : "waiting_turn");
  const safe = isPassing(photo.key) ? text("full") : photo.refused ? "" : text("safe");
  const actions = photo.refused ? ["save", "discard"] : part === undefined ? ["retry", "save"] : [];
  return told(row, photo, said, safe, photo.refused ? null : (part ?? 0), actions, photo);
}

function shotRow(row, shot) {
  const failed = shot.state === "failed";
  const said = shot.resultUrl
    ? text(failed ? "failed" : "done")
    : shot.state === "measuring"
      ? text("measuring")
      : shot.position > 1
        ? text("queued", { position: shot.position })
        : text("queued_next");
  return told(row, shot, said, failed ? (shot.error ?? "") : "", shot.resultUrl ? null : -1, [], null, shot.resultUrl);
}

function told(row, one, said, more, part, actions, photo, link) {
  if (!row.querySelector(".said")) {
    const head = make("p", { class: "head" }, make("b", { class: "of" }), make("span", { class: "said" }));
    const bar = make("progress", { max: "100" });
    row.replaceChildren(head, bar, make("p", { class: "beside more" }), make("p", { class: "pairs" }));
  }
  setText(row.querySelector(".of"), text("for_joint", { joint: one.joint }));
  setText(row.querySelector(".said"), said);
  setText(row.querySelector(".more"), more);
  const bar = row.querySelector("progress");
  bar.hidden = part === null;
  bar.setAttribute("aria-label", said);
  if (part !== null && part >= 0) bar.value = part;
  else bar.removeAttribute("value");
  const place = row.querySelector(".pairs");
  const wanted = [...actions, ...(link ? [`open ${link}`] : [])].join();
  if (place.dataset.has !== wanted) {
    place.dataset.has = wanted;
    place.replaceChildren(...actions.map((name) => action(name, photo)));
    if (link) place.append(make("a", { class: "button", href: link }, text("open")));
  }
  return row;
}

function action(name, photo) {
  const button = make("button", { class: "button", type: "button" }, text(name));
  button.addEventListener("click", () => ACTIONS[name](photo));
  return button;
}

const ACTIONS = {
  async retry() {
    await pump({ force: true });
  },
  save(photo) {
    const address = URL.createObjectURL(new Blob([photo.bytes], { type: "application/octet-stream" }));
    make("a", { href: address, download: photo.name }).click();
    setTimeout(() => URL.revokeObjectURL(address), 60_000);
  },
  async discard(photo) {
    if (!confirm(text("discard_sure"))) return;
    await dropPhoto(photo.key).catch(() => {});
    await show();
  },
};

function setText(element, said) {
  if (element.textContent !== said) element.textContent = said;
}

export async function startOutbox() {
  for (const one of document.querySelectorAll("[data-shots] [data-shot]")) {
    if (!["queued", "measuring"].includes(one.dataset.state)) continue;
    const { job, joint } = one.closest("[data-shots]").dataset;
    const known = (await shots()).some((shot) => shot.id === one.dataset.shot);
    const shot = { id: one.dataset.shot, key: one.dataset.shot, job, joint, name: "", since: Date.now() };
    if (!known) await keepShot({ ...shot, state: one.dataset.state, position: 0 });
  }
  addEventListener("online", () => pump({ force: true }));
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && pump());
  navigator.serviceWorker?.addEventListener("message", (event) => event.data === "send" && pump({ force: true }));
  addEventListener("beforeunload", (event) => {
    if (anyPassing()) event.preventDefault(); // these would be lost
  });
  await pump({ force: true });
}

