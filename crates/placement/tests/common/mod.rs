//! Pictures with a known truth: faces drawn from a seed, photos of them through a known map.
//!
//! In: seeds and maps. Out: [`Photo`]s. Never here: the code under test, but for its map type.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used)]

use photo::{Codes, Encoding, Photo};
use placement::{Homography, Point, ReferenceFace};

/// Size of the drawn faces, mm.
pub const SIZE: (f64, f64) = (65.0, 110.0);
/// Resolution of the drawn faces.
pub const FACE_PX_PER_MM: f64 = 10.0;

/// SplitMix64.
pub struct Random(pub u64);

impl Random {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in 0..1.
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// About normal: eight uniforms of 16 bits summed, mean 0, variance 1.
    pub fn normal(&mut self) -> f64 {
        let (a, b) = (self.next(), self.next());
        let sum: u64 = (0..4).map(|k| ((a >> (16 * k)) & 0xffff) + ((b >> (16 * k)) & 0xffff)).sum();
        // Eight uniforms of width 1 have variance 8 / 12.
        (sum as f64 / 65_536.0 - 4.0) * (12.0f64 / 8.0).sqrt()
    }
}

/// A grey picture with colour at each pixel, codes 0 to 255 in f32.
pub struct Canvas {
    pub width: usize,
    pub height: usize,
    pub rgb: Vec<[f32; 3]>,
}

impl Canvas {
    pub fn filled(width: usize, height: usize, value: [f32; 3]) -> Self {
        Self { width, height, rgb: vec![value; width * height] }
    }

    /// An ellipse, turned, blended by `alpha`.
    fn ellipse(&mut self, at: Point, radii: Point, turn: f64, colour: [f32; 3], alpha: f32) {
        let (c, s) = (casebook::elementary::cos(turn), casebook::elementary::sin(turn));
        let reach = radii[0].max(radii[1]) + 1.0;
        let range =
            |v: f64, n: usize| ((v - reach).max(0.0) as usize, ((v + reach).max(0.0) as usize).min(n));
        let ((x0, x1), (y0, y1)) = (range(at[0], self.width), range(at[1], self.height));
        for y in y0..y1 {
            for x in x0..x1 {
                let (dx, dy) = (x as f64 - at[0], y as f64 - at[1]);
                let (u, v) = ((c * dx + s * dy) / radii[0], (c * dy - s * dx) / radii[1]);
                // A soft edge of about a pixel.
                let edge =
                    ((1.0 - (u * u + v * v).sqrt()) * radii[0].min(radii[1])).clamp(0.0, 1.0) as f32 * alpha;
                let p = &mut self.rgb[y * self.width + x];
                for k in 0..3 {
                    p[k] += (colour[k] - p[k]) * edge;
                }
            }
        }
    }

    pub fn bar(&mut self, x: f64, y: f64, w: f64, h: f64, colour: [f32; 3]) {
        for j in y.max(0.0) as usize..((y + h).max(0.0) as usize).min(self.height) {
            for i in x.max(0.0) as usize..((x + w).max(0.0) as usize).min(self.width) {
                self.rgb[j * self.width + i] = colour;
            }
        }
    }

    pub fn photo(&self, name: &str) -> Photo {
        let codes = self.rgb.iter().flatten().map(|v| v.round().clamp(0.0, 255.0) as u8).collect();
        Photo::from_codes(name, self.width, self.height, Codes::Eight(codes), Encoding::srgb()).unwrap()
    }

    /// Gaussian blur by repeated boxes would do; this is a plain separable one.
    pub fn blur(&mut self, sigma: f64) {
        if sigma <= 0.0 {
            return;
        }
        let radius = (3.0 * sigma).ceil() as isize;
        let kernel: Vec<f32> = (-radius..=radius)
            .map(|i| casebook::elementary::exp(-((i * i) as f64) / (2.0 * sigma * sigma)) as f32)
            .collect();
        let sum: f32 = kernel.iter().sum();
        for vertical in [false, true] {
            let old = self.rgb.clone();
            for y in 0..self.height as isize {
                for x in 0..self.width as isize {
                    let mut v = [0.0f32; 3];
                    for (k, w) in kernel.iter().enumerate() {
                        let o = k as isize - radius;
                        let (i, j) = if vertical { (x, y + o) } else { (x + o, y) };
                        let (i, j) =
                            (i.clamp(0, self.width as isize - 1), j.clamp(0, self.height as isize - 1));
                        let p = old[j as usize * self.width + i as usize];
                        for c in 0..3 {
                            v[c] += w * p[c];
                        }
                    }
                    self.rgb[y as usize * self.width + x as usize] = v.map(|v| v / sum);
                }
            }
        }
    }
}

