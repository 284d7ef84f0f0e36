// Every key, once: what it is called on the sheet, when it is meant, and what it does.

const STEP = 1, LARGE = 10, FINE = 0.25;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

const plain = (event) => !event.ctrlKey && !event.metaKey && !event.altKey;
const control = (event) => (event.ctrlKey || event.metaKey) && !event.altKey;
const letter = (one) => (event) => plain(event) && event.key.toLowerCase() === one;
const key = (...names) => (event) => plain(event) && names.includes(event.key);

// desk: what the page can do (main.js)
export function keysOf(desk) {
  return [
    ["1 to 6", "choose a landmark", (e) => plain(e) && /^[1-6]$/.test(e.key), (e) => desk.choose(Number(e.key) - 1)],
    ["arrows", `move it by ${STEP} px of the picture; one without a place is put in the middle of what is seen`,
      (e) => e.key in ARROWS && !e.ctrlKey && !e.metaKey, (e) => nudge(desk, e)],
    ["Shift + arrows", `by ${LARGE} px`],
    ["Alt + arrows", `by ${FINE} px`],
    ["P", "place it in the middle of what is seen", letter("p"), () => desk.placeInMiddle()],
    ["X", "exchange near and far of its pair", letter("x"), () => desk.exchange()],
    ["H", "hidden, but placed", letter("h"), () => desk.cover()],
    ["N", "not in the picture", letter("n"), () => desk.leaveOut()],
    ["U", "near and far of its pair cannot be told", letter("u"), () => desk.unsure()],
    ["D", "no dog in this picture", letter("d"), () => desk.withoutDog()],
    ["W", "way the dog faces, where withers and croup do not tell", letter("w"), () => desk.turn()],
    ["R", "what was here at first", letter("r"), () => desk.again()],
    ["Enter", "all of it is right: finished, on to the next", key("Enter"), () => desk.finish()],
    ["Page up, Page down", "previous, next picture", key("PageUp", "PageDown"), (e) => desk.go(e.key === "PageUp" ? -1 : 1)],
    [", and .", "one frame earlier, later in the clip, to look at", key(",", "."), (e) => desk.look(e.key === "," ? -1 : 1)],
    ["Esc", "back to the picture to mark", key("Escape"), () => desk.backToPicture()],
    ["B, A", "ghost of the frame before, after", (e) => letter("b")(e) || letter("a")(e),
      (e) => desk.ghost(e.key.toLowerCase() === "b" ? -1 : 1)],
    ["+ and -", "zoom", key("+", "=", "-"), (e) => desk.zoom(e.key === "-" ? 1 / 1.4 : 1.4)],
    ["Z", "zoom to the chosen landmark", letter("z"), () => desk.zoomToChosen()],
    ["F", "whole picture", letter("f"), () => desk.fit()],
    ["Ctrl+Z", "undo, as far back as there is anything",
      (e) => control(e) && e.key.toLowerCase() === "z" && !e.shiftKey, () => desk.undo()],
    ["Ctrl+Shift+Z, Ctrl+Y", "redo",
      (e) => control(e) && (e.key.toLowerCase() === "y" || (e.key.toLowerCase() === "z" && e.shiftKey)), () => desk.redo()],
    ["?", "this sheet", key("?"), () => desk.help()],
  ];
}

function nudge(desk, event) {
  const by = event.shiftKey ? LARGE : event.altKey ? FINE : STEP;
  const [x, y] = ARROWS[event.key];
  desk.nudge(x * by, y * by);
}

export function listen(desk) {
  const keys = keysOf(desk);
  document.addEventListener("keydown", (event) => {
    if (document.querySelector("dialog[open]")) return;
    // Enter and space on a button press that button
    if (event.target.closest("button") && (event.key === "Enter" || event.key === " ")) return;
    const found = keys.find(([, , meant]) => meant?.(event));
    if (!found) return;
    event.preventDefault();
    found[3](event);
  });
  document.addEventListener("keyup", (event) => { if (event.key in ARROWS) desk.settle(); });
  const list = document.getElementById("keys");
  for (const [name, what] of keys) {
    const row = document.createElement("div"), term = document.createElement("dt"), told = document.createElement("dd");
    term.textContent = name;
    told.textContent = what;
    row.append(term, told);
    list.append(row);
  }
}
