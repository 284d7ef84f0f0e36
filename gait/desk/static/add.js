// The page Add footage: takes films, sends them one after the other, looks into each, and has them read.

import { ask, begin, send } from "/static/add_upload.js";
import { Card } from "/static/add_card.js";

const by = (id) => document.getElementById(id);
const facts = JSON.parse(by("facts").textContent);
const ending = (name) => (name.match(/\.[^.]+$/)?.[0] ?? "").toLowerCase();
const stem = (name) => name.replace(/^.*[\\/]/, "").replace(/\.[^.]*$/, "").toLowerCase();
const PASTED = "pasted sheet.csv"; // what pasted text is called on its way
const cards = [];
const rows = new Map(); // stem of a film that has not come yet -> what a sheet says of it
const sending = [], looking = [];
let busy = false, eyes = false;

const words = (error) => (error.status ? error.message : "The desk does not answer; try again when it does.").replace(PASTED, "Pasted sheet");
const named = (name, text) => (text.includes(name) ? text : `${name}: ${text}`);
const say = (text) => { by("said").textContent = text; };

function refuse(text, list = by("refused")) {
  const item = document.createElement("li");
  item.textContent = text;
  list.append(item);
}

const hands = {
  again: () => by("files").click(),
  same: (card) => {
    card.take(cards[cards.indexOf(card) - 1].common());
    card.keep();
    if (card.whole) look(card);
  },
  look: (card) => { if (card.whole) look(card); },
  remove: async (card) => {
    if (!confirm(`Remove ${card.film.name} from the desk? The file that you copied it from stays where it is.`)) return;
    card.stop?.abort();
    try {
      await ask(`/add/films/${card.film.id}`, { method: "DELETE" });
      say(`${card.film.name} was removed.`);
    } catch (error) {
      if (error.status !== 404) { card.show(words(error)); return; }
    }
    takeOff(card);
  },
};

function put(film) {
  const card = new Card(film, hands, facts.unit);
  cards.push(card);
  by("films").append(card.item);
  arrange();
  return card;
}

function takeOff(card) {
  card.forget();
  card.item.remove();
  cards.splice(cards.indexOf(card), 1);
  arrange();
}

function arrange() {
  by("here").hidden = !cards.length;
  by("advice").hidden = cards.length > 0;
  cards.forEach((card, place) => { card.part(".same").hidden = place === 0 || card.part(".sheet").hidden; });
  const whole = cards.filter((card) => card.whole).length;
  by("read").disabled = !whole;
  by("read").textContent = whole > 1 ? `Read these ${whole} films` : "Read this film";
}

// Films and sheets that a person chose or dropped.
async function take(files) {
  by("refused").replaceChildren();
  for (const file of files) {
    if (facts.sheets.includes(ending(file.name))) { await fill(file.name, file); continue; }
    const same = cards.find((card) => card.film.name === file.name && card.film.length === file.size);
    if (same && (same.whole || same.file)) { refuse(`${file.name} is here already.`); continue; }
    try {
      const film = { id: "", name: file.name, film: "", length: file.size, received: 0, changed_ms: file.lastModified, facts: {} };
      if (!same) film.id = await begin(file);
      const card = same ?? put(film);
      card.file = file;
      card.show("It waits for its turn.");
      sending.push(card);
      if (rows.has(stem(file.name))) { card.take(rows.get(stem(file.name))); card.keep(); }
    } catch (error) {
      refuse(named(file.name, words(error)));
    }
  }
  arrange();
  next();
}

// One film at a time: two share the same cable.
async function next() {
  if (busy || !sending.length) return;
  const card = sending.shift();
  busy = true;
  card.stop = new AbortController();
  try {
    await send(card.film.id, card.file, (bytes, state) => { card.moved(bytes); card.show(state); }, card.stop.signal);
    await whole(card);
  } catch (error) {
    if (!card.stop.signal.aborted) lost(card, error);
  }
  busy = false;
  next();
}

function lost(card, error) {
  card.file = null;
  card.show(words(error));
  if ([404, 413, 415, 422].includes(error.status)) { refuse(named(card.film.name, error.message)); takeOff(card); }
}

