// The gap along the joint as a drawing: 95 % band, limit, states by pattern and mark, numbers of the spots.

import { inOrder, nearest, states } from "./overlay.js";
import { calm, gap, make, mmPerUnit, sign, text } from "./words.js";

const [LEFT, RIGHT, TOP, FOOT] = [46, 10, 30, 44];
const MARK_APART = 12;
const FLAG_APART = 24;
const NAMES = { w: "within", d: "doubtful", o: "over", u: "unseen" };
const MOVE_MS = 350;

export class Chart {
  constructor(svg, data, { onRead }) {
    Object.assign(this, { svg, data, onRead });
    this.from = data.start_mm;
    this.to = data.end_mm;
    this.chosen = null;
    this.place = null;
    const ends = data.gap.map((gapMm, k) => (gapMm === null ? 0 : gapMm + 2 * data.u[k]));
    this.top = 1.12 * Math.max(1.15 * data.limit_mm, ...ends);
    new ResizeObserver(() => this.draw()).observe(svg);
    svg.addEventListener("click", (event) => this.#read(event));
    svg.addEventListener("keydown", (event) => this.#key(event));
    this.draw();
  }

  show(start, end, spot = null) {
    const room = Math.max(8, 0.6 * (end - start));
    this.chosen = spot;
    this.#go(Math.max(start - room, this.data.start_mm), Math.min(end + room, this.data.end_mm));
  }

  whole() {
    this.chosen = null;
    this.#go(this.data.start_mm, this.data.end_mm);
  }

  #go(from, to) {
    cancelAnimationFrame(this.moving);
    const [from0, to0, begin] = [this.from, this.to, performance.now()];
    const step = (now) => {
      const t = calm ? 1 : Math.min((now - begin) / MOVE_MS, 1);
      const eased = t * t * (3 - 2 * t);
      this.from = from0 + (from - from0) * eased;
      this.to = to0 + (to - to0) * eased;
      this.draw();
      if (t < 1) this.moving = requestAnimationFrame(step);
    };
    step(performance.now());
  }

  x(place) {
    return LEFT + ((place - this.from) / (this.to - this.from)) * (this.width - LEFT - RIGHT);
  }

  y(gapMm) {
    return this.height - FOOT - (Math.min(Math.max(gapMm, 0), this.top) / this.top) * (this.height - FOOT - TOP);
  }

  draw() {
    [this.width, this.height] = [this.svg.clientWidth, this.svg.clientHeight];
    if (!this.width) return;
    this.svg.setAttribute("viewBox", `0 0 ${this.width} ${this.height}`);
    this.svg.replaceChildren(
      ...this.#unseen(), ...this.#grid(), ...this.#band(), ...this.#limit(), ...this.#trace(),
      ...this.#shortLands(), ...this.#cover(), ...this.#limitWord(), ...this.#axes(), ...this.#flags(), ...this.#cursor(),
    );
  }

  // Index runs of stations in view, one more on either side so that lines reach the frame.
  #view() {
    const { at } = this.data;
    const first = Math.max(at.findIndex((one) => one >= this.from) - 1, 0);
    const behind = at.findIndex((one) => one > this.to);
    return [first, behind < 0 ? at.length - 1 : behind];
  }

