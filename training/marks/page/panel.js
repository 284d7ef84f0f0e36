// Words, buttons and progress around the picture.

import { sign } from "./drawing.js";
import { told } from "./work.js";

export const by = (id) => document.getElementById(id);
const words = (name) => name.replace("_", " ");
const SAYING_MS = 6000;
const UNSEEN = "This picture cannot be shown: it is missing in the folder, or the server is gone.";

export class Panel {
  constructor(given, desk) {
    this.given = given;
    this.desk = desk;
    this.saying = this.saved = "";
    by("home").hidden = !given.home;
    by("home").href = given.home || "";
    by("whose").textContent = `${given.folder}, marked by ${given.marker}`;
    const press = {
      undo: () => desk.undo(), redo: () => desk.redo(), help: () => desk.help(),
      in: () => desk.zoom(1.4), out: () => desk.zoom(1 / 1.4), fit: () => desk.fit(),
      hidden: () => desk.cover(), absent: () => desk.leaveOut(), exchange: () => desk.exchange(), unsure: () => desk.unsure(),
      nodog: () => desk.withoutDog(), facing: () => desk.turn(), again: () => desk.again(),
      earlier: () => desk.look(-1), later: () => desk.look(1), back: () => desk.backToPicture(),
      before: () => desk.ghost(-1), after: () => desk.ghost(1),
      previous: () => desk.go(-1), next: () => desk.go(1), finish: () => desk.finish(),
    };
    for (const [id, act] of Object.entries(press)) by(id).addEventListener("click", act);
    // keys go on with the picture after a click by hand; after one by key the focus stays where it is
    document.addEventListener("click", (event) => {
      if (event.detail && event.target.closest("button") && !document.querySelector("dialog[open]")) {
        by("stage").focus({ preventScroll: true, focusVisible: false });
      }
    });
    this.rows = given.landmarks.map((one, mark) => this.landmark(one, mark));
  }

  landmark(one, mark) {
    const row = document.createElement("button");
    row.className = "landmark";
    row.innerHTML = "<span></span><kbd></kbd><span></span><small></small>";
    const [, key, name] = row.children;
    key.textContent = mark + 1;
    name.textContent = words(one.name);
    row.addEventListener("click", () => this.desk.choose(mark));
    by("landmarks").append(row);
    return row;
  }

  picture(picture, source) {
    const image = by("picture");
    image.style.visibility = "hidden";  // never the old picture below the new marks
    image.onload = () => { image.style.visibility = ""; this.unsay(UNSEEN); };
    image.onerror = () => this.say(UNSEEN);
    image.src = source;
    const { clip, frame, dog, date, condition, why } = picture.notes;
    const place = [clip, Number.isInteger(frame) ? `frame ${frame}` : null].filter(Boolean).join(", ");
    const title = document.createElement("strong");
    title.textContent = place || `picture ${picture.id}`;
    const lines = [[dog, condition, date].filter(Boolean).join(", "), why ? `Picked: ${why}` : ""].filter(Boolean);
    by("about").replaceChildren(by("which"), title, ...lines.map((line) => Object.assign(document.createElement("div"), { textContent: line })));
  }

  refresh(desk) {
    const { state, chosen, work } = desk, point = state.points[chosen], name = this.given.landmarks[chosen];
    this.rows.forEach((row, mark) => this.landmarkRow(row, mark, desk, mark === chosen));
    by("name").textContent = words(name.name);
    by("where").textContent = name.guide;
    by("instead").textContent = name.not;
    const paw = chosen < 4, pair = chosen < 2 ? "fore" : "hind";
    pressed("hidden", point?.[2] === 1, !point?.[2]);
    pressed("absent", point?.[2] === 0, state.no_dog);
    pressed("unsure", paw && !state.sides_sure[pair], !paw || state.no_dog);
    pressed("nodog", state.no_dog);
    by("exchange").disabled = !paw || state.no_dog;
    by("facing").textContent = `Faces ${state.facing ?? "?"}`;
    by("facing").disabled = state.no_dog || told(state.points) !== null;
    this.progress(work, state, desk);
    this.over(desk);
  }

