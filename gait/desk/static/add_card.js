// One film on the page: how far it is, what a look into it shows, what is said of it. Every word goes in as text.

import { slowness } from "/static/slowness.js";

const LEAST_RATE_S = 1; // s of sending before a time that is left is told
const make = (tag, text, name) => {
  const made = document.createElement(tag);
  made.textContent = text;
  if (name) made.className = name;
  return made;
};
const size = (bytes) => (bytes >= 1e9 ? `${(bytes / 1e9).toFixed(2)} GB` : `${Math.max(0.1, bytes / 1e6).toFixed(1)} MB`);

function left(seconds) {
  if (seconds < 100) return `about ${Math.max(1, Math.round(seconds))} s left`;
  return seconds < 5400 ? `about ${Math.round(seconds / 60)} min left` : `about ${(seconds / 3600).toFixed(1)} h left`;
}

const day = (ms) => {
  const at = new Date(ms), two = (number) => String(number).padStart(2, "0");
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
};

// What "same as above" takes over: all that the clips of a visit have in common.
const COMMON = ["dog", "date", "condition", "baseline", "belt", "belt_unit", "pace", "slow", "withers_cm", "mass_kg", "incline_deg", "lead_tension_n"];

export class Card {
  // `film` as the server tells it; `hands` = what the page does when a button is pressed or an entry changes
  constructor(film, hands, unit) {
    this.film = film;
    this.hands = hands;
    this.item = document.getElementById("film").content.firstElementChild.cloneNode(true);
    this.fields = Object.fromEntries([...this.item.querySelectorAll("[data-key]")].map((field) => [field.dataset.key, field]));
    this.part = (name) => this.item.querySelector(name);
    this.fields.belt_unit.value = unit;
    this.part(".remove").onclick = () => hands.remove(this);
    this.part(".again").onclick = () => hands.again(this);
    this.part(".same").onclick = () => hands.same(this);
    this.item.addEventListener("input", () => { this.pace(); this.keep(); });
    this.item.addEventListener("change", (event) => { if (["pace", "slow", "facing"].includes(event.target.dataset.key)) hands.look(this); });
    this.part(".remove").setAttribute("aria-label", `Remove ${film.name}`);
    this.part(".same").setAttribute("aria-label", `${film.name}: same as above`);
    this.show();
    this.take(this.kept());
  }

  get whole() { return Boolean(this.film.film); }

  // How far the film is.
  show(words = "") {
    const { film } = this;
    this.part(".name").textContent = film.film || film.name;
    const bar = this.part("progress"), share = film.received / film.length;
    bar.hidden = this.whole;
    bar.value = share;
    bar.setAttribute("aria-label", `${film.name} received`);
    const waits = !this.whole && !this.file && film.received < film.length;
    this.part(".again").hidden = !waits;
    this.part(".sheet").hidden = !this.whole && !this.file;
    let state = words || `${Math.floor(100 * share)} % of ${size(film.length)}${this.left()}`;
    if (waits && !words) state = `${Math.floor(100 * share)} % of it is here. Choose ${film.name} again, and it goes on from there.`;
    if (this.whole) state = this.facts();
    this.part(".state").textContent = state;
    if (this.whole && !this.fields.date.value) this.fields.date.value = film.facts.filmed_on || day(film.changed_ms || Date.now());
  }

  facts() {
    const { facts, name, film } = this.film;
    const told = [`${facts.width} × ${facts.height}`, `${facts.fps ? Number(facts.fps.toFixed(2)) : "?"} frames per second`, `${facts.duration_s.toFixed(1)} s`];
    if (facts.filmed_fps) told.push(`the camera noted ${facts.filmed_fps} frames per second`);
    if (film !== name) told.push(`it came as ${name}`);
    if (facts.removed_before) told.push("it was removed with its dog before; read again, it is kept again");
    return told.join(", ");
  }

  moved(bytes) {
    const now = performance.now() / 1000;
    if (bytes === null) { this.since = null; return; }
    this.since ??= { at: now, bytes };
    this.film.received = bytes;
    this.rate = now - this.since.at > LEAST_RATE_S ? (bytes - this.since.bytes) / (now - this.since.at) : 0;
  }

  left() {
    return this.rate > 0 && this.film.received < this.film.length ? `, ${left((this.film.length - this.film.received) / this.rate)}` : "";
  }

