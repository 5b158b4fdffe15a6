//! Pictures for the invented cases: depth contours for a pack's front, ridged strips for its seals.

use casebook::elementary::{cos, exp, hypot, sin};
use casebook::names::PhotoFile;
use casebook::picture::{Content, Curve, Mark, MarkRole, Picture, Plot};
use dossier::PhotoThumb;

fn png(width: u32, height: u32, colour: impl Fn(f64, f64) -> [f64; 3]) -> Vec<u8> {
    let picture = image::RgbImage::from_fn(width, height, |x, y| {
        image::Rgb(colour(f64::from(x), f64::from(y)).map(|v| (v.clamp(0.0, 1.0) * 255.0).round() as u8))
    });
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
    bytes.into_inner()
}

/// The front of a pack: contour lines of a sea bed, a wordmark bar, an emblem.
fn front(x: f64, y: f64, width: f64, height: f64) -> [f64; 3] {
    let (u, v) = (x / width, y / height);
    let depth = sin(u * 5.0 + 1.0) * cos(v * 7.0) + 0.6 * sin(u * 11.0 - v * 9.0);
    let line = (depth * 6.0).rem_euclid(1.0);
    let mut c = [0.10 + 0.08 * depth, 0.33 + 0.12 * depth, 0.42 + 0.10 * depth];
    if line < 0.09 {
        c = [0.80, 0.78, 0.62];
    }
    if (0.12..0.22).contains(&v) && (0.1..0.9).contains(&u) {
        c = if (u * 40.0).rem_euclid(1.0) < 0.55 && (0.14..0.20).contains(&v) {
            [0.95, 0.93, 0.85]
        } else {
            [0.05, 0.12, 0.18]
        };
    }
    if hypot((u - 0.5) * width, (v - 0.55) * height) < width * 0.22 {
        c = [0.74, 0.56, 0.25];
    }
    c
}

fn image(
    id: &str,
    caption: &str,
    alt: &str,
    size: (u32, u32),
    px_per_mm: Option<f64>,
    bytes: Vec<u8>,
    marks: Vec<Mark>,
) -> Picture {
    let content =
        Content::Image { media_type: "image/png", bytes, width: size.0, height: size.1, px_per_mm, marks };
    Picture { id: id.to_owned(), caption: caption.to_owned(), alt: alt.to_owned(), content }
}

fn rect(x: f64, y: f64, w: f64, h: f64, label: &str, role: MarkRole) -> Mark {
    Mark { points: vec![(x, y), (x + w, y), (x + w, y + h), (x, y + h)], label: label.to_owned(), role }
}

/// Reference, offered item and difference map of one front, 63 × 110 mm at 5 px/mm.
pub fn aligned_front(item: &str) -> Vec<Picture> {
    let (w, h) = (315_u32, 550_u32);
    let (wf, hf) = (f64::from(w), f64::from(h));
    let shifted = |x: f64, y: f64| {
        let c = front(x + 1.0, y, wf, hf);
        let glare = exp(-((x - 220.0) * (x - 220.0) + (y - 120.0) * (y - 120.0)) / 2500.0) * 0.5;
        c.map(|v| v * 0.95 + 0.03 + glare)
    };
    let difference = move |x: f64, y: f64| {
        let d = (front(x, y, wf, hf)[0] - front(x + 1.0, y, wf, hf)[0]).abs();
        [1.0 - d, 1.0 - 1.3 * d, 1.0 - 1.6 * d]
    };
    vec![
        image(
            &format!("{item}/print/front/offered"),
            "The front as offered, laid flat.",
            "Front of the offered pack: contour lines, a dark bar with the name, a brass disc; a reflection at the upper right",
            (w, h),
            Some(5.0),
            png(w, h, shifted),
            vec![rect(180.0, 80.0, 80.0, 80.0, "reflection", MarkRole::Unread)],
        ),
        image(
            &format!("{item}/print/front/reference"),
            "The front of the reference.",
            "Front of the reference: contour lines, a dark bar with the name, a brass disc",
            (w, h),
            Some(5.0),
            png(w, h, |x, y| front(x, y, wf, hf)),
            vec![],
        ),
        image(
            &format!("{item}/print/front/difference"),
            "Where the colours differ after one camera response is removed, CIEDE2000; dark is more.",
            "Difference map of the front: pale nearly everywhere, thin darker lines along the contours",
            (w, h),
            Some(5.0),
            png(w, h, difference),
            vec![rect(92.0, 210.0, 132.0, 190.0, "emblem, median 2.1", MarkRole::Difference)],
        ),
    ]
}

