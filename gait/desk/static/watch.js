// The Watch page: puts its parts together and knows every key and button once.

import { ask } from "./ask.js";
import { Clip, answer, seconds } from "./watch-clip.js";
import { Diagram } from "./watch-diagram.js";
import { Overlay } from "./watch-overlay.js";
import { Overruling } from "./watch-overrule.js";
import { Player } from "./watch-player.js";
import { StrideTable } from "./watch-strides.js";

const POLL_MS = 700;
const by = (id) => document.getElementById(id);
const address = `/clips/${by("watch").dataset.clip}`;

function trouble(error) {
  by("trouble").textContent = error.message;
  by("trouble").hidden = false;
  by("trouble").scrollIntoView({ block: "nearest" });
}

class Watch {
  constructor(told) {
    const clip = this.clip = new Clip(told);
    this.player = new Player(clip);
    this.overlay = new Overlay(by("marks"), clip);
    this.diagram = new Diagram(by("diagram"), clip, (row) => this.go(row));
    this.table = new StrideTable(by("strides"), clip, {
      go: (stride) => this.go(clip.span(stride)[0]),
      loop: (stride) => { this.player.setLoop(clip.span(stride)); this.player.play(); this.toFilm(); },
      overrule: (stride) => this.overruling.open(stride),
    });
    this.overruling = new Overruling(
      { dialog: by("overrule"), undo: by("undo"), redo: by("redo"), words: by("mine-words"), list: by("mine-list"), report: by("mine-report") },
      clip, `${address}/overruled`, () => { this.table.fill(); this.diagram.redraw(); this.show(); },
    );
    by("gait").textContent = clip.gait;
    by("clock").textContent = clip.clock;
    by("diagram").setAttribute("aria-valuemax", clip.rows);
    by("runs").replaceChildren(...clip.runs.map((run) => this.runButton(run)));
    this.player.addEventListener("row", () => this.show());
    this.player.addEventListener("state", () => this.state());
    this.listen();
    this.show();
    this.overruling.load();
    this.film();
  }

  runButton(run) {
    const button = Object.assign(document.createElement("button"), { type: "button", className: "button" });
    button.textContent = `${run.gait}, ${run.start.toFixed(2)} – ${seconds(run.end)}`;
    button.addEventListener("click", () => this.go(this.clip.from(run.start)));
    return button;
  }

  // A hand went somewhere: the film rests there.
  go(row) {
    this.player.pause();
    this.player.go(row);
  }

  // On a small screen the table is far below the film.
  toFilm() { by("screen").scrollIntoView({ block: "nearest" }); }

  async film(again) {
    try {
      let told = await ask(`${address}/film.json`, again ? {} : undefined);
      while (told.state === "making") {
        by("film-state").textContent = told.total
          ? `Preparing the film: ${Math.round((100 * told.done) / told.total)} %. The landmarks are shown meanwhile.`
          : "Preparing the film. The landmarks are shown meanwhile.";
        await new Promise((done) => { setTimeout(done, POLL_MS); });
        told = await ask(`${address}/film.json`);
      }
      this.useFilm(told);
    } catch (error) { by("film-state").textContent = error.message; }
  }

  useFilm(told) {
    by("film-state").textContent = told.words ?? "";
    by("film-again").hidden = !told.again;
    if (told.state !== "ready") return;
    const video = by("film");
    video.addEventListener("loadeddata", () => {
      video.hidden = false;
      this.overlay.place({ left: 0, top: 0, width: told.of[0], height: told.of[1] });
      this.player.useFilm(video, told.numbers);
      by("screen").dataset.film = "shown";
    }, { once: true });
    video.addEventListener("error", () => {
      by("film-state").textContent = "This browser cannot play the film (H.264). The landmarks are shown alone.";
    }, { once: true });
    video.src = `${address}/film.mp4`;
  }

  stride() { return this.clip.strideAt("near_hind", this.player.asked); }

