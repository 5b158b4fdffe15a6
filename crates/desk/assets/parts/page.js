// Small helpers for building parts of a page and for reading what the server wrote into it.
//
// In: an element and its data. Out: elements. Never here: HTML as text (nothing is ever parsed as
// markup, so no text of a stranger can become any), a style sheet in the page (the content
// security policy forbids it; single values are set through the object model).

/** Builds an element. `properties`: `on…` are listeners, `class` and `aria-…` attributes, a value
 *  of `true` an empty attribute, `false` or `null` none. Children: elements or text. */
export function h(name, properties = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(properties)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (key === "value") element.value = value;
    else if (key === "checked") element.checked = value;
    else element.setAttribute(key, value === true ? "" : value);
  }
  element.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return element;
}

/** The data that the server put into `<script type="application/json">` inside an element. */
export function dataOf(element) {
  const script = element.querySelector('script[type="application/json"]');
  if (!script) throw new Error(`<${element.localName}>: its data are missing`);
  return JSON.parse(script.textContent);
}

/** Puts `content` in the place of what is shown without modules. */
export function enhance(element, ...content) {
  element.replaceChildren(...content.filter(Boolean));
  element.dataset.ready = "";
}

let last = 0;
/** A name that no other element of the page has. */
export function freshId(stem) {
  last += 1;
  return `${stem}-${last}`;
}

/** A line that a screen reader speaks after things have been quiet for a moment. */
export function announcer() {
  const element = h("p", { class: "spoken", role: "status" });
  let timer = 0;
  return {
    element,
    say(text) {
      clearTimeout(timer);
      timer = setTimeout(() => { element.textContent = text; }, 350);
    },
  };
}

/** A message about something that failed, spoken at once; empty until then. */
export function complaint() {
  const element = h("p", { class: "complaint", role: "alert" });
  return { element, say(text) { element.textContent = text; } };
}

/** Bytes as a person reads them. */
export function bytes(count) {
  return count < 1e6 ? `${Math.max(1, Math.round(count / 1e3))} kB` : `${(count / 1e6).toFixed(1)} MB`;
}

/** A file handed to the person. */
export function download(blob, name) {
  const link = h("a", { href: URL.createObjectURL(blob), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}

/** Headers of a request that changes something: who asks, and that the answer be JSON. */
export function asking(token) {
  return { "x-untorn-token": token, accept: "application/json" };
}

/** What a server that refused has said, as a sentence with a remedy. */
export async function refusal(response) {
  return refusalText(response.status, await response.text().catch(() => ""));
}

export function refusalText(status, body) {
  const told = parsed(body);
  if (told?.error) return sentence(told.error);
  if (status === 413) return "This is more than the desk takes at once. Add fewer or smaller files.";
  if (status === 403) return "The desk did not take this because the page is out of date. Load the page again, then repeat.";
  return `The desk answered with an error (${status}). Nothing was changed; try again, and look at the terminal that runs the desk.`;
}

/** JSON as an object, or null for what is none. */
export function parsed(text) {
  try {
    const value = JSON.parse(text);
    return value && typeof value === "object" ? value : null;
  } catch {
    return null;
  }
}

/** With a capital letter and a full stop. */
export function sentence(words) {
  const text = words.trim();
  return `${text.charAt(0).toUpperCase()}${text.slice(1)}${/[.!?]$/.test(text) ? "" : "."}`;
}
