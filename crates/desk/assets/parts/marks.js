// How outlines are told apart and listed in words: shared by every pane that shows them.
//
// In: overlays as the server writes them. Out: their kinds' words, a legend. The dashes stand in
// desk.css under the same names. Never here: where an outline lies.

import { h } from "./page.js";

export const KINDS = {
  face: "edge of the face as it was found",
  region: "named region",
  seal: "end seal",
  finding: "place of a finding",
  cover: "hidden or not readable",
};

/** A legend of the kinds that occur, each with a sample of its line. */
export function legend(overlays) {
  const kinds = Object.keys(KINDS).filter((kind) => overlays.some((overlay) => overlay.kind === kind));
  if (kinds.length === 0) return null;
  return h("ul", { class: "line-legend" }, kinds.map((kind) => h("li", {}, sample(kind), KINDS[kind])));
}

function sample(kind) {
  const SVG = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("class", `sample shape is-${kind}`);
  svg.setAttribute("viewBox", "0 0 36 12");
  svg.setAttribute("aria-hidden", "true");
  for (const name of ["halo", "line"]) {
    const path = document.createElementNS(SVG, "path");
    path.setAttribute("class", name);
    path.setAttribute("d", "M2 6H34");
    svg.append(path);
  }
  return svg;
}