// All of it is here: the server looks whether it is a film, and gives it a place.
async function whole(card) {
  card.film.received = card.film.length;
  card.show("It is here; its frames are being counted.");
  const told = await ask(`/add/films/${card.film.id}`, { method: "POST" });
  if (told.already) { refuse(told.already); takeOff(card); return; }
  card.film = told;
  card.show();
  card.pace();
  card.keep();
  arrange();
  look(card);
}

function look(card) {
  card.looked(null);
  if (!looking.includes(card)) looking.push(card);
  lookOn();
}

async function lookOn() {
  if (eyes || !looking.length) return;
  const card = looking.shift();
  eyes = true;
  const asked = new URLSearchParams({ filmed_fps: card.filmedFps(), facing: card.fields.facing.value });
  try {
    card.looked(await ask(`/add/films/${card.film.id}/preview?${asked}`));
  } catch (error) {
    card.looked(null, words(error));
  }
  eyes = false;
  lookOn();
}

// A trial sheet, as a file or as text that was pasted.
async function fill(name, body) {
  by("sheet-faults").replaceChildren();
  let told;
  try {
    told = await ask(`/add/sheet?name=${encodeURIComponent(name)}`, { method: "POST", body, headers: { "content-type": "application/octet-stream" } });
  } catch (error) {
    refuse(words(error), cards.length ? by("sheet-faults") : by("refused"));
    return;
  }
  let filled = 0;
  for (const { clip, ...row } of told.rows) {
    const card = cards.find((one) => [stem(one.film.name), stem(one.film.film || one.film.name)].includes(stem(clip)));
    if (card) { card.take(row); card.keep(); filled += 1; if (card.whole && row.filmed_fps) look(card); } else rows.set(stem(clip), row);
  }
  told.faults.forEach((fault) => refuse(fault.replace(PASTED, "Pasted sheet"), cards.length ? by("sheet-faults") : by("refused")));
  const rest = told.rows.length - filled;
  say(`The sheet filled in ${filled} of ${cards.length} films.${rest ? ` ${rest} of its rows wait for films that have not come yet.` : ""}`);
}

async function read() {
  const ready = cards.filter((card) => card.whole);
  cards.forEach((card) => card.wrong(""));
  by("read").disabled = true;
  let told = { faults: [], added: 0 };
  try {
    told = await ask("/add/read", { method: "POST", body: JSON.stringify({ films: ready.map((card) => card.row()) }), headers: { "content-type": "application/json" } });
  } catch (error) {
    told = error.told?.faults ? error.told : told;
    if (!error.told?.faults) { say(words(error)); arrange(); return; }
  }
  const faulty = new Map(told.faults.map((fault) => [fault.id, fault.words]));
  for (const card of ready) {
    if (faulty.has(card.film.id)) card.wrong(faulty.get(card.film.id)); else if (told.added) takeOff(card);
  }
  arrange();
  if (!cards.length) { location.assign("/"); return; }
  const first = cards.find((card) => faulty.has(card.film.id));
  first?.fields.dog.focus();
  say(told.added ? `${told.added} films are being read; Today shows how far they are.` : "Not yet: see what is wrong below.");
}

const drop = by("drop");
by("choose").onclick = () => by("files").click();
by("files").onchange = () => { take([...by("files").files]); by("files").value = ""; };
by("fill").onclick = () => fill(PASTED, by("sheet").value);
by("read").onclick = read;
by("files").accept = [...facts.kinds, ...facts.sheets].join(",");
document.addEventListener("dragover", (event) => { event.preventDefault(); drop.classList.add("over"); });
document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) drop.classList.remove("over"); });
document.addEventListener("drop", (event) => { event.preventDefault(); drop.classList.remove("over"); take([...event.dataTransfer.files]); });
addEventListener("beforeunload", (event) => { if (busy) event.preventDefault(); });

for (const film of facts.films) {
  const card = put(film);
  if (card.whole) look(card); else if (film.received === film.length) whole(card).catch((error) => lost(card, error));
}
