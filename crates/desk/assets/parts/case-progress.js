// <case-progress>: what the desk is doing, as it happens.
//
// In: events: address of a stream of server-sent events, each JSON {state, words, done}. Out: a
// line that is spoken; once nothing more will happen, the page with what came out. On a page whose
// list is had anew by itself (queue.js) an event "case-progress" instead. Never here: what the steps
// are.

import { dataOf, enhance, h, parsed } from "./page.js";

/** Spoken no more often than this. */
const SPEAK_MS = 2500;
/** A page that was loaded anew so lately is not loaded anew again by itself. */
const AGAIN_MS = 3000;
const KEY = "untorn-loaded-anew";

class CaseProgress extends HTMLElement {
  connectedCallback() {
    if (this.source) return;
    const data = dataOf(this);
    const words = this.querySelector("p")?.textContent?.trim();
    this.line = h("p", { class: "lead" }, words || "Waiting for the desk.");
    this.bar = h("progress", { "aria-label": "Examination", max: 1 });
    this.spoken = h("p", { class: "spoken", role: "status" });
    enhance(this, this.line, this.bar, this.spoken);
    this.source = new EventSource(data.events);
    this.source.onmessage = (event) => this.#take(parsed(event.data) ?? {});
    this.source.onerror = () => {
      if (this.source?.readyState === EventSource.CLOSED) this.#offer("The desk has stopped sending.");
    };
  }

  disconnectedCallback() {
    this.source?.close();
    this.source = null;
  }

  #take({ words, done }) {
    const first = this.heard === undefined;
    this.heard = words;
    if (words) {
      this.line.textContent = words;
      if (Date.now() - (this.spokenAt ?? 0) > SPEAK_MS) {
        this.spoken.textContent = words;
        this.spokenAt = Date.now();
      }
    }
    const follows = document.querySelector("form[data-rows]") !== null;
    if (follows && (done || !first)) document.dispatchEvent(new CustomEvent("case-progress", { detail: { done } }));
    if (!done) return;
    this.source.close();
    if (follows) return;
    this.bar.hidden = true;
    if (isBusy() || !mayLoad()) this.#offer(words ?? "Done.");
    else location.reload();
  }

  /** What came out is one press away: nothing that is being typed gets lost. */
  #offer(words) {
    this.line.textContent = `${words} `;
    this.line.append(h("button", { type: "button", onclick: () => location.reload() }, "Show it"));
  }
}

/** Whether somebody is typing, or moving something that is not saved. */
function isBusy() {
  const at = document.activeElement;
  return (at?.matches("input, textarea, select") && at.type !== "file") || document.querySelector(".cropping:not([hidden])") !== null;
}

function mayLoad() {
  try {
    const before = parsed(sessionStorage.getItem(KEY) ?? "");
    if (before && before.page === location.href && Date.now() - before.at < AGAIN_MS) return false;
    sessionStorage.setItem(KEY, JSON.stringify({ page: location.href, at: Date.now() }));
  } catch { /* a browser that keeps nothing */ }
  return true;
}

customElements.define("case-progress", CaseProgress);
