// <face-compare>: a photo of a face beside its reference, both in the face's millimetres.
//
// In: the data below. Out: panes that move and magnify together, laid over each other to swipe,
// blink or subtract, outlines, a scale, the pointer's place in mm. Never here: what a difference
// means: light and cameras differ too, and the text beside the difference says so.
//
// Data: photo {src, width, height, file, small?}, reference {src, width, height, small?},
// size_mm [w, h], mm_to_px {photo, reference} (pixels counted from the centre of the top-left one),
// overlays [{kind, label, on, polygon_mm}], alt {photo, reference}. `small` is {src, width, height}
// of a smaller file of the same picture.
//
// For tests and other modules: `element.view` (centre in mm, CSS pixels a mm).

import { announcer, dataOf, enhance, freshId, h } from "./page.js";
import { apply, EDGE_FROM_CENTRE, facing, invert, meanScale, multiply } from "./geometry.js";
import { attach, movementButtons } from "./gestures.js";
import { Layer } from "./layer.js";
import { legend } from "./marks.js";
import { ScaleBar } from "./scale-bar.js";
import { Stage } from "./stage.js";
import { View } from "./view.js";

/** Largest magnification: a millimetre on 160 CSS pixels, where a ridge of 0.5 mm fills a thumb. */
const LARGEST_PX_PER_MM = 160;
/** Each picture of a blink stays this long; far below three flashes a second (WCAG 2.2, 2.3.1). */
const BLINK_MS = 900;
const MODES = { side: "Side by side", swipe: "Swipe", blink: "Blink", difference: "Difference" };
const SWIPE_STEP = 2;

class FaceCompare extends HTMLElement {
  #mode = "side";
  #asTaken = false;
  #timer = 0;
  #front = "photo";

