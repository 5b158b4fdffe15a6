//! Whether what was measured of an item agrees with the makes that are known.
//!
//! In: facts of the seals, a product's makes. Out: [`Agreement`]. The user decides what follows: a
//! further item of a make narrows its facts, another make is split off. Never here: opinions.

use casebook::catalogue::{CutEdgeFacts, Make, Product, RidgeDirection};

use crate::learned::{LearnedSeal, Measured};

/// How an item stands to the known makes.
#[derive(Debug, Clone, PartialEq)]
pub enum Agreement {
    /// There is no make with seals to compare with, or nothing was measured.
    Nothing,
    /// It is like this make.
    Like(String),
    /// It is like none; the nearest make and what differs, in words.
    Differs {
        /// The nearest make.
        nearest: String,
        /// What differs, one sentence each.
        how: Vec<String>,
    },
}

/// A known length and how far a measured one lies from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// The fact.
    pub value: f64,
    /// Its tolerance.
    pub tolerance: f64,
}

impl Known {
    /// Whether a measured value lies within the tolerance and twice its uncertainty.
    #[must_use]
    pub fn fits(&self, measured: &Measured) -> bool {
        (measured.value - self.value).abs() <= self.tolerance + 2.0 * measured.u
    }
}

/// Compares seals with the makes of a product.
#[must_use]
pub fn compare_make(seal: Option<&LearnedSeal>, product: &Product) -> Agreement {
    let Some(seal) = seal else { return Agreement::Nothing };
    let mut best: Option<(usize, &Make, Vec<String>)> = None;
    for make in &product.makes {
        if make.end_seal.is_none() && make.cut_edge.is_none() {
            continue;
        }
        let how = differences(seal, make);
        if best.as_ref().is_none_or(|(n, ..)| how.len() < *n) {
            best = Some((how.len(), make, how));
        }
    }
    match best {
        None => Agreement::Nothing,
        Some((0, make, _)) => Agreement::Like(make.id.to_string()),
        Some((_, make, how)) => Agreement::Differs { nearest: make.id.to_string(), how },
    }
}

fn differences(seal: &LearnedSeal, make: &Make) -> Vec<String> {
    let mut how = Vec::new();
    if let Some(facts) = &make.end_seal {
        if let Some((direction, pitch)) = &seal.ridges {
            if *direction != facts.ridge_direction {
                let word = |d: RidgeDirection| if d == RidgeDirection::Along { "along" } else { "across" };
                how.push(format!(
                    "its ridges run {} the pack, not {}",
                    word(*direction),
                    word(facts.ridge_direction)
                ));
            }
            let known = Known { value: facts.pitch_mm.value, tolerance: facts.pitch_mm.tolerance };
            if !known.fits(pitch) {
                how.push(format!(
                    "its ridges are {:.3} mm ± {:.3} mm apart, not {:.3} mm ± {:.3} mm",
                    pitch.value, pitch.u, known.value, known.tolerance
                ));
            }
        }
        if let Some(height) = &seal.height_mm {
            let known = Known { value: facts.height_mm.value, tolerance: facts.height_mm.tolerance };
            if !known.fits(height) {
                how.push(format!(
                    "its end seals are {:.1} mm ± {:.1} mm high, not {:.1} mm ± {:.1} mm",
                    height.value, height.u, known.value, known.tolerance
                ));
            }
        }
    }
    match (&seal.cut, &make.cut_edge) {
        (Some(None), Some(CutEdgeFacts::Toothed { .. })) => {
            how.push("its ends are cut straight, not in teeth".to_owned())
        }
        (Some(Some(_)), Some(CutEdgeFacts::Straight)) => {
            how.push("its ends are cut in teeth, not straight".to_owned())
        }
        (Some(Some((pitch, _))), Some(CutEdgeFacts::Toothed { pitch_mm, .. })) => {
            let known = Known { value: pitch_mm.value, tolerance: pitch_mm.tolerance };
            if !known.fits(pitch) {
                how.push(format!("its teeth are {:.2} mm apart, not {:.2} mm", pitch.value, known.value));
            }
        }
        _ => {}
    }
    how
}

#[cfg(test)]
mod tests {
    use super::*;
    use casebook::catalogue::{EndSealFacts, Form};
    use casebook::units::Toleranced;

    fn make(id: &str, direction: RidgeDirection, pitch: f64, cut: CutEdgeFacts) -> Make {
        Make {
            id: id.parse().unwrap(),
            note: None,
            source: "invented".to_owned(),
            end_seal: Some(EndSealFacts {
                height_mm: Toleranced { value: 9.0, tolerance: 1.0 },
                ridge_direction: direction,
                pitch_mm: Toleranced { value: pitch, tolerance: 0.05 },
            }),
            cut_edge: Some(cut),
            fin_seal: None,
            film: None,
        }
    }

    #[test]
    fn an_item_is_like_a_make_or_says_how_it_differs() {
        let product = Product {
            id: "pack".parse().unwrap(),
            name: "x".to_owned(),
            form: Form::Pack,
            size_mm: None,
            mass_g: None,
            contains: None,
            gtins: Vec::new(),
            faces: Vec::new(),
            makes: vec![
                make("quay", RidgeDirection::Along, 1.1, CutEdgeFacts::Straight),
                make("north", RidgeDirection::Across, 0.9, CutEdgeFacts::Straight),
            ],
        };
        let measured = |value, u| Measured { value, u };
        let mut seal = LearnedSeal {
            height_mm: Some(measured(9.4, 0.3)),
            ridges: Some((RidgeDirection::Along, measured(1.12, 0.02))),
            cut: Some(None),
            readings: 4,
        };
        assert_eq!(compare_make(Some(&seal), &product), Agreement::Like("quay".to_owned()));
        seal.ridges = Some((RidgeDirection::Along, measured(1.4, 0.02)));
        seal.cut = Some(Some((measured(1.6, 0.05), measured(0.8, 0.1))));
        let Agreement::Differs { nearest, how } = compare_make(Some(&seal), &product) else { panic!() };
        assert_eq!((nearest.as_str(), how.len()), ("quay", 2));
        assert_eq!(compare_make(None, &product), Agreement::Nothing);
    }
}
