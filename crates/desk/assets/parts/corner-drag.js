// <corner-drag>: says where a face lies in a photo, by its four corners.
//
// In: src, width, height (pixels), small?, size_mm [w, h], corners_px [[x, y] × 4] clockwise from
// the face's top left (counted from the centre of the photo's top-left pixel), action, and the form
// that works without modules, whose hidden fields (token, item, face, photo, …) are kept. Out: that
// form's post with `corners` as JSON. Never here: what follows.
//
// A corner moves by dragging, by arrow keys, or by choosing it and clicking on the photo.

import { announcer, complaint, dataOf, enhance, freshId, h } from "./page.js";
import { apply, CENTRE_FROM_EDGE, EDGE_FROM_CENTRE, fromCorners, invert, isConvex, multiply } from "./geometry.js";
import { attach, movementButtons } from "./gestures.js";
import { handle } from "./handle.js";
import { Layer } from "./layer.js";
import { Stage } from "./stage.js";
import { View } from "./view.js";

const NAMES = ["top left", "top right", "bottom right", "bottom left"];
const IDENTITY = [[1, 0, 0], [0, 1, 0], [0, 0, 1]];
const LARGEST = 12;
/** CSS pixels a photo pixel under the loupe, and at least this many times what the photo shows. */
const LOUPE = 4;

class CornerDrag extends HTMLElement {
  #chosen = 0;
  #history = [];

  connectedCallback() {
    if (this.view) return;
    const data = dataOf(this);
    this.data = data;
    this.corners = data.corners_px.map((corner) => [...corner]);
    this.first = JSON.stringify(this.corners);
    this.saved = this.first;
    const world = { x: 0, y: 0, width: data.width, height: data.height };
    this.view = new View(world, LARGEST);
    this.stage = new Stage(this.view);
    this.stage.add(new Layer(data, data.alt ?? "Photo whose corners are being set"), IDENTITY);
    this.loupe = new Stage(new View(world, 4 * LARGEST));
    this.loupe.add(new Layer(data, ""), IDENTITY);
    const [width, height] = data.size_mm;
    this.flat = new Stage(new View({ x: 0, y: 0, width, height }, 40));
    this.flatLayer = new Layer(data, "The face laid flat by these corners");
    this.flat.add(this.flatLayer, null);
    this.#build();
    this.stage.painted = () => this.#putHandles();
    this.#choose(0);
    this.#moved();
  }

  #build() {
    this.voice = announcer();
    this.problem = complaint();
    this.place = h("p", { class: "readout" });
    const help = freshId("keys");
    this.handles = NAMES.map((name, index) => handle({
      label: `Corner ${name}`,
      className: "corner",
      move: (dx, dy, kind) => this.#move(index, kind === "key" ? dx : dx / this.view.scale, kind === "key" ? dy : dy / this.view.scale),
      done: () => this.#keep(),
      chosen: () => this.#choose(index),
    }));
    const { element } = this.stage;
    element.append(...this.handles.map((held) => held.element));
    element.tabIndex = 0;
    element.setAttribute("role", "group");
    element.setAttribute("aria-label", "Photo: move with the arrow keys, Tab to the corners");
    element.setAttribute("aria-describedby", help);
    attach(element, this.view, {
      drag: (event) => event.target !== element && event.target.closest(".handle") !== null,
      click: (point) => this.#putChosen(this.view.toWorld(point)),
    });
    this.loupe.element.classList.add("loupe");
    this.back = h("button", { type: "button", onclick: () => this.#undo() }, "Undo");
    this.again = h("button", { type: "button", onclick: () => this.#set(JSON.parse(this.first)) }, "As it was found");
    this.field = h("input", { type: "hidden", name: "corners" });
    this.send = h("button", { type: "submit", class: "main" }, "Examine again with these corners");
    const plain = [...this.querySelectorAll('form input[type="hidden"]')];
    const hidden = plain.length > 0 ? plain : ["token", "item", "face", "photo"].map((name) => h("input", { type: "hidden", name, value: this.data[name] ?? "" }));
    this.form = h("form", { method: "post", action: this.data.action, onsubmit: (event) => { if (!this.valid) event.preventDefault(); } },
      hidden, this.field, this.problem.element, h("div", { class: "tools" }, this.send, this.back, this.again));
    enhance(this,
      h("p", {}, "Put the four corners where the face's corners are in the photo. The face must then come out straight and whole in the small picture."),
      h("div", { class: "workspace" },
        h("div", { class: "wide" }, element, h("div", { class: "tools" }, movementButtons(h, this.view))),
        h("div", { class: "narrow" },
          h("figure", { class: "around" }, h("figcaption", {}, "Around the chosen corner"), this.loupe.element, this.place),
          h("figure", {}, h("figcaption", {}, "Laid flat by these corners"), this.flat.element))),
      this.form,
      h("details", { class: "keys", id: help }, h("summary", {}, "Keys"),
        h("p", {}, "Tab goes from corner to corner. Arrows move the corner by a pixel of the photo, with Shift by ten. ",
          "With the photo in focus, arrows move the photo, + and − magnify, 0 shows all of it. ",
          "A click on the photo puts the corner that was chosen last there.")),
      this.voice.element);
  }

  #choose(index) {
    this.#chosen = index;
    this.handles.forEach((held, other) => held.element.classList.toggle("chosen", other === index));
    this.#showLoupe();
  }

  #putChosen(edge) {
    this.corners[this.#chosen] = this.#within(apply(CENTRE_FROM_EDGE, edge));
    this.#moved();
    this.#keep();
  }

  #within([x, y]) {
    return [Math.min(Math.max(x, -0.5), this.data.width - 0.5), Math.min(Math.max(y, -0.5), this.data.height - 0.5)];
  }

  #move(index, dx, dy) {
    const [x, y] = this.corners[index];
    this.corners[index] = this.#within([x + dx, y + dy]);
    this.#moved();
  }

