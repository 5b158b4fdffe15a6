//! Pictures of a case, kept so that its page opens at once: drawn by the examiners, and small copies of
//! its photos.
//!
//! In: an outcome. Out: `desk/shown/<case>/shown.json` and pictures named by the hash of their bytes. A
//! cache: when it is lost or of another version, the case is examined again. Never here: the photos.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use casebook::names::{PhotoFile, PhotoHash};
use casebook::picture::{Content, Curve, Mark, MarkRole, Picture, Plot};
use examination::{Outcome, Thumbnail};
use serde::{Deserialize, Serialize};

use crate::error::DeskError;

/// Changes when the form of `shown.json` changes.
const VERSION: u32 = 1;
/// Long side of the queue's pictures, pixels.
const SMALL_SIDE: u32 = 240;

/// Everything that a case's page shows as pictures.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub(crate) struct Shown {
    version: u32,
    pub(crate) pictures: Vec<ShownPicture>,
    pub(crate) photos: Vec<ShownPhoto>,
}

/// A small copy of a photo.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct ShownPhoto {
    pub(crate) file: PhotoFile,
    pub(crate) copy: Stored,
    pub(crate) small: Stored,
    /// The copy's width over the photo's.
    pub(crate) scale: f64,
}

/// A stored picture.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Stored {
    pub(crate) hash: PhotoHash,
    pub(crate) png: bool,
    pub(crate) width: u32,
    pub(crate) height: u32,
}

/// One picture with its words.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct ShownPicture {
    pub(crate) id: String,
    pub(crate) caption: String,
    pub(crate) alt: String,
    pub(crate) content: ShownContent,
}

/// What a picture consists of.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum ShownContent {
    Image { stored: Stored, px_per_mm: Option<f64>, marks: Vec<ShownMark> },
    Plot(ShownPlot),
}

/// A mark over a picture.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct ShownMark {
    points: Vec<(f64, f64)>,
    label: String,
    role: String,
}

/// Curves; `None` breaks a line.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct ShownPlot {
    x_label: String,
    y_label: String,
    curves: Vec<ShownCurve>,
    band: Option<(Option<f64>, Option<f64>, String)>,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
struct ShownCurve {
    label: String,
    points: Vec<(Option<f64>, Option<f64>)>,
    dashed: bool,
}

impl ShownMark {
    fn of(mark: &Mark) -> Self {
        let role = match mark.role {
            MarkRole::Outline => "outline",
            MarkRole::Difference => "difference",
            MarkRole::Unread => "unread",
        };
        let finite = mark.points.iter().filter(|(x, y)| x.is_finite() && y.is_finite());
        Self { points: finite.copied().collect(), label: mark.label.clone(), role: role.to_owned() }
    }

    pub(crate) fn mark(&self) -> Mark {
        let role = match self.role.as_str() {
            "outline" => MarkRole::Outline,
            "difference" => MarkRole::Difference,
            _ => MarkRole::Unread,
        };
        Mark { points: self.points.clone(), label: self.label.clone(), role }
    }
}

/// JSON has no infinite numbers.
fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

impl ShownPlot {
    fn of(plot: &Plot) -> Self {
        Self {
            x_label: plot.x_label.clone(),
            y_label: plot.y_label.clone(),
            curves: plot
                .curves
                .iter()
                .map(|curve| ShownCurve {
                    label: curve.label.clone(),
                    points: curve.points.iter().map(|(x, y)| (finite(*x), finite(*y))).collect(),
                    dashed: curve.dashed,
                })
                .collect(),
            band: plot.band.as_ref().map(|(low, high, words)| (finite(*low), finite(*high), words.clone())),
        }
    }

    pub(crate) fn plot(&self) -> Plot {
        let back = |value: Option<f64>| value.unwrap_or(f64::NAN);
        Plot {
            x_label: self.x_label.clone(),
            y_label: self.y_label.clone(),
            curves: self
                .curves
                .iter()
                .map(|curve| Curve {
                    label: curve.label.clone(),
                    points: curve.points.iter().map(|(x, y)| (back(*x), back(*y))).collect(),
                    dashed: curve.dashed,
                })
                .collect(),
            band: self.band.as_ref().map(|(low, high, words)| (back(*low), back(*high), words.clone())),
        }
    }
}

