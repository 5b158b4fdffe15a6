// How a board is laid out and drawn: 1920 × 1080, what is offered beside what it is compared with.
//
// In: the board's state (pieces, notes, caption) and the loaded pictures. Out: drawing calls on a
// 2D context, and where each piece lies. Never here: the page, editing.
//
// A board is a slide: its colours do not follow the desk's. Kinds are told apart by words and
// place; arrows are dark between light lines, so they are seen on any print.

export const WIDTH = 1920;
export const HEIGHT = 1080;
const EDGE = 40;
const GAP = 20;
const HEAD = 52;
const LABEL = 34;
const FOOT = 32;
const CAPTION_LINES = 3;
const SANS = '"Noto Sans", "Source Sans 3", "Segoe UI", system-ui, sans-serif';
const INK = "#1b2430";
const MUTED = "#4a5462";
const PAPER = "#fcfbf8";
const RULE = "#7c828c";
export const SIDES = { reference: "Reference", offered: "Offered" };
/** Stands on every board; the words are the report's. */
const CAUTION = "About the item in these photos. Light, cameras and makes differ; one picture is no proof. No certificate.";

/** Caption in lines that fit, at 30 px. */
export function captionLines(context, caption) {
  context.font = `30px ${SANS}`;
  return wrap(context, caption, WIDTH - 2 * EDGE).slice(0, CAPTION_LINES);
}

/** Where each piece lies: x, y, width, height of its picture on the board, and its cell. */
export function layOut(pieces, captionCount) {
  const foot = FOOT + (captionCount > 0 ? captionCount * 40 + GAP : 0);
  const top = EDGE + HEAD;
  const bottom = HEIGHT - EDGE - foot;
  const columns = ["reference", "offered"].filter((side) => pieces.some((piece) => piece.side === side));
  const room = columns.length > 0 ? (WIDTH - 2 * EDGE - GAP * (columns.length - 1)) / columns.length : 0;
  const places = new Map();
  const rows = Math.max(1, ...columns.map((side) => pieces.filter((piece) => piece.side === side).length));
  // Wide pieces go one above the other, tall ones beside each other, whichever shows them larger.
  const shape = pieces.length > 0 ? Math.min(...pieces.map((piece) => piece.crop.width / piece.crop.height)) : 1;
  const stacked = scaleFor(shape, room, (bottom - top - GAP * (rows - 1)) / rows - LABEL);
  const abreast = scaleFor(shape, (room - GAP * (rows - 1)) / rows, bottom - top - LABEL);
  columns.forEach((side, column) => {
    const left = EDGE + column * (room + GAP);
    const own = pieces.filter((piece) => piece.side === side);
    own.forEach((piece, index) => {
      const cell = stacked >= abreast
        ? { x: left, y: top + index * ((bottom - top - GAP * (rows - 1)) / rows + GAP), width: room, height: (bottom - top - GAP * (rows - 1)) / rows }
        : { x: left + index * ((room - GAP * (rows - 1)) / rows + GAP), y: top, width: (room - GAP * (rows - 1)) / rows, height: bottom - top };
      const scale = Math.min(cell.width / piece.crop.width, (cell.height - LABEL) / piece.crop.height);
      const width = piece.crop.width * scale;
      const height = piece.crop.height * scale;
      places.set(piece.id, { x: cell.x + (cell.width - width) / 2, y: cell.y + LABEL, width, height, cell });
    });
  });
  return { places, columns, room, bottom };
}

function scaleFor(shape, width, height) {
  return Math.min(width, height * shape);
}

