// Photos as large as phones take them, made of the demonstration's small ones.

import { readFileSync } from "node:fs";
import { join } from "node:path";
import { ROOT } from "./harness.js";

/** A JPEG of 12 megapixels: a photo of the demonstration magnified by the browser, with a sensor's
 *  noise, so that it takes as long to decode and is as large as one from a phone. `page` must show
 *  some page of any server. */
export async function twelveMegapixels(page, path) {
  const small = readFileSync(join(ROOT, path)).toString("base64");
  const text = await page.evaluate(async (base64) => {
    const bytes = Uint8Array.from(atob(base64), (sign) => sign.charCodeAt(0));
    const picture = await createImageBitmap(new Blob([bytes], { type: "image/jpeg" }));
    const scale = Math.sqrt(12e6 / (picture.width * picture.height));
    const [width, height] = [Math.round(picture.width * scale), Math.round(picture.height * scale)];
    const canvas = new OffscreenCanvas(width, height);
    const context = canvas.getContext("2d");
    context.imageSmoothingQuality = "high";
    context.drawImage(picture, 0, 0, width, height);
    const held = context.getImageData(0, 0, width, height);
    let state = 1;
    for (let i = 0; i < held.data.length; i += 4) {
      state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
      const noise = (state >>> 29) - 3;
      for (let k = 0; k < 3; k += 1) held.data[i + k] += noise;
    }
    context.putImageData(held, 0, 0);
    const made = new Uint8Array(await (await canvas.convertToBlob({ type: "image/jpeg", quality: 0.9 })).arrayBuffer());
    let out = "";
    for (let i = 0; i < made.length; i += 0x8000) out += String.fromCharCode(...made.subarray(i, i + 0x8000));
    return btoa(out);
  }, small);
  return Buffer.from(text, "base64");
}

/** The same picture under another content: a comment segment after the start (ITU-T T.81, B.2.4.5). */
export function distinct(jpeg, number) {
  const words = Buffer.from(`copy ${number}`);
  const head = Buffer.from([0xff, 0xfe, 0, words.length + 2]);
  return Buffer.concat([jpeg.subarray(0, 2), head, words, jpeg.subarray(2)]);
}
