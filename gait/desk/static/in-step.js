// Two clips in step. Everything goes by moments: one number says which frame of either clip is seen, and both are drawn at once.

import { ask } from "./ask.js";
import { StepFilm } from "./in-step-film.js";

const KEYS = { " ": "play", ArrowLeft: "back", ",": "back", ArrowRight: "on", ".": "on", "[": "stride-back", "]": "stride-on",
               l: "loop", L: "loop" };
const SPEEDS = { 1: 1, 2: 0.5, 4: 0.25, 8: 0.125 };

// Which moment of which clips is seen, and the pictures of both. told: as /compare/instep.json says it.
class Pair extends EventTarget {
  constructor(told, pens) {
    super();
    Object.assign(this, { told, pens, shown: -1, wanted: 0, marks: true, closed: false, wake: () => {} });
    this.films = told.sides.map((side) => new StepFilm(side, told.size));
    this.half = 0.51 * Math.max(...told.place.slice(1).map((place, before) => place - told.place[before]));
  }

  get moments() { return this.told.place.length; }

  // Strides gone by at a moment; the moment nearest to a touchdown counts as that touchdown.
  gone(moment) {
    const place = this.told.place[moment], whole = Math.round(place);
    return Math.abs(place - whole) <= this.half ? whole : place;
  }

  // The stride that is seen, from 0, and the share of it that is gone.
  strideAt(moment) {
    const gone = this.gone(moment), stride = Math.min(Math.floor(gone), this.told.strides - 1);
    return [stride, gone - stride];
  }

  async open(tell) {
    await Promise.all(this.films.map((film) => film.open((far) => tell(`The films are being made${far ? `: ${far}` : ""}. Once they are, they are kept.`))));
    this.run();
  }

  close() {
    this.closed = true;
    this.films.forEach((film) => film.close());
    this.wake();
  }

  go(moment) {
    this.wanted = Math.min(Math.max(moment, 0), this.moments - 1);
    this.wake();
  }

  redraw() {
    this.shown = -1;
    this.wake();
  }

  // What is asked for comes first; while nothing is, what will be asked for.
  async run() {
    try {
      while (!this.closed) {
        const next = this.wanted !== this.shown ? this.wanted : this.absent();
        if (next === null) await new Promise((done) => { this.wake = done; });
        else await this.fetch(next);
      }
    } catch (error) {
      if (!this.closed) this.dispatchEvent(new CustomEvent("trouble", { detail: error.message }));
    }
  }

  async fetch(moment) {
    const rows = this.told.sides.map((side) => side.rows[moment]);
    const asked = this.wanted === moment;
    const shots = await Promise.all(this.films.map((film, which) => film.shot(rows[which])));
    if (this.closed || !asked) return;
    this.pens.forEach((pen, which) => {
      pen.drawImage(shots[which], 0, 0);
      if (this.marks || !this.films[which].video) this.films[which].mark(pen, rows[which], this.told.looks);
      shots[which].close?.();
    });
    this.shown = moment;
    this.dispatchEvent(new Event("moment"));
  }

  absent() {
    for (let ahead = 0; ahead < this.moments; ahead++) {
      const moment = (this.wanted + ahead) % this.moments;
      if (this.films.some((film, which) => film.missing(film.side.rows[moment]))) return moment;
    }
    return null;
  }
}

// Plays a pair: moments by the clock. It never shows one clip without the other; on a slow machine it leaves out moments.
class Transport extends EventTarget {
  constructor(pair) {
    super();
    Object.assign(this, { pair, playing: false, speed: 0.25, loop: null });
  }

  get span() { return this.loop ?? [0, this.pair.moments - 1]; }

  step(by) {
    this.pause();
    this.to(this.pair.wanted + by);
  }

  to(moment) {
    if (this.loop && (moment < this.loop[0] || moment > this.loop[1])) this.setLoop(null);
    this.pair.go(moment);
    this.start = null;
  }

