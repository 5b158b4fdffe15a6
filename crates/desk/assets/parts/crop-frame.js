// A frame over a picture that says which part of it is meant; moved by hand, keys or numbers.
//
// In: a picture and a first rectangle (pixels). Out: an element and the rectangle. Never here: what
// the part is for.

import { announcer, freshId, h } from "./page.js";
import { apply } from "./geometry.js";
import { attach, movementButtons } from "./gestures.js";
import { handle } from "./handle.js";
import { Layer } from "./layer.js";
import { Stage } from "./stage.js";
import { View } from "./view.js";

const LEAST_PX = 8;
const LARGEST = 8;
const IDENTITY = [[1, 0, 0], [0, 1, 0], [0, 0, 1]];

export class CropFrame {
  /** `picture`: src, width, height. `rect`: x, y, width, height. */
  constructor(picture, rect, alt) {
    this.picture = picture;
    this.view = new View({ x: 0, y: 0, width: picture.width, height: picture.height }, LARGEST);
    this.stage = new Stage(this.view);
    this.stage.add(new Layer(picture, alt), IDENTITY);
    this.corners = [0, 1].map((end) => handle({
      label: end === 0 ? "Top left corner of the part" : "Bottom right corner of the part",
      className: "corner",
      move: (dx, dy, kind) => {
        const unit = kind === "key" ? 1 : 1 / this.view.scale;
        this.#drag(end, dx * unit, dy * unit);
      },
    }));
    this.voice = announcer();
    const help = freshId("keys");
    const { element } = this.stage;
    element.append(...this.corners.map((held) => held.element));
    element.tabIndex = 0;
    element.setAttribute("role", "group");
    element.setAttribute("aria-label", "Picture: move with the arrow keys, Tab to the corners of the part");
    element.setAttribute("aria-describedby", help);
    let from = null;
    const at = (event) => {
      const box = element.getBoundingClientRect();
      return this.view.toWorld([event.clientX - box.left, event.clientY - box.top]);
    };
    attach(element, this.view, { drag: () => true, draws: () => true });
    element.addEventListener("pointerdown", (event) => {
      if (event.button !== 0 || event.target.closest(".handle")) return;
      element.setPointerCapture(event.pointerId);
      from = at(event);
    });
    element.addEventListener("pointermove", (event) => {
      if (!from) return;
      const [x, y] = at(event);
      if (Math.hypot(x - from[0], y - from[1]) * this.view.scale < LEAST_PX) return;
      this.set({ x: Math.min(x, from[0]), y: Math.min(y, from[1]), width: Math.abs(x - from[0]), height: Math.abs(y - from[1]) });
    });
    const lift = () => { from = null; };
    element.addEventListener("pointerup", lift);
    element.addEventListener("pointercancel", lift);
    this.fields = { x: "Left", y: "Top", width: "Width", height: "Height" };
    const inputs = Object.entries(this.fields).map(([key, word]) => h("label", { class: "choice" }, word,
      this.fields[key] = h("input", { type: "number", min: 0, step: 1, onchange: (event) => this.set({ ...this.rect, [key]: event.target.valueAsNumber || 0 }) })));
    this.element = h("div", { class: "crop-frame" }, element,
      h("div", { class: "tools" }, inputs, movementButtons(h, this.view)),
      h("p", { class: "note", id: help }, "Drag over the picture, drag a corner, or Tab to a corner and use the arrow keys (Shift: ten pixels)."),
      this.voice.element);
    this.stage.painted = () => {
      const map = this.view.matrix();
      const { x, y, width, height } = this.rect;
      this.corners[0].put(apply(map, [x, y]));
      this.corners[1].put(apply(map, [x + width, y + height]));
    };
    this.set(rect);
  }

  #drag(end, dx, dy) {
    const { x, y, width, height } = this.rect;
    this.set(end === 0
      ? { x: x + dx, y: y + dy, width: width - dx, height: height - dy }
      : { x, y, width: width + dx, height: height + dy });
  }

  set(rect) {
    const { width, height } = this.picture;
    const x = Math.min(Math.max(rect.x, 0), width - LEAST_PX);
    const y = Math.min(Math.max(rect.y, 0), height - LEAST_PX);
    this.rect = {
      x, y,
      width: Math.min(Math.max(rect.width, LEAST_PX), width - x),
      height: Math.min(Math.max(rect.height, LEAST_PX), height - y),
    };
    for (const [key, field] of Object.entries(this.fields)) field.value = String(Math.round(this.rect[key]));
    const [l, t, r, b] = [this.rect.x, this.rect.y, this.rect.x + this.rect.width, this.rect.y + this.rect.height];
    this.stage.show([{ kind: "finding", label: "", polygon: [[l, t], [r, t], [r, b], [l, b]] }]);
  }

  /** The part in whole pixels. */
  whole() {
    const x = Math.round(this.rect.x);
    const y = Math.round(this.rect.y);
    return { x, y, width: Math.max(1, Math.round(this.rect.x + this.rect.width) - x), height: Math.max(1, Math.round(this.rect.y + this.rect.height) - y) };
  }
}
