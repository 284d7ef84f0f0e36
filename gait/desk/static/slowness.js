// Asks for slow motion in one of two ways: frames per second as the phone says, or how many times slower the film plays.

export function slowness(how, label) {
  label.hidden = !how;
  label.querySelector("span").textContent = how === "times" ? "How many times slower" : "Frames per second, for instance 240";
}
