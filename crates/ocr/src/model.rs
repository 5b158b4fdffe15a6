//! The network: pinned bytes in, probabilities out.
//!
//! In: the model's bytes and pictures of lines. Out: [`Columns`]. Never here: a file, the network.
//!
//! The model: PP-OCRv6 small, recognition; licence Apache-2.0 (the weights too, says its package). It
//! reads lines 48 pixels high, gives one column for 8 pixels, and carries its alphabet in its metadata.

use photo::Plane;
use photo::colour::transfer::srgb_code;
use rten::{Model, NodeId};
use rten_tensor::NdTensor;
use rten_tensor::prelude::*;

use crate::columns::Columns;
use crate::folding::fold;

/// Name of the model's file.
pub const MODEL_FILE: &str = "PP-OCRv6_rec_small.onnx";
/// Its size, bytes.
pub const MODEL_BYTES: u64 = 21_234_383;
/// BLAKE3 of the file, the only one that is run.
pub const MODEL_BLAKE3: &str = "570fcee388d4475f46627fc4da2ce845e03af97217d623a7798ca1e7a89e5fa3";
/// Height of a line's picture, pixels.
pub const LINE_PX: usize = 48;
/// Longest line that is read, pixels: at this height a hundred letters and more.
pub const MAX_LINE_PX: usize = 2_400;
/// Probability from which a letter is kept for a line.
const POSSIBLE: f32 = 1e-3;

/// Why a model or a line cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum OcrError {
    /// Other bytes than the pinned ones.
    #[error("the model has BLAKE3 {found}, not {MODEL_BLAKE3}; it is not run. Install it again")]
    OtherModel {
        /// Their BLAKE3.
        found: String,
    },
    /// The runtime does not take it: a fault of this program, since the bytes are the pinned ones.
    #[error("the model cannot be run ({problem}); please report this")]
    Model {
        /// What the runtime said.
        problem: String,
    },
    /// A picture of another height, or too long.
    #[error("the line is {width} × {height} pixels; give one {LINE_PX} high and 8 to {MAX_LINE_PX} long")]
    Line {
        /// Its width.
        width: usize,
        /// Its height.
        height: usize,
    },
}

/// A recogniser of text, ready to read.
pub struct Recogniser {
    model: Model,
    input: NodeId,
    output: NodeId,
    /// By class of the model: the letter that it is compared as; `None` for no letter.
    letters: Vec<Option<char>>,
}

impl std::fmt::Debug for Recogniser {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Recogniser").field("classes", &self.letters.len()).finish_non_exhaustive()
    }
}

impl Recogniser {
    /// From the model's bytes.
    ///
    /// # Errors
    /// [`OcrError::OtherModel`] for any other bytes than the pinned ones, which are not looked into.
    pub fn from_bytes(bytes: Vec<u8>) -> Result<Self, OcrError> {
        let found = blake3::hash(&bytes).to_hex().to_string();
        if found != MODEL_BLAKE3 {
            return Err(OcrError::OtherModel { found });
        }
        let fail = |problem: &str| OcrError::Model { problem: problem.to_owned() };
        let model = Model::load(bytes).map_err(|error| fail(&error.to_string()))?;
        let (Some(input), Some(output)) = (model.input_ids().first(), model.output_ids().first()) else {
            return Err(fail("it has no input or no output"));
        };
        let (input, output) = (*input, *output);
        let alphabet = model.metadata().get("character").ok_or_else(|| fail("it has no alphabet"))?;
        // First the class of no letter, last the space.
        let mut letters = vec![None];
        letters.extend(alphabet.split('\n').map(|entry| {
            let mut chars = entry.chars();
            chars.next().filter(|_| chars.next().is_none()).and_then(fold)
        }));
        letters.push(None);
        Ok(Self { model, input, output, letters })
    }

    /// Reads one line.
    ///
    /// # Input
    /// `rgb`: linear light, 1.0 = white, [`LINE_PX`] rows, at most [`MAX_LINE_PX`] columns, text upright
    /// and filling about three quarters of the height. `wanted`: letters that are kept whatever their
    /// probability, so that wordings of them can be weighed.
    ///
    /// # Result
    /// One column for 8 pixels. The same picture gives the same columns on machines whose arithmetic
    /// units differ, up to the rounding of [`Columns`].
    ///
    /// # Errors
    /// [`OcrError::Line`] for another shape; [`OcrError::Model`] when the runtime fails.
    pub fn read(&self, rgb: &[Plane<f32>; 3], wanted: &[char]) -> Result<Columns, OcrError> {
        let (width, height) = (rgb[0].width(), rgb[0].height());
        let alike = rgb.iter().all(|p| p.width() == width && p.height() == height);
        if !alike || height != LINE_PX || !(8..=MAX_LINE_PX).contains(&width) {
            return Err(OcrError::Line { width, height });
        }
        let fail = |problem: String| OcrError::Model { problem };
        // Blue, green, red; codes from −1 to 1.
        let mut data = Vec::with_capacity(3 * width * height);
        for plane in rgb.iter().rev() {
            data.extend(plane.data().iter().map(|v| f32::from(srgb_code(*v)) / 127.5 - 1.0));
        }
        let picture = NdTensor::from_data([1, 3, height, width], data);
        let [output] = self
            .model
            .run_n(vec![(self.input, picture.into())], [self.output], None)
            .map_err(|error| fail(error.to_string()))?;
        let output: NdTensor<f32, 3> =
            output.try_into().map_err(|_| fail("its output has another shape".to_owned()))?;
        let [_, columns, classes] = output.shape();
        if classes != self.letters.len() {
            return Err(fail(format!("{classes} classes for an alphabet of {}", self.letters.len())));
        }
        let data = output.to_vec();
        let mut kept: Vec<char> = wanted.iter().copied().filter(|c| fold(*c) == Some(*c)).collect();
        for column in data.chunks(classes) {
            let possible = column.iter().zip(&self.letters).filter(|(p, _)| **p > POSSIBLE);
            kept.extend(possible.filter_map(|(_, letter)| *letter));
        }
        kept.sort_unstable();
        kept.dedup();
        let mut probabilities = vec![0.0; columns * (kept.len() + 1)];
        for (column, out) in data.chunks(classes).zip(probabilities.chunks_mut(kept.len() + 1)) {
            for (p, letter) in column.iter().zip(&self.letters) {
                let class = letter.map_or(Some(0), |letter| kept.binary_search(&letter).ok().map(|k| k + 1));
                if let Some(class) = class {
                    out[class] += f64::from(*p);
                }
            }
        }
        Columns::new(kept, &probabilities).ok_or_else(|| fail("its columns have no shape".to_owned()))
    }
}
