// <board-maker>: a slide that shows others what to look at: crops of what is offered beside what it
// is compared with, arrows with words, a caption; exported as PNG 1920 × 1080.
//
// In: pictures [{id, src, width, height, label, side: "offered" | "reference"}], caption, action,
// token, file? (name of the PNG). Out: the PNG, to keep as a file and to post (fields token,
// caption, board). Never here: names, item numbers or anything of the photos' files: a canvas has
// no EXIF, and labels are what the server gave.

import { announcer, asking, complaint, dataOf, download, enhance, h, refusal } from "./page.js";
import { captionLines, draw, HEIGHT, layOut, SIDES, WIDTH } from "./board-draw.js";
import { CropFrame } from "./crop-frame.js";
import { handle } from "./handle.js";

/** On the board, pixels: a key moves a note's text or arrow so far. */
const KEY_STEP = 4;

class BoardMaker extends HTMLElement {
  #past = [];
  #future = [];
  #serial = 0;
  #images = new Map();

  connectedCallback() {
    if (this.data) return;
    this.data = dataOf(this);
    this.board = { caption: this.data.caption ?? "", pieces: [], notes: [] };
    this.voice = announcer();
    this.problem = complaint();
    this.canvas = h("canvas", { width: WIDTH, height: HEIGHT, role: "img" });
    this.context = this.canvas.getContext("2d");
    this.sheet = h("div", { class: "sheet" }, this.canvas);
    new ResizeObserver(() => this.#putHandles()).observe(this.sheet);
    this.sheet.addEventListener("click", (event) => this.#putChosen(event));
    this.#build();
    this.#show();
    this.kept = JSON.stringify(this.board);
    // Work that is neither exported nor kept is asked about before the page is left.
    addEventListener("beforeunload", (event) => {
      if (this.isConnected && this.unsaved) event.preventDefault();
    });
  }

  /** Whether something on the board would be lost with the page. */
  get unsaved() {
    return this.board.pieces.length + this.board.notes.length > 0 && JSON.stringify(this.board) !== this.kept;
  }

  #build() {
    const tile = (picture) => h("li", {}, h("button", { type: "button", class: "tile", onclick: () => this.#cropFrom(picture) },
      h("img", { src: picture.small?.src ?? picture.src, alt: "", loading: "lazy" }), h("span", {}, picture.label), h("span", { class: "note" }, SIDES[picture.side])));
    this.cropping = h("div", { class: "cropping", hidden: true });
    this.pieces = h("ol", { class: "pieces" });
    this.notes = h("ol", { class: "pieces" });
    this.caption = h("textarea", { rows: 2, "aria-label": "Caption", value: this.board.caption, onchange: () => this.#change((board) => { board.caption = this.caption.value; }) });
    this.undoButton = h("button", { type: "button", onclick: () => this.#step(this.#past, this.#future) }, "Undo");
    this.redoButton = h("button", { type: "button", onclick: () => this.#step(this.#future, this.#past) }, "Redo");
    this.state = h("p", { class: "note", role: "status" });
    this.save = h("button", { type: "button", class: "main", onclick: () => this.#export() }, "Export as PNG");
    this.keep = h("button", { type: "button", onclick: () => this.#keep() }, "Keep in this case");
    enhance(this,
      h("div", { class: "workspace board" },
        h("div", { class: "wide" }, this.sheet,
          h("div", { class: "tools" }, this.undoButton, this.redoButton, this.save, this.data.action ? this.keep : null),
          this.problem.element, this.state),
        h("div", { class: "narrow" },
          h("h2", {}, "Pictures"), h("p", { class: "note" }, "Choose one to cut a part out of it."),
          h("ul", { class: "tiles" }, this.data.pictures.map(tile)),
          h("h2", {}, "On the board"), this.pieces,
          h("h2", {}, "Arrows with words"), this.notes,
          h("button", { type: "button", onclick: () => this.#addNote() }, "Add an arrow"),
          h("h2", {}, "Caption"), this.caption)),
      this.cropping, this.voice.element);
  }

  /** The picture, loaded whole and ready to be drawn. */
  async #load(id) {
    if (!this.#images.has(id)) {
      const picture = this.data.pictures.find((one) => one.id === id);
      const image = new Image();
      image.src = picture.src;
      await image.decode();
      this.#images.set(id, image);
    }
    return this.#images.get(id);
  }

  async #cropFrom(picture, piece) {
    const { width, height } = picture;
    const frame = new CropFrame(picture, piece?.crop ?? { x: 0, y: 0, width, height }, picture.label);
    const close = () => {
      this.cropping.hidden = true;
      this.cropping.replaceChildren();
    };
    const label = h("input", { type: "text", value: piece?.label ?? picture.label });
    const add = h("button", {
      type: "button", class: "main",
      onclick: async () => {
        const crop = frame.whole();
        const words = label.value.trim();
        close();
        try {
          await this.#load(picture.id);
        } catch {
          this.problem.say("The picture cannot be loaded. Load the page again.");
          return;
        }
        this.#change((board) => {
          const held = piece && board.pieces.find((one) => one.id === piece.id);
          if (held) Object.assign(held, { crop, label: words });
          else board.pieces.push({ id: this.#fresh(), picture: picture.id, side: picture.side, label: words, crop });
        });
        this.voice.say(piece ? "Changed on the board." : "On the board.");
        this.pieces.lastElementChild?.querySelector("button")?.focus();
      },
    }, piece ? "Change it" : "Put it on the board");
    this.cropping.replaceChildren(h("h2", {}, `Part of: ${picture.label}`), frame.element,
      h("div", { class: "tools" }, h("label", { class: "choice" }, "Words above it", label), add, h("button", { type: "button", onclick: close }, "Leave it")));
    this.cropping.hidden = false;
    this.frame = frame;
    this.cropping.scrollIntoView({ block: "nearest" });
    frame.stage.element.focus({ preventScroll: true });
  }

  #fresh() {
    this.#serial += 1;
    return this.#serial;
  }

  #change(alter) {
    const before = JSON.stringify(this.board);
    alter(this.board);
    if (JSON.stringify(this.board) !== before) {
      this.#past.push(before);
      this.#future = [];
    }
    this.#show();
  }

  #step(from, to) {
    const state = from.pop();
    if (!state) return;
    to.push(JSON.stringify(this.board));
    this.board = JSON.parse(state);
    this.caption.value = this.board.caption;
    this.#show();
  }

  #addNote() {
    const taken = this.board.notes.length;
    this.#change((board) => board.notes.push({ id: this.#fresh(), text: "Look here", x: 780, y: 160 + 110 * (taken % 6), tipX: 1240, tipY: 420 + 60 * (taken % 6) }));
    this.notes.lastElementChild.querySelector("input").select();
  }

  #show() {
    const { board } = this;
    const swap = (list, index, by) => this.#change((state) => {
      const [held] = state[list].splice(index, 1);
      state[list].splice(index + by, 0, held);
    });
    const icon = (label, sign, act, disabled) => h("button", { type: "button", class: "icon", "aria-label": label, title: label, onclick: act, disabled }, sign);
    const nothing = (words) => h("li", { class: "note" }, words);
    this.pieces.replaceChildren(...(board.pieces.length === 0 ? [nothing("Nothing yet.")] : []), ...board.pieces.map((piece, index) => {
      const picture = this.data.pictures.find((one) => one.id === piece.picture);
      return h("li", {}, h("span", {}, `${SIDES[piece.side]}: ${piece.label}`), h("span", { class: "buttons" },
        icon(`Change the part of ${piece.label}`, "Part", () => this.#cropFrom(picture, piece)),
        icon(`Put ${piece.label} on the other side`, "⇄", () => this.#change((state) => {
          state.pieces[index].side = piece.side === "offered" ? "reference" : "offered";
        })),
        icon(`Earlier: ${piece.label}`, "↑", () => swap("pieces", index, -1), index === 0),
        icon(`Later: ${piece.label}`, "↓", () => swap("pieces", index, 1), index === board.pieces.length - 1),
        icon(`Remove ${piece.label}`, "×", () => this.#change((state) => state.pieces.splice(index, 1)))));
    }));
    this.notes.replaceChildren(...board.notes.map((note, index) => h("li", {},
      h("input", { type: "text", value: note.text, "aria-label": `Words of arrow ${index + 1}`, onchange: (event) => this.#change((state) => { state.notes[index].text = event.target.value; }) }),
      icon(`Remove arrow ${index + 1}`, "×", () => this.#change((state) => state.notes.splice(index, 1))))));
    this.#handles();
    this.undoButton.disabled = this.#past.length === 0;
    this.redoButton.disabled = this.#future.length === 0;
    this.save.disabled = this.keep.disabled = board.pieces.length === 0;
    if (board.pieces.length === 0) this.state.textContent = "The board is empty. Choose a picture and put a part of it on the board.";
    else if (this.state.textContent.startsWith("The board is empty")) this.state.textContent = "";
    this.#draw();
  }

  #draw() {
    draw(this.context, this.board, this.#images);
    const words = this.board.pieces.map((piece) => `${SIDES[piece.side]}: ${piece.label}`).join("; ");
    this.canvas.setAttribute("aria-label", `Board. ${words || "Empty"}. ${this.board.notes.map((note) => note.text).join("; ")}`);
  }

  /** Two buttons a note over the sheet: its text and the tip of its arrow. */
  #handles() {
    for (const held of this.points ?? []) held.element.remove();
    this.points = this.board.notes.flatMap((note, index) => ["text", "tip"].map((end) => {
      const keys = end === "text" ? ["x", "y"] : ["tipX", "tipY"];
      let before = null;
      const held = handle({
        label: end === "text" ? `Place of the words of arrow ${index + 1}` : `Tip of arrow ${index + 1}`,
        className: end === "text" ? "middle" : "corner",
        move: (dx, dy, kind) => {
          before ??= JSON.stringify(this.board);
          const unit = kind === "key" ? KEY_STEP : WIDTH / this.canvas.clientWidth;
          const live = this.board.notes[index];
          live[keys[0]] = Math.min(Math.max(live[keys[0]] + dx * unit, 0), WIDTH);
          live[keys[1]] = Math.min(Math.max(live[keys[1]] + dy * unit, 0), HEIGHT);
          this.#draw();
          this.#putHandles();
        },
        done: () => {
          if (!before) return;
          this.#past.push(before);
          this.#future = [];
          before = null;
          this.undoButton.disabled = false;
        },
        chosen: () => { this.chosen = { index, keys }; },
      });
      held.at = () => {
        const live = this.board.notes[index];
        return end === "text" ? [live.x, live.y] : [live.tipX, live.tipY];
      };
      return held;
    }));
    this.sheet.append(...this.points.map((held) => held.element));
    this.#putHandles();
  }

  #putHandles() {
    const scale = this.canvas.clientWidth / WIDTH;
    for (const held of this.points ?? []) held.put(held.at().map((value) => value * scale));
  }

  /** A click on the sheet puts the point that was chosen last there: no drag is needed. */
  #putChosen(event) {
    if (event.target !== this.canvas || !this.chosen || !this.board.notes[this.chosen.index]) return;
    const box = this.canvas.getBoundingClientRect();
    const [x, y] = [(event.clientX - box.left) / box.width * WIDTH, (event.clientY - box.top) / box.height * HEIGHT];
    const { index, keys } = this.chosen;
    this.#change((board) => {
      board.notes[index][keys[0]] = x;
      board.notes[index][keys[1]] = y;
    });
  }

  async png() {
    this.#draw();
    return new Promise((resolve, reject) => {
      this.canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new Error("The browser could not make the PNG. Use fewer or smaller parts."))), "image/png");
    });
  }

  async #export() {
    this.problem.say("");
    try {
      download(await this.png(), this.data.file ?? "board.png");
      this.kept = JSON.stringify(this.board);
      this.state.textContent = `Exported, ${WIDTH} × ${HEIGHT}.`;
    } catch (error) {
      this.problem.say(error.message);
    }
  }

  async #keep() {
    this.problem.say("");
    const form = new FormData();
    form.append("token", this.data.token);
    form.append("caption", this.board.caption);
    try {
      form.append("board", await this.png(), this.data.file ?? "board.png");
      const response = await fetch(this.data.action, { method: "POST", body: form, headers: asking(this.data.token) });
      if (!response.ok) this.problem.say(await refusal(response));
      else {
        this.kept = JSON.stringify(this.board);
        this.state.textContent = "Kept in this case.";
      }
    } catch {
      this.problem.say("The desk cannot be reached. Is it still running? The board is still here; keep it again.");
    }
  }

  /** Where a piece lies on the board, for tests: board pixels. */
  placeOf(index) {
    const lines = captionLines(this.context, this.board.caption);
    return layOut(this.board.pieces, lines.length).places.get(this.board.pieces[index].id);
  }
}

customElements.define("board-maker", BoardMaker);