/// A drawn face: a ground, blobs, a picture window and lines of small print. `line` draws what all
/// faces of a line share (frame, wordmark, small print), `art` what is the face's own.
pub fn face(line: u64, art: u64) -> Canvas {
    let (w, h) = ((SIZE.0 * FACE_PX_PER_MM) as usize, (SIZE.1 * FACE_PX_PER_MM) as usize);
    let mut own = Random(art.wrapping_mul(77).wrapping_add(5));
    let mut shared = Random(line.wrapping_mul(1009).wrapping_add(11));
    let colour = |r: &mut Random| {
        [r.between(30.0, 225.0) as f32, r.between(30.0, 225.0) as f32, r.between(30.0, 225.0) as f32]
    };
    let mut c = Canvas::filled(w, h, colour(&mut own));
    for k in 0..260 {
        let size = if k < 40 { own.between(40.0, 160.0) } else { own.between(4.0, 30.0) };
        let at = [own.between(0.0, w as f64), own.between(0.15, 0.9) * h as f64];
        let radii = [size, size * own.between(0.3, 1.0)];
        let (turn, tint) = (own.between(0.0, 3.1), colour(&mut own));
        c.ellipse(at, radii, turn, tint, 0.85);
    }
    // Wordmark: thick letters across the top fifth, the same for the whole line.
    let ink = colour(&mut shared);
    for letter in 0..8 {
        let x = 40.0 + f64::from(letter) * 72.0;
        for _ in 0..4 {
            let at = [x + shared.between(0.0, 50.0), shared.between(0.06, 0.15) * h as f64];
            let (radii, turn) =
                ([shared.between(12.0, 30.0), shared.between(4.0, 9.0)], shared.between(0.0, 3.1));
            c.ellipse(at, radii, turn, ink, 1.0);
        }
    }
    // Small print at the bottom, also shared.
    for row in 0..4 {
        let mut x = 30.0;
        while x < w as f64 - 40.0 {
            let wide = shared.between(3.0, 16.0);
            c.bar(x, h as f64 * 0.92 + f64::from(row) * 14.0, wide, 8.0, [15.0; 3]);
            x += wide + shared.between(3.0, 8.0);
        }
    }
    c
}

pub fn reference(name: &str, canvas: &Canvas) -> ReferenceFace {
    let face = casebook::names::FaceId {
        product: format!("line/{name}/pack").parse().unwrap(),
        face: "front".parse().unwrap(),
    };
    ReferenceFace { face, size_mm: SIZE, raster: std::sync::Arc::new(canvas.photo(name)) }
}

/// A pinhole view: the face's middle at `middle_px`, `px_per_mm` there, turned in its plane by
/// `turn_deg` and tilted by `tilt_deg` about an axis in its plane at `axis_deg`; the camera stands
/// 450 mm away.
pub fn view(middle_px: Point, px_per_mm: f64, turn_deg: f64, tilt_deg: f64, axis_deg: f64) -> Homography {
    use casebook::elementary::{cos, sin};
    let (ct, st) = (cos(tilt_deg.to_radians()), sin(tilt_deg.to_radians()));
    let (ca, sa) = (cos(axis_deg.to_radians()), sin(axis_deg.to_radians()));
    let (cr, sr) = (cos(turn_deg.to_radians()), sin(turn_deg.to_radians()));
    let corners = placement::corners_mm(SIZE).map(|p| {
        let (x, y) = (p[0] - SIZE.0 / 2.0, p[1] - SIZE.1 / 2.0);
        // Along the axis nothing moves, across it the face leans away.
        let (along, across) = (ca * x + sa * y, ca * y - sa * x);
        let (across, depth) = (across * ct, 450.0 + across * st);
        let (x, y) = (ca * along - sa * across, sa * along + ca * across);
        let k = 450.0 / depth * px_per_mm;
        [middle_px[0] + (cr * x - sr * y) * k, middle_px[1] + (sr * x + cr * y) * k]
    });
    Homography::from_four(corners, SIZE).unwrap()
}