  // What a look into it shows: null = it is being looked into.
  looked(seen, words = "") {
    const verdict = this.part(".verdict"), picture = this.part(".look img");
    this.part(".look").hidden = false;
    picture.hidden = !seen;
    verdict.className = "verdict";
    for (const list of [".change", ".notes", ".checks"]) this.part(list).replaceChildren();
    this.part(".look details").hidden = !seen;
    if (!seen) {
      verdict.classList.add(words ? "care" : "busy");
      verdict.textContent = words || "Looking into it …";
      return;
    }
    const failed = seen.checks.filter((check) => !check.passed), advice = [...new Set(failed.map((check) => check.advice))];
    picture.src = seen.picture;
    picture.alt = seen.facing ? `A frame of ${this.film.film} with the landmarks that were found; the dog walks to the ${seen.facing}` : `A frame of ${this.film.film}; no dog was found in it`;
    verdict.classList.toggle("care", failed.length > 0);
    verdict.textContent = failed.length ? "Change this before you film on:" : `Film on like this. The dog walks to the ${seen.facing}.`;
    this.part(".change").replaceChildren(...advice.map((text) => make("li", text)));
    this.part(".notes").replaceChildren(...seen.notes.map((text) => make("li", text)));
    this.part(".checks").replaceChildren(...seen.checks.map(line));
  }

  // Slow motion: what is asked for, and what it comes to.
  pace() {
    const how = this.fields.pace.value, label = this.part(".how");
    slowness(how, label);
    const fps = this.filmedFps();
    label.querySelector("output").textContent = how === "times" && fps ? `filmed at ${fps} frames per second` : "";
  }

  filmedFps() {
    const told = Number(this.fields.slow.value.replace(",", ".")), file = this.film.facts?.fps;
    if (!this.fields.pace.value || !(told > 0)) return "";
    return this.fields.pace.value === "fps" ? told : file ? Math.round(told * file * 100) / 100 : "";
  }

  // The entries as they stand, and as a trial sheet wants them.
  entries() {
    return Object.fromEntries(Object.entries(this.fields).map(([key, field]) => [key, field.type === "checkbox" ? field.checked : field.value]));
  }

  row() {
    const { pace, slow, ...rest } = this.entries();
    const fps = this.filmedFps();
    return { id: this.film.id, ...rest, filmed_fps: pace ? String(fps || slow || "?") : "" };
  }

  take(entries) {
    for (const [key, value] of Object.entries(entries)) {
      const field = this.fields[key];
      if (!field || value === null) continue;
      if (field.type === "checkbox") field.checked = Boolean(value); else field.value = value;
    }
    if (entries.filmed_fps) Object.assign(this.fields.pace, { value: "fps" }), this.fields.slow.value = entries.filmed_fps;
    this.part(".more").open ||= ["withers_cm", "mass_kg", "incline_deg", "lead_tension_n", "notes"].some((key) => this.fields[key].value);
    this.pace();
  }

  common() {
    const all = this.entries();
    return Object.fromEntries(COMMON.map((key) => [key, all[key]]));
  }

  wrong(words) {
    this.part(".sheet .wrong").hidden = !words;
    this.part(".sheet .wrong").textContent = words;
  }

  // What was entered outlives the page, in this browser alone.
  keep() { try { localStorage.setItem(`pawfall-add-${this.film.id}`, JSON.stringify(this.entries())); } catch { /* full, or not allowed */ } }
  kept() { try { return JSON.parse(localStorage.getItem(`pawfall-add-${this.film.id}`)) || {}; } catch { return {}; } }
  forget() { localStorage.removeItem(`pawfall-add-${this.film.id}`); }
}

function line(check) {
  const box = document.createElement("div"), known = check.value !== null;
  box.className = check.passed ? "" : known ? "failed" : "unknown";
  const least = check.name === "camera level" ? "at most" : "at least", unit = ["1", "1/s"].includes(check.unit) ? "" : ` ${check.unit}`;
  const round = (number) => Number(number.toFixed(2));
  const value = check.name === "dog found" ? (check.passed ? "yes" : "no") : known ? `${round(check.value)}, ${least} ${round(check.limit)}${unit}` : "not known";
  box.append(make("dt", check.name[0].toUpperCase() + check.name.slice(1)), make("dd", value));
  return box;
}
