// From one offer to the next by a key.
//
// In: `nav[data-neighbours]` with links rel=prev and rel=next. Out: the page that they lead to; the
// keys written beside them. Never here: which offers are in the list; the desk's addresses say.

import { h } from "./page.js";
import { lettersWork } from "./letter-keys.js";

export function start(nav) {
  const [before, after] = ["prev", "next"].map((rel) => nav.querySelector(`a[rel="${rel}"]`));
  if (!lettersWork()) return;
  before?.append(" ", h("kbd", { "aria-hidden": "true" }, "K"));
  after?.append(" ", h("kbd", { "aria-hidden": "true" }, "J"));
  before?.setAttribute("aria-keyshortcuts", "k");
  after?.setAttribute("aria-keyshortcuts", "j");
  document.addEventListener("keydown", (event) => {
    if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || event.shiftKey) return;
    if (event.target.closest?.("input, textarea, select, .stage, [contenteditable]")) return;
    const link = { j: after, k: before }[event.key];
    if (!link) return;
    event.preventDefault();
    link.click();
  });
}