impl Shown {
    /// Keeps an outcome's pictures in a folder; what the folder held before goes once the new is there.
    pub(crate) fn keep(outcome: &Outcome, folder: &Path) -> Result<Self, DeskError> {
        fs::create_dir_all(folder)
            .map_err(|source| DeskError::Folder { folder: folder.to_owned(), source })?;
        let mut shown = Self { version: VERSION, ..Self::default() };
        for thumb in &outcome.thumbnails {
            let Some(small) = thumb.smaller(SMALL_SIDE) else { continue };
            shown.photos.push(ShownPhoto {
                file: thumb.file.clone(),
                copy: store_thumbnail(thumb, folder)?,
                small: store_thumbnail(&small, folder)?,
                scale: thumb.scale,
            });
        }
        for picture in &outcome.pictures {
            let content = match &picture.content {
                Content::Image { media_type, bytes, width, height, px_per_mm, marks } => {
                    let png = *media_type == "image/png";
                    ShownContent::Image {
                        stored: store(bytes, png, (*width, *height), folder)?,
                        px_per_mm: px_per_mm.and_then(finite),
                        marks: marks.iter().map(ShownMark::of).collect(),
                    }
                }
                Content::Plot(plot) => ShownContent::Plot(ShownPlot::of(plot)),
            };
            shown.pictures.push(ShownPicture {
                id: picture.id.clone(),
                caption: picture.caption.clone(),
                alt: picture.alt.clone(),
                content,
            });
        }
        // Numbers, text and lists: printing cannot fail.
        let json = serde_json::to_vec(&shown).unwrap_or_default();
        casebook::atomic::write(&folder.join("shown.json"), &json)?;
        shown.clear_others(folder);
        Ok(shown)
    }

    /// What was kept in a folder; `None` when it is absent or of another version.
    pub(crate) fn read(folder: &Path) -> Option<Self> {
        let bytes = fs::read(folder.join("shown.json")).ok()?;
        serde_json::from_slice::<Self>(&bytes).ok().filter(|shown| shown.version == VERSION)
    }

    fn clear_others(&self, folder: &Path) {
        let mut named: BTreeSet<String> = BTreeSet::from(["shown.json".to_owned()]);
        for stored in self.stored() {
            named.insert(file_name(&stored.hash, stored.png));
        }
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            if !named.contains(&name) {
                // A file that stays costs room and nothing else.
                let _ = fs::remove_file(entry.path());
            }
        }
    }

    fn stored(&self) -> impl Iterator<Item = &Stored> {
        let copies = self.photos.iter().flat_map(|photo| [&photo.copy, &photo.small]);
        copies.chain(self.pictures.iter().filter_map(|picture| match &picture.content {
            ShownContent::Image { stored, .. } => Some(stored),
            ShownContent::Plot(_) => None,
        }))
    }

    /// The small copy of a photo.
    pub(crate) fn photo(&self, file: &PhotoFile) -> Option<&ShownPhoto> {
        self.photos.iter().find(|photo| photo.file == *file)
    }

    /// The picture of that id.
    pub(crate) fn picture(&self, id: &str) -> Option<&ShownPicture> {
        self.pictures.iter().find(|picture| picture.id == id)
    }

    /// The pictures as a report takes them; one that has been lost is left out.
    pub(crate) fn pictures(&self, folder: &Path) -> Vec<Picture> {
        let one = |picture: &ShownPicture| {
            let content = match &picture.content {
                ShownContent::Plot(plot) => Content::Plot(plot.plot()),
                ShownContent::Image { stored, px_per_mm, marks } => Content::Image {
                    media_type: if stored.png { "image/png" } else { "image/jpeg" },
                    bytes: fs::read(folder.join(file_name(&stored.hash, stored.png))).ok()?,
                    width: stored.width,
                    height: stored.height,
                    px_per_mm: *px_per_mm,
                    marks: marks.iter().map(ShownMark::mark).collect(),
                },
            };
            Some(Picture {
                id: picture.id.clone(),
                caption: picture.caption.clone(),
                alt: picture.alt.clone(),
                content,
            })
        };
        self.pictures.iter().filter_map(one).collect()
    }
}

fn file_name(hash: &PhotoHash, png: bool) -> String {
    format!("{hash}.{}", if png { "png" } else { "jpg" })
}

/// Where a stored picture of that hash lies in a folder, and whether it is a PNG.
pub(crate) fn find(folder: &Path, hash: &PhotoHash) -> Option<(PathBuf, bool)> {
    [false, true]
        .into_iter()
        .map(|png| (folder.join(file_name(hash, png)), png))
        .find(|(path, _)| path.is_file())
}

fn store_thumbnail(thumb: &Thumbnail, folder: &Path) -> Result<Stored, DeskError> {
    store(&thumb.jpeg, false, (thumb.width, thumb.height), folder)
}

fn store(bytes: &[u8], png: bool, size: (u32, u32), folder: &Path) -> Result<Stored, DeskError> {
    let hash = PhotoHash::of(bytes);
    let file = folder.join(file_name(&hash, png));
    if !file.exists() {
        casebook::atomic::write(&file, bytes)?;
    }
    Ok(Stored { hash, png, width: size.0, height: size.1 })
}
