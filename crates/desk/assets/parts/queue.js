// The queue: a list that follows what is typed, and the keys to walk through it.
//
// In: `form[data-rows]`: where the list alone is had for the form's values; `#offers`, which holds it,
// with rows `[data-row]`. Out: the list, replaced; focus that moves from offer to offer.
// Never here: which offers are shown; the desk chooses.
//
// Keys that are letters can be switched off in the list of keys, because speech input types them
// (WCAG 2.2, 2.1.4).

import { announcer, h } from "./page.js";
import "./case-progress.js";
import { lettersWork, setLetters } from "./letter-keys.js";

/** A key press is waited after for this long: the next one is likelier than not. */
const WAIT_MS = 40;
/** While offers are looked at, the list is had anew no more often than this. */
const FOLLOW_MS = 1500;

export function start(form) {
  const list = () => document.getElementById("offers");
  const search = form.querySelector('input[type="search"]');
  const voice = announcer();
  keys(form, list, search, voice);

  let timer = 0;
  let asked = null;
  const refresh = async (spoken) => {
    asked?.abort();
    asked = new AbortController();
    const values = new URLSearchParams([...new FormData(form)].filter(([, value]) => value !== ""));
    const page = new URLSearchParams(location.search).get("page");
    if (page && !spoken) values.set("page", page);
    try {
      const response = await fetch(`${form.dataset.rows}?${values}`, { signal: asked.signal });
      if (!response.ok) throw new Error();
      replace(list(), await response.text());
      if (spoken) {
        history.replaceState(null, "", values.size > 0 ? `?${values}` : location.pathname);
        voice.say(list().querySelector(".count, .empty")?.textContent ?? "");
      }
    } catch (error) {
      if (error.name !== "AbortError") voice.say("The desk cannot be reached. Is it still running?");
    }
  };
  let typed = -Infinity;
  form.addEventListener("input", () => {
    // The first key is followed at once, what is typed on after a pause.
    const now = performance.now();
    clearTimeout(timer);
    timer = setTimeout(() => refresh(true), now - typed < WAIT_MS ? WAIT_MS : 0);
    typed = now;
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    refresh(true);
  });
  let followed = 0;
  let waiting = 0;
  document.addEventListener("case-progress", (event) => {
    const wait = event.detail.done ? 0 : Math.max(0, followed + FOLLOW_MS - Date.now());
    clearTimeout(waiting);
    waiting = setTimeout(() => {
      followed = Date.now();
      refresh(false);
    }, wait);
  });
}

/** Puts the server's list in the place of the old one. What listens to the desk's events goes on
 *  listening, and the offer that had the focus keeps it. */
function replace(old, text) {
  const page = new DOMParser().parseFromString(text, "text/html");
  const fresh = page.getElementById(old.id);
  if (!fresh) return;
  const focused = old.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
  const kept = old.querySelector(":scope > case-progress");
  const stands = fresh.querySelector(":scope > case-progress");
  for (const child of [...old.childNodes]) if (child !== kept || !stands) child.remove();
  if (kept && stands) {
    const all = [...fresh.childNodes];
    const at = all.indexOf(stands);
    kept.before(...all.slice(0, at));
    kept.after(...all.slice(at + 1));
  } else {
    old.append(...fresh.childNodes);
  }
  if (focused) [...old.querySelectorAll("a[href]")].find((link) => link.getAttribute("href") === focused && link.tabIndex >= 0)?.focus();
}

function keys(form, list, search, voice) {
  const links = () => [...list().querySelectorAll("[data-row] th a[href]")];
  let letters = lettersWork();
  const help = h("details", { class: "keys" }, h("summary", {}, "Keys"),
    h("p", {}, "J or arrow down: next offer. K or arrow up: the one before. Enter opens it; there, J and K lead on through the same list. / goes to the search, Escape empties it. F goes to what is shown. ? shows this."),
    h("label", { class: "choice" }, h("input", {
      type: "checkbox", checked: letters,
      onchange: (event) => {
        letters = event.target.checked;
        setLetters(letters);
        event.stopPropagation();
      },
    }), "Letter keys work"));
  form.after(help, voice.element);

  const go = (by) => {
    const all = links();
    if (all.length === 0) return;
    const at = all.findIndex((link) => link.closest("tr").contains(document.activeElement));
    const next = at < 0 ? (by > 0 ? 0 : all.length - 1) : Math.min(Math.max(at + by, 0), all.length - 1);
    all[next].focus();
    all[next].closest("tr").scrollIntoView({ block: "nearest" });
  };
  document.addEventListener("keydown", (event) => {
    if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.target === search) {
      if (event.key === "ArrowDown") go(1);
      else if (event.key === "Escape" && search.value) {
        search.value = "";
        search.dispatchEvent(new Event("input", { bubbles: true }));
      } else return;
      event.preventDefault();
      return;
    }
    if (event.target.closest?.("input, textarea, select, .stage")) return;
    const inList = list().contains(event.target);
    if (event.key === "ArrowDown" && inList || letters && event.key === "j") go(1);
    else if (event.key === "ArrowUp" && inList || letters && event.key === "k") go(-1);
    else if (letters && event.key === "/") search?.focus();
    else if (letters && event.key === "f") form.querySelector("select")?.focus();
    else if (letters && event.key === "?") {
      help.open = !help.open;
      help.querySelector("summary").focus();
    } else return;
    event.preventDefault();
  });
}