  stride(by) {
    const gone = this.pair.gone(this.pair.wanted), at = by > 0 ? Math.floor(gone) + 1 : Math.ceil(gone) - 1;
    this.to(this.nearest(Math.min(Math.max(at, 0), this.pair.told.strides)));
  }

  nearest(place) {
    const { place: places } = this.pair.told;
    return places.reduce((best, value, moment) => (Math.abs(value - place) < Math.abs(places[best] - place) ? moment : best), 0);
  }

  // Repeat the stride that is seen, or all of them.
  setLoop(stride) {
    this.loop = stride === null ? null : [this.nearest(stride), this.nearest(stride + 1)];
    this.dispatchEvent(new Event("state"));
  }

  toggleLoop() { this.setLoop(this.loop ? null : this.pair.strideAt(this.pair.wanted)[0]); }

  toggle() { if (this.playing) this.pause(); else this.play(); }

  play() {
    this.playing = true;
    this.start = null;
    this.dispatchEvent(new Event("state"));
    requestAnimationFrame((now) => this.tick(now));
  }

  pause() {
    this.playing = false;
    this.dispatchEvent(new Event("state"));
  }

  setSpeed(speed) {
    this.speed = speed;
    this.start = null;
    this.dispatchEvent(new Event("state"));
  }

  tick(now) {
    if (!this.playing || this.pair.closed) return;
    this.start ??= { now, moment: this.pair.wanted };
    const [first, last] = this.span;
    const gone = ((now - this.start.now) / 1000) * (this.speed / this.pair.told.step_s);
    this.pair.go(first + ((this.start.moment - first + Math.floor(gone)) % (last - first + 1)));
    requestAnimationFrame((next) => this.tick(next));
  }
}

