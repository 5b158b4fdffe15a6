// <region-draw>: named rectangles on a face, in millimetres.
//
// In: src, width, height, small?, size_mm [w, h], regions [{name, kind, rect_mm {x, y, width,
// height}, …}], kinds? (names of kinds), action, token. Out: POST of {token, regions} as JSON;
// fields of a region that this module does not know are kept. Never here: a photo of an offer.

import { announcer, asking, complaint, dataOf, enhance, freshId, h, refusal } from "./page.js";
import { apply } from "./geometry.js";
import { attach, movementButtons } from "./gestures.js";
import { handle } from "./handle.js";
import { Layer } from "./layer.js";
import { ScaleBar } from "./scale-bar.js";
import { Stage } from "./stage.js";
import { View } from "./view.js";

/** Kinds of regions, as in the catalogue's format. */
const KINDS = {
  wordmark: "wordmark", emblem: "emblem", legal: "legal text", art: "artwork", panel: "panel",
  count: "number of cards", code: "code", text: "other text",
};
/** A rectangle smaller than this is a slip of the hand. */
const LEAST_MM = 0.5;
const KEY_STEP_MM = 0.1;
const LARGEST_PX_PER_MM = 80;

class RegionDraw extends HTMLElement {
  #chosen = -1;
  #history = [];

  connectedCallback() {
    if (this.view) return;
    const data = dataOf(this);
    this.data = data;
    this.kinds = data.kinds ?? Object.keys(KINDS);
    this.regions = structuredClone(data.regions);
    this.saved = this.kept = JSON.stringify(this.regions);
    // Leaving with unsaved regions is asked about.
    addEventListener("beforeunload", (event) => { if (this.isConnected && this.saved !== this.kept) event.preventDefault(); });
    const [width, height] = data.size_mm;
    this.view = new View({ x: 0, y: 0, width, height }, LARGEST_PX_PER_MM);
    this.stage = new Stage(this.view);
    const mmFromPicture = [[width / data.width, 0, 0], [0, height / data.height, 0], [0, 0, 1]];
    this.stage.add(new Layer(data, data.alt ?? "The face"), mmFromPicture);
    this.#build();
    this.stage.painted = () => {
      this.#putHandles();
      this.bar.paint(this.view.scale);
    };
    this.#list();
    this.#shapes();
  }

