// Sends what the outbox holds. A photo's digest, job and joint are its name on the server, so that sending it
// again after a lost answer gives the same shot and never a second one.

import { acknowledged, changePhoto, photos } from "./outbox_store.js";

const LONGEST_WAIT_MS = 60_000;
const PASSING = new Set([403, 408, 409, 425, 429]); // and all of 500 and above: not the photo's fault

// One sender at a time, page or worker, where the browser has locks; without them two senders do no harm.
export function exclusively(work) {
  if (!navigator.locks) return work();
  return navigator.locks.request("fitup-outbox", { ifAvailable: true }, (lock) => (lock ? work() : "busy"));
}

// Sends all that is due. `upload(request, key)` does the transfer and gives {status, json, retryAfter}.
// Answers "empty", "later" (something is left), "pair" (this phone must be paired first) or "busy".
export function sendAll(upload, { force = false } = {}) {
  return exclusively(async () => {
    for (const photo of await photos()) {
      if (photo.refused || (!force && photo.notBefore > Date.now())) continue;
      const said = await sendOne(photo, upload);
      if (said === "pair") return "pair";
    }
    return (await photos()).some((photo) => !photo.refused) ? "later" : "empty";
  });
}

async function sendOne(photo, upload) {
  let answer = { status: 0 };
  for (let attempt = 0; attempt < 2; attempt += 1) {
    const session = await askSession();
    if (session === "pair") return "pair";
    if (session === null) break;
    answer = await upload(requestFor(photo, session.token), photo.key);
    if (answer.status !== 403) break; // a token that went stale is asked for once more
  }
  if (answer.status === 401) return "pair";
  if (answer.status === 200 || answer.status === 202) {
    if (!answer.json?.id) return postpone(photo, answer);
    await acknowledged(photo, answer.json);
    return "sent";
  }
  if (answer.status >= 400 && answer.status < 500 && !PASSING.has(answer.status)) {
    await changePhoto(photo.key, { refused: answer.json?.error || String(answer.status) });
    return "refused";
  }
  return postpone(photo, answer);
}

async function postpone(photo, answer) {
  const tries = (photo.tries ?? 0) + 1;
  const backOff = Math.min(LONGEST_WAIT_MS, 1000 * 2 ** Math.min(tries - 1, 6)) * (0.75 + Math.random() / 2);
  const wait = Math.max(backOff, 1000 * (answer.retryAfter || 0));
  await changePhoto(photo.key, { tries, notBefore: Date.now() + wait });
  return "later";
}

export async function askSession() {
  try {
    const answer = await fetch("/api/session", { cache: "no-store", redirect: "manual" });
    if (answer.status === 401 || answer.type === "opaqueredirect") return "pair";
    return answer.ok ? await answer.json() : null;
  } catch {
    return null;
  }
}

function requestFor(photo, token) {
  const headers = {
    "Content-Type": "application/octet-stream",
    "X-Fitup-Token": token,
    "X-Fitup-Digest": photo.digest,
    "X-Fitup-Job": encodeURIComponent(photo.job),
    "X-Fitup-Joint": encodeURIComponent(photo.joint),
    "X-Fitup-Name": encodeURIComponent(photo.name),
  };
  return { url: "/api/shots", headers, body: photo.bytes };
}
