// Which part of a plane is seen, and how large: the one thing that panes which move together share.
//
// In: the plane's rectangle (millimetres of a face, or pixels of a photo), a pane's size in CSS
// pixels, movements. Out: centre, scale and the map from plane to pane; an event "change" after
// each movement. Never here: a picture, the page.

/** Farthest out: the whole plane at this part of the pane. */
const FARTHEST = 0.5;
/** How much of the plane's larger side may be moved past its edge. */
const PAST_EDGE = 0.25;
/** Space around the plane when it fits, as a part of the pane. */
const MARGIN = 0.03;

export class View extends EventTarget {
  #pane = { width: 1, height: 1 };
  #fitted = true;

  /** `world`: x, y, width, height. `largest`: largest scale in CSS pixels a unit. */
  constructor(world, largest) {
    super();
    this.world = world;
    this.largest = largest;
    this.fit();
  }

  get pane() { return this.#pane; }
  /** Scale at which the whole plane is seen, CSS pixels a unit. */
  get fitScale() {
    const room = 1 - 2 * MARGIN;
    return Math.min(this.#pane.width * room / this.world.width, this.#pane.height * room / this.world.height);
  }
  get isFitted() { return this.#fitted; }

  resize(width, height) {
    if (width < 1 || height < 1) return;
    if (width === this.#pane.width && height === this.#pane.height) return;
    this.#pane = { width, height };
    if (this.#fitted) this.fit();
    else this.set(this.centre[0], this.centre[1], this.scale);
  }

  fit() {
    this.centre = [this.world.x + this.world.width / 2, this.world.y + this.world.height / 2];
    this.scale = this.fitScale;
    this.#fitted = true;
    this.dispatchEvent(new Event("change"));
  }

  /** Centre in units of the plane, scale in CSS pixels a unit; both are kept within bounds. */
  set(x, y, scale) {
    const past = Math.max(this.world.width, this.world.height) * PAST_EDGE;
    const within = (value, from, size) => Math.min(Math.max(value, from - past), from + size + past);
    this.centre = [within(x, this.world.x, this.world.width), within(y, this.world.y, this.world.height)];
    this.scale = Math.min(Math.max(scale, this.fitScale * FARTHEST), Math.max(this.largest, this.fitScale));
    this.#fitted = false;
    this.dispatchEvent(new Event("change"));
  }

  /** Moves what is seen by CSS pixels: the picture follows the hand. */
  panBy(dx, dy) {
    this.set(this.centre[0] - dx / this.scale, this.centre[1] - dy / this.scale, this.scale);
  }

  /** Magnifies by a factor; the point under (sx, sy) of the pane stays where it is. */
  zoomAt(factor, sx = this.#pane.width / 2, sy = this.#pane.height / 2) {
    const [x, y] = this.toWorld([sx, sy]);
    const scale = Math.min(Math.max(this.scale * factor, this.fitScale * FARTHEST), Math.max(this.largest, this.fitScale));
    this.set(x - (sx - this.#pane.width / 2) / scale, y - (sy - this.#pane.height / 2) / scale, scale);
  }

  /** Map from the plane to the pane. */
  matrix() {
    const { scale, centre } = this;
    return [
      [scale, 0, this.#pane.width / 2 - scale * centre[0]],
      [0, scale, this.#pane.height / 2 - scale * centre[1]],
      [0, 0, 1],
    ];
  }

  toWorld([sx, sy]) {
    return [
      this.centre[0] + (sx - this.#pane.width / 2) / this.scale,
      this.centre[1] + (sy - this.#pane.height / 2) / this.scale,
    ];
  }
}
