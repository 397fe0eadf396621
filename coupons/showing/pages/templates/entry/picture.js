// The picture: which feature a finger meant, and marks for what is now, begun and done.
const svg = $("picture");
const SVG_NS = "http://www.w3.org/2000/svg";
const FINGER_MM = 8; // a tap this near to a feature means it
const CLOSER_PX_PER_MM = 6; // an 8 mm feature is then as large as a fingertip
const TOO_SMALL_PX_PER_MM = 2.6;
const DISC_MM = 1.5;
const places = new Map(); // feature id → its box in the drawing's millimetres

// Boxes are asked for once: asking makes the browser lay the page out.
function findPlaces() {
  if (!svg) return;
  const toDrawing = svg.getScreenCTM()?.inverse();
  if (!toDrawing) return;
  const boxOf = (node) => {
    const box = node.getBoundingClientRect();
    const low = new DOMPoint(box.left, box.top).matrixTransform(toDrawing);
    const high = new DOMPoint(box.right, box.bottom).matrixTransform(toDrawing);
    return { x: low.x, y: low.y, width: high.x - low.x, height: high.y - low.y };
  };
  for (const group of svg.querySelectorAll("[data-id]")) {
    const box = boxOf(group);
    const shape = group.querySelector("circle, rect, path:not([fill=none])");
    const name = group.querySelector("path[fill=none]") ?? group.querySelector("text");
    places.set(group.dataset.id, { ...box, mark: markPlace(box, shape && boxOf(shape), name && boxOf(name)) });
  }
}

// Where a feature's disc stands: at the corner of its shape that is furthest from its name, so that
// the name stays readable; above a name without a shape.
function markPlace(box, shape, name) {
  if (!shape || !name) return { x: box.x + box.width / 2, y: box.y - DISC_MM };
  const middle = { x: name.x + name.width / 2, y: name.y + name.height / 2 };
  const away = (corner) => Math.hypot(corner.x - middle.x, corner.y - middle.y);
  return [[0, 0], [1, 0], [0, 1], [1, 1]]
    .map(([right, down]) => ({ x: shape.x + right * shape.width, y: shape.y + down * shape.height }))
    .reduce((best, corner) => (away(corner) > away(best) + 0.3 ? corner : best));
}

const outside = (at, from, length) => Math.max(from - at, 0, at - from - length);

function featureAt(event) {
  const direct = event.target.closest?.("[data-id]");
  if (direct) return direct.dataset.id;
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  let best = null, least = FINGER_MM;
  for (const [id, box] of places) {
    const away = Math.hypot(outside(point.x, box.x, box.width), outside(point.y, box.y, box.height));
    if (away < least) [best, least] = [id, away];
  }
  return best;
}

function mark(shape, attributes) {
  const node = document.createElementNS(SVG_NS, shape);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  return node;
}

// A disc at its place by the feature: half filled when begun, ticked when done.
function disc(x, y, kind) {
  const group = mark("g", { class: kind, transform: `translate(${x} ${y})` });
  group.append(mark("circle", { r: DISC_MM }));
  group.append(mark("path", { d: kind === "done" ? "M-.8 0l.6 .7 1-1.3" : "M0 -1.5a1.5 1.5 0 0 0 0 3z" }));
  return group;
}

function ring({ x, y, width, height }) {
  const room = 1.2;
  return mark("rect", {
    class: "now", x: x - room, y: y - room, width: width + 2 * room, height: height + 2 * room, rx: 1.6,
  });
}

function lozenge({ x, y, width, height }) {
  const [middleX, middleY] = [x + width / 2, y + height / 2];
  const reach = Math.max(width, height) / 2 + 2;
  return mark("path", {
    class: "partner",
    d: `M${middleX} ${middleY - reach}l${reach} ${reach}l${-reach} ${reach}l${-reach} ${-reach}z`,
  });
}

// `states` maps a feature id to "some" or "done".
function drawMarks(states, step) {
  if (!svg) return;
  const marks = document.createDocumentFragment();
  for (const [id, state] of states) {
    const box = places.get(id);
    if (box) marks.append(disc(box.mark.x, box.mark.y, state));
  }
  const here = places.get(step?.feature), mate = places.get(step?.mate);
  if (mate) marks.append(lozenge(mate));
  if (here) marks.append(ring(here));
  $("marks").replaceChildren(marks);
  svg.setAttribute("aria-label", step?.feature ? `Map of the coupon; ${step.feature} is marked` : "Map of the coupon");
}

// The window scrolls by itself, so that a finger, a wheel or the keys can move the picture too.
function followTo(step) {
  const box = places.get(step?.feature);
  if (!box) return;
  const pane = $("window");
  const corner = new DOMPoint(box.x + box.width / 2, box.y + box.height / 2).matrixTransform(svg.getScreenCTM());
  const frame = pane.getBoundingClientRect();
  pane.scrollBy({
    left: corner.x - frame.left - frame.width / 2, top: corner.y - frame.top - frame.height / 2,
  });
}

function setCloser(on) {
  if (!svg) return;
  const view = svg.viewBox.baseVal;
  svg.style.width = on ? `${Math.round(view.width * CLOSER_PX_PER_MM)}px` : "";
  $("window").classList.toggle("close", on);
  $("closer").setAttribute("aria-pressed", String(on));
}

// On a phone a whole plate is too small for a finger; whole, the picture fits its window both ways.
const startsClose = () => Boolean(svg) && svg.getScreenCTM().a < TOO_SMALL_PX_PER_MM;
