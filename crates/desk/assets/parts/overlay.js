// Outlines over a pane: a face, regions, seals, findings, what covers the item.
//
// In: shapes in the pane's plane, the map from plane to pane. Out: SVG. Kinds differ by their dash
// and by their words, never by colour alone; each line is dark between two light ones, so that it
// is seen on any print. Never here: what a shape means.

import { apply } from "./geometry.js";

const SVG = "http://www.w3.org/2000/svg";
const LABEL_LETTERS = 24;

export class Overlay {
  #shapes = [];

  /** `labelled`: whether labels are drawn beside the shapes (they are also listed in words). */
  constructor() {
    this.element = document.createElementNS(SVG, "svg");
    this.element.setAttribute("class", "overlay");
    this.element.setAttribute("aria-hidden", "true");
  }

  /** `shapes`: kind, label, polygon (points of the plane). */
  show(shapes) {
    this.element.replaceChildren();
    this.#shapes = shapes.map(({ kind, label, polygon }) => {
      const group = document.createElementNS(SVG, "g");
      group.setAttribute("class", `shape is-${kind}`);
      const [halo, line] = ["halo", "line"].map((name) => {
        const outline = document.createElementNS(SVG, "polygon");
        outline.setAttribute("class", name);
        return outline;
      });
      const text = document.createElementNS(SVG, "text");
      text.textContent = short(label ?? "");
      group.append(halo, line, text);
      this.element.append(group);
      return { group, halo, line, text, polygon };
    });
    this.cross = document.createElementNS(SVG, "path");
    this.cross.setAttribute("class", "cross");
    this.element.append(this.cross);
  }

  paint(map) {
    const taken = [];
    for (const { group, halo, line, text, polygon } of this.#shapes) {
      const points = polygon.map((point) => apply(map, point));
      group.toggleAttribute("hidden", points.includes(null));
      if (points.includes(null)) continue;
      const list = points.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(" ");
      halo.setAttribute("points", list);
      line.setAttribute("points", list);
      const [x, y] = points.reduce((a, b) => (b[1] < a[1] - 0.5 || (Math.abs(b[1] - a[1]) <= 0.5 && b[0] < a[0]) ? b : a));
      // One label a place: what else lies there is told in the list of findings.
      const free = !taken.some(([tx, ty]) => Math.abs(tx - x) < 60 && Math.abs(ty - y) < 13);
      text.toggleAttribute("hidden", !free);
      if (free) taken.push([x, y]);
      text.setAttribute("x", (x + 5).toFixed(1));
      text.setAttribute("y", (y + 15).toFixed(1));
    }
  }

  /** A small cross at a point of the plane, or none: where the pointer is in the other pane. */
  point(map, at) {
    const on = at && apply(map, at);
    this.cross?.setAttribute("d", on
      ? `M${on[0] - 9} ${on[1]}h6m6 0h6M${on[0]} ${on[1] - 9}v6m0 6v6` : "");
  }
}

/** A label that does not run over the picture; the whole words stand in the list of findings. */
function short(words) {
  return words.length <= LABEL_LETTERS ? words : `${words.slice(0, LABEL_LETTERS - 1).trimEnd()}…`;
}
