//! Laws that hold for every map: round trip, composition, scale of the frame, rotation of the face.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use casebook::units::RectMm;
use common::{SIZE, face, view};
use placement::{Covariance, GeometryError, Homography, Placement, Point, corners_mm, rectify};
use proptest::prelude::*;

fn any_view() -> impl Strategy<Value = Homography> {
    (200.0..3000.0, 200.0..4000.0, 1.0..25.0, -180.0..180.0, 0.0..65.0, 0.0..180.0)
        .prop_map(|(x, y, scale, turn, tilt, axis)| view([x, y], scale, turn, tilt, axis))
}

fn any_place() -> impl Strategy<Value = Point> {
    (0.0..SIZE.0, 0.0..SIZE.1).prop_map(|(x, y)| [x, y])
}

fn close(a: Point, b: Point, by: f64) -> bool {
    (a[0] - b[0]).abs() <= by && (a[1] - b[1]).abs() <= by
}

proptest! {
    #[test]
    fn there_and_back(h in any_view(), p in any_place()) {
        let q = h.map(p).unwrap();
        prop_assert!(close(h.inverse().map(q).unwrap(), p, 1e-7));
        prop_assert!(close(h.inverse().inverse().map(p).unwrap(), q, 1e-5));
    }

    #[test]
    fn one_after_the_other(a in any_view(), b in any_view(), p in any_place()) {
        // Face → photo of a → face again → photo of b, in one map.
        let both = a.then(&a.inverse().then(&b).unwrap()).unwrap();
        prop_assert!(close(both.map(p).unwrap(), b.map(p).unwrap(), 1e-4));
    }

    #[test]
    fn four_corners_or_many_points_give_the_same_map(h in any_view(), p in any_place()) {
        let four = Homography::from_four(h.corners_px(SIZE).unwrap(), SIZE).unwrap();
        prop_assert!(close(four.map(p).unwrap(), h.map(p).unwrap(), 1e-6));
        let mm: Vec<Point> = (0..20).map(|i| [f64::from(i % 4) * 21.0, f64::from(i / 4) * 27.0]).collect();
        let px: Vec<Point> = mm.iter().map(|p| h.map(*p).unwrap()).collect();
        let many = Homography::from_points(&mm, &px).unwrap();
        prop_assert!(close(many.map(p).unwrap(), h.map(p).unwrap(), 1e-4));
    }

    #[test]
    fn scale_is_the_root_of_the_area_that_a_square_takes(h in any_view(), p in any_place()) {
        let e = 0.02;
        let square = [[-e, -e], [e, -e], [e, e], [-e, e]].map(|d| h.map([p[0] + d[0], p[1] + d[1]]).unwrap());
        let scale = (placement::polygon::signed_area(&square) / (4.0 * e * e)).sqrt();
        prop_assert!((h.local_scale_px_per_mm(p).unwrap() / scale - 1.0).abs() < 1e-3);
    }

    #[test]
    fn uncertainty_grows_with_that_of_the_corners(h in any_view(), p in any_place(), u in 0.1..20.0) {
        let (one, two) = (Covariance::from_corners(&h, SIZE, u).unwrap(), Covariance::from_corners(&h, SIZE, 2.0 * u).unwrap());
        let (a, b) = (one.point_u_px(&h, p).unwrap(), two.point_u_px(&h, p).unwrap());
        prop_assert!((b / a - 2.0).abs() < 1e-6 && a > 0.0);
    }

    #[test]
    fn hostile_corners_never_panic(c in prop::array::uniform4(prop::array::uniform2(prop::num::f64::ANY))) {
        let face = casebook::names::FaceId { product: "a/b/c".parse().unwrap(), face: "front".parse().unwrap() };
        if let Ok(p) = Placement::from_corners(face, SIZE, c, 2.0, (1000, 1000)) {
            prop_assert!(p.px_per_mm.is_finite() && p.px_per_mm > 0.0);
            prop_assert!((0.0..=1.0).contains(&p.visible_share()));
        }
    }

    #[test]
    fn the_other_sense_of_rotation_is_refused(h in any_view()) {
        let [a, b, c, d] = h.corners_px(SIZE).unwrap();
        prop_assert_eq!(Homography::from_four([b, a, d, c], SIZE), Err(GeometryError::Mirrored));
    }
}

#[test]
fn a_patch_at_the_scale_of_the_photo_is_the_photo() {
    let canvas = face(1, 2);
    let photo = canvas.photo("flat");
    let h = Homography::new([[10.0, 0.0, -0.5], [0.0, 10.0, -0.5], [0.0, 0.0, 1.0]]).unwrap();
    let rect = RectMm { x: 5.0, y: 7.0, width: 20.0, height: 30.0 };
    let patch = rectify(&photo, &h, rect, 10.0);
    assert_eq!((patch.width(), patch.height()), (200, 300));
    for (x, y) in [(0, 0), (17, 200), (199, 299)] {
        let expected = photo.linear_at(x + 50, y + 70).unwrap();
        for (plane, expected) in patch.rgb.iter().zip(expected) {
            assert!((plane.get(x, y).unwrap() - expected).abs() < 1e-4);
        }
    }
    // Half the resolution: the mean of 2 × 2 pixels in linear light.
    let half = rectify(&photo, &h, rect, 5.0);
    for (x, y) in [(3, 4), (50, 70)] {
        let mean = [(0, 0), (1, 0), (0, 1), (1, 1)]
            .iter()
            .map(|(i, j)| photo.linear_at(50 + 2 * x + i, 70 + 2 * y + j).unwrap()[1] / 4.0)
            .sum::<f32>();
        assert!((half.rgb[1].get(x, y).unwrap() - mean).abs() < 1e-4);
    }
}

#[test]
fn what_lies_outside_the_frame_is_unusable() {
    let photo = face(1, 2).photo("flat");
    let h = Homography::new([[10.0, 0.0, -0.5], [0.0, 10.0, -0.5], [0.0, 0.0, 1.0]]).unwrap();
    let patch = rectify(&photo, &h, RectMm { x: -10.0, y: -10.0, width: 85.0, height: 130.0 }, 4.0);
    for y in 0..patch.height() {
        for x in 0..patch.width() {
            let [mx, my] = patch.mm_of(x as f64, y as f64);
            let inside = (0.0..SIZE.0).contains(&mx) && (0.0..SIZE.1).contains(&my);
            assert_eq!(*patch.usable.get(x, y).unwrap(), inside, "{mx} {my}");
        }
    }
    // A plane seen edge-on, a rectangle without area, a silly resolution: an empty or unusable patch.
    for (rect, s) in [
        (RectMm { x: 0.0, y: 0.0, width: 0.0, height: 5.0 }, 10.0),
        (RectMm { x: 0.0, y: 0.0, width: 5.0, height: 5.0 }, f64::NAN),
        (RectMm { x: 0.0, y: 0.0, width: 5e9, height: 5e9 }, 10.0),
    ] {
        assert_eq!(rectify(&photo, &h, rect, s).width(), 0);
    }
}

#[test]
fn corners_are_named_in_the_order_of_the_print() {
    assert_eq!(corners_mm((2.0, 3.0)), [[0.0, 0.0], [2.0, 0.0], [2.0, 3.0], [0.0, 3.0]]);
}
