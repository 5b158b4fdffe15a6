//! Truth by construction: drawn faces photographed through known maps. The table of corner errors by
//! angle is printed (`--nocapture`) and its medians are asserted.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::{GOOD, Random, corner_errors_mm, face, ground, median, paint, reference, shoot, view};
use photo::Photo;
use placement::{FaceDescription, FaceIndex, Placement, ReferenceFace};

/// Scale of the views.
const PX_PER_MM: f64 = 5.5;

/// An index with the pictures of its faces.
struct Library(FaceIndex, Vec<ReferenceFace>);

impl Library {
    fn place(&self, photo: &Photo) -> Vec<Placement> {
        self.0.place(photo, &self.1)
    }
}

/// Three faces of one line (shared wordmark and small print) and two strangers.
fn library() -> (Vec<common::Canvas>, Library) {
    let canvases: Vec<_> =
        [(1, 10), (1, 11), (1, 12), (2, 13), (3, 14)].map(|(line, art)| face(line, art)).into();
    let references: Vec<_> =
        canvases.iter().enumerate().map(|(k, c)| reference(&format!("release-{k}"), c)).collect();
    (canvases, Library(FaceIndex::build(&references).unwrap(), references))
}

fn name(p: &Placement) -> &str {
    p.face.product.parts().1
}

#[test]
fn corners_are_found_to_hundredths_of_a_millimetre() {
    let (canvases, index) = library();
    let mut r = Random(7);
    let mut report = String::from("tilt  px/mm  placed  right  median corner mm  largest\n");
    for (tilt, limit_mm) in [(0.0, 0.02), (20.0, 0.02), (35.0, 0.02), (45.0, 0.025), (55.0, 0.03)] {
        let (mut errors, mut placed, mut right) = (Vec::new(), 0, 0);
        let trials = 5;
        for t in 0..trials {
            let which = t % canvases.len();
            let map = view(
                [r.between(330.0, 390.0), r.between(430.0, 470.0)],
                PX_PER_MM,
                r.between(-180.0, 180.0),
                tilt,
                r.between(0.0, 180.0),
            );
            let mut scene = ground(720, 900, r.next());
            paint(&mut scene, &canvases[which], &map);
            let found = index.place(&shoot(scene, GOOD, t as u64));
            placed += usize::from(!found.is_empty());
            assert!(found.len() <= 1, "one face in the scene, found {}", found.len());
            if let Some(p) = found.first() {
                right += usize::from(name(p) == format!("release-{which}"));
                errors.extend(corner_errors_mm(&p.mm_to_px, &map));
            }
        }
        let largest = errors.iter().copied().fold(0.0, f64::max);
        let middle = if errors.is_empty() { f64::NAN } else { median(errors) };
        report += &format!(
            "{tilt:>4}  {:>5}  {placed:>3}/{trials}  {right:>5}  {middle:>16.3}  {largest:.3}\n",
            PX_PER_MM
        );
        if tilt <= 45.0 {
            assert_eq!((placed, right), (trials, trials), "\n{report}");
        }
        assert!(placed == right, "a wrong face was named\n{report}");
        assert!(middle.is_nan() || middle < limit_mm, "\n{report}");
    }
    println!("{report}");
}

#[test]
fn quarter_turns_are_the_same_face() {
    let (canvases, index) = library();
    for turn in [0.0, 90.0, 180.0, 270.0] {
        let map = view([360.0, 450.0], 5.5, turn, 0.0, 0.0);
        let mut scene = ground(720, 900, 3);
        paint(&mut scene, &canvases[1], &map);
        let found = index.place(&shoot(scene, GOOD, 1));
        assert_eq!(found.len(), 1, "turn {turn}");
        assert_eq!(name(&found[0]), "release-1");
        let worst = corner_errors_mm(&found[0].mm_to_px, &map).into_iter().fold(0.0, f64::max);
        assert!(worst < 0.1, "turn {turn}: {worst} mm");
        assert!(found[0].angle.value_deg < 6.0, "turn {turn}: {:?}", found[0].angle);
    }
}

#[test]
fn two_copies_and_a_neighbour_are_all_found() {
    let (canvases, index) = library();
    let maps = [
        (0, view([260.0, 400.0], 5.0, 8.0, 10.0, 30.0)),
        (0, view([700.0, 420.0], 5.0, -15.0, 15.0, 80.0)),
        (2, view([1150.0, 430.0], 5.0, 170.0, 5.0, 0.0)),
    ];
    let mut scene = ground(1440, 840, 5);
    for (which, map) in &maps {
        paint(&mut scene, &canvases[*which], map);
    }
    let found = index.place(&shoot(scene, GOOD, 2));
    assert_eq!(found.len(), 3, "{:?}", found.iter().map(name).collect::<Vec<_>>());
    for (which, map) in &maps {
        let near = found
            .iter()
            .filter(|p| name(p) == format!("release-{which}"))
            .any(|p| corner_errors_mm(&p.mm_to_px, map).into_iter().fold(0.0, f64::max) < 0.2);
        assert!(near, "release-{which} is not where it was put");
    }
}