/** `pictures`: id to something that `drawImage` takes. */
export function draw(context, board, pictures) {
  context.save();
  context.fillStyle = PAPER;
  context.fillRect(0, 0, WIDTH, HEIGHT);
  context.textBaseline = "alphabetic";
  const lines = captionLines(context, board.caption);
  const { places, columns, room, bottom } = layOut(board.pieces, lines.length);
  columns.forEach((side, column) => {
    const left = EDGE + column * (room + GAP);
    context.font = `600 32px ${SANS}`;
    context.fillStyle = INK;
    context.fillText(SIDES[side], left, EDGE + 32);
    context.fillRect(left, EDGE + HEAD - 8, room, 2);
  });
  context.imageSmoothingQuality = "high";
  for (const piece of board.pieces) {
    const { x, y, width, height } = places.get(piece.id);
    const { crop } = piece;
    const picture = pictures.get(piece.picture);
    if (picture) context.drawImage(picture, crop.x, crop.y, crop.width, crop.height, x, y, width, height);
    context.strokeStyle = RULE;
    context.lineWidth = 1;
    context.strokeRect(x + 0.5, y + 0.5, width - 1, height - 1);
    context.font = `24px ${SANS}`;
    context.fillStyle = MUTED;
    context.fillText(fitted(context, piece.label, Math.max(width, 200)), x, y - 9);
  }
  for (const note of board.notes) drawNote(context, note);
  context.fillStyle = INK;
  context.font = `30px ${SANS}`;
  lines.forEach((line, index) => context.fillText(line, EDGE, bottom + GAP + 30 + index * 40));
  context.fillStyle = MUTED;
  context.font = `20px ${SANS}`;
  context.fillText(CAUTION, EDGE, HEIGHT - EDGE + 6);
  context.restore();
}

/** The box of a note's text: x, y is its top left. */
function noteBox(context, note) {
  context.font = `26px ${SANS}`;
  const lines = wrap(context, note.text || "…", 420);
  const width = Math.max(...lines.map((line) => context.measureText(line).width)) + 28;
  return { lines, width, height: lines.length * 34 + 18 };
}

function drawNote(context, note) {
  const { lines, width, height } = noteBox(context, note);
  const middle = [note.x + width / 2, note.y + height / 2];
  const [tx, ty] = [note.tipX, note.tipY];
  const angle = Math.atan2(ty - middle[1], tx - middle[0]);
  const head = 24;
  const stroke = (colour, line) => {
    context.strokeStyle = colour;
    context.fillStyle = colour;
    context.lineWidth = line;
    context.lineJoin = "round";
    context.beginPath();
    context.moveTo(...middle);
    context.lineTo(tx - Math.cos(angle) * head * 0.7, ty - Math.sin(angle) * head * 0.7);
    context.stroke();
    context.beginPath();
    context.moveTo(tx, ty);
    for (const side of [-1, 1]) context.lineTo(tx - Math.cos(angle + side * 0.4) * head, ty - Math.sin(angle + side * 0.4) * head);
    context.closePath();
    context.lineWidth = Math.max(1, line - 3);
    context.stroke();
    context.fill();
  };
  stroke("#ffffff", 9);
  stroke(INK, 3.5);
  context.fillStyle = PAPER;
  context.strokeStyle = INK;
  context.lineWidth = 2;
  context.fillRect(note.x, note.y, width, height);
  context.strokeRect(note.x, note.y, width, height);
  context.fillStyle = INK;
  context.font = `26px ${SANS}`;
  lines.forEach((line, row) => context.fillText(line, note.x + 14, note.y + 34 + row * 34));
}

function wrap(context, text, width) {
  const lines = [];
  for (const paragraph of text.split("\n")) {
    let line = "";
    for (const word of paragraph.split(/\s+/).filter(Boolean)) {
      const longer = line ? `${line} ${word}` : word;
      if (line && context.measureText(longer).width > width) {
        lines.push(line);
        line = word;
      } else {
        line = longer;
      }
    }
    if (line) lines.push(line);
  }
  return lines;
}

function fitted(context, text, width) {
  if (context.measureText(text).width <= width) return text;
  let end = text.length;
  while (end > 1 && context.measureText(`${text.slice(0, end)}…`).width > width) end -= 1;
  return `${text.slice(0, end)}…`;
}