export function openStage(stage) {
  const find = (what) => stage.querySelector(what);
  const say = (words) => { find(".say").textContent = words; };
  let transport = null;

  async function open() {
    const numbers = [...stage.querySelectorAll(".pair select")].map((select) => select.value);
    transport?.pause();
    transport?.pair.close();
    const own = (transport = null);
    find(".show").hidden = true;
    say("The films are being fetched.");
    try {
      const told = await ask(`${stage.dataset.address}?a=${numbers[0]}&b=${numbers[1]}`);
      if (transport !== own) return;
      if (told.reason) { say(told.reason); return; }
      transport = show(told);
      await transport.pair.open(say);
      say([told.words, ...notes(transport.pair)].join(" "));
    } catch (error) {
      say(error.message);
    }
  }

  function notes({ told, films }) {
    const found = films.map((film, which) => film.words && `${told.sides[which].label}: ${film.words}`).filter(Boolean);
    return told.clock ? found : [...found, "The clock of slow motion is not known; speeds are those of the file."];
  }

  function show(told) {
    const canvases = [...stage.querySelectorAll(".dog canvas")];
    canvases.forEach((canvas) => { [canvas.width, canvas.height] = told.size; });
    const pair = new Pair(told, canvases.map((canvas) => canvas.getContext("2d", { alpha: false })));
    const found = new Transport(pair);
    stage.querySelectorAll(".dog .over").forEach((line, which) => {
      const { label, mirrored } = told.sides[which];
      line.textContent = mirrored ? `${label} (mirrored)` : label;
      canvases[which].setAttribute("aria-label", `${line.textContent}: the dog at the moment that is chosen below`);
    });
    find(".bars").replaceChildren(...told.sides.map((side) => bars(side, told.strides)));
    const slider = find(".slide input");
    Object.assign(slider, { max: pair.moments - 1, value: 0 });
    pair.marks = find("[name=marks]").checked;
    found.setSpeed(Number(find("[name=speed]:checked").value));
    pair.addEventListener("moment", () => moment(pair));
    pair.addEventListener("trouble", (event) => say(event.detail));
    found.addEventListener("state", () => state(found));
    state(found);
    find(".show").hidden = false;
    return found;
  }

  function moment(pair) {
    const { told, shown } = pair, [stride, share] = pair.strideAt(shown), slider = find(".slide input");
    const words = `stride ${stride + 1} of ${told.strides}, ${Math.round(100 * share)} %`;
    slider.value = shown;
    slider.setAttribute("aria-valuetext", words);
    find(".now").textContent = words;
    find(".axis").style.setProperty("--at", told.place[shown] / told.strides);
    stage.querySelectorAll(".dog .stride").forEach((line, which) => { line.textContent = told.sides[which].captions[stride]; });
    stage.dataset.moment = shown;
    stage.dataset.frames = told.sides.map((side) => side.frames[side.rows[shown]]).join(" ");
  }

  function state(found) {
    find("[data-do=play]").textContent = found.playing ? "Pause" : "Play";
    find("[data-do=loop]").setAttribute("aria-pressed", String(Boolean(found.loop)));
  }

  const acts = {
    play: () => transport.toggle(), back: () => transport.step(-1), on: () => transport.step(1), loop: () => transport.toggleLoop(),
    "stride-back": () => transport.stride(-1), "stride-on": () => transport.stride(1),
  };

  stage.addEventListener("click", (event) => {
    const what = event.target.closest("[data-do]")?.dataset.do;
    if (what && transport) acts[what]();
  });
  stage.addEventListener("change", (event) => {
    const { name, value, checked } = event.target;
    if (event.target.closest(".pair")) { open(); return; }
    if (!transport) return;
    if (name === "speed") transport.setSpeed(Number(value));
    if (name === "marks") { transport.pair.marks = checked; transport.pair.redraw(); }
  });
  find(".slide input").addEventListener("input", (event) => { transport?.pause(); transport?.to(Number(event.target.value)); });
  scrub(find(".bars"), (share) => { transport?.pause(); transport?.to(transport.nearest(share * transport.pair.told.strides)); });
  // keys of the page, unless something that has keys of its own is at work
  document.addEventListener("keydown", (event) => {
    if (!transport || event.ctrlKey || event.metaKey || event.altKey) return;
    const own = event.target.closest("input, select, textarea, summary, a, button, .scroll");
    if (own && !(own.closest("#stage") && /^[,.[\]lL1248]$/.test(event.key))) return;
    if (event.key in KEYS) acts[KEYS[event.key]]();
    else if (event.key in SPEEDS) find(`[name=speed][value="${SPEEDS[event.key]}"]`).click();
    else return;
    event.preventDefault();
  });
  open();
}

// The stances of four paws of one clip on the axis of strides; near paws filled, far ones outlined.
function bars(side, strides) {
  const box = document.createElement("div"), head = document.createElement("p");
  head.textContent = side.label;
  box.append(head, ...side.bars.map(({ paw, colour, near, spans }) => {
    const lane = document.createElement("div"), name = document.createElement("span"), track = document.createElement("div");
    [lane.className, track.className] = ["lane", "track"];
    name.textContent = paw;
    track.append(...spans.map(([start, end]) => {
      const bar = document.createElement("i");
      bar.className = near ? "near" : "far";
      bar.style.cssText = `left: ${(100 * start) / strides}%; width: ${(100 * (end - start)) / strides}%; --colour: ${colour}`;
      return bar;
    }));
    track.style.setProperty("--strides", strides);
    lane.append(name, track);
    return lane;
  }));
  return box;
}

// Pressing or drawing over the bars: to(share of the axis).
function scrub(box, to) {
  const at = (event) => {
    const track = box.querySelector(".track")?.getBoundingClientRect();
    if (track) to(Math.min(Math.max((event.clientX - track.left) / track.width, 0), 1));
  };
  box.addEventListener("pointerdown", (event) => { box.setPointerCapture(event.pointerId); at(event); });
  box.addEventListener("pointermove", (event) => { if (box.hasPointerCapture(event.pointerId)) at(event); });
}
