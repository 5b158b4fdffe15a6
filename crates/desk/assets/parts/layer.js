// One picture laid into a pane through a projective map, fast enough to follow the hand.
//
// In: files of one picture in several sizes, the map from picture to pane. Out: an <img> whose CSS
// transform is the map. Never here: millimetres, gestures.
//
// The browser decodes off the main thread, cuts the picture into tiles and divides by w for each
// pixel, so nothing is computed here per pixel. Far out, a picture is laid out at a size that is a
// power of two smaller, so that it is filtered and not skipped through; near, the larger file is
// fetched, and shown once it is decoded.

import { h } from "./page.js";
import { apply, css, invert, magnification, multiply, scaling } from "./geometry.js";

/** A file may be stretched this much before the next larger one is fetched. */
const STRETCH = 1.1;
const SMALLEST_LEVEL = 6;

export class Layer {
  #level = -1;
  #shown = -1;
  #wanted = -1;

  /** `picture`: src, width, height (pixels), and if there is one `small`, the same of a smaller
   *  file of it. `image`: an <img> of the page that already shows one of them. */
  constructor(picture, alt, image) {
    this.width = picture.width;
    this.height = picture.height;
    this.files = [picture.small, picture].filter(Boolean);
    this.element = image ?? h("img", { alt });
    this.#dress(this.element);
    this.failed = null;
    if (image) {
      const own = image.getAttribute("src");
      this.#shown = this.#wanted = Math.max(0, this.files.findIndex((file) => file.src === own));
    }
  }

  #dress(image) {
    image.className = "layer";
    image.draggable = false;
    image.decoding = "async";
    image.removeAttribute("loading");
    image.removeAttribute("width");
    image.removeAttribute("height");
  }

  /** Lays the picture by `map`: pixels counted from the picture's edge, to CSS pixels of a pane of
   *  the given size. */
  paint(map, pane) {
    const ratio = window.devicePixelRatio || 1;
    const scale = this.#scaleInSight(map, pane);
    if (!(scale > 0)) return;
    const level = Math.min(SMALLEST_LEVEL, Math.max(0, Math.floor(-Math.log2(scale * ratio))));
    if (level !== this.#level) {
      this.#level = level;
      this.#size(this.element);
    }
    this.map = map;
    this.element.style.transform = css(multiply(map, scaling(2 ** level)));
    this.#fetch(scale * ratio * this.width);
  }

  #size(image) {
    image.style.width = `${this.width / 2 ** this.#level}px`;
    image.style.height = `${this.height / 2 ** this.#level}px`;
  }

  /** CSS pixels a picture pixel, in the middle of what is seen of it. */
  #scaleInSight(map, pane) {
    const back = invert(map);
    const middle = back && apply(back, [pane.width / 2, pane.height / 2]);
    const within = (value, size) => Math.min(Math.max(value, 1), size - 1);
    const at = middle ? [within(middle[0], this.width), within(middle[1], this.height)] : [this.width / 2, this.height / 2];
    return magnification(map, at);
  }

  #fetch(neededWidth) {
    let index = this.files.findIndex((file) => file.width * STRETCH >= neededWidth);
    if (index < 0) index = this.files.length - 1;
    if (index <= this.#wanted) return;
    this.#wanted = index;
    const next = new Image();
    next.alt = this.element.alt;
    this.#dress(next);
    next.src = this.files[index].src;
    next.decode().then(() => {
      if (index <= this.#shown) return;
      this.#shown = index;
      this.#size(next);
      next.style.transform = this.element.style.transform;
      this.element.replaceWith(next);
      this.element = next;
    }, () => {
      this.failed?.();
    });
  }

  /** Resolves once some file of the picture is on the page. */
  async ready() {
    while (this.#shown < 0) await new Promise((resolve) => setTimeout(resolve, 20));
  }
}
