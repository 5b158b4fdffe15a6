// A point that is moved by hand, by keys, or by a click elsewhere: corners, arrow heads, texts.
//
// In: a name, where it is, what happens when it moves. Out: a button. Never here: what it is for.

import { h } from "./page.js";

/** Keys move by this many CSS pixels' worth; with Shift by ten times as much. */
const NUDGE = 1;

/** `move(dx, dy, kind)`: by CSS pixels, from a "drag" or a "key"; `done()`: a movement has ended. */
export function handle({ label, className, move, done, chosen }) {
  const element = h("button", { type: "button", class: `handle ${className ?? ""}`, "aria-label": label, title: label });
  let last = null;
  element.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    event.stopPropagation();
    element.setPointerCapture(event.pointerId);
    last = [event.clientX, event.clientY];
    element.focus({ preventScroll: true });
  });
  element.addEventListener("pointermove", (event) => {
    if (!last || !element.hasPointerCapture(event.pointerId)) return;
    move(event.clientX - last[0], event.clientY - last[1], "drag");
    last = [event.clientX, event.clientY];
  });
  const lift = () => {
    if (last) done?.();
    last = null;
  };
  element.addEventListener("pointerup", lift);
  element.addEventListener("pointercancel", lift);
  element.addEventListener("dblclick", (event) => event.stopPropagation());
  element.addEventListener("focus", () => chosen?.());
  element.addEventListener("keydown", (event) => {
    const step = event.shiftKey ? 10 * NUDGE : NUDGE;
    const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
    if (!by) return;
    event.preventDefault();
    event.stopPropagation();
    move(...by, "key");
    done?.();
  });
  return {
    element,
    /** Puts the middle of the button at a place of its parent, in CSS pixels. */
    put([x, y]) { element.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px) translate(-50%, -50%)`; },
  };
}
