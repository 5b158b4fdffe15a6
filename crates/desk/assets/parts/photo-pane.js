// <photo-pane>: one photo, to move and to magnify, with outlines.
//
// In: src, width, height, file, alt, small? {src, width, height}, overlays [{kind, label,
// polygon_px}] (pixels counted from the centre of the top-left one). Out: a pane. Never here: mm.

import { announcer, dataOf, enhance, freshId, h } from "./page.js";
import { EDGE_FROM_CENTRE, apply } from "./geometry.js";
import { attach, movementButtons } from "./gestures.js";
import { Layer } from "./layer.js";
import { legend } from "./marks.js";
import { Stage } from "./stage.js";
import { View } from "./view.js";

/** Largest magnification: a photo's pixel on this many CSS pixels. */
const LARGEST = 8;
const IDENTITY = [[1, 0, 0], [0, 1, 0], [0, 0, 1]];

class PhotoPane extends HTMLElement {
  connectedCallback() {
    if (this.view) return;
    const data = dataOf(this);
    this.view = new View({ x: 0, y: 0, width: data.width, height: data.height }, LARGEST);
    this.stage = new Stage(this.view);
    // The picture that is shown without modules goes on being shown, and is not fetched again.
    const there = this.querySelector("img");
    this.layer = new Layer(data, data.alt ?? "", there);
    this.stage.add(this.layer, IDENTITY);
    const shapes = (data.overlays ?? []).map(({ kind, label, polygon_px }) => ({
      kind, label, polygon: polygon_px.map((point) => apply(EDGE_FROM_CENTRE, point)),
    }));
    this.stage.show(shapes);
    const voice = announcer();
    const help = freshId("keys");
    const tell = () => voice.say(`${(this.view.scale / this.view.fitScale).toFixed(1)} times the whole photo.`);
    const outlines = shapes.length > 0 && h("label", { class: "choice" },
      h("input", { type: "checkbox", checked: true, onchange: (event) => this.stage.show(event.target.checked ? shapes : []) }), "Outlines");
    const { element } = this.stage;
    element.tabIndex = 0;
    element.setAttribute("role", "group");
    element.setAttribute("aria-label", `Photo ${data.file ?? ""}: move with the arrow keys`);
    element.setAttribute("aria-describedby", help);
    attach(element, this.view, {
      moved: tell,
      key: (event) => {
        if (event.key.toLowerCase() !== "o" || !outlines) return false;
        outlines.querySelector("input").click();
        return true;
      },
    });
    enhance(this,
      element,
      h("div", { class: "tools" }, outlines || null, movementButtons(h, this.view, tell)),
      legend(data.overlays ?? []),
      h("details", { class: "keys", id: help }, h("summary", {}, "Keys"),
        h("p", {}, "With the photo in focus: arrows move (with Shift by a pixel), + and − magnify, 0 shows all of it, O outlines.")),
      voice.element);
  }
}

customElements.define("photo-pane", PhotoPane);