  landmarkRow(row, mark, { state, picture }, chosen) {
    const point = state.points[mark], [shape, , , told_] = row.children;
    row.setAttribute("aria-pressed", chosen);
    shape.replaceChildren(sign(mark, point?.[2]));
    row.classList.toggle("open", point === null && !state.no_dog);
    const status = point === null ? (state.no_dog ? "no dog" : "to place") : ["not in picture", "hidden", "seen"][point[2]];
    const score = picture.score[mark], first = picture.start.points[mark];
    const asFound = Number.isFinite(score) && point?.[2] && first && point[0] === first[0] && point[1] === first[1];
    told_.textContent = asFound ? `${status}, as found (score ${Math.round(100 * score)} %)` : status;
  }

  progress(work, state, desk) {
    const count = work.pictures.length, finished = work.finished();
    const begun = work.pictures.filter((one) => one.state && !one.state.finished).length;
    by("bar").max = count;
    by("bar").value = finished;
    by("count").textContent = `${finished} of ${count} finished${begun ? `, ${begun} begun` : ""}`;
    by("which").textContent = `Picture ${desk.row + 1} of ${count}${state.finished ? ", finished" : ""}`;
    by("finish").textContent = state.finished ? "Finished ✓, next" : "Finished, next";
    by("undo").disabled = !work.done.length;
    by("redo").disabled = !work.undone.length;
    by("previous").disabled = desk.row === 0;
    by("next").disabled = desk.row === count - 1;
    by("next").title = `Next picture (Page down); this is ${desk.row + 1} of ${count}`;
  }

  over(desk) {
    const { offset, reason, ghosts } = desk.clip;
    by("looking").hidden = offset === 0;
    const frames = Math.abs(offset) === 1 ? "1 frame" : `${Math.abs(offset)} frames`;
    by("looking").textContent = `${frames} ${offset < 0 ? "earlier" : "later"}: to look at only. Esc goes back.`;
    const open = desk.undecided();
    by("invite").hidden = offset !== 0 || (open === null && !desk.state.no_dog);
    by("invite").textContent = desk.state.no_dog ? "No dog in this picture" : `Tap or click: ${words(this.given.landmarks[open ?? 0].name)}`;
    by("stage").classList.toggle("placing", open !== null && offset === 0);
    for (const id of ["earlier", "later"]) by(id).disabled = reason !== null;
    by("back").disabled = offset === 0;
    pressed("before", ghosts["-1"], reason !== null);
    pressed("after", ghosts["1"], reason !== null);
  }

  clipReason(reason) {
    by("reason").textContent = reason ? `No further frame: ${reason}` : "";
    queueMicrotask(() => this.desk.clip && this.refresh(this.desk));
  }

  // Something to know for a moment, then again whether all is saved.
  say(line) {
    clearTimeout(this.fading);
    this.saying = line;
    this.status();
    this.fading = setTimeout(() => { this.saying = ""; this.status(); }, SAYING_MS);
  }

  // It is no longer so.
  unsay(line) { if (this.saying === line) this.say(""); }

  status() { by("saved").textContent = this.saying || this.saved; }

  saving(state, line) {
    const banner = by("banner");
    banner.hidden = state !== "gone" && state !== "refused";
    if (state === "gone") {
      banner.textContent = `Not saved yet: ${line || "the server does not answer. Start pawfall mark again;"} what you do is kept here and sent when it is back.`;
    }
    if (state === "refused") banner.textContent = `Not saved: ${line} Load this page again before going on.`;
    if (state === "saving") this.saved = "Saving …";
    if (state === "saved") this.saved = "All saved";
    this.status();
  }
}

function pressed(id, is, disabled = false) {
  by(id).setAttribute("aria-pressed", Boolean(is));
  by(id).disabled = disabled;
}
