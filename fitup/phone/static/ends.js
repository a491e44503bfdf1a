// Where the joint was not found: its two ends are tapped on the photo, and it is measured again.

import { askSession } from "./outbox_send.js";
import { PhotoView, zoomButtons } from "./photo_view.js";
import { make, text } from "./words.js";

export function startEnds(root) {
  const details = root.closest("details");
  const begin = () => details.open && !root.dataset.begun && load(root, details);
  details.addEventListener("toggle", begin);
  begin();
}

// The size of the upright photo comes with the picture itself, scaled down by a whole photo's longest side.
async function load(root, details) {
  root.dataset.begun = "true";
  const size = await fetch(`/api/shots/${root.dataset.shot}`, { cache: "no-store" })
    .then((answer) => (answer.ok ? answer.json() : null))
    .catch(() => null);
  const { width_px: width, height_px: height } = size?.photo ?? {};
  if (!width) {
    say(details, text("not_sent"));
    delete root.dataset.begun;
    return;
  }
  start(root, details, width, height);
}

function start(root, details, width, height) {
  const send = details.querySelector("[data-ends-send]");
  let ends = [];
  let cross = null;
  let view = null;

  const draw = (scale) => {
    if (!view) return;
    const marks = ends.map((at, k) => pin(at, scale, k + 1));
    if (ends.length === 2) marks.unshift(make("line", { x1: ends[0][0], y1: ends[0][1], x2: ends[1][0], y2: ends[1][1], class: "between" }));
    if (cross) marks.push(make("path", { d: "M-18 0H18M0-18V18", class: "cross", transform: `translate(${cross[0]} ${cross[1]}) scale(${scale})` }));
    view.marks.replaceChildren(...marks);
    send.disabled = ends.length < 2;
  };

  const set = (at) => {
    const inside = [Math.min(Math.max(at[0], 0), width - 1), Math.min(Math.max(at[1], 0), height - 1)];
    if (ends.length < 2) ends.push(inside);
    else ends[farther(ends, inside) ? 0 : 1] = inside;
    draw(view.scale);
    say(details, text(ends.length === 1 ? "first_end" : "second_end"));
  };

  view = new PhotoView(root.querySelector("svg"), { width, height, picture: root.dataset.picture, onChange: draw, onTap: set });
  view.svg.addEventListener("keydown", (event) => {
    const step = 8 * view.scale * (event.shiftKey ? 5 : 1);
    const ways = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
    if (event.key === "Enter" && cross) set(cross);
    else if (event.key in ways) {
      cross ??= [view.box.x + view.box.w / 2, view.box.y + view.box.h / 2];
      cross = [cross[0] + ways[event.key][0], cross[1] + ways[event.key][1]];
      draw(view.scale);
    } else return;
    event.preventDefault();
    event.stopImmediatePropagation();
  }, true);
  zoomButtons(details.querySelector(".zoom"), view);
  details.querySelector("[data-ends-clear]").addEventListener("click", () => {
    ends = [];
    draw(view.scale);
    say(details, text("no_end"));
  });
  send.addEventListener("click", () => measure(root.dataset.shot, ends, details, send));
  draw(view.scale);
  say(details, text("no_end"));
}

async function measure(shot, points, details, button) {
  button.disabled = true;
  const session = await askSession();
  const headers = { "Content-Type": "application/json", "X-Fitup-Token": session?.token ?? "" };
  try {
    const answer = await fetch(`/api/shots/${shot}/points`, { method: "POST", headers, body: JSON.stringify({ points }) });
    const json = await answer.json();
    if (!answer.ok) throw Object.assign(new Error(json.error), { told: json.error });
    location.assign(`/s/${json.id}`);
  } catch (error) {
    button.disabled = false;
    say(details, error.told ?? text("not_sent"));
  }
}

function pin([u, v], scale, number) {
  const drawn = make("g", { class: "pin", transform: `translate(${u} ${v}) scale(${scale})` });
  drawn.append(make("circle", { r: 15 }), make("path", { d: "M-22 0H-8M8 0H22M0-22V-8M0 8V22" }), make("text", { x: 20, y: -14 }, String(number)));
  return drawn;
}

// A third tap moves the end that is nearer to it.
function farther([first, second], at) {
  return Math.hypot(first[0] - at[0], first[1] - at[1]) <= Math.hypot(second[0] - at[0], second[1] - at[1]);
}

function say(details, said) {
  details.querySelector("[data-ends-said]").textContent = said;
}