  #build() {
    this.voice = announcer();
    this.problem = complaint();
    this.bar = new ScaleBar();
    const help = freshId("keys");
    this.drawing = h("input", { type: "checkbox", checked: true });
    const { element } = this.stage;
    element.tabIndex = 0;
    element.setAttribute("role", "group");
    element.setAttribute("aria-label", "Face: move with the arrow keys");
    element.setAttribute("aria-describedby", help);
    this.#drawByHand(element);
    attach(element, this.view, {
      drag: (event) => event.target.closest(".handle") !== null || this.drawing.checked,
      draws: () => this.drawing.checked,
      click: (point) => this.#chooseAt(this.view.toWorld(point)),
    });
    this.move = handle({
      label: "The rectangle's place", className: "middle",
      move: (dx, dy, kind) => this.#change((r) => {
        const [x, y] = this.#mm(dx, dy, kind);
        r.x += x; r.y += y;
      }),
      done: () => this.#keep(),
    });
    this.size = handle({
      label: "The rectangle's size", className: "corner",
      move: (dx, dy, kind) => this.#change((r) => {
        const [x, y] = this.#mm(dx, dy, kind);
        r.width = Math.max(LEAST_MM, r.width + x); r.height = Math.max(LEAST_MM, r.height + y);
      }),
      done: () => this.#keep(),
    });
    element.append(this.move.element, this.size.element);
    this.rows = h("tbody");
    this.undoButton = h("button", { type: "button", onclick: () => this.#undo() }, "Undo");
    this.state = h("p", { class: "note", role: "status" });
    enhance(this,
      h("div", { class: "workspace" },
        h("div", { class: "wide" }, element,
          h("div", { class: "tools" }, h("label", { class: "choice" }, this.drawing, "Drag draws a rectangle"), movementButtons(h, this.view)),
          h("p", { class: "readout" }, this.bar.element)),
        h("div", { class: "narrow region-list" },
          h("div", { class: "scroll" }, h("table", {},
            h("thead", {}, h("tr", {}, ["Name and kind", "Left", "Top", "Width", "Height", ""].map((word) => h("th", { scope: "col" }, word || h("span", { class: "spoken" }, "Remove"))))),
            this.rows)),
          h("p", { class: "note" }, "Lengths in mm from the face's top left corner."),
          h("div", { class: "tools" },
            h("button", { type: "button", onclick: () => this.#add() }, "Add a rectangle"), this.undoButton,
            h("button", { type: "button", class: "main", onclick: () => this.#send() }, "Save the regions")),
          this.problem.element, this.state)),
      h("details", { class: "keys", id: help }, h("summary", {}, "Keys"),
        h("p", {}, "Tab to the rectangle's place or size: arrows change it by 0.1 mm, with Shift by 1 mm. ",
          "With the face in focus, arrows move it, + and − magnify, 0 shows all of it. All numbers can be typed.")),
      this.voice.element);
  }

  #mm(dx, dy, kind) {
    const unit = kind === "key" ? KEY_STEP_MM : 1 / this.view.scale;
    return [dx * unit, dy * unit];
  }

  #drawByHand(element) {
    let from = null;
    const at = (event) => {
      const box = element.getBoundingClientRect();
      return this.view.toWorld([event.clientX - box.left, event.clientY - box.top]);
    };
    element.addEventListener("pointerdown", (event) => {
      if (!this.drawing.checked || event.button !== 0 || event.target.closest(".handle")) return;
      element.setPointerCapture(event.pointerId);
      from = at(event);
    });
    element.addEventListener("pointermove", (event) => {
      if (!from) return;
      const rect = between(from, at(event));
      this.#shapes([{ kind: "finding", label: "", polygon: polygon(rect) }]);
    });
    element.addEventListener("pointerup", (event) => {
      if (!from) return;
      const rect = this.#within(between(from, at(event)));
      const point = from;
      from = null;
      if (rect.width < LEAST_MM || rect.height < LEAST_MM) this.#chooseAt(point);
      else this.#add(rect);
    });
    element.addEventListener("pointercancel", () => { from = null; this.#shapes(); });
  }

  #chooseAt(point) {
    const holds = ({ rect_mm: r }) => point[0] >= r.x && point[0] <= r.x + r.width && point[1] >= r.y && point[1] <= r.y + r.height;
    const under = this.regions.map((region, index) => ({ region, index })).filter(({ region }) => holds(region))
      .sort((a, b) => a.region.rect_mm.width * a.region.rect_mm.height - b.region.rect_mm.width * b.region.rect_mm.height);
    this.#choose(under[0]?.index ?? -1);
    this.#shapes();
  }

  #choose(index) {
    this.#chosen = index;
    [...this.rows.children].forEach((row, other) => row.classList.toggle("chosen", other === index));
  }

  #within(rect) {
    const [width, height] = this.data.size_mm;
    const x = Math.min(Math.max(rect.x, 0), width);
    const y = Math.min(Math.max(rect.y, 0), height);
    const right = Math.min(Math.max(rect.x + rect.width, 0), width);
    const bottom = Math.min(Math.max(rect.y + rect.height, 0), height);
    return { x: hundredth(x), y: hundredth(y), width: hundredth(right - x), height: hundredth(bottom - y) };
  }

  #add(rect) {
    const [width, height] = this.data.size_mm;
    const rect_mm = rect ?? this.#within({ x: width * 0.35, y: height * 0.45, width: width * 0.3, height: height * 0.1 });
    this.regions.push({ name: `region ${this.regions.length + 1}`, kind: this.kinds[0], rect_mm });
    this.#keep();
    this.#list();
    this.#choose(this.regions.length - 1);
    this.#shapes();
    this.rows.lastElementChild.querySelector("input").select();
  }

  #change(alter) {
    const region = this.regions[this.#chosen];
    if (!region) return;
    alter(region.rect_mm);
    this.#fill(this.#chosen);
    this.#shapes();
  }

  /** A change is complete: numbers rounded, kept within the face, what was before can be had back. */
  #keep() {
    for (const region of this.regions) region.rect_mm = this.#within(region.rect_mm);
    const now = JSON.stringify(this.regions);
    if (now === this.saved) return;
    this.#history.push(this.saved);
    this.saved = now;
    this.undoButton.disabled = false;
    this.state.textContent = "Changed, not saved yet.";
    this.regions.forEach((_, index) => this.#fill(index));
    this.#shapes();
  }

  #undo() {
    const before = this.#history.pop();
    if (!before) return;
    this.regions = JSON.parse(before);
    this.saved = before;
    this.#chosen = -1;
    this.#list();
    this.#shapes();
  }

  #list() {
    this.rows.replaceChildren(...this.regions.map((region, index) => {
      const number = (key, word) => h("td", { "data-head": word }, h("input", {
        type: "number", step: 0.01, min: 0, "aria-label": `${word} of ${region.name}, mm`, "data-key": key,
        onchange: (event) => {
          const value = event.target.valueAsNumber;
          if (Number.isFinite(value)) region.rect_mm[key] = value;
          this.#keep();
        },
      }));
      return h("tr", { onfocusin: () => { this.#choose(index); this.#shapes(); } },
        h("td", {}, h("input", { type: "text", "data-key": "name", "aria-label": `Name of region ${index + 1}`, onchange: (event) => { region.name = event.target.value.trim() || region.name; this.#keep(); } }),
          h("select", { "data-key": "kind", "aria-label": `Kind of ${region.name}`, onchange: (event) => { region.kind = event.target.value; this.#keep(); } },
          this.kinds.map((kind) => h("option", { value: kind }, KINDS[kind] ?? kind)))),
        number("x", "Left"), number("y", "Top"), number("width", "Width"), number("height", "Height"),
        h("td", {}, h("button", { type: "button", class: "icon", "aria-label": `Remove ${region.name}`, onclick: () => this.#remove(index) }, "×")));
    }));
    this.regions.forEach((_, index) => this.#fill(index));
    this.undoButton.disabled = this.#history.length === 0;
  }

  #fill(index) {
    const region = this.regions[index];
    for (const field of this.rows.children[index]?.querySelectorAll("[data-key]") ?? []) {
      const { key } = field.dataset;
      const value = key in region.rect_mm ? String(hundredth(region.rect_mm[key])) : region[key];
      if (field.value !== value) field.value = value;
    }
  }

  #remove(index) {
    const [gone] = this.regions.splice(index, 1);
    this.#chosen = -1;
    this.#keep();
    this.#list();
    this.#shapes();
    this.voice.say(`${gone.name} removed. Undo brings it back.`);
    this.undoButton.focus();
  }

  #shapes(more = []) {
    this.stage.show([...this.regions.map((region, index) => ({
      kind: index === this.#chosen ? "finding" : "region", label: region.name, polygon: polygon(region.rect_mm),
    })), ...more]);
  }

  #putHandles() {
    const rect = this.regions[this.#chosen]?.rect_mm;
    for (const held of [this.move, this.size]) held.element.hidden = !rect;
    if (!rect) return;
    const map = this.view.matrix();
    this.move.put(apply(map, [rect.x + rect.width / 2, rect.y + rect.height / 2]));
    this.size.put(apply(map, [rect.x + rect.width, rect.y + rect.height]));
  }

  async #send() {
    this.problem.say("");
    const names = this.regions.map((region) => region.name);
    const twice = names.find((name, index) => names.indexOf(name) !== index);
    if (twice) {
      this.problem.say(`Two regions are called “${twice}”. Give each its own name.`);
      return;
    }
    try {
      const response = await fetch(this.data.action, {
        method: "POST",
        headers: { "content-type": "application/json", ...asking(this.data.token) },
        body: JSON.stringify({ token: this.data.token, regions: this.regions }),
      });
      if (!response.ok) this.problem.say(await refusal(response));
      else {
        this.kept = this.saved;
        this.state.textContent = "Saved.";
      }
    } catch {
      this.problem.say("The desk cannot be reached. Is it still running? What you drew is still here; save again.");
    }
  }
}

function between([ax, ay], [bx, by]) {
  return { x: Math.min(ax, bx), y: Math.min(ay, by), width: Math.abs(ax - bx), height: Math.abs(ay - by) };
}

function polygon({ x, y, width, height }) {
  return [[x, y], [x + width, y], [x + width, y + height], [x, y + height]];
}

function hundredth(value) {
  return Math.round(value * 100) / 100;
}

customElements.define("region-draw", RegionDraw);
