//! The map of covered places against covers known by construction: a plain sticker over an end, fingers
//! over a side, nothing, and a wrong but printed face.
#![allow(clippy::expect_used)]

mod print_support;

use examine::compare::grid::Grid;
use examine::compare::{Comparison, Reference};
use examine::cover::covered;
use photo::Plane;
use print_support::{Art, Camera, Dice, Thing};

const PX_PER_MM: f64 = 3.0;
const MARGIN: usize = 12;

/// The covered map of a face with these things laid on top, and its resolution.
fn map(on_top: &[Thing], seed: u64) -> (Plane<f32>, f64) {
    let art = Art::new(seed);
    let grid = Grid::over(art.size, PX_PER_MM);
    let reference = Reference::new(
        grid,
        art.draw(&grid, 0, |_, _| [0.0, 0.0]),
        Plane::filled(grid.width, grid.height, 1.0),
    );
    let mut offered = art.clone();
    // A label's yellow and a skin's brown: no inks of this face.
    offered.inks.push([0.72, 0.60, 0.03]);
    offered.inks.push([0.45, 0.24, 0.15]);
    offered.things.extend_from_slice(on_top);
    let mut dice = Dice::new(seed);
    let camera = Camera { noise: 0.006, ..Camera::PLAIN };
    let photo = camera.shoot(&offered.draw(&grid, MARGIN, |_, _| [0.0, 0.0]), &grid, &mut dice);
    let comparison = Comparison::of(&reference, &photo).expect("comparable");
    (covered(&reference, &comparison), comparison.structure.grid.px_per_mm)
}

fn area_mm2(map: &Plane<f32>, px_per_mm: f64) -> f64 {
    f64::from(map.data().iter().sum::<f32>()) / (px_per_mm * px_per_mm)
}

#[test]
fn nothing_on_top_is_nothing_covered() {
    for seed in 0..3 {
        let (map, s) = map(&[], seed);
        assert_eq!(area_mm2(&map, s), 0.0, "art {seed}");
    }
}

#[test]
fn a_sticker_over_an_end_is_found_where_it_lies() {
    for seed in 0..3 {
        // 60 × 26 mm over the patterned lower end, in label yellow.
        let sticker = Thing::Bar { at: [30.0, 87.0], half: [31.0, 13.5], ink: 6 };
        let (map, s) = map(&[sticker], seed);
        let (mut inside, mut outside) = (0.0, 0.0);
        for y in 0..map.height() {
            let mm = (y as f64 + 0.5) / s;
            let row = f64::from(map.row(y).iter().sum::<f32>());
            // The border is known to a window, 2 mm on either side.
            if mm > 75.5 {
                inside += row
            } else if mm < 69.5 {
                outside += row
            }
        }
        let (all, cell) = (60.0 * 24.5, 1.0 / (s * s));
        assert!(
            inside * cell > 0.5 * all && outside * cell < 20.0,
            "art {seed}: {:.0} of {all} inside, {:.0} outside",
            inside * cell,
            outside * cell
        );
    }
}

#[test]
fn a_printed_fault_is_no_cover() {
    // A patterned emblem in the face's own inks instead of what is there.
    let mut things = Vec::new();
    for k in 0..12 {
        things.push(Thing::Bar {
            at: [18.0 + 2.0 * f64::from(k), 60.0],
            half: [0.5, 9.0],
            ink: 3 + (k as usize) % 2,
        });
    }
    let (map, s) = map(&things, 1);
    assert!(area_mm2(&map, s) < 20.0, "{:.0} mm²", area_mm2(&map, s));
}
