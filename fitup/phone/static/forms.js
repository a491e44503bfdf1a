// Forms that are sent without leaving the page: feeler readings, outcomes, corrections, verifying.

import { askSession } from "./outbox_send.js";
import { mmPerUnit, sign, text, typedMm } from "./words.js";

export function startForm(form) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    submit(form);
  });
  for (const choice of form.querySelectorAll("[data-fills]")) {
    const fill = () => {
      if (choice.checked) [form.elements.from.value, form.elements.to.value] = choice.dataset.fills.split(" ");
    };
    choice.addEventListener("change", fill);
    fill();
  }
}

async function submit(form) {
  const answerLine = form.querySelector(".answer");
  const button = form.querySelector("button:not([type=button])");
  const say = (said) => (answerLine.textContent = said);
  let body;
  try {
    body = form.dataset.kind === "form" ? withoutEmptyFiles(form) : JSON.stringify(jsonOf(form));
  } catch (error) {
    say(error.message);
    return;
  }
  button.disabled = true;
  const session = await askSession();
  const headers = { "X-Fitup-Token": session?.token ?? "" };
  if (typeof body === "string") headers["Content-Type"] = "application/json";
  try {
    const answer = await fetch(form.dataset.send, { method: "POST", headers, body });
    const json = await answer.json().catch(() => ({}));
    if (!answer.ok) throw Object.assign(new Error(), { told: json.error ?? String(answer.status) });
    say(text("sent"));
    location.reload();
  } catch (error) {
    button.disabled = false;
    say(error.told ?? text("not_sent"));
  }
}

function withoutEmptyFiles(form) {
  const data = new FormData(form);
  for (const [name, value] of [...data]) if (value instanceof File && value.size === 0) data.delete(name);
  return data;
}

function jsonOf(form) {
  const fields = form.elements;
  const values = Object.fromEntries([...new FormData(form)].filter(([, value]) => typeof value === "string"));
  for (const box of form.querySelectorAll("[type=checkbox]")) values[box.name] = box.checked;
  if ("changedOnly" in form.dataset) {
    for (const input of form.querySelectorAll("input:not([type])")) {
      if (input.value === input.defaultValue) delete values[input.name];
    }
    if (!values.void) delete values.void;
  }
  return fields.blades ? reading(values) : values;
}

// A feeler reading: lengths in mm, blades with their unit, as `fitup settle` takes them.
function reading(values) {
  const ends = stretch(values);
  const blades = values.blades.split("+").map((one) => withUnit(one)).join("+");
  return {
    job: values.job,
    entry: Number(values.entry),
    from_mm: ends[0],
    to_mm: ends[1],
    blades,
    goes_in: values.goes_in === "yes",
    flat: values.flat,
  };
}

// A spot that was chosen and not changed by hand is sent as it was measured, not as it is rounded.
function stretch(values) {
  const chosen = document.querySelector("[name=stretch]:checked");
  if (chosen && chosen.dataset.fills === `${values.from} ${values.to}`) return chosen.value.split(" ").map(Number);
  return [values.from, values.to].map((typed) => {
    const mm = typedMm(typed);
    if (Number.isNaN(mm)) throw new Error(text("number_wrong", { example: (142 / mmPerUnit).toFixed(sign === "in" ? 2 : 0) }));
    return mm;
  });
}

function withUnit(typed) {
  const words = typed.trim();
  return Number.isNaN(typedMm(words)) ? words : `${words.replace(",", ".")}${sign}`;
}
