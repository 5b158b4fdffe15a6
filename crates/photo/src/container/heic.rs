//! Walks the boxes of a HEIC file and reads what its primary picture says of itself.
//!
//! In: the bytes. Out: size, depth, colour, or what is missing. Never here: HEVC decoding.
//!
//! The container is parsed by `heifer`; only its outer boxes are walked here, because a cut file
//! must be called cut, and its profile is looked up here, because a ring of references would send
//! `heifer`'s own search round without end.
//!
//! Sources: `iso14496-12` (boxes), `iso23008-12` (items), `itu-h273` (colour code points).

use std::collections::BTreeMap;

use heifer::heifer_hevc_dec::nal::{NalUnit, split_annex_b};
use heifer::heifer_hevc_dec::params::ParameterSets;
use heifer::heifer_isobmff::boxes::{ColorInfo, Property};
use heifer::heifer_isobmff::{HeifFile, ItemId};

use super::{SAVE_RGB, Survey, Trouble, take};
use crate::encoding::{Encoding, from_code_points};

/// How deep derived pictures (grid of tiles, rotation of a picture) may nest; the decoder's own bound.
const MAX_DEPTH: usize = 4;

/// Most coded pictures (tiles, sources, alpha planes) that one photo may take. Phones use about 50
/// tiles, their 200-megapixel pictures under 1,000.
const MAX_PICTURES: u64 = 2048;
/// Most coded pixels for each pixel of the photo: tiles reach past the edge, alpha doubles them. A
/// picture that is decoded again and again for a few pixels each time would keep the decoder busy for
/// hours.
const MAX_CODED_PER_PIXEL: u64 = 4;
/// Coded pixels that even the smallest photo may take: one tile of 1024 × 1024.
const FREE_CODED: u64 = 1 << 20;

/// What the container holds beside the pixels.
pub(crate) struct Contents {
    pub(crate) survey: Survey,
    pub(crate) icc: Option<Vec<u8>>,
    pub(crate) exif: Option<Vec<u8>>,
    pub(crate) xmp: Option<Vec<u8>>,
    /// More than 8 bits a sample.
    pub(crate) deep: bool,
}

pub(crate) fn survey(bytes: &[u8]) -> Result<Contents, Trouble> {
    outer_boxes(bytes)?;
    let damaged = |e: heifer::heifer_isobmff::Error| Trouble::Damaged(e.to_string());
    let file = HeifFile::parse(bytes).map_err(damaged)?;
    let id = file.primary_id;
    let kind = file.primary_item().map_err(damaged)?.item_type;
    match &kind.0 {
        b"hvc1" | b"hev1" | b"grid" | b"iden" | b"iovl" => {}
        b"av01" => return Err(Trouble::Variety("an AVIF picture".into(), SAVE_RGB)),
        _ => return Err(Trouble::Variety(format!("a HEIF picture of type {kind}"), SAVE_RGB)),
    }
    let (width, height) = match file.image_size(id).map_err(damaged)? {
        Some(size) => size,
        None if kind.0 == *b"grid" => {
            let grid = file.grid(id).map_err(damaged)?;
            (grid.output_width, grid.output_height)
        }
        None => return Err(Trouble::Damaged("no picture size".into())),
    };
    if width == 0 || height == 0 {
        return Err(Trouble::Damaged(format!("a size of {width} × {height} pixels")));
    }
    let work = Work::of(&file, id, 0, &mut BTreeMap::new())?;
    let pixels = u64::from(width) * u64::from(height);
    let bound = pixels.saturating_mul(MAX_CODED_PER_PIXEL).saturating_add(FREE_CODED);
    if work.pictures > MAX_PICTURES || work.pixels > bound {
        return Err(Trouble::Variety(
            format!("a HEIC made of {} pictures with {} pixels in all", work.pictures, work.pixels),
            SAVE_RGB,
        ));
    }
    let chain = sources(&file, id);
    let mut depth = 8;
    for item in &chain {
        if let Some(config) = file.hevc_config(*item).map_err(damaged)? {
            depth = depth.max(config.bit_depth_luma).max(config.bit_depth_chroma);
        }
    }
    let declared = nclx(&file, &chain)?;
    let icc = profile(&file, &chain);
    // RGBA raster, the decoder's planes (16-bit samples), our copy without alpha.
    let bytes_per_pixel = if depth > 8 { 8 + 6 + 6 } else { 4 + 4 + 3 };
    Ok(Contents {
        survey: Survey { width: width.into(), height: height.into(), bytes_per_pixel, declared },
        icc,
        exif: file.exif(id).ok().flatten(),
        xmp: file.xmp(id).ok().flatten(),
        deep: depth > 8,
    })
}

/// What decoding a picture takes, sources included as often as they are used.
#[derive(Clone, Copy, Default)]
struct Work {
    pictures: u64,
    pixels: u64,
}