  #runs(letters) {
    const [first, last] = this.#view();
    return states(this.data.state).filter((run) => letters.includes(run.letter) && run.end >= first && run.start <= last);
  }

  #unseen() {
    const drawn = [];
    const [foot, half] = [this.height - FOOT, this.data.step_mm / 2];
    for (const { start, end } of this.#runs("u")) {
      const left = Math.max(this.x(this.data.at[start] - half), LEFT);
      const right = Math.min(this.x(this.data.at[end] + half), this.width - RIGHT);
      if (right <= left) continue;
      drawn.push(make("rect", { x: left, y: TOP, width: right - left, height: foot - TOP, class: "unseen-ground" }));
      let hatch = "";
      const tall = foot - TOP;
      for (let x = left - tall; x < right; x += 8) {
        const [x0, x1] = [Math.max(x, left), Math.min(x + tall, right)];
        if (x1 > x0) hatch += `M${x0.toFixed(1)} ${(foot - (x0 - x)).toFixed(1)}L${x1.toFixed(1)} ${(foot - (x1 - x)).toFixed(1)}`;
      }
      drawn.push(make("path", { d: hatch, class: "unseen-hatch" }));
      if (right - left > 26) {
        drawn.push(make("text", { x: (left + right) / 2, y: (TOP + foot) / 2 + 8, class: "unseen-sign", "text-anchor": "middle" }, "?"));
      }
    }
    return drawn;
  }

  #seenRuns() {
    const [first, last] = this.#view();
    const runs = [];
    for (let k = first; k <= last; k += 1) {
      if (this.data.gap[k] === null) continue;
      if (runs.length && runs.at(-1).at(-1) === k - 1) runs.at(-1).push(k);
      else runs.push([k]);
    }
    return runs;
  }

  #path(indices, value) {
    return indices.map((k) => `${this.x(this.data.at[k]).toFixed(1)},${this.y(value(k)).toFixed(1)}`).join(" ");
  }

  #band() {
    const { gap: gaps, u } = this.data;
    return this.#seenRuns().map((run) => {
      const above = this.#path(run, (k) => gaps[k] + 2 * u[k]);
      const below = this.#path([...run].reverse(), (k) => gaps[k] - 2 * u[k]);
      return make("polygon", { points: `${above} ${below}`, class: "band" });
    });
  }

  #trace() {
    const gaps = this.data.gap;
    const drawn = this.#seenRuns().map((run) => make("polyline", { points: this.#path(run, (k) => gaps[k]), class: "trace" }));
    for (const { letter, start, end } of this.#runs("od")) {
      const run = [];
      for (let k = start; k <= end; k += 1) if (gaps[k] !== null) run.push(k);
      drawn.push(make("polyline", { points: this.#path(run, (k) => gaps[k]), class: `trace is-${letter}` }));
      let reached = -Infinity;
      for (const k of run) {
        const [x, y] = [this.x(this.data.at[k]), this.y(gaps[k])];
        if (x - reached < MARK_APART || x < LEFT || x > this.width - RIGHT) continue;
        reached = x;
        const points = letter === "o" ? `${x - 5},${y + 4} ${x + 5},${y + 4} ${x},${y - 5}` : `${x - 5},${y} ${x},${y + 5} ${x + 5},${y} ${x},${y - 5}`;
        drawn.push(make("polygon", { points, class: `mark is-${letter}` }));
      }
    }
    return drawn;
  }

  #limit() {
    const y = this.y(this.data.limit_mm);
    return [make("line", { x1: LEFT, y1: y, x2: this.width - RIGHT, y2: y, class: "limit" })];
  }

  // Where the profile leaves most room: left, right or middle, above or below the line.
  #limitWord() {
    const y = this.y(this.data.limit_mm);
    const wide = 130;
    const [first, last] = this.#view();
    const right = this.width - RIGHT - wide;
    const choices = [LEFT + 6, right, (LEFT + 6 + right) / 2].flatMap((x) => [[x, -7], [x, 19]]);
    const room = ([x, down]) => {
      let least = Infinity;
      for (let k = first; k <= last; k += 1) {
        const at = this.x(this.data.at[k]);
        if (this.data.gap[k] === null || at < x - 4 || at > x + wide) continue;
        least = Math.min(least, Math.abs(this.y(this.data.gap[k]) - (y + down - 5)));
      }
      return Math.min(least, 24) - (y + down < TOP + 14 ? 30 : 0);
    };
    const [x, down] = choices.reduce((best, one) => (room(one) > room(best) ? one : best));
    return [make("text", { x, y: y + down, class: "limit-word" }, `${text("limit")} ${gap(this.data.limit_mm)}`)];
  }

  // A row of teeth along the foot where a land is short.
  #shortLands() {
    const foot = this.height - FOOT;
    return this.data.spots.filter((spot) => spot.state === "short land").map((spot) => {
      const left = Math.max(this.x(spot.start), LEFT);
      const right = Math.min(this.x(spot.end), this.width - RIGHT);
      const count = Math.max(1, Math.round((right - left) / 9));
      const wide = Math.max(right - left, 0) / count;
      let d = "";
      for (let k = 0; k < count; k += 1) d += `M${left + k * wide} ${foot}l${wide / 2} -9l${wide / 2} 9z`;
      return make("path", { d, class: "teeth" });
    });
  }

  // What sticks out of the frame while it is zoomed.
  #cover() {
    const [width, height] = [this.width, this.height];
    return [
      make("rect", { x: 0, y: 0, width: LEFT, height, class: "cover" }),
      make("rect", { x: width - RIGHT, y: 0, width: RIGHT, height, class: "cover" }),
    ];
  }

  #grid() {
    return ticks(0, this.top / mmPerUnit, 5).map((one) => {
      const y = this.y(one * mmPerUnit);
      return make("line", { x1: LEFT, y1: y, x2: this.width - RIGHT, y2: y, class: "grid" });
    });
  }

  #axes() {
    const [foot, right] = [this.height - FOOT, this.width - RIGHT];
    const drawn = [make("path", { d: `M${LEFT} ${TOP}V${foot}H${right}`, class: "axis" })];
    const gaps = ticks(0, this.top / mmPerUnit, 5);
    for (const one of gaps) {
      drawn.push(make("text", { x: LEFT - 6, y: this.y(one * mmPerUnit) + 5, "text-anchor": "end" }, one.toFixed(digits(gaps))));
    }
    const places = ticks(this.from / mmPerUnit, this.to / mmPerUnit, Math.max(3, Math.floor(this.width / 70)));
    for (const one of places) {
      const x = this.x(one * mmPerUnit);
      drawn.push(make("path", { d: `M${x} ${foot}v5`, class: "axis" }));
      drawn.push(make("text", { x, y: foot + 19, "text-anchor": "middle" }, one.toFixed(digits(places))));
    }
    drawn.push(make("text", { x: 0, y: 14 }, text("gap_axis", { unit: sign })));
    drawn.push(make("text", { x: right, y: this.height - 6, "text-anchor": "end" }, text("place_axis", { unit: sign })));
    return drawn;
  }

  #flags() {
    const taken = [];
    return inOrder(this.data.spots, this.chosen).flatMap((spot) => {
      const x = this.x((spot.start + spot.end) / 2);
      if (x < LEFT || x > this.width - RIGHT || taken.some((one) => Math.abs(one - x) < FLAG_APART)) return [];
      taken.push(x);
      const flag = make("g", { class: `flag${spot.number === this.chosen ? " is-chosen" : ""}`, "data-spot": spot.number });
      flag.append(
        make("line", { x1: x, y1: 18, x2: x, y2: TOP + 6 }),
        make("circle", { cx: x, cy: 13, r: 11 }),
        make("text", { x, y: 18, "text-anchor": "middle" }, String(spot.number)),
      );
      return [flag];
    });
  }

  #cursor() {
    if (this.place === null || this.place < this.from || this.place > this.to) return [];
    const x = this.x(this.place);
    return [make("line", { x1: x, y1: TOP, x2: x, y2: this.height - FOOT, class: "cursor" })];
  }

  #read(event) {
    const spot = event.target.closest?.("[data-spot]");
    if (spot) return this.onRead({ spot: Number(spot.dataset.spot) });
    const x = event.clientX - this.svg.getBoundingClientRect().left;
    const place = this.from + ((x - LEFT) / (this.width - LEFT - RIGHT)) * (this.to - this.from);
    return this.#readAt(nearest(this.data.at, place));
  }

  #readAt(k) {
    this.place = this.data.at[k];
    this.draw();
    this.onRead({ index: k, state: NAMES[this.data.state[k]] });
  }

  #key(event) {
    const now = this.place === null ? nearest(this.data.at, (this.from + this.to) / 2) : nearest(this.data.at, this.place);
    const step = event.shiftKey ? 10 : 1;
    const aims = { ArrowLeft: now - step, ArrowRight: now + step, Home: 0, End: this.data.at.length - 1 };
    if (event.key === "0") this.whole();
    else if (event.key in aims) this.#readAt(Math.min(Math.max(aims[event.key], 0), this.data.at.length - 1));
    else return;
    event.preventDefault();
  }
}

// Round numbers in the stretch, at most `most` and one.
function ticks(low, high, most) {
  const rough = (high - low) / most;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((one) => one * power).find((one) => one >= rough * (1 - 1e-9));
  const found = [];
  for (let k = Math.ceil(low / step - 1e-9); k <= Math.floor(high / step + 1e-9); k += 1) found.push(k * step + 0);
  return found;
}

function digits(all) {
  let count = 0;
  while (count < 6 && all.some((one) => Math.abs(one - Number(one.toFixed(count))) > 1e-9)) count += 1;
  return count;
}