fn ridge(x_mm: f64, uneven: bool) -> f64 {
    let pitch = if uneven { 0.9 + 0.14 * sin(x_mm * 0.5) } else { 0.8 };
    let depth = if uneven { 0.55 + 0.35 * sin(x_mm * 0.21) } else { 1.0 };
    depth * sin(core::f64::consts::TAU * x_mm / pitch)
}

/// Both seals as strips of 60 × 9 mm at 12 px/mm, with their profile.
pub fn seals(item: &str, bottom_uneven: bool) -> Vec<Picture> {
    let strip = |uneven: bool| {
        png(720, 108, move |x, y| {
            let light = 0.52 + 0.30 * ridge(x / 12.0, uneven) * sin(core::f64::consts::PI * y / 108.0);
            [light * 0.93, light, light * 1.03]
        })
    };
    let profile = |uneven: bool| {
        (0..900)
            .map(|i| f64::from(i) / 15.0)
            .map(|x| (x, if (30.0..31.2).contains(&x) { f64::NAN } else { 0.18 * ridge(x, uneven) }))
            .collect::<Vec<_>>()
    };
    let fit = (0..900).map(|i| f64::from(i) / 15.0).map(|x| (x, 0.18 * ridge(x, false))).collect();
    vec![
        image(&format!("{item}/end-seal/bottom"), "Bottom end seal, laid flat, cut edge down.", "Ridged strip of the bottom end seal", (720, 108), Some(12.0), strip(bottom_uneven), vec![rect(360.0, 4.0, 14.0, 100.0, "reflection", MarkRole::Unread)]),
        image(&format!("{item}/end-seal/top"), "Top end seal, laid flat, cut edge up.", "Ridged strip of the top end seal", (720, 108), Some(12.0), strip(false), vec![]),
        Picture {
            id: format!("{item}/end-seal/profile"),
            caption: "Ridge profile of both end seals: brightness along the seal, averaged along the ridges.".to_owned(),
            alt: "Two ridge profiles over 60 mm. The top seal swings evenly every 0.8 mm; the bottom seal's swings change in spacing and height.".to_owned(),
            content: Content::Plot(Plot {
                x_label: "place along the seal (mm)".to_owned(),
                y_label: "contrast of the ridges (share of mean light)".to_owned(),
                curves: vec![
                    Curve { label: "top seal".to_owned(), points: profile(false), dashed: false },
                    Curve { label: "bottom seal".to_owned(), points: profile(bottom_uneven), dashed: false },
                    Curve { label: "sine fit, pitch 0.80 mm".to_owned(), points: fit, dashed: true },
                ],
                band: Some((-0.22, 0.22, "middle 95 % of 24 genuine specimens".to_owned())),
            }),
        },
    ]
}

/// A small copy of a photo with one outlined face.
pub fn thumb(file: &str) -> PhotoThumb {
    let (w, h) = (360_u32, 480_u32);
    let bytes = png(w, h, |x, y| {
        if (90.0..270.0).contains(&x) && (80.0..400.0).contains(&y) {
            front(x - 90.0, y - 80.0, 180.0, 320.0)
        } else {
            let grain = 0.02 * sin(x * 0.9 + 0.3 * y);
            [0.52 + grain, 0.44 + grain, 0.36 + grain]
        }
    });
    let mark = Mark {
        points: vec![(90.0, 80.0), (270.0, 80.0), (270.0, 400.0), (90.0, 400.0)],
        label: "item a: front".to_owned(),
        role: MarkRole::Outline,
    };
    PhotoThumb {
        file: file.parse::<PhotoFile>().unwrap(),
        media_type: "image/png",
        bytes,
        width: w,
        height: h,
        marks: vec![mark],
    }
}
