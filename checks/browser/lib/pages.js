// A page for each part, as the desk would write it.

import { demoPhoto, element, pageOf } from "./harness.js";

export async function comparePage() {
  const data = await demoPhoto("pf-2104", "01.jpg");
  const [w, h] = data.size_mm;
  data.overlays = [
    { kind: "face", label: "front", on: "both", polygon_mm: [[0, 0], [w, 0], [w, h], [0, h]] },
    { kind: "seal", label: "top end seal", on: "both", polygon_mm: [[0, 0], [w, 0], [w, 9], [0, 9]] },
    { kind: "seal", label: "bottom end seal", on: "both", polygon_mm: [[0, h - 9], [w, h - 9], [w, h], [0, h]] },
    { kind: "region", label: "wordmark", on: "both", polygon_mm: [[3.85, 10.47], [61.77, 10.47], [61.77, 25.69], [3.85, 25.69]] },
    { kind: "finding", label: "1", on: "photo", polygon_mm: [[20, 2], [30, 2], [30, 8], [20, 8]] },
    { kind: "cover", label: "glare", on: "photo", polygon_mm: [[40, 50], [52, 48], [55, 60], [42, 64]] },
  ];
  data.alt = { photo: "Front of the offered pack", reference: "Front as it should look" };
  return pageOf("A face beside its reference", element("face-compare", data));
}

export async function photoPage() {
  const data = await demoPhoto("pf-2104", "01.jpg");
  return pageOf("A photo", element("photo-pane", {
    ...data.photo, alt: "Front of the offered pack",
    overlays: [{ kind: "face", label: "front", polygon_px: [[200, 200], [800, 200], [800, 1200], [200, 1200]] }],
  }, `<img src="${data.photo.src}" alt="Front of the offered pack" width="${data.photo.width}" height="${data.photo.height}">`));
}

export async function cornerPage() {
  const data = await demoPhoto("pf-2104", "01.jpg");
  const [w, h] = data.size_mm;
  const H = data.mm_to_px.photo;
  const at = ([x, y]) => {
    const d = H[2][0] * x + H[2][1] * y + H[2][2];
    return [(H[0][0] * x + H[0][1] * y + H[0][2]) / d, (H[1][0] * x + H[1][1] * y + H[1][2]) / d];
  };
  return pageOf("Where the face lies", element("corner-drag", {
    ...data.photo, size_mm: data.size_mm, corners_px: [[0, 0], [w, 0], [w, h], [0, h]].map(at),
    action: "/corners", token: "t0", item: "a", face: "front", photo: "01.jpg",
  }));
}

export async function regionPage() {
  const data = await demoPhoto("pf-2104", "01.jpg");
  return pageOf("Regions of a face", element("region-draw", {
    ...data.reference, size_mm: data.size_mm, action: "/regions", token: "t0",
    regions: [
      { name: "wordmark", kind: "wordmark", rect_mm: { x: 3.85, y: 10.47, width: 57.92, height: 15.22 }, text: "Kelpwright" },
      { name: "emblem", kind: "emblem", rect_mm: { x: 3.6, y: 89.4, width: 13.2, height: 13.2 } },
    ],
  }));
}

export async function boardPage() {
  const data = await demoPhoto("pf-2104", "01.jpg");
  return pageOf("A board", element("board-maker", {
    pictures: [
      { id: "p1", ...data.photo, label: "Front of the offered pack", side: "offered" },
      { id: "r1", ...data.reference, label: "Front, reference", side: "reference" },
    ],
    caption: "Ridges of a factory seal run evenly from edge to edge.", action: "/boards", token: "t0",
  }));
}

export function dropPage() {
  return pageOf("Add an offer", element("drop-zone", { action: "/add", token: "t0" },
    `<form method="post" action="/add" enctype="multipart/form-data"><label>Photos <input type="file" name="files" multiple></label><button>Add</button></form>`));
}

export function progressPage() {
  return pageOf("Being examined", element("case-progress", { events: "/events/1" }, "<p>Waiting for the desk.</p>"));
}
