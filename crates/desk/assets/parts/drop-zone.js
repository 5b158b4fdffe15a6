// <drop-zone>: adds offers by dropping or choosing files and folders, or by pasting a screenshot.
//
// In: action, token, and the form that works without modules (its file field's name is used; it may
// say `max_bytes`). Out: multipart posts with progress; then the page that the desk names. Never
// here: reading what is in a file, except the pasted picture that is cropped.

import { announcer, asking, bytes, complaint, dataOf, enhance, h, parsed, refusalText, sentence } from "./page.js";
import { CropFrame } from "./crop-frame.js";
import { propose } from "./crop-proposal.js";

/** What the desk reads; the desk decides, this only spares the way. */
const READABLE = /\.(jpe?g|png|webp|hei[cf]|html?|mhtml|toml)$/i;
/** Files of a folder beyond this many are a wrong folder. */
const MOST_FILES = 500;
/** The proposal is found on a picture of at most this many pixels a side. */
const LOOK_SIDE = 1200;

class DropZone extends HTMLElement {
  connectedCallback() {
    if (this.input) return;
    this.data = dataOf(this);
    this.field = this.querySelector('input[type="file"]')?.name || "files";
    const words = this.querySelector("label")?.textContent.trim() || "Add an offer: its photos, a folder of them, or its saved page";
    this.voice = announcer();
    this.problem = complaint();
    this.bar = h("progress", { max: 1, value: 0, "aria-label": "Sent", hidden: true });
    this.state = h("div", { class: "note" });
    const field = (label, properties) => {
      const input = h("input", { type: "file", multiple: true, class: "spoken", onchange: () => this.#send([...input.files]), ...properties });
      return { input, element: h("label", { class: "button" }, input, label) };
    };
    const files = field("Choose photos or a saved page", { accept: "image/*,.heic,.heif,.html,.htm" });
    const folder = field("Choose a folder", { webkitdirectory: true });
    this.input = files.input;
    this.cropping = h("div", { class: "cropping", hidden: true });
    this.zone = h("div", { class: "zone" },
      h("p", { class: "lead" }, `${words}.`),
      h("p", { class: "note" }, "Drop files anywhere on this page, or copy a screenshot and paste it with Ctrl V: the photo is cut out of it."),
      h("div", { class: "tools" }, files.element, folder.element,
        navigator.clipboard?.read ? h("button", { type: "button", onclick: () => this.#readClipboard() }, "Paste a screenshot") : null));
    enhance(this, this.zone, this.cropping, this.bar, this.state, this.problem.element, this.voice.element);
    this.#listen();
  }

  #listen() {
    this.abort = new AbortController();
    const { signal } = this.abort;
    const on = (target, name, act) => target.addEventListener(name, act, { signal });
    // The whole page takes a drop, so that a near miss does not open the photo in its place.
    on(document, "dragover", (event) => {
      if (![...(event.dataTransfer?.types ?? [])].includes("Files")) return;
      event.preventDefault();
      this.zone.classList.toggle("over", this.#isMeant(event));
    });
    on(document, "dragleave", (event) => { if (!event.relatedTarget) this.zone.classList.remove("over"); });
    on(document, "drop", (event) => {
      if (!event.dataTransfer) return;
      event.preventDefault();
      this.zone.classList.remove("over");
      if (this.#isMeant(event)) this.#takeDrop(event.dataTransfer);
    });
    on(document, "paste", (event) => {
      if (event.target.closest?.("input, textarea") || !this.#isMeant(event)) return;
      const file = [...(event.clipboardData?.files ?? [])].find((one) => one.type.startsWith("image/"));
      if (!file) {
        this.problem.say("There is no picture on the clipboard. Take a screenshot first, then paste.");
        return;
      }
      event.preventDefault();
      this.#crop(file);
    });
  }

  disconnectedCallback() {
    this.abort?.abort();
  }

  /** On a page with several zones, what happens on one is for that one. */
  #isMeant(event) {
    return document.querySelectorAll("drop-zone").length === 1 || this.contains(event.target);
  }

  async #takeDrop(transfer) {
    // Entries must be asked for before the event is over.
    const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
    const plain = [...transfer.files];
    try {
      const files = entries.some((entry) => entry.isDirectory) ? (await Promise.all(entries.map(inside))).flat() : plain;
      await this.#send(files);
    } catch {
      this.problem.say("The dropped files cannot be read. Choose them with the button instead.");
    }
  }

  async #readClipboard() {
    try {
      for (const item of await navigator.clipboard.read()) {
        const type = item.types.find((one) => one.startsWith("image/"));
        if (type) {
          await this.#crop(await item.getType(type));
          return;
        }
      }
      this.problem.say("There is no picture on the clipboard. Take a screenshot first, then paste.");
    } catch {
      this.problem.say("The browser did not let the page read the clipboard. Use Ctrl V instead.");
    }
  }

  /** Shows a pasted screenshot with the proposed part, to adjust and add. */
  async #crop(blob) {
    this.problem.say("");
    let picture;
    try {
      picture = await createImageBitmap(blob);
    } catch {
      this.problem.say("The pasted picture cannot be read. Save it as a file and drop the file instead.");
      return;
    }
    const { width, height } = picture;
    const rect = proposal(picture);
    const address = URL.createObjectURL(blob);
    const frame = new CropFrame({ src: address, width, height }, rect, "The pasted screenshot");
    const close = () => {
      this.cropping.hidden = true;
      this.cropping.replaceChildren();
      URL.revokeObjectURL(address);
      picture.close();
    };
    const add = h("button", {
      type: "button", class: "main",
      onclick: async () => {
        const part = await cutOut(picture, frame.whole());
        close();
        await this.#send([new File([part], `pasted-${stamp(new Date())}.png`, { type: "image/png" })]);
      },
    }, "Add this part");
    this.cropping.replaceChildren(
      h("h2", {}, "Which part is the photo?"),
      frame.element,
      h("div", { class: "tools" }, add, h("button", { type: "button", onclick: () => frame.set({ x: 0, y: 0, width, height }) }, "Take all of it"),
        h("button", { type: "button", onclick: close }, "Leave it")));
    this.cropping.hidden = false;
    this.frame = frame;
    add.focus();
    this.voice.say("A part of the screenshot is proposed. Enter adds it.");
  }

  async #send(chosen) {
    this.problem.say("");
    const files = chosen.filter((file) => READABLE.test(file.name) || file.type.startsWith("image/"));
    const left = chosen.length - files.length;
    if (files.length === 0) {
      this.problem.say(left > 0
        ? `None of these ${left} files is a photo (JPEG, PNG, WebP, HEIC) or a saved page (HTML). Choose the photos themselves.`
        : "Nothing was chosen.");
      return;
    }
    if (files.length > MOST_FILES) {
      this.problem.say(`These are ${files.length} files. Add one offer's folder at a time, with at most ${MOST_FILES} files.`);
      return;
    }
    const size = files.reduce((sum, file) => sum + file.size, 0);
    if (this.data.max_bytes && size > this.data.max_bytes) {
      this.problem.say(`Together these are ${bytes(size)}; the desk takes ${bytes(this.data.max_bytes)} at once. Add them in parts.`);
      return;
    }
    const form = new FormData();
    form.append("token", this.data.token);
    for (const file of files) form.append(this.field, file, file.path ?? (file.webkitRelativePath || file.name));
    this.state.textContent = `Sending ${files.length === 1 ? files[0].name : `${files.length} files`}, ${bytes(size)}${left ? `; ${left} other files are left out` : ""}.`;
    this.bar.hidden = false;
    try {
      await this.#post(form);
    } catch (error) {
      this.bar.hidden = true;
      this.state.textContent = "";
      this.problem.say(error.message);
    }
  }

  /** Some files were taken and some were not: which, why, and the way on. */
  #tellRefused(told, next) {
    this.bar.hidden = true;
    this.state.replaceChildren(
      `Taken: ${told.taken?.length ?? 0}. Not taken:`,
      h("ul", {}, told.refused.map(({ file, why }) => h("li", {}, `${file}: ${sentence(why)}`))),
      h("a", { href: next }, "Go on to the case"));
    this.voice.say(`${told.refused.length} files were not taken.`);
    this.state.querySelector("a").focus();
  }

  /** Posts with progress, which `fetch` does not tell; goes to the page that the desk names. */
  #post(form) {
    return new Promise((resolve, reject) => {
      const request = new XMLHttpRequest();
      request.open("POST", this.data.action);
      for (const [name, value] of Object.entries(asking(this.data.token))) request.setRequestHeader(name, value);
      request.upload.onprogress = (event) => {
        if (event.lengthComputable) this.bar.value = event.loaded / event.total;
      };
      request.upload.onload = () => { this.state.textContent = "Sent. The desk takes it in."; };
      request.onerror = () => reject(new Error("The desk cannot be reached, or refused this early because it is too much. Is it still running? Add it again; nothing was kept of this."));
      request.onload = () => {
        if (request.status < 200 || request.status >= 300) {
          reject(new Error(refusalText(request.status, request.responseText)));
          return;
        }
        const told = parsed(request.responseText) ?? {};
        const next = told.url ?? request.responseURL;
        if (told.refused?.length > 0) this.#tellRefused(told, next);
        else location.assign(next);
        resolve();
      };
      request.send(form);
    });
  }
}

/** Every file below an entry of a drop, with its path inside what was dropped. */
async function inside(entry) {
  if (entry.isFile) {
    const file = await new Promise((resolve, reject) => entry.file(resolve, reject));
    file.path = entry.fullPath.replace(/^\//, "");
    return [file];
  }
  const reader = entry.createReader();
  const found = [];
  for (;;) {
    // A reader hands out at most a hundred at a time, and none at the end.
    const some = await new Promise((resolve, reject) => reader.readEntries(resolve, reject));
    if (some.length === 0) return (await Promise.all(found.map(inside))).flat();
    found.push(...some);
    if (found.length > MOST_FILES * 2) return (await Promise.all(found.map(inside))).flat();
  }
}

function proposal(picture) {
  const shrink = Math.min(1, LOOK_SIDE / Math.max(picture.width, picture.height));
  const width = Math.max(1, Math.round(picture.width * shrink));
  const height = Math.max(1, Math.round(picture.height * shrink));
  const canvas = new OffscreenCanvas(width, height);
  const context = canvas.getContext("2d", { willReadFrequently: true });
  // Without smoothing: smoothed edges would be colours that the screenshot does not hold.
  context.imageSmoothingEnabled = false;
  context.drawImage(picture, 0, 0, width, height);
  const box = propose(context.getImageData(0, 0, width, height).data, width, height);
  return { x: box.x / shrink, y: box.y / shrink, width: box.width / shrink, height: box.height / shrink };
}

async function cutOut(picture, { x, y, width, height }) {
  const canvas = new OffscreenCanvas(width, height);
  canvas.getContext("2d").drawImage(picture, x, y, width, height, 0, 0, width, height);
  return canvas.convertToBlob({ type: "image/png" });
}

function stamp(now) {
  const two = (value) => String(value).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}-${two(now.getHours())}${two(now.getMinutes())}${two(now.getSeconds())}`;
}

customElements.define("drop-zone", DropZone);
