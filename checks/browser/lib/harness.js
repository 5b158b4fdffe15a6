// The desk's parts on pages of their own, without the desk: each part gets the data that the desk
// would write, from the demonstration's photos and their known homographies.
//
// Same content security policy as the desk's; what is posted is kept for the test to look at.

import { createServer } from "node:http";
import { readFile } from "node:fs/promises";
import { dirname, extname, join, normalize, sep } from "node:path";
import { fileURLToPath } from "node:url";

export const ROOT = join(dirname(fileURLToPath(import.meta.url)), "..", "..", "..");
const POLICY = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; font-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";
const TYPES = { ".js": "text/javascript", ".css": "text/css", ".jpg": "image/jpeg", ".png": "image/png", ".html": "text/html; charset=utf-8" };

function escape(text) {
  return text.replace(/[<&>]/g, (sign) => `\\u${sign.charCodeAt(0).toString(16).padStart(4, "0")}`);
}

export function element(name, data, inside = "") {
  return `<${name}><script type="application/json">${escape(JSON.stringify(data))}</script>${inside}</${name}>`;
}

export function pageOf(title, body) {
  return `<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>${title}</title><link rel="icon" href="/assets/none.png"><link rel="stylesheet" href="/report.css"><link rel="stylesheet" href="/assets/desk.css"><script type="module" src="/assets/desk.js"></script></head>
<body><header><p>Parts of the desk</p></header><main><h1>${title}</h1>${body}</main></body></html>`;
}

/** Serves `pages` (path to HTML) and `files` (path to {type, bytes}); `address`, `posts`, `stop`. */
export async function harness({ pages = {}, files = {}, answer } = {}) {
  const posts = [];
  const streams = new Set();
  const server = createServer(async (request, response) => {
    const path = decodeURIComponent(new URL(request.url, "http://localhost").pathname);
    response.setHeader("content-security-policy", POLICY);
    response.setHeader("x-content-type-options", "nosniff");
    const send = (status, type, bytes) => {
      response.writeHead(status, { "content-type": type });
      response.end(bytes);
    };
    try {
      if (request.method === "POST") {
        const parts = [];
        for await (const part of request) parts.push(part);
        posts.push({ path, headers: request.headers, body: Buffer.concat(parts) });
        const told = answer?.(path, posts.at(-1)) ?? { status: 200, type: "text/html; charset=utf-8", bytes: pageOf("Taken", "<p id=taken>Taken.</p>") };
        send(told.status, told.type, told.bytes);
      } else if (path.startsWith("/events/")) {
        response.writeHead(200, { "content-type": "text/event-stream" });
        streams.add(response);
        response.on("close", () => streams.delete(response));
      } else if (pages[path]) send(200, TYPES[".html"], typeof pages[path] === "function" ? pages[path]() : pages[path]);
      else if (files[path]) send(200, files[path].type, files[path].bytes);
      else if (path === "/report.css") send(200, TYPES[".css"], await readFile(join(ROOT, "crates/dossier/src/style.css")));
      else if (path === "/assets/none.png" || path === "/favicon.ico") send(200, TYPES[".png"], Buffer.alloc(0));
      else {
        const folder = path.startsWith("/assets/") ? join(ROOT, "crates/desk") : ROOT;
        const file = normalize(join(folder, path));
        if (!file.startsWith(folder + sep)) throw new Error("outside");
        send(200, TYPES[extname(file)] ?? "application/octet-stream", await readFile(file));
      }
    } catch (error) {
      send(404, "text/plain", String(error.code ?? error.message));
    }
  });
  await new Promise((resolve) => server.listen(0, "127.0.0.1", resolve));
  return {
    address: `http://127.0.0.1:${server.address().port}`,
    posts,
    say(event) { for (const stream of streams) stream.write(`data: ${JSON.stringify(event)}\n\n`); },
    listeners: () => streams.size,
    stop: () => new Promise((resolve) => {
      for (const stream of streams) stream.end();
      server.close(() => resolve());
      server.closeAllConnections?.();
    }),
  };
}

/** Truth of one photo of the demonstration: size, homography, the reference of its face. */
export async function demoPhoto(caseId, file, set = "offers") {
  const truth = JSON.parse(await readFile(join(ROOT, "demo", set, "truth.json"), "utf8"));
  const held = truth.cases[caseId];
  const face = held.photos[file].faces[0];
  const [, release, form] = held.items[face.item].product.split("/");
  const src = `/demo/${set}/${caseId}/${file}`;
  const reference = `/demo/faces/${release}-${form}-${face.face}.jpg`;
  const photoSize = await jpegSize(join(ROOT, src));
  const referenceSize = await jpegSize(join(ROOT, reference));
  const size_mm = form === "pack" ? [65, 112] : [94, 140];
  const scale = referenceSize.width / size_mm[0];
  return {
    photo: { src, ...photoSize, file },
    reference: { src: reference, ...referenceSize },
    size_mm,
    mm_to_px: { photo: face.mm_to_px, reference: [[scale, 0, -0.5], [0, scale, -0.5], [0, 0, 1]] },
    face: face.face,
  };
}

/** Width and height by a JPEG's frame header (ITU-T T.81, B.2.2). */
export async function jpegSize(path) {
  const bytes = await readFile(path);
  for (let at = 2; at < bytes.length;) {
    const marker = bytes[at + 1];
    if (marker >= 0xc0 && marker <= 0xcf && ![0xc4, 0xc8, 0xcc].includes(marker)) {
      return { width: bytes.readUInt16BE(at + 7), height: bytes.readUInt16BE(at + 5) };
    }
    at += 2 + bytes.readUInt16BE(at + 2);
  }
  throw new Error(`${path}: no frame header`);
}