  connectedCallback() {
    if (this.view) return;
    const data = dataOf(this);
    this.data = data;
    const [width, height] = data.size_mm;
    this.view = new View({ x: 0, y: 0, width, height }, LARGEST_PX_PER_MM);
    this.middle = [width / 2, height / 2];
    this.dataset.shape = width > height ? "wide" : "tall";

    this.stages = {
      reference: new Stage(this.view),
      photo: new Stage(this.view, { map: () => (this.#asTaken ? this.#takenMap() : this.view.matrix()) }),
    };
    this.layers = {};
    for (const side of ["reference", "photo"]) {
      this.layers[side] = new Layer(data[side], data.alt?.[side] ?? "");
      this.stages[side].add(this.layers[side], this.#mmFromPicture(side));
    }
    this.#showOutlines(true);
    this.#build();
    for (const stage of Object.values(this.stages)) stage.painted = () => this.#painted();
    this.#setMode("side");
  }

  disconnectedCallback() {
    clearInterval(this.#timer);
  }

  /** From the picture's pixels, counted from its edge, to mm on the face. */
  #mmFromPicture(side) {
    const picture = multiply(EDGE_FROM_CENTRE, facing(this.data.mm_to_px[side], this.middle));
    return invert(picture);
  }

  /** mm to pane when the photo is shown as it was taken: the photo upright, moved and magnified so
   *  that what is in the middle of the other pane is in the middle of this one, equally large. */
  #takenMap() {
    const photo = multiply(EDGE_FROM_CENTRE, facing(this.data.mm_to_px.photo, this.middle));
    const at = apply(photo, this.view.centre) ?? apply(photo, this.middle);
    const scale = this.view.scale / (meanScale(photo, this.view.centre) || meanScale(photo, this.middle));
    const { width, height } = this.view.pane;
    return multiply([[scale, 0, width / 2 - scale * at[0]], [0, scale, height / 2 - scale * at[1]], [0, 0, 1]], photo);
  }

  #build() {
    const help = freshId("keys");
    const group = freshId("mode");
    this.voice = announcer();
    this.bar = new ScaleBar();
    this.place = h("span", { class: "place" });
    this.zoom = h("span", { class: "zoom" });
    this.radios = Object.entries(MODES).map(([mode, words]) => h("label", { class: "choice" },
      h("input", { type: "radio", name: group, value: mode, onchange: () => this.#setMode(mode) }), words));
    this.outlines = h("input", { type: "checkbox", checked: true, onchange: () => this.#showOutlines(this.outlines.checked) });
    this.taken = h("input", { type: "checkbox", onchange: () => this.#setTaken(this.taken.checked) });
    this.line = h("input", { type: "range", min: 0, max: 100, value: 50, step: 1, "aria-label": "Line between reference and photo, per cent from the left", oninput: () => this.#setLine(Number(this.line.value)) });
    this.gain = h("input", { type: "range", min: 1, max: 8, step: 0.5, value: 3, "aria-label": "How much the difference is amplified", oninput: () => this.#setGain() });
    this.running = h("button", { type: "button", onclick: () => this.#setRunning(!this.#timer) }, "Start");
    this.turn = h("button", { type: "button", onclick: () => this.#swap() }, "Show the other");

    const overlays = this.data.overlays ?? [];
    const captions = {
      reference: h("p", { class: "caption" }, "Reference"),
      photo: h("p", { class: "caption" }, this.data.photo.file ? `Photo ${this.data.photo.file}` : "Photo"),
    };
    this.handle = h("div", { class: "swipe-line", "aria-hidden": "true" });
    this.#dragLine();
    this.panes = h("div", { class: "panes" },
      ["reference", "photo"].map((side) => h("div", { class: `pane ${side}` }, captions[side], this.stages[side].element)),
      this.handle);
    for (const side of ["reference", "photo"]) {
      const { element } = this.stages[side];
      element.tabIndex = 0;
      element.setAttribute("role", "group");
      element.setAttribute("aria-label", `${side === "photo" ? "Photo" : "Reference"}: move with the arrow keys`);
      element.setAttribute("aria-describedby", help);
      attach(element, this.view, { key: (event) => this.#key(event), moved: () => this.#tellView() });
      element.addEventListener("pointermove", (event) => this.#pointAt(side, event));
      element.addEventListener("pointerleave", () => this.#pointAt(side, null));
    }

    enhance(this,
      h("div", { class: "tools" },
        h("fieldset", { class: "choices" }, h("legend", { class: "spoken" }, "How the two are shown"), this.radios),
        h("label", { class: "choice" }, this.outlines, "Outlines"),
        h("label", { class: "choice" }, this.taken, "Photo as taken"),
        movementButtons(h, this.view, () => this.#tellView())),
      h("div", { class: "tools for-mode for-swipe" }, h("span", { "aria-hidden": "true" }, "Reference"), this.line, h("span", { "aria-hidden": "true" }, "Photo")),
      h("div", { class: "tools for-mode for-blink" }, this.running, this.turn, this.shown = h("span", { class: "note" })),
      h("div", { class: "tools for-mode for-difference" }, h("label", { class: "choice" }, "Amplified", this.gain),
        h("p", { class: "note" }, "Black where both are alike. Light and cameras differ too: what shows here is a place to look at, not a finding.")),
      this.panes,
      h("p", { class: "readout" }, this.bar.element, this.zoom, this.place),
      legend(overlays),
      h("details", { class: "keys", id: help }, h("summary", {}, "Keys"),
        h("p", {}, "With a picture in focus: arrows move (with Shift by a pixel), + and − magnify, 0 shows the whole face. ",
          "1 side by side, 2 swipe, 3 blink, 4 difference. [ and ] move the line, Space shows the other picture, ",
          "O outlines, P the photo as taken. Touch: two fingers magnify. With a mouse: drag, double click, wheel.")),
      this.voice.element);
    this.#setLine(50);
    this.#setGain();
  }

  #key(event) {
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const modes = Object.keys(MODES);
    if ("1234".includes(key) && key.length === 1) {
      if (!this.#asTaken) this.#setMode(modes[Number(key) - 1]);
      return true;
    }
    switch (key) {
      case "[": this.#setLine(Number(this.line.value) - SWIPE_STEP); return true;
      case "]": this.#setLine(Number(this.line.value) + SWIPE_STEP); return true;
      case " ": if (this.#mode === "blink") this.#swap(); return true;
      case "o": this.outlines.checked = !this.outlines.checked; this.#showOutlines(this.outlines.checked); return true;
      case "p": this.taken.checked = !this.taken.checked; this.#setTaken(this.taken.checked); return true;
      default: return false;
    }
  }

  get mode() { return this.#mode; }

  #setMode(mode) {
    this.#mode = mode;
    this.dataset.mode = mode;
    for (const label of this.radios) {
      const input = label.querySelector("input");
      input.checked = input.value === mode;
    }
    const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.#setRunning(mode === "blink" && !calm);
    this.#showFront(mode === "blink" ? this.#front : "photo");
    this.voice.say(`${MODES[mode]}.`);
  }

  #setTaken(on) {
    this.#asTaken = on;
    if (on) this.#setMode("side");
    for (const label of this.radios) label.querySelector("input").disabled = on;
    this.stages.photo.invalidate();
    this.voice.say(on ? "The photo is shown as it was taken; the reference stays flat." : "The photo is laid flat.");
  }

  #setLine(percent) {
    this.line.value = percent;
    this.panes.style.setProperty("--line", `${this.line.value}%`);
  }

  #setGain() {
    this.panes.style.setProperty("--gain", this.gain.value);
  }

  #setRunning(on) {
    clearInterval(this.#timer);
    this.#timer = on ? setInterval(() => this.#swap(), BLINK_MS) : 0;
    this.running.textContent = on ? "Stop" : "Start";
  }

  #swap() {
    this.#showFront(this.#front === "photo" ? "reference" : "photo");
  }

  #showFront(side) {
    this.#front = side;
    this.dataset.front = side;
    this.shown.textContent = side === "photo" ? "Now the photo" : "Now the reference";
  }

  #showOutlines(on) {
    for (const side of ["reference", "photo"]) {
      const shapes = (this.data.overlays ?? []).filter((overlay) => on && (overlay.on === side || overlay.on === "both"));
      this.stages[side].show(shapes.map(({ kind, label, polygon_mm }) => ({ kind, label, polygon: polygon_mm })));
    }
  }

  /** The line follows a pointer that drags it. */
  #dragLine() {
    const { handle } = this;
    handle.addEventListener("pointerdown", (event) => {
      handle.setPointerCapture(event.pointerId);
      event.preventDefault();
    });
    handle.addEventListener("pointermove", (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      const box = this.stages.photo.element.getBoundingClientRect();
      this.#setLine(Math.round(100 * (event.clientX - box.left) / box.width));
    });
  }

  #pointAt(side, event) {
    const other = side === "photo" ? "reference" : "photo";
    if (!event) {
      this.place.textContent = "";
      this.stages[other].overlay.point(this.stages[other].planeToPane(), null);
      return;
    }
    const box = this.stages[side].element.getBoundingClientRect();
    const back = invert(this.stages[side].planeToPane());
    const at = back && apply(back, [event.clientX - box.left, event.clientY - box.top]);
    if (!at) return;
    this.place.textContent = `${at[0].toFixed(1)} mm from the left, ${at[1].toFixed(1)} mm from the top`;
    if (this.#mode === "side") this.stages[other].overlay.point(this.stages[other].planeToPane(), at);
  }

  #painted() {
    // Only on the face does a difference say anything: what lies around it is not compared.
    const map = this.view.matrix();
    const [left, top] = apply(map, [0, 0]);
    const [right, bottom] = apply(map, this.data.size_mm);
    const { width, height } = this.view.pane;
    this.panes.style.setProperty("--face", `inset(${[top, width - right, height - bottom, left].map((side) => `${Math.max(0, side).toFixed(1)}px`).join(" ")})`);
    this.bar.paint(this.view.scale, { about: this.#asTaken });
    const times = this.view.scale / this.view.fitScale;
    const words = Math.abs(times - 1) < 0.005 ? "whole face" : `${times.toFixed(1)} times the whole face`;
    if (this.zoom.textContent !== words) this.zoom.textContent = words;
  }

  #tellView() {
    const [x, y] = this.view.centre;
    this.voice.say(`Middle at ${x.toFixed(1)}, ${y.toFixed(1)} mm, ${(this.view.scale / this.view.fitScale).toFixed(1)} times the whole face.`);
  }
}

customElements.define("face-compare", FaceCompare);
