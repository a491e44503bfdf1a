// Words and lengths as this phone shows them. The words come from the page (words/*.toml), none stand in scripts.

const element = document.getElementById("texts");
const table = element ? JSON.parse(element.textContent) : {};

export const units = document.body.dataset.units === "inch" ? "inch" : "mm";
export const sign = units === "inch" ? "in" : "mm";
export const mmPerUnit = units === "inch" ? 25.4 : 1;
const gapDecimals = units === "inch" ? 3 : 2;
const placeDecimals = units === "inch" ? 2 : 0;

export function text(key, values = {}) {
  return table[key].replace(/\{(\w+)\}/g, (_, name) => String(values[name]));
}

// A gap with its expanded uncertainty (k = 2); a reading below zero is the closed joint that it is.
export function gapSpread(gapMm, uMm) {
  const number = (Math.max(gapMm, 0) / mmPerUnit).toFixed(gapDecimals);
  return `${number} ± ${((2 * uMm) / mmPerUnit).toFixed(gapDecimals)} ${sign}`;
}

export function gap(gapMm) {
  return `${(Math.max(gapMm, 0) / mmPerUnit).toFixed(gapDecimals)} ${sign}`;
}

export function place(placeMm) {
  return `${(placeMm / mmPerUnit).toFixed(placeDecimals)} ${sign}`;
}

// A number in this phone's units as people type it, in mm; NaN for what is none.
export function typedMm(typed) {
  const words = typed.trim().replace(",", ".");
  return /^[-+]?\d+(\.\d*)?$|^[-+]?\.\d+$/.test(words) ? Number(words) * mmPerUnit : NaN;
}

export function make(name, attributes = {}, ...children) {
  const svg = ["svg", "g", "path", "line", "rect", "circle", "text", "image", "polygon", "polyline"];
  const made = svg.includes(name)
    ? document.createElementNS("http://www.w3.org/2000/svg", name)
    : document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

export const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