impl Work {
    /// Counts what the decoder would do. `known` holds what was counted before, by picture and depth,
    /// so that a small file cannot make the counting itself long.
    fn of(
        file: &HeifFile<'_>,
        id: ItemId,
        depth: usize,
        known: &mut BTreeMap<(ItemId, usize), Self>,
    ) -> Result<Self, Trouble> {
        if depth > MAX_DEPTH {
            return Err(Trouble::Damaged("pictures made of pictures, nested too deeply".into()));
        }
        if let Some(work) = known.get(&(id, depth)) {
            return Ok(*work);
        }
        let kind = file.item(id).map_err(|e| Trouble::Damaged(e.to_string()))?.item_type;
        let mut work = Self::default();
        if matches!(&kind.0, b"hvc1" | b"hev1") {
            work = Self { pictures: 1, pixels: coded_pixels(file, id) };
        } else {
            for source in file.referenced_items(id, b"dimg") {
                work.add(Self::of(file, *source, depth + 1, known)?);
            }
        }
        for aux in file.referencing_items(id, b"auxl").into_iter().filter(|aux| *aux != id) {
            work.add(Self::of(file, aux, depth + 1, known)?);
        }
        known.insert((id, depth), work);
        Ok(work)
    }

    fn add(&mut self, other: Self) {
        self.pictures = self.pictures.saturating_add(other.pictures);
        self.pixels = self.pixels.saturating_add(other.pixels);
    }
}

/// Size of a coded picture by its own parameter sets, which the decoder goes by, whatever the
/// container says; 0 where it has none and cannot be decoded.
fn coded_pixels(file: &HeifFile<'_>, id: ItemId) -> u64 {
    /// Type of a sequence parameter set. Source: ITU-T H.265, table 7-1 (from memory).
    const SEQUENCE: u8 = 33;
    let Ok(stream) = file.hevc_bitstream(id) else { return 0 };
    let mut most = 0;
    for nal in split_annex_b(&stream) {
        if nal.first().is_none_or(|byte| (byte >> 1) & 0x3f != SEQUENCE) {
            continue;
        }
        let mut sets = ParameterSets::default();
        let added = NalUnit::parse(nal).and_then(|unit| sets.add(&unit));
        if added.is_ok() {
            let size = |s: &heifer::heifer_hevc_dec::params::Sps| {
                u64::from(s.pic_width_in_luma_samples) * u64::from(s.pic_height_in_luma_samples)
            };
            most = sets.sps.iter().flatten().map(size).fold(most, u64::max);
        }
    }
    most
}

/// Every top-level box must end within the file. A last box of size 0 runs to the end by definition.
fn outer_boxes(bytes: &[u8]) -> Result<(), Trouble> {
    let mut at = 0_u64;
    let total = bytes.len() as u64;
    while at < total {
        let early = || Trouble::Truncated("within a box header".into());
        let here = usize::try_from(at).map_err(|_| early())?;
        let size = u64::from(u32::from_be_bytes(take::<4>(bytes, here).ok_or_else(early)?));
        let size = match size {
            0 => break,
            1 => u64::from_be_bytes(take::<8>(bytes, here + 8).ok_or_else(early)?),
            n => n,
        };
        if size < 8 {
            return Err(Trouble::Damaged(format!("a box of {size} bytes")));
        }
        let end = at.checked_add(size).filter(|end| *end <= total);
        at = end.ok_or_else(|| {
            Trouble::Truncated(format!("a box ends at byte {} of {total}", at.saturating_add(size)))
        })?;
    }
    Ok(())
}

/// The primary picture and the first source of each picture that it derives from.
fn sources(file: &HeifFile<'_>, primary: ItemId) -> Vec<ItemId> {
    let mut chain = vec![primary];
    while chain.len() <= MAX_DEPTH {
        let last = chain[chain.len() - 1];
        match file.referenced_items(last, b"dimg").first() {
            Some(next) if !chain.contains(next) => chain.push(*next),
            _ => break,
        }
    }
    chain
}

fn profile(file: &HeifFile<'_>, chain: &[ItemId]) -> Option<Vec<u8>> {
    chain.iter().find_map(|id| {
        file.item_properties(*id).ok()?.find_map(|p| match p {
            Property::Color(ColorInfo::Icc(icc)) if !icc.is_empty() => Some(icc.clone()),
            _ => None,
        })
    })
}

fn nclx(file: &HeifFile<'_>, chain: &[ItemId]) -> Result<Option<Encoding>, Trouble> {
    for id in chain {
        let Ok(mut properties) = file.item_properties(*id) else { continue };
        let found = properties.find_map(|p| match p {
            Property::Color(ColorInfo::Nclx { primaries, transfer, .. }) => Some((*primaries, *transfer)),
            _ => None,
        });
        if let Some((primaries, transfer)) = found {
            return from_code_points(primaries, transfer, "HEIC nclx colour")
                .map_err(|what| Trouble::Variety(format!("a HEIC in {what}"), SAVE_RGB));
        }
    }
    Ok(None)
}
