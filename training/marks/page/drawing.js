// Draws the landmarks over the picture, in screen px: open rings, fore paws round, hind paws square, back points pointed.

const SPACE = "http://www.w3.org/2000/svg";
export const COLOURS = ["--near-fore", "--far-fore", "--near-hind", "--far-hind", "--withers", "--croup"];
export const SHORT = ["near fore", "far fore", "near hind", "far hind", "withers", "croup"];
const LIMBS = [[4, 0], [4, 1], [5, 2], [5, 3], [4, 5]];
const FAR = new Set([1, 3]);

function node(name, about, parent) {
  const made = document.createElementNS(SPACE, name);
  for (const [key, value] of Object.entries(about)) made.setAttribute(key, value);
  parent?.append(made);
  return made;
}

// The outline of a landmark's sign around (x, y), r screen px large.
function outline(mark, x, y, r) {
  if (mark < 2) return `M${x - r},${y} a${r},${r} 0 1,0 ${2 * r},0 a${r},${r} 0 1,0 ${-2 * r},0`;
  if (mark < 4) return `M${x - r},${y - r} h${2 * r} v${2 * r} h${-2 * r} z`;
  const up = mark === 4 ? -1 : 1;
  return `M${x},${y + 1.3 * r * up} L${x + 1.2 * r},${y - 0.8 * r * up} H${x - 1.2 * r} z`;
}

export function sign(mark, visibility = 2) {
  const svg = node("svg", { viewBox: "-12 -12 24 24", "aria-hidden": "true" });
  svg.style.color = `var(${COLOURS[mark]})`;
  const dashes = visibility === 1 ? "3 3" : "none";
  node("path", { d: outline(mark, 0, 0, 7), fill: "none", stroke: "currentColor", "stroke-width": 3, "stroke-dasharray": dashes }, svg);
  return svg;
}

// points: six [x, y, visibility] | null; chosen: a number or null; place: picture px -> screen px
export function draw(svg, points, chosen, place) {
  svg.replaceChildren();
  const at = points.map((point) => (point?.[2] ? place(point) : null));
  for (const [from, to] of LIMBS) {
    if (!at[from] || !at[to]) continue;
    const [[x1, y1], [x2, y2]] = [at[from], at[to]];
    node("line", { x1, y1, x2, y2, class: FAR.has(to) ? "limb far" : "limb" }, svg);
  }
  points.forEach((point, mark) => { if (at[mark] && mark !== chosen) ring(svg, mark, at[mark], point[2], false); });
  if (chosen !== null && at[chosen]) ring(svg, chosen, at[chosen], points[chosen][2], true);
}

function ring(svg, mark, [x, y], visibility, chosen) {
  const group = node("g", { "data-mark": mark }, svg), r = chosen ? 11 : 8;
  const d = outline(mark, x, y, r), covered = visibility === 1 ? " covered" : "";
  node("path", { d, class: "edge", "stroke-width": chosen ? 6 : 5 }, group);
  const line = node("path", { d, class: `ring${covered}`, "stroke-width": chosen ? 3.5 : 2.5 }, group);
  line.style.stroke = `var(${COLOURS[mark]})`;
  for (const [dx, dy] of chosen ? [[1, 0], [-1, 0], [0, 1], [0, -1]] : []) {
    node("line", { x1: x + 4 * dx, y1: y + 4 * dy, x2: x + 18 * dx, y2: y + 18 * dy, class: "cross" }, group);
  }
  node("circle", { cx: x, cy: y, r: 1.2, fill: "#ffffff" }, group);
  if (chosen) node("text", { x: x + 16, y: y - 14 }, group).textContent = SHORT[mark] + (covered ? ", hidden" : "");
}
