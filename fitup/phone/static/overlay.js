// The joint drawn over its photo: two rails beside the gap, each state by its pattern, and the spots' numbers.
// The gap itself stays free, so that everybody can look at it.

import { make } from "./words.js";

const RAIL = 9; // CSS px from the arris
const FLAG = 40; // CSS px from the joint to a spot's number
const FLAG_RADIUS = 13;
const FIRST = ["over", "short land", "doubtful", "unseen"]; // whose number is drawn where there is no room for all

export function states(letters) {
  const runs = [];
  for (let k = 0; k < letters.length; k += 1) {
    const last = runs.at(-1);
    if (last?.letter === letters[k]) last.end = k;
    else runs.push({ letter: letters[k], start: k, end: k });
  }
  return runs;
}

// Draw for a view of `scale` photo px per CSS px.
export function drawStates(group, data, scale, chosen) {
  const { line } = data.photo;
  const normals = line.map((_, k) => normal(data.photo, k));
  const rail = (side, first, last, apart = RAIL) => {
    const points = [];
    for (let k = first; k <= last; k += 1) {
      const half = Math.hypot(...data.photo.across[k]);
      const away = side * (half + apart * scale);
      points.push(`${(line[k][0] + normals[k][0] * away).toFixed(1)},${(line[k][1] + normals[k][1] * away).toFixed(1)}`);
    }
    return points.join(" ");
  };
  const drawn = [];
  for (const { letter, start, end } of states(data.state)) {
    const last = Math.min(end + 1, line.length - 1);
    for (const side of [1, -1]) {
      const points = rail(side, start, last);
      for (const layer of letter === "o" ? ["casing", "edge", "rail"] : ["casing", "rail"]) {
        drawn.push(make("polyline", { points, class: `${layer} is-${letter}` }));
      }
    }
  }
  for (const spot of data.spots.filter((one) => one.state === "short land")) {
    const points = rail(-1, nearest(data.at, spot.start), nearest(data.at, spot.end), 2.2 * RAIL);
    drawn.push(make("polyline", { points, class: "casing is-s" }), make("polyline", { points, class: "rail is-s" }));
  }
  group.replaceChildren(...drawn, ...flags(data, normals, scale, chosen));
}

function flags(data, normals, scale, chosen) {
  const taken = [];
  const drawn = [];
  for (const spot of inOrder(data.spots, chosen)) {
    const k = nearest(data.at, (spot.start + spot.end) / 2);
    const [u, v] = data.photo.line[k];
    const at = [u - normals[k][0] * FLAG * scale, v - normals[k][1] * FLAG * scale];
    if (taken.some((one) => Math.hypot(one[0] - at[0], one[1] - at[1]) < 2.1 * FLAG_RADIUS * scale)) continue;
    taken.push(at);
    const flag = make("g", { class: `flag${spot.number === chosen ? " is-chosen" : ""}`, "data-spot": spot.number, transform: `translate(${at[0]} ${at[1]}) scale(${scale})` });
    const foot = [(u - at[0]) / scale, (v - at[1]) / scale];
    flag.append(
      make("line", { x1: 0, y1: 0, x2: foot[0] * 0.72, y2: foot[1] * 0.72 }),
      make("circle", { r: FLAG_RADIUS }),
      make("text", { y: 5.5, "text-anchor": "middle" }, String(spot.number)),
    );
    drawn.push(flag);
  }
  return drawn;
}

// Spots as their numbers are drawn while there is room: the chosen one, then what is worst.
export function inOrder(spots, chosen) {
  const rank = (one) => (one.number === chosen ? -1 : FIRST.indexOf(one.state));
  return [...spots].sort((a, b) => rank(a) - rank(b));
}

// Square to the joint, to the side of the strip.
function normal(photo, k) {
  const { line, across } = photo;
  const [a, b] = [line[Math.max(k - 3, 0)], line[Math.min(k + 3, line.length - 1)]];
  const length = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
  const square = [-(b[1] - a[1]) / length, (b[0] - a[0]) / length];
  const side = square[0] * across[k][0] + square[1] * across[k][1] < 0 ? -1 : 1;
  return [square[0] * side, square[1] * side];
}

export function nearest(at, place) {
  let best = 0;
  for (let k = 1; k < at.length; k += 1) if (Math.abs(at[k] - place) < Math.abs(at[best] - place)) best = k;
  return best;
}

// The box [left, top, right, bottom] in the photo of a stretch along the joint, with `roomMm` around it.
export function boxOf(data, start, end, roomMm) {
  const { line, px_per_mm: scale } = data.photo;
  const chosen = line.filter((_, k) => data.at[k] >= start - data.step_mm && data.at[k] <= end + data.step_mm);
  const points = chosen.length ? chosen : [line[nearest(data.at, (start + end) / 2)]];
  const [us, vs] = [points.map((one) => one[0]), points.map((one) => one[1])];
  const room = roomMm * scale;
  return [Math.min(...us) - room, Math.min(...vs) - room, Math.max(...us) + room, Math.max(...vs) + room];
}
