// A result's page: photo, profile and list of spots show the same joint and go to the same place.

import { Chart } from "./chart.js";
import { boxOf, drawStates } from "./overlay.js";
import { PhotoView, zoomButtons } from "./photo_view.js";
import { calm, gapSpread, make, place, text } from "./words.js";

const ROOM_MM = 9; // around a spot in the photo
const LEGEND = [["band", ""], ["limit", ""], ["within", "w"], ["doubtful", "d"], ["over", "o"], ["unseen", "u"]];

export async function startResult(root) {
  let data;
  try {
    const answer = await fetch(root.dataset.profile);
    if (!answer.ok) throw new Error(String(answer.status));
    data = await answer.json();
  } catch {
    root.querySelector("[data-failed]").hidden = false;
    return;
  }
  const readout = root.querySelector("[data-readout]");
  const buttons = [...root.querySelectorAll("button[data-spot]")];
  const view = photoOf(root, data, (number) => choose(number));
  const chart = new Chart(root.querySelector("[data-chart]"), data, { onRead: read });
  legend(root.querySelector("[data-legend]"), data);
  let chosen = null;

  function read({ spot, index, state }) {
    if (spot) return choose(spot);
    const [at, gap, u] = [data.at[index], data.gap[index], data.u[index]];
    readout.textContent = gap === null
      ? text("read_unseen", { place: place(at) })
      : text("read_gap", { place: place(at), gap: gapSpread(gap, u), state: text(state) });
    if (view && !view.svg.classList.contains("is-whole")) view.show(boxOf(data, at, at, ROOM_MM));
    return undefined;
  }

  function choose(number) {
    chosen = chosen === number ? null : number;
    buttons.forEach((one) => one.setAttribute("aria-pressed", String(Number(one.dataset.spot) === chosen)));
    const spot = data.spots.find((one) => one.number === chosen);
    if (view) view.chosen = chosen;
    if (!spot) {
      view?.whole();
      chart.whole();
      return;
    }
    view?.show(boxOf(data, spot.start, spot.end, ROOM_MM));
    chart.show(spot.start, spot.end, spot.number);
    readout.textContent = text("spot_shown", { number });
    (view?.svg ?? chart.svg).closest(".photo, .chart").scrollIntoView({ block: "start", behavior: calm ? "auto" : "smooth" });
  }

  buttons.forEach((one) => one.addEventListener("click", () => choose(Number(one.dataset.spot))));
  const asked = /^#spot-(\d+)$/.exec(location.hash);
  if (asked && data.spots.some((one) => one.number === Number(asked[1]))) choose(Number(asked[1]));
}

function photoOf(root, data, choose) {
  const svg = root.querySelector("[data-photo] svg");
  if (!svg || !data.photo) return null;
  let view = null;
  const draw = (scale) => view && drawStates(view.marks, data, scale, view.chosen);
  view = new PhotoView(svg, { ...data.photo, picture: root.dataset.picture, onChange: draw });
  view.chosen = null;
  view.svg.addEventListener("click", (event) => {
    const flag = event.target.closest?.("[data-spot]");
    if (flag) choose(Number(flag.dataset.spot));
  });
  zoomButtons(root.querySelector(".zoom"), view);
  draw(view.scale);
  return view;
}

// Only what occurs in this profile.
function legend(list, data) {
  const rows = LEGEND.filter(([, letter]) => letter === "" || data.state.includes(letter));
  if (data.spots.some((one) => one.state === "short land")) rows.push(["short_land", "s"]);
  list.replaceChildren(...rows.map(([word]) => make("li", {}, swatch(word), text(word))));
}

function swatch(word) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  for (const [name, value] of Object.entries({ viewBox: "0 0 40 16", class: "swatch", "aria-hidden": "true" })) svg.setAttribute(name, value);
  const line = (name) => make("path", { d: "M2 8h36", class: name });
  const drawn = {
    band: () => [make("rect", { x: 2, y: 2, width: 36, height: 12, class: "band" })],
    limit: () => [line("limit")],
    within: () => [line("trace")],
    doubtful: () => [line("trace is-d"), make("polygon", { points: "15,8 20,13 25,8 20,3", class: "mark is-d" })],
    over: () => [line("trace is-o"), make("polygon", { points: "15,12 25,12 20,3", class: "mark is-o" })],
    unseen: () => [make("rect", { x: 2, y: 1, width: 36, height: 14, class: "unseen-ground" }), make("path", { d: "M2 15 16 1M10 15 24 1M18 15 32 1M26 15 38 3", class: "unseen-hatch" })],
    short_land: () => [make("path", { d: "M2 14l6-10 6 10zM14 14l6-10 6 10zM26 14l6-10 6 10z", class: "teeth" })],
  };
  svg.append(...drawn[word]());
  return svg;
}
