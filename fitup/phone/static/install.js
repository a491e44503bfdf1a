// The page as an app: service worker where the address allows one, the button for the home screen, and what
// this browser can do, said plainly.

import { keepNote, note } from "./outbox_store.js";
import { make } from "./words.js";

export async function startWorker() {
  const can = "serviceWorker" in navigator && isSecureContext;
  let works = false;
  if (can) {
    works = await navigator.serviceWorker
      .register("/sw.js", { type: "module", scope: "/", updateViaCache: "none" })
      .then(() => true, () => false);
  }
  await tellAbilities(works);
  if (works) keepOfflinePages();
  offerInstall();
}

async function tellAbilities(works) {
  const list = document.querySelector("[data-abilities]");
  if (!list) return;
  const keeps = await keepNote("try", 1).then(() => true, () => false);
  const told = [keeps ? "store" : "no-store", works ? "worker" : "no-worker"];
  for (const row of list.children) row.hidden = !told.includes(row.dataset.ability);
}

// The two pages that a phone needs first without Wi-Fi, in the language that is chosen now.
async function keepOfflinePages() {
  const { language, role } = document.body.dataset;
  if (sessionStorage.getItem("fitup-offline") === language + role) return;
  const cache = await caches.open("fitup-pages");
  const wanted = ["/offline", ...(role ? ["/"] : [])].map((path) => new Request(path, { cache: "no-store" }));
  await cache.addAll(wanted).then(
    () => sessionStorage.setItem("fitup-offline", language + role),
    () => {},
  );
}

function offerInstall() {
  const button = document.querySelector("[data-install]");
  addEventListener("beforeinstallprompt", (event) => {
    if (!button) return;
    event.preventDefault();
    button.hidden = false;
    button.addEventListener("click", () => event.prompt(), { once: true });
  });
}

// The list of joints, for a photo that is taken while nothing can be reached.
export async function keepJoints() {
  const rows = [...document.querySelectorAll("ul.joints a[href^='/j/']")];
  if (location.pathname !== "/" || rows.length === 0) return;
  const joints = rows.map((row) => {
    const url = new URL(row.href);
    return { job: url.searchParams.get("job") ?? "", joint: decodeURIComponent(url.pathname.slice(3)) };
  });
  await keepNote("joints", joints).catch(() => {});
}

export async function offerJoints() {
  const section = document.querySelector("[data-offline-joints]");
  if (!section) return;
  const joints = (await note("joints").catch(() => null)) ?? [];
  if (joints.length === 0) return;
  const choice = section.querySelector("[data-offline-choice]");
  choice.replaceChildren(...joints.map(({ job, joint }, k) => make("option", { value: k }, job ? `${joint} · ${job}` : joint)));
  const camera = section.querySelector("[data-camera-offline]");
  const set = () => Object.assign(camera.dataset, joints[Number(choice.value)]);
  choice.addEventListener("change", set);
  const asked = /^\/j\/([^/]+)$/.exec(location.pathname);
  const found = asked ? joints.findIndex((one) => one.joint === decodeURIComponent(asked[1])) : -1;
  if (found >= 0) choice.value = String(found);
  set();
  section.hidden = false;
}
