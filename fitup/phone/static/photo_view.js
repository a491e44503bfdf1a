// A photo that is looked at closely: fingers, wheel and keys zoom and move it; closer views are fetched sharper.
//
// Everything is one SVG in px of the upright photo, (0, 0) at the centre of the upper left pixel; zooming only
// changes its viewBox, so that drawings stay where they belong and sharp at any size.

import { calm, make } from "./words.js";

const BASE_PX = 1600; // longest side of the whole photo as it is fetched
const CLOSEST = 0.08; // photo pixels per CSS pixel
const MOVE_MS = 350;
const TAP_PX = 10;

export class PhotoView {
  // `onChange(scale)` is called with photo pixels per CSS pixel, `onTap([u, v])` with the place tapped.
  constructor(svg, { width, height, picture, onChange = () => {}, onTap = () => {} }) {
    Object.assign(this, { svg, width, height, picture, onChange, onTap });
    svg.style.aspectRatio = String(Math.min(Math.max(width / height, 0.75), 2.4));
    this.image = make("image", { x: -0.5, y: -0.5, width, height, href: `${picture}?most=${BASE_PX}` });
    this.sharp = make("image", {});
    this.marks = make("g", { class: "marks" });
    svg.replaceChildren(this.image, this.sharp, this.marks);
    this.pointers = new Map();
    this.#listen();
    this.whole(false);
    new ResizeObserver(() => this.#set(this.box)).observe(svg);
  }

  whole(move = true) {
    this.#go({ x: -0.5, y: -0.5, w: this.width, h: this.height }, move);
  }

  // To a box [left, top, right, bottom] with some room around it.
  show([left, top, right, bottom], move = true) {
    this.#go({ x: left, y: top, w: right - left, h: bottom - top }, move);
  }

  zoom(factor, at = this.#middle()) {
    const { x, y, w, h } = this.box;
    const most = Math.max(this.width, this.height) * 1.2;
    const least = CLOSEST * this.svg.clientWidth;
    const k = Math.min(Math.max(w / factor, least), most) / w;
    this.#set({ x: at[0] - (at[0] - x) * k, y: at[1] - (at[1] - y) * k, w: w * k, h: h * k });
  }

  pan(du, dv) {
    this.#set({ ...this.box, x: this.box.x + du, y: this.box.y + dv });
  }

  get scale() {
    return this.box.w / Math.max(this.svg.clientWidth, 1);
  }

  toPhoto(clientX, clientY) {
    const frame = this.svg.getBoundingClientRect();
    const { x, y, w, h } = this.box;
    return [x + ((clientX - frame.left) / frame.width) * w, y + ((clientY - frame.top) / frame.height) * h];
  }

  #middle() {
    const { x, y, w, h } = this.box;
    return [x + w / 2, y + h / 2];
  }

