//! What the examples on labelled sets share: catalogue, reference pictures, placements by the truth, and
//! the area under the ROC curve.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, missing_docs)]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use casebook::catalogue::{Catalogue, Product};
use casebook::names::{FaceId, PhotoFile, ProductId, Slug};
use casebook::truth::{CaseTruth, TruthFile};
use photo::{Limits, Photo};
use placement::{Homography, Placement};

/// A labelled set, its products and the reference pictures used so far.
pub(crate) struct Labelled {
    pub(crate) set: PathBuf,
    pub(crate) truth: TruthFile,
    pub(crate) products: BTreeMap<String, Product>,
    /// Part of the names of the cases that are wanted.
    pub(crate) only: String,
    faces: PathBuf,
    references: BTreeMap<String, Photo>,
}

impl Labelled {
    /// From the arguments SET CATALOGUE FACES [ONLY].
    pub(crate) fn from_arguments() -> Self {
        let args: Vec<String> = std::env::args().skip(1).collect();
        let [set, catalogue, faces] =
            [0, 1, 2].map(|i| PathBuf::from(args.get(i).expect("SET CATALOGUE FACES")));
        let truth = serde_json::from_str(&std::fs::read_to_string(set.join("truth.json")).unwrap()).unwrap();
        let only = args.get(3).cloned().unwrap_or_default();
        Self { set, truth, products: products(&catalogue), only, faces, references: BTreeMap::new() }
    }

    /// Reads the reference pictures of a product where that was not done yet.
    pub(crate) fn load(&mut self, product: &str) {
        for face in self.products.get(product).into_iter().flat_map(|p| &p.faces) {
            let name = face.reference.as_str();
            if !self.references.contains_key(name) {
                self.references.insert(name.to_owned(), read(&self.faces.join(name)));
            }
        }
    }

    /// The reference pictures of a product that was loaded.
    pub(crate) fn references(&self, product: &Product) -> BTreeMap<Slug, &Photo> {
        product.faces.iter().map(|f| (f.id.clone(), &self.references[f.reference.as_str()])).collect()
    }

    /// Photos of a case.
    pub(crate) fn photos(&self, case: &str, files: &[String]) -> Vec<(PhotoFile, Photo)> {
        files.iter().map(|f| (f.parse().unwrap(), read(&self.set.join(case).join(f)))).collect()
    }
}

/// The faces of an item where the truth says they lie: (photo, placement).
pub(crate) fn place(
    known: &CaseTruth,
    item: &Slug,
    product: &Product,
    id: &ProductId,
    photos: &[(PhotoFile, Photo)],
) -> Vec<(usize, Placement)> {
    let mut placements = Vec::new();
    for (index, (file, photo)) in photos.iter().enumerate() {
        for shown in known.photos.get(file.as_str()).into_iter().flat_map(|p| &p.faces) {
            if shown.item != *item {
                continue;
            }
            let Some(face) = product.face(&shown.face) else { continue };
            let Ok(map) = Homography::new(shown.mm_to_px) else { continue };
            let size = (face.size_mm[0], face.size_mm[1]);
            let Ok(corners) = map.corners_px(size) else { continue };
            let id = FaceId { product: id.clone(), face: face.id.clone() };
            if let Ok(p) = Placement::from_corners(id, size, corners, 1.0, (photo.width(), photo.height())) {
                placements.push((index, p));
            }
        }
    }
    placements
}

/// Probability that a value of the first kind is the larger; ties count one half.
pub(crate) fn auc(first: &[f64], second: &[f64]) -> f64 {
    let mut wins = 0.0;
    for a in first {
        for b in second {
            wins += if a > b {
                1.0
            } else if a == b {
                0.5
            } else {
                0.0
            };
        }
    }
    wins / (first.len() * second.len()).max(1) as f64
}

/// Mean and standard deviation.
pub(crate) fn mean_and_deviation(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (mean, (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1.0).max(1.0)).sqrt())
}

/// Writes the images of a finding into the folder that `PICTURES` names, if it is set.
pub(crate) fn write_pictures(before: &str, examined: &examine::Examined) {
    let Ok(folder) = std::env::var("PICTURES") else { return };
    for p in &examined.pictures {
        if let casebook::picture::Content::Image { bytes, media_type, .. } = &p.content {
            let end = if *media_type == "image/png" { "png" } else { "jpg" };
            std::fs::create_dir_all(&folder).unwrap();
            #[allow(clippy::disallowed_methods)]
            std::fs::write(Path::new(&folder).join(format!("{before}-{}.{end}", p.id)), bytes).unwrap();
        }
    }
}

fn read(path: &Path) -> Photo {
    photo::read(path, &Limits::default()).unwrap_or_else(|e| panic!("{e}"))
}

fn products(folder: &Path) -> BTreeMap<String, Product> {
    let mut out = BTreeMap::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|e| e == "toml") {
                let catalogue: Catalogue = toml::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
                for product in &catalogue.products {
                    out.insert(catalogue.product_id(product).unwrap().as_str().to_owned(), product.clone());
                }
            }
        }
    }
    out
}
