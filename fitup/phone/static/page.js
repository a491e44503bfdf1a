// What runs on every page; each part looks for what it is about and does nothing where that is not there.

import { startEnds } from "./ends.js";
import { startForm } from "./forms.js";
import { keepJoints, offerJoints, startWorker } from "./install.js";
import { addPhoto, startOutbox } from "./outbox.js";
import { askSession } from "./outbox_send.js";
import { startResult } from "./result.js";
import { make, text } from "./words.js";

const each = (selector, start) => document.querySelectorAll(selector).forEach(start);
const paired = document.body.dataset.role !== "";

each("[data-result]", startResult);
each("[data-ends]", startEnds);
each("form[data-send]", startForm);
each("[data-camera]", startCamera);
each("[data-filter]", startFilter);
each("[data-follow]", startFollowing);
each("[data-samples]", startSamples);
each("[data-reload]", (button) => button.addEventListener("click", () => location.reload()));
each("[data-verify] progress", () => setTimeout(() => location.reload(), 1500));
each(".how, details.form", (details) => location.hash && details.closest(location.hash) && (details.open = true));
offerJoints();
startWorker();
if (paired || location.pathname === "/offline") startOutbox();
if (paired) keepJoints();
if (paired) tellWhenCutOff();

function startCamera(input) {
  input.addEventListener("change", async () => {
    const { job, joint } = input.closest("[data-joint]").dataset;
    const files = [...input.files];
    const list = document.querySelector("[data-shots]");
    for (const file of files) {
      const line = make("li", { class: "shot" }, text("reading"));
      list.prepend(line);
      try {
        await addPhoto(file, job, joint);
        line.remove();
      } catch (error) {
        line.setAttribute("role", "alert");
        line.textContent = text(error.message === "empty" ? "empty" : "unreadable");
        list.prepend(line);
      }
    }
    input.value = "";
    list.scrollIntoView({ block: "nearest" });
  });
}

function startFilter(input) {
  const rows = [...document.querySelectorAll(input.dataset.filter)];
  const count = document.querySelector("[data-filter-count]");
  input.addEventListener("input", () => {
    const words = input.value.trim().toLowerCase().split(/\s+/);
    let left = 0;
    for (const row of rows) {
      const fits = words.every((word) => row.dataset.name.toLowerCase().includes(word));
      row.hidden = !fits;
      left += fits;
    }
    count.textContent = text("count_found", { count: left });
  });
}

// The page of a single photo that is still being measured.
async function startFollowing(section) {
  const said = section.querySelector("[data-follow-said]");
  for (let seen = 0, misses = 0; misses < 20; ) {
    const answer = await fetch(`/api/shots/${section.dataset.follow}?wait=20&seen=${seen}`, { cache: "no-store" }).catch(() => null);
    if (!answer?.ok) {
      misses += 1;
      said.textContent = text("waiting_net");
      await new Promise((resolve) => setTimeout(resolve, 500 * 2 ** Math.min(misses, 5)));
      continue;
    }
    const shot = await answer.json();
    [seen, misses] = [shot.version ?? seen + 1, 0];
    if (shot.state === "done" || shot.state === "failed") {
      if (shot.result_url && shot.result_url !== location.pathname) location.replace(shot.result_url);
      else location.reload();
      return;
    }
    said.textContent = shot.state === "measuring" ? text("measuring") : text("queued", { position: shot.position });
  }
}

// Demo photos instead of the camera, where the server offers them.
async function startSamples(list) {
  const camera = document.querySelector(".camera[data-joint]");
  for (const button of list.querySelectorAll("[data-sample]")) {
    button.addEventListener("click", async () => {
      const answer = await fetch(button.dataset.sample).catch(() => null);
      if (!answer?.ok) return;
      const file = new File([await answer.blob()], button.dataset.name);
      await addPhoto(file, camera.dataset.job, camera.dataset.joint);
    });
  }
}

// A notice while the server cannot be reached; it goes by itself when it can.
async function tellWhenCutOff() {
  if (document.querySelector("[data-offline-joints]")) return;
  const notice = make("p", { class: "notice cut-off", role: "status" }, text("offline"));
  const look = async () => {
    if ((await askSession()) !== null) notice.remove();
    else if (!notice.isConnected) document.querySelector("main").prepend(notice);
    if (notice.isConnected) setTimeout(look, 10_000);
  };
  addEventListener("online", look);
  addEventListener("offline", look);
  await look();
}