  // The same box with the sides of the frame, not farther off than the whole photo, kept over the photo.
  #fitted({ x, y, w, h }) {
    const ratio = this.svg.clientWidth / Math.max(this.svg.clientHeight, 1) || this.width / this.height;
    const wide = Math.max(w, h * ratio);
    const all = Math.max(this.width, this.height * ratio);
    const width = Math.min(wide, all);
    const height = width / ratio;
    const keep = (middle, size, whole) =>
      size >= whole ? whole / 2 - 0.5 : Math.min(Math.max(middle, size / 2 - 0.5), whole - 0.5 - size / 2);
    const u = keep(x + w / 2, width, this.width);
    const v = keep(y + h / 2, height, this.height);
    return { x: u - width / 2, y: v - height / 2, w: width, h: height };
  }

  #set(box) {
    this.box = this.#fitted(box);
    const { x, y, w, h } = this.box;
    this.svg.setAttribute("viewBox", `${x} ${y} ${w} ${h}`);
    const whole = w >= 0.999 * Math.max(this.width, (this.height * w) / h);
    this.svg.classList.toggle("is-whole", whole); // the page then scrolls under one finger
    this.onChange(this.scale);
    clearTimeout(this.sharpening);
    this.sharpening = setTimeout(() => this.#sharpen(), 250);
  }

  #go(target, move) {
    cancelAnimationFrame(this.moving);
    if (calm || !move || !this.box) return this.#set(target);
    const [from, to, start] = [this.box, this.#fitted(target), performance.now()];
    const step = (now) => {
      const t = Math.min((now - start) / MOVE_MS, 1);
      const eased = t * t * (3 - 2 * t);
      const between = (name) => from[name] + (to[name] - from[name]) * eased;
      this.#set({ x: between("x"), y: between("y"), w: between("w"), h: between("h") });
      if (t < 1) this.moving = requestAnimationFrame(step);
    };
    this.moving = requestAnimationFrame(step);
  }

  #sharpen() {
    const { x, y, w, h } = this.box;
    const ratio = devicePixelRatio || 1;
    const base = Math.max(this.width, this.height) / BASE_PX;
    if (base <= 1.05 || this.scale / ratio > 0.7 * base) return this.sharp.removeAttribute("href");
    const grid = 64;
    const left = Math.max(Math.floor(x / grid) * grid, 0);
    const top = Math.max(Math.floor(y / grid) * grid, 0);
    const right = Math.min(Math.ceil((x + w) / grid) * grid, this.width);
    const bottom = Math.min(Math.ceil((y + h) / grid) * grid, this.height);
    if (right <= left || bottom <= top) return undefined;
    const href = `${this.picture}?most=${BASE_PX}&box=${left},${top},${right},${bottom}`;
    if (this.sharp.getAttribute("href") === href) return undefined;
    const loaded = new Image();
    loaded.onload = () => {
      for (const [name, value] of Object.entries({ x: left - 0.5, y: top - 0.5, width: right - left, height: bottom - top, href })) {
        this.sharp.setAttribute(name, value);
      }
    };
    loaded.src = href;
    return undefined;
  }

  #listen() {
    const { svg, pointers } = this;
    svg.addEventListener("pointerdown", (event) => {
      pointers.set(event.pointerId, [event.clientX, event.clientY]);
      this.travel = pointers.size > 1 ? Infinity : 0;
      svg.setPointerCapture(event.pointerId);
    });
    svg.addEventListener("pointermove", (event) => this.#moved(event));
    const up = (event) => {
      if (!pointers.delete(event.pointerId)) return;
      if (event.type === "pointerup" && pointers.size === 0 && this.travel < TAP_PX) {
        this.onTap(this.toPhoto(event.clientX, event.clientY));
      }
    };
    svg.addEventListener("pointerup", up);
    svg.addEventListener("pointercancel", up);
    svg.addEventListener("dblclick", (event) => this.zoom(2.5, this.toPhoto(event.clientX, event.clientY)));
    svg.addEventListener("wheel", (event) => {
      if (!event.ctrlKey) return; // without it the page scrolls
      event.preventDefault();
      this.zoom(Math.exp(-event.deltaY / 200), this.toPhoto(event.clientX, event.clientY));
    }, { passive: false });
    svg.addEventListener("keydown", (event) => this.#key(event));
  }

  #moved(event) {
    const before = this.pointers.get(event.pointerId);
    if (!before) return;
    const now = [event.clientX, event.clientY];
    const others = [...this.pointers].filter(([id]) => id !== event.pointerId).map(([, at]) => at);
    this.pointers.set(event.pointerId, now);
    this.travel += Math.hypot(now[0] - before[0], now[1] - before[1]);
    if (others.length === 0) {
      if (this.travel >= TAP_PX) this.pan((before[0] - now[0]) * this.scale, (before[1] - now[1]) * this.scale);
      return;
    }
    const apart = (at) => Math.hypot(at[0] - others[0][0], at[1] - others[0][1]);
    const middle = this.toPhoto((now[0] + others[0][0]) / 2, (now[1] + others[0][1]) / 2);
    this.zoom(apart(now) / Math.max(apart(before), 1), middle);
    this.pan(((before[0] - now[0]) * this.scale) / 2, ((before[1] - now[1]) * this.scale) / 2);
  }

  #key(event) {
    const step = this.box.w / 8;
    const acts = {
      "+": () => this.zoom(1.5),
      "=": () => this.zoom(1.5),
      "-": () => this.zoom(1 / 1.5),
      0: () => this.whole(),
      ArrowLeft: () => this.pan(-step, 0),
      ArrowRight: () => this.pan(step, 0),
      ArrowUp: () => this.pan(0, -step),
      ArrowDown: () => this.pan(0, step),
    };
    if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || !(event.key in acts)) return;
    event.preventDefault();
    acts[event.key]();
  }
}

export function zoomButtons(group, view) {
  const acts = { in: () => view.zoom(1.6), out: () => view.zoom(1 / 1.6), all: () => view.whole() };
  for (const button of group.querySelectorAll("[data-zoom]")) {
    button.addEventListener("click", acts[button.dataset.zoom]);
  }
}