  /** A movement has ended: what was before can be had back. */
  #keep() {
    const now = JSON.stringify(this.corners);
    if (now === this.saved) return;
    this.#history.push(this.saved);
    this.saved = now;
    this.#moved();
    const [x, y] = this.corners[this.#chosen];
    this.voice.say(`Corner ${NAMES[this.#chosen]} at ${x.toFixed(1)}, ${y.toFixed(1)} pixels.`);
  }

  #undo() {
    const before = this.#history.pop();
    if (!before) return;
    this.corners = JSON.parse(before);
    this.saved = before;
    this.#moved();
  }

  #set(corners) {
    this.corners = corners;
    this.#moved();
    this.#keep();
  }

  #moved() {
    this.valid = isConvex(this.corners);
    this.send.disabled = !this.valid;
    this.back.disabled = this.#history.length === 0;
    this.again.disabled = JSON.stringify(this.corners) === this.first;
    const told = this.valid ? "" : "These corners cross or lie on a line. Put each one where its name says: top left, top right, bottom right, bottom left of the face's print.";
    if (this.problem.element.textContent !== told) this.problem.say(told);
    this.field.value = JSON.stringify(this.corners.map((corner) => corner.map((value) => Number(value.toFixed(3)))));
    if (this.valid) {
      const [width, height] = this.data.size_mm;
      const photoFromMm = fromCorners(width, height, this.corners);
      if (photoFromMm) this.flat.lay(this.flatLayer, invert(multiply(EDGE_FROM_CENTRE, photoFromMm)));
    }
    const edges = this.corners.map((corner) => apply(EDGE_FROM_CENTRE, corner));
    const shapes = [{ kind: "face", label: "", polygon: edges }];
    this.stage.show(shapes);
    this.loupe.show(shapes);
    this.#showLoupe();
  }

  #showLoupe() {
    const [x, y] = this.corners[this.#chosen];
    this.loupe.view.set(x + 0.5, y + 0.5, Math.max(LOUPE, 4 * this.view.scale));
    this.place.textContent = `Corner ${NAMES[this.#chosen]}: ${x.toFixed(1)}, ${y.toFixed(1)} px`;
  }

  #putHandles() {
    const map = this.view.matrix();
    this.handles.forEach((held, index) => held.put(apply(map, apply(EDGE_FROM_CENTRE, this.corners[index]))));
  }
}

customElements.define("corner-drag", CornerDrag);
