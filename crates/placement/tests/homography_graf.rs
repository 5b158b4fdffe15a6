//! The Oxford graf pair 1 → 3 against its published homography, and three other pairs of the same
//! Debian package that must be placed. Source: [`mikolajczyk2005`]; the contract for finding the
//! files and the measure stand in `checks/homography/README.md`, OpenCV's figures beside it in
//! `checks/homography/opencv_graf.csv`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use std::path::PathBuf;
use std::sync::Arc;

use casebook::names::FaceId;
use photo::{Limits, Photo};
use placement::{FaceIndex, Homography, Placement, ReferenceFace};

/// A mean error over the grid that `issues` asks of a first version; the aim is below 0.7 px.
const LARGEST_GRID_ERROR_PX: f64 = 1.0;

const FILES: [&str; 7] =
    ["graf1.png", "graf3.png", "H1to3p.xml", "leuvenA.jpg", "leuvenB.jpg", "box.png", "box_in_scene.png"];

/// The folder of the pair, or `None` after saying what is missing; a failure where checks are demanded.
fn ready() -> Option<PathBuf> {
    let folder = std::env::var_os("UNTORN_GRAF_DIR")
        .map_or_else(|| PathBuf::from("/usr/share/doc/opencv-doc/examples/data"), PathBuf::from);
    let Some(missing) = FILES.iter().find(|f| !folder.join(f).is_file()) else { return Some(folder) };
    let message =
        format!("{}: {missing} is missing; install the Debian package opencv-doc", folder.display());
    assert!(std::env::var_os("UNTORN_CHECKS").is_none_or(|v| v != "1"), "{message}");
    println!("not checked: {message}");
    None
}

/// A picture as a face whose millimetres are its pixels.
fn as_face(raster: Photo) -> ReferenceFace {
    let size_mm = (raster.width() as f64, raster.height() as f64);
    let face = FaceId { product: "oxford/graf/wall".parse().unwrap(), face: "front".parse().unwrap() };
    ReferenceFace { face, size_mm, raster: Arc::new(raster) }
}

fn place(reference: Photo, scene: &Photo) -> Option<Placement> {
    let references = vec![as_face(reference)];
    let index = FaceIndex::build(&references).unwrap();
    index.place(scene, &references).into_iter().next()
}

fn published(xml: &str) -> Homography {
    let data = xml.split("<data>").nth(1).unwrap().split("</data>").next().unwrap();
    let v: Vec<f64> = data.split_whitespace().map(|t| t.parse().unwrap()).collect();
    assert_eq!(v.len(), 9, "a 3 × 3 matrix");
    Homography::new([[v[0], v[1], v[2]], [v[3], v[4], v[5]], [v[6], v[7], v[8]]]).unwrap()
}

#[test]
fn graf_1_to_3_agrees_with_the_published_map() {
    let Some(folder) = ready() else { return };
    let read = |name: &str| photo::read(&folder.join(name), &Limits::default()).unwrap();
    let truth = published(&std::fs::read_to_string(folder.join("H1to3p.xml")).unwrap());
    let scene = read("graf3.png");
    let placed = place(read("graf1.png"), &scene).expect("graf3 shows graf1");
    // Pixel p of graf1 has its centre at millimetre p + ½ of the face.
    let ours = |p: [f64; 2]| placed.mm_to_px.map([p[0] + 0.5, p[1] + 0.5]).unwrap();
    let error = |p: [f64; 2]| {
        let (a, b) = (ours(p), truth.map(p).unwrap());
        ((a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1])).sqrt()
    };
    let corners = [[0.0, 0.0], [799.0, 0.0], [799.0, 639.0], [0.0, 639.0]];
    let corner = corners.into_iter().map(error).sum::<f64>() / 4.0;
    let mut grid = Vec::new();
    for y in (0..640).step_by(20) {
        for x in (0..800).step_by(20) {
            let p = [f64::from(x), f64::from(y)];
            let q = truth.map(p).unwrap();
            if (0.0..=799.0).contains(&q[0]) && (0.0..=639.0).contains(&q[1]) {
                grid.push(error(p));
            }
        }
    }
    assert_eq!(grid.len(), 1247, "points of the contract");
    let mean = grid.iter().sum::<f64>() / grid.len() as f64;
    println!(
        "graf 1→3: mean corner error {corner:.3} px, mean grid error {mean:.3} px; {:?}",
        placed.support
    );
    let csv = include_str!("../../../checks/homography/opencv_graf.csv");
    println!("OpenCV beside it:\n{csv}");
    assert!(mean < LARGEST_GRID_ERROR_PX, "mean grid error {mean:.3} px");
}

#[test]
fn a_box_among_clutter_is_placed() {
    let Some(folder) = ready() else { return };
    let read = |name: &str| photo::read(&folder.join(name), &Limits::default()).unwrap();
    let placed = place(read("box.png"), &read("box_in_scene.png")).expect("the box is in the scene");
    println!("box in scene: corners {:?}, {:?}", placed.outline_px(), placed.support);
    // Corners read off the picture by eye, to about 3 px.
    let by_eye = [[118.0, 161.0], [284.0, 175.0], [268.0, 298.0], [89.0, 272.0]];
    for (got, expected) in placed.outline_px().iter().zip(by_eye) {
        assert!(
            (got[0] - expected[0]).abs() < 6.0 && (got[1] - expected[1]).abs() < 6.0,
            "{got:?}, {expected:?}"
        );
    }
}

/// `leuvenA.jpg` and `leuvenB.jpg` of this package are no pair of a plane in two lights: they are a
/// street from two directions, with half of each picture missing from the other and pillars in front.
/// Features agree on a map of the far houses, but two thirds of the picture do not follow it. A face
/// of which a third agrees is what an unknown release with a known wordmark looks like, so it must not
/// be named.
#[test]
fn a_street_that_is_no_plane_is_not_placed() {
    let Some(folder) = ready() else { return };
    let read = |name: &str| photo::read(&folder.join(name), &Limits::default()).unwrap();
    assert!(place(read("leuvenA.jpg"), &read("leuvenB.jpg")).is_none());
}

#[test]
fn a_mirrored_wall_is_not_placed() {
    let Some(folder) = ready() else { return };
    let read = |name: &str| photo::read(&folder.join(name), &Limits::default()).unwrap();
    let wall = read("graf1.png");
    let codes = wall.codes8().unwrap();
    let mut mirrored = Vec::with_capacity(codes.len());
    for row in codes.chunks_exact(3 * wall.width()) {
        for pixel in row.chunks_exact(3).rev() {
            mirrored.extend_from_slice(pixel);
        }
    }
    let mirrored = Photo::from_codes(
        "mirrored",
        wall.width(),
        wall.height(),
        photo::Codes::Eight(mirrored),
        wall.encoding().clone(),
    );
    assert!(place(wall, &mirrored.unwrap()).is_none(), "a mirrored wall was placed");
}