/// What the camera does.
#[derive(Clone, Copy)]
pub struct Camera {
    pub gain: f64,
    /// Brightness falls by this share from left to right.
    pub fall: f64,
    pub blur_px: f64,
    /// Standard deviation of the noise, codes.
    pub noise: f64,
}

pub const GOOD: Camera = Camera { gain: 0.9, fall: 0.2, blur_px: 0.7, noise: 2.0 };

/// A cluttered ground with nothing known on it.
pub fn ground(width: usize, height: usize, seed: u64) -> Canvas {
    let mut r = Random(seed);
    let mut c = Canvas::filled(width, height, [120.0, 100.0, 85.0]);
    for _ in 0..(width * height / 9000) {
        let size = r.between(3.0, 45.0);
        let at = [r.between(0.0, width as f64), r.between(0.0, height as f64)];
        let (tint, turn) = (
            [r.between(40.0, 220.0) as f32, r.between(40.0, 220.0) as f32, r.between(40.0, 220.0) as f32],
            r.between(0.0, 3.1),
        );
        c.ellipse(at, [size, size * r.between(0.2, 1.0)], turn, tint, 0.7);
    }
    c
}

/// Paints a face into a scene through a map, 2 × 2 samples a pixel.
pub fn paint(scene: &mut Canvas, face: &Canvas, map: &Homography) {
    let back = map.inverse();
    for y in 0..scene.height {
        for x in 0..scene.width {
            let (mut sum, mut n) = ([0.0f32; 3], 0.0f32);
            for (dx, dy) in [(-0.25, -0.25), (0.25, -0.25), (-0.25, 0.25), (0.25, 0.25)] {
                let Some(mm) = back.map([x as f64 + dx, y as f64 + dy]) else { continue };
                if !(0.0..SIZE.0).contains(&mm[0]) || !(0.0..SIZE.1).contains(&mm[1]) {
                    continue;
                }
                let (u, v) = (mm[0] * FACE_PX_PER_MM - 0.5, mm[1] * FACE_PX_PER_MM - 0.5);
                let clamp = |v: f64, n: usize| v.clamp(0.0, n as f64 - 1.001);
                let (u, v) = (clamp(u, face.width), clamp(v, face.height));
                let (i, j, fx, fy) = (u as usize, v as usize, (u - u.floor()) as f32, (v - v.floor()) as f32);
                let at = |i: usize, j: usize| face.rgb[j * face.width + i];
                let (a, b, c, d) = (at(i, j), at(i + 1, j), at(i, j + 1), at(i + 1, j + 1));
                for k in 0..3 {
                    let (t, s) = (a[k] + (b[k] - a[k]) * fx, c[k] + (d[k] - c[k]) * fx);
                    sum[k] += t + (s - t) * fy;
                }
                n += 1.0;
            }
            if n > 0.0 {
                let p = &mut scene.rgb[y * scene.width + x];
                for k in 0..3 {
                    p[k] = p[k] * (1.0 - n / 4.0) + sum[k] / 4.0;
                }
            }
        }
    }
}

/// The scene as a camera sees it.
pub fn shoot(mut scene: Canvas, camera: Camera, seed: u64) -> Photo {
    scene.blur(camera.blur_px);
    let mut r = Random(seed ^ 0xabcdef);
    let width = scene.width;
    for (i, p) in scene.rgb.iter_mut().enumerate() {
        let fall = 1.0 - camera.fall * (i % width) as f64 / width as f64;
        for v in p {
            *v = (f64::from(*v) * camera.gain * fall + camera.noise * r.normal()) as f32;
        }
    }
    scene.photo("scene")
}

/// Distances of the four corners from the truth, in millimetres on the face at its own scale.
pub fn corner_errors_mm(got: &Homography, truth: &Homography) -> [f64; 4] {
    placement::corners_mm(SIZE).map(|p| {
        let (a, b) = (got.map(p).unwrap(), truth.map(p).unwrap());
        let px = ((a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1])).sqrt();
        px / truth.local_scale_px_per_mm(p).unwrap()
    })
}

pub fn median(mut v: Vec<f64>) -> f64 {
    v.sort_by(f64::total_cmp);
    v[v.len() / 2]
}