  show() {
    const { clip, player } = this, row = player.row, stride = clip.strideAt("near_hind", row);
    this.overlay.show(row);
    this.diagram.show(row);
    this.table.show(row);
    const of = stride ? `; stride ${stride.number}: ${stride.overruled ? stride.overruled.gait || "left out" : answer(stride)}` : "";
    by("now").textContent = `Frame ${row + 1} of ${clip.rows}, ${seconds(clip.t[row], 3)}${of}`;
    by("screen").dataset.row = row;
  }

  state() {
    const { player } = this, loop = document.querySelector("[data-do=loop]");
    document.querySelector("[data-do=play]").textContent = player.playing ? "Pause" : "Play";
    loop.setAttribute("aria-pressed", String(Boolean(player.loop)));
    this.diagram.setLoop(player.loop);
    document.querySelector(`[name=speed][value="${player.speed}"]`).checked = true;
  }

  toStride(by_) {
    const strides = this.clip.stridesOf("near_hind").map((stride) => this.clip.span(stride)[0]);
    const at = this.player.asked;
    const next = by_ > 0 ? strides.find((row) => row > at) : strides.findLast((row) => row < at);
    if (next !== undefined) this.go(next);
  }

  toggleLoop() {
    const { player } = this, stride = this.stride();
    if (player.loop || !stride) { player.setLoop(null); return; }
    player.setLoop(this.clip.span(stride));
  }

  async mark() {
    this.player.pause();
    try {
      const told = await ask(`${address}/mark?frame=${this.clip.frame[this.player.row]}`, {});
      location.assign(told.goto);
    } catch (error) { trouble(error); }
  }

  does() {
    const { player, diagram } = this;
    return {
      play: () => player.toggle(),
      back: () => player.step(-1),
      on: () => player.step(1),
      "stride-back": () => this.toStride(-1),
      "stride-on": () => this.toStride(1),
      loop: () => this.toggleLoop(),
      mark: () => this.mark(),
      earlier: () => diagram.move(-1),
      later: () => diagram.move(1),
      closer: () => diagram.zoom(true),
      wider: () => diagram.zoom(false),
      whole: () => diagram.setSpan(Infinity),
    };
  }

  listen() {
    const does = this.does(), speed = (value) => () => this.player.setSpeed(value);
    const keys = {
      " ": does.play, ",": does.back, ".": does.on, ArrowLeft: does.back, ArrowRight: does.on, "[": does["stride-back"],
      "]": does["stride-on"], l: does.loop, 1: speed(1), 2: speed(0.5), 4: speed(0.25), 8: speed(0.125), "+": does.closer,
      "-": does.wider,
    };
    for (const button of document.querySelectorAll("[data-do]")) button.addEventListener("click", does[button.dataset.do]);
    for (const radio of document.querySelectorAll("[name=speed]")) radio.addEventListener("change", () => this.player.setSpeed(Number(radio.value)));
    for (const radio of document.querySelectorAll("[name=paw]")) radio.addEventListener("change", () => { this.table.setPaw(radio.value); this.show(); });
    for (const what of ["landmarks", "paws"]) {
      by(`show-${what}`).addEventListener("change", (event) => { this.overlay[what] = event.target.checked; this.overlay.draw(); });
    }
    by("film-again").addEventListener("click", () => this.film(true));
    by("screen").addEventListener("click", does.play);
    document.addEventListener("keydown", (event) => this.key(event, keys));
  }

  key(event, keys) {
    if (event.ctrlKey || event.metaKey || event.altKey || by("overrule").open) return;
    const on = event.target.closest("button, a, summary, input, select, textarea, .scroll");
    const own = on && (event.key === " " || event.key.startsWith("Arrow"));  // what these do with it themselves
    if (own && !(event.key !== " " && on.matches("button, [type=checkbox]"))) return;
    if (on?.matches("select, textarea, input:not([type=checkbox], [type=radio])")) return;
    const act = keys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!act) return;
    event.preventDefault();
    act();
  }
}

try {
  const watch = new Watch(await ask(`${address}/watch.json`));
  const at = Number(new URLSearchParams(location.search).get("t"));
  if (at) watch.go(watch.clip.nearest(at));
} catch (error) { trouble(error); }
