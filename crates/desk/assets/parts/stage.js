// A pane: pictures and outlines under one view, painted once a frame.
//
// In: a `View` (shared between panes that move together), layers with the map from picture to
// plane. Out: an element. Never here: what the plane's unit is.

import { h } from "./page.js";
import { Overlay } from "./overlay.js";
import { multiply } from "./geometry.js";

export class Stage {
  #due = false;
  #layers = [];
  #near = false;

  /** `options.map`: another way from the plane to the pane than the view's own. */
  constructor(view, options = {}) {
    this.view = view;
    this.options = options;
    this.picture = h("div", { class: "surface" });
    this.overlay = new Overlay();
    this.element = h("div", { class: "stage" }, this.picture, this.overlay.element);
    // Without a height of its own a pane has the plane's shape, so that little room is left empty.
    this.element.style.setProperty("--shape", String(view.world.width / view.world.height));
    this.painted = null;
    view.addEventListener("change", () => this.invalidate());
    // Pictures are fetched when their pane comes near what is seen, and for printing.
    new IntersectionObserver(([entry]) => this.#come(entry.isIntersecting), { rootMargin: "60%" }).observe(this.element);
    addEventListener("beforeprint", () => {
      this.#come(true);
      this.paint();
    });
    new ResizeObserver(([entry]) => {
      view.resize(entry.contentRect.width, entry.contentRect.height);
      this.invalidate();
    }).observe(this.element);
  }

  #come(near) {
    if (near === this.#near) return;
    this.#near = near;
    if (near) this.invalidate();
  }

  /** `planeFromPicture`: pixels counted from the picture's edge to the plane. */
  add(layer, planeFromPicture) {
    this.#layers.push({ layer, planeFromPicture });
    this.picture.append(layer.element);
    layer.failed = () => this.picture.append(h("p", { class: "complaint" }, "This picture cannot be shown. Load the page again; if that does not help, the file is missing from the data folder."));
    this.invalidate();
  }

  /** Lays a layer by another map from now on. */
  lay(layer, planeFromPicture) {
    this.#layers.find((held) => held.layer === layer).planeFromPicture = planeFromPicture;
    this.invalidate();
  }

  show(shapes) {
    this.overlay.show(shapes);
    this.invalidate();
  }

  /** From the plane to the pane, as painted. */
  planeToPane() {
    return this.options.map?.() ?? this.view.matrix();
  }

  invalidate() {
    if (this.#due || !this.#near) return;
    this.#due = true;
    requestAnimationFrame(() => {
      this.#due = false;
      this.paint();
    });
  }

  paint() {
    const map = this.planeToPane();
    for (const { layer, planeFromPicture } of this.#layers) {
      if (planeFromPicture) layer.paint(multiply(map, planeFromPicture), this.view.pane);
    }
    this.overlay.paint(map);
    this.painted?.();
  }
}
