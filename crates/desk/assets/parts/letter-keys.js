// Whether letters work as keys: people whose speech input types letters switch them off
// (WCAG 2.2, 2.1.4), for every page of the desk.
//
// In: the browser's own store. Out: yes or no. Never here: what a key does.

const OFF = "untorn-no-letter-keys";

export function lettersWork() {
  try {
    return localStorage.getItem(OFF) === null;
  } catch {
    return true;
  }
}

export function setLetters(on) {
  try {
    if (on) localStorage.removeItem(OFF);
    else localStorage.setItem(OFF, "");
  } catch { /* a browser that keeps nothing: it holds for this page */ }
}
