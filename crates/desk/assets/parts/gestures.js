// Hands on a pane: drag, pinch, wheel, double click and keys move a `View`.
//
// In: a focusable element and its view. Out: movements of the view; keys that it does not know go
// to the caller. Never here: what is shown.
//
// A wheel over a pane that has no focus scrolls the page, and so does one finger while the whole
// picture is in sight: nobody gets caught in a picture. Everything that a drag does, arrow keys and
// buttons do too (WCAG 2.2, 2.5.7 and 2.1.1).

const STEP_PART = 0.1;
const FINE_STEP_PX = 1;
const ZOOM_STEP = 1.25;
const WHEEL_RATE = 0.0015;

/** A press that moves less than this is a click. */
const CLICK_PX = 4;

/** `options.key(event)`: returns true when it took a key. `options.drag(event)`: returns true when
 *  a press belongs to something else on the pane. `options.moved()`: after a key moved the view.
 *  `options.draws()`: whether a drag draws, so that a finger does not scroll the page.
 *  `options.click([x, y])`: a press without a drag, CSS pixels of the pane; with it, a double click
 *  does not magnify. */
export function attach(element, view, options = {}) {
  const pointers = new Map();
  let pinch = null;
  let pressed = null;

  const place = (event) => {
    const box = element.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  const touch = () => { element.style.touchAction = view.isFitted && !options.draws?.() ? "pan-y" : "none"; };
  view.addEventListener("change", touch);
  touch();
  element.addEventListener("pointerenter", touch);

  element.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || options.drag?.(event)) return;
    pointers.set(event.pointerId, place(event));
    element.setPointerCapture(event.pointerId);
    element.classList.add("held");
    pinch = null;
    pressed = pointers.size === 1 ? place(event) : null;
  });
  element.addEventListener("pointermove", (event) => {
    const before = pointers.get(event.pointerId);
    if (!before) return;
    const now = place(event);
    pointers.set(event.pointerId, now);
    if (pressed && Math.hypot(now[0] - pressed[0], now[1] - pressed[1]) < CLICK_PX) return;
    pressed = null;
    if (pointers.size === 1) {
      if (now[0] !== before[0] || now[1] !== before[1]) view.panBy(now[0] - before[0], now[1] - before[1]);
      return;
    }
    const [a, b] = [...pointers.values()];
    const next = { distance: Math.hypot(a[0] - b[0], a[1] - b[1]), middle: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2] };
    if (pinch && pinch.distance > 0) {
      view.panBy(next.middle[0] - pinch.middle[0], next.middle[1] - pinch.middle[1]);
      view.zoomAt(next.distance / pinch.distance, ...next.middle);
    }
    pinch = next;
  });
  const lift = (event) => {
    pointers.delete(event.pointerId);
    pinch = null;
    pressed = null;
    if (pointers.size === 0) element.classList.remove("held");
  };
  element.addEventListener("pointerup", (event) => {
    if (pressed && pointers.has(event.pointerId)) options.click?.(pressed);
    lift(event);
  });
  element.addEventListener("pointercancel", lift);
  element.addEventListener("lostpointercapture", lift);
  element.addEventListener("dblclick", (event) => {
    if (options.click || options.drag?.(event)) return;
    view.zoomAt(event.shiftKey ? 0.5 : 2, ...place(event));
  });
  element.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !element.contains(document.activeElement)) return;
    event.preventDefault();
    const rate = event.deltaMode === 1 ? WHEEL_RATE * 16 : WHEEL_RATE;
    view.zoomAt(Math.exp(-event.deltaY * rate * (event.ctrlKey ? 4 : 1)), ...place(event));
  }, { passive: false });
  element.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target !== element) return;
    if (options.key?.(event) || moveByKey(view, event)) {
      event.preventDefault();
      options.moved?.();
    }
  });
}

/** Moves the view as a key says; whether it knew the key. */
export function moveByKey(view, event) {
  const step = event.shiftKey ? FINE_STEP_PX : STEP_PART * Math.min(view.pane.width, view.pane.height);
  switch (event.key) {
    case "ArrowLeft": view.panBy(step, 0); return true;
    case "ArrowRight": view.panBy(-step, 0); return true;
    case "ArrowUp": view.panBy(0, step); return true;
    case "ArrowDown": view.panBy(0, -step); return true;
    case "+": case "=": view.zoomAt(ZOOM_STEP); return true;
    case "-": case "_": view.zoomAt(1 / ZOOM_STEP); return true;
    case "0": view.fit(); return true;
    default: return false;
  }
}

/** Buttons that do what keys do, for a pointer that cannot drag. */
export function movementButtons(h, view, moved) {
  const button = (label, sign, key) => h("button", {
    type: "button", class: "icon", "aria-label": label, title: label,
    onclick: () => { moveByKey(view, { key }); moved?.(); },
  }, sign);
  return h("span", { class: "buttons", role: "group", "aria-label": "Move the picture" },
    button("Smaller", "−", "-"), button("Larger", "+", "+"), button("Whole picture", "Whole", "0"),
    button("Look left", "←", "ArrowLeft"), button("Look right", "→", "ArrowRight"),
    button("Look up", "↑", "ArrowUp"), button("Look down", "↓", "ArrowDown"));
}
