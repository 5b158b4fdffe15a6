// Buttons that copy a text, such as a request for photos.
//
// In: `<button data-copy="id of the element">`. Out: its text on the clipboard, and a word on the
// button. Never here: what the text says.

export function start(button) {
  const words = button.textContent;
  button.addEventListener("click", async () => {
    const from = document.getElementById(button.dataset.copy);
    if (!from) return;
    const text = from.value ?? from.textContent.trim();
    let done = true;
    try {
      await navigator.clipboard.writeText(text);
    } catch {
      // Without leave to use the clipboard the text is at least chosen, ready for Ctrl C.
      done = false;
      if (from.select) from.select();
      else getSelection().selectAllChildren(from);
    }
    button.textContent = done ? "Copied" : "Chosen: press Ctrl C";
    button.setAttribute("aria-live", "polite");
    setTimeout(() => { button.textContent = words; }, 2500);
  });
}