#[test]
fn nothing_is_placed_where_no_known_face_is() {
    let (_, index) = library();
    let mut r = Random(99);
    for seed in 0..12u64 {
        let scene = ground(720, 900, 1000 + seed);
        let found = index.place(&shoot(scene, GOOD, seed));
        assert!(found.is_empty(), "ground {seed}: {found:?}");
    }
    // A release of a known line that the library lacks: same wordmark and small print, other art.
    for seed in 0..12u64 {
        let stranger = face(1, 500 + seed);
        let map =
            view([360.0, 450.0], 5.5, r.between(-30.0, 30.0), r.between(0.0, 30.0), r.between(0.0, 180.0));
        let mut scene = ground(720, 900, seed);
        paint(&mut scene, &stranger, &map);
        let found = index.place(&shoot(scene, GOOD, seed));
        assert!(found.is_empty(), "unknown release {seed}: named {:?} {:?}", found[0].face, found[0].support);
    }
}

#[test]
fn a_mirrored_face_is_not_placed() {
    let (canvases, index) = library();
    let mut mirrored = face(1, 10);
    for row in mirrored.rgb.chunks_exact_mut(canvases[0].width) {
        row.reverse();
    }
    let map = view([360.0, 450.0], 5.5, 5.0, 10.0, 0.0);
    let mut scene = ground(720, 900, 1);
    paint(&mut scene, &mirrored, &map);
    assert!(index.place(&shoot(scene, GOOD, 1)).is_empty());
}

#[test]
fn the_same_photo_gives_the_same_bits_with_one_thread() {
    let (canvases, index) = library();
    let map = view([360.0, 450.0], 5.5, 12.0, 25.0, 40.0);
    let mut scene = ground(720, 900, 1);
    paint(&mut scene, &canvases[0], &map);
    let photo = shoot(scene, GOOD, 1);
    let many = index.place(&photo);
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    let one = pool.install(|| index.place(&photo));
    assert_eq!(many.len(), 1);
    assert_eq!(many[0].mm_to_px, one[0].mm_to_px);
    assert_eq!(many[0].covariance, one[0].covariance);
}

#[test]
fn a_description_read_back_places_to_the_same_bits() {
    let (canvases, index) = library();
    let kept: Vec<Vec<u8>> = index.1.iter().map(|r| FaceDescription::of(r).unwrap().to_bytes()).collect();
    let read: Vec<FaceDescription> = index
        .1
        .iter()
        .zip(&kept)
        .map(|(r, bytes)| FaceDescription::from_bytes(r.face.clone(), r.size_mm, bytes).unwrap())
        .collect();
    for (description, bytes) in read.iter().zip(&kept) {
        assert_eq!(description.to_bytes(), *bytes);
    }
    let again = Library(FaceIndex::new(read), index.1.clone());
    let map = view([360.0, 450.0], 5.5, 12.0, 25.0, 40.0);
    let mut scene = ground(720, 900, 1);
    paint(&mut scene, &canvases[0], &map);
    let photo = shoot(scene, GOOD, 1);
    let (first, second) = (index.place(&photo), again.place(&photo));
    assert_eq!(first.len(), 1);
    assert_eq!(first[0].mm_to_px, second[0].mm_to_px);
    assert_eq!(first[0].covariance, second[0].covariance);

    // Cut short, too long, of another size, or with a number that no face has: nothing.
    let (face, size, bytes) = (&index.1[0].face, index.1[0].size_mm, &kept[0]);
    let try_read = |size, bytes: &[u8]| FaceDescription::from_bytes(face.clone(), size, bytes).is_some();
    assert!(try_read(size, bytes));
    for length in (0..bytes.len()).step_by(997).chain([bytes.len() - 1]) {
        assert!(!try_read(size, &bytes[..length]), "cut after {length}");
    }
    assert!(!try_read(size, &[bytes.as_slice(), &[0]].concat()));
    assert!(!try_read((size.0 * 1.5, size.1), bytes));
    let mut bent = bytes.clone();
    bent[4..12].copy_from_slice(&f64::NAN.to_le_bytes());
    assert!(!try_read(size, &bent));
}
