// PNG, 8 bits a channel, not interlaced: enough to make pictures with known content and to look
// into what the browser exports, without asking the browser.
//
// Source: the PNG specification (ISO/IEC 15948), filters and chunks from memory.

import zlib from "node:zlib";

const { deflateSync, inflateSync } = zlib;

const MARK = Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]);

const TABLE = Uint32Array.from({ length: 256 }, (_, n) => {
  let c = n;
  for (let k = 0; k < 8; k += 1) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
  return c >>> 0;
});
function crc32(bytes) {
  // Node has it since version 22.
  if (zlib.crc32) return zlib.crc32(bytes);
  let c = 0xffffffff;
  for (const byte of bytes) c = TABLE[(c ^ byte) & 0xff] ^ (c >>> 8);
  return (c ^ 0xffffffff) >>> 0;
}

function chunk(name, data) {
  const body = Buffer.concat([Buffer.from(name, "latin1"), data]);
  const whole = Buffer.alloc(body.length + 8);
  whole.writeUInt32BE(data.length, 0);
  body.copy(whole, 4);
  whole.writeUInt32BE(crc32(body), body.length + 4);
  return whole;
}

/** `rgb(x, y)`: [r, g, b], 0 to 255. */
export function encode(width, height, rgb) {
  const raw = Buffer.alloc(height * (1 + 3 * width));
  for (let y = 0, at = 0; y < height; y += 1) {
    raw[at] = 0;
    at += 1;
    for (let x = 0; x < width; x += 1, at += 3) raw.set(rgb(x, y), at);
  }
  const head = Buffer.alloc(13);
  head.writeUInt32BE(width, 0);
  head.writeUInt32BE(height, 4);
  head.set([8, 2, 0, 0, 0], 8);
  return Buffer.concat([MARK, chunk("IHDR", head), chunk("IDAT", deflateSync(raw, { level: 3 })), chunk("IEND", Buffer.alloc(0))]);
}

/** Width, height and `at(x, y)`: [r, g, b]. Throws on what is no such PNG. */
export function decode(bytes) {
  if (!bytes.subarray(0, 8).equals(MARK)) throw new Error("no PNG");
  const parts = [];
  let width = 0;
  let height = 0;
  let channels = 0;
  for (let at = 8; at < bytes.length;) {
    const length = bytes.readUInt32BE(at);
    const name = bytes.toString("latin1", at + 4, at + 8);
    const data = bytes.subarray(at + 8, at + 8 + length);
    if (crc32(bytes.subarray(at + 4, at + 8 + length)) !== bytes.readUInt32BE(at + 8 + length)) throw new Error(`chunk ${name} is damaged`);
    if (name === "IHDR") {
      width = data.readUInt32BE(0);
      height = data.readUInt32BE(4);
      channels = { 2: 3, 6: 4 }[data[9]];
      if (data[8] !== 8 || !channels || data[12] !== 0) throw new Error("a kind of PNG that is not read here");
    }
    if (name === "IDAT") parts.push(data);
    at += 12 + length;
  }
  const raw = inflateSync(Buffer.concat(parts));
  const stride = width * channels;
  const out = Buffer.alloc(height * stride);
  for (let y = 0; y < height; y += 1) {
    const filter = raw[y * (stride + 1)];
    for (let i = 0; i < stride; i += 1) {
      const left = i >= channels ? out[y * stride + i - channels] : 0;
      const up = y > 0 ? out[(y - 1) * stride + i] : 0;
      const corner = y > 0 && i >= channels ? out[(y - 1) * stride + i - channels] : 0;
      const guess = [0, left, up, (left + up) >> 1, paeth(left, up, corner)][filter];
      out[y * stride + i] = raw[y * (stride + 1) + 1 + i] + guess;
    }
  }
  return {
    width, height, pixels: out, channels,
    at(x, y) { return [...out.subarray((y * width + x) * channels, (y * width + x) * channels + 3)]; },
  };
}

function paeth(a, b, c) {
  const p = a + b - c;
  const [da, db, dc] = [Math.abs(p - a), Math.abs(p - b), Math.abs(p - c)];
  if (da <= db && da <= dc) return a;
  return db <= dc ? b : c;
}
