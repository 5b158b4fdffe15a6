// The desk's one module: the parts that a page asks for by its elements, and nothing else.
//
// In: a page of the desk. Out: the same page, with pictures that move. Pages work without it: what
// stands inside an element is shown until its part has been loaded.

const ELEMENTS = {
  "face-compare": () => import("./parts/face-compare.js"),
  "photo-pane": () => import("./parts/photo-pane.js"),
  "corner-drag": () => import("./parts/corner-drag.js"),
  "region-draw": () => import("./parts/region-draw.js"),
  "board-maker": () => import("./parts/board-maker.js"),
  "drop-zone": () => import("./parts/drop-zone.js"),
  "case-progress": () => import("./parts/case-progress.js"),
};

const BEHAVIOURS = {
  "form[data-rows]": () => import("./parts/queue.js"),
  "[data-neighbours]": () => import("./parts/neighbours.js"),
  "[data-copy]": () => import("./parts/copy.js"),
};

for (const [name, load] of Object.entries(ELEMENTS)) {
  if (document.querySelector(name)) load();
}
for (const [selector, load] of Object.entries(BEHAVIOURS)) {
  const places = [...document.querySelectorAll(selector)];
  if (places.length > 0) load().then(({ start }) => places.forEach(start));
}
