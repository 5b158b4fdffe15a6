// A bar of a round length in millimetres.
//
// In: CSS pixels a millimetre. Out: an element. Never here: pixels of a photo.

import { h } from "./page.js";

/** The bar is not shorter than this. */
const SHORTEST_PX = 56;

export class ScaleBar {
  constructor() {
    this.bar = h("span", { class: "bar", "aria-hidden": "true" });
    this.words = h("span", {});
    this.element = h("span", { class: "scale-bar" }, this.bar, this.words);
  }

  /** `about`: whether the scale holds in the middle of the pane only. */
  paint(pxPerMm, { about = false } = {}) {
    const mm = roundAbove(SHORTEST_PX / pxPerMm);
    this.bar.style.width = `${(mm * pxPerMm).toFixed(1)}px`;
    const words = `${about ? "about " : ""}${mm} mm`;
    if (this.words.textContent !== words) this.words.textContent = words;
  }
}

/** The smallest of 1, 2, 5 times a power of ten that is not below `least`. */
export function roundAbove(least) {
  const power = 10 ** Math.floor(Math.log10(least));
  const factor = [1, 2, 5, 10].find((step) => step * power >= least * (1 - 1e-9));
  return Number((factor * power).toPrecision(1));
}
