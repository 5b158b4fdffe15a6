//! Walks the boxes of a HEIC file and reads what its primary picture says of itself.
//!
//! In: the bytes. Out: size, depth, colour, or what is missing. Never here: HEVC decoding.
//!
//! The container is parsed by `heifer`; only its outer boxes are walked here, because a cut file
//! must be called cut, and its profile is looked up here, because a ring of references would send
//! `heifer`'s own search round without end.
//!
//! Sources: `iso14496-12` (boxes), `iso23008-12` (items), `itu-h273` (colour code points).

use heifer::heifer_isobmff::boxes::{ColorInfo, Property};
use heifer::heifer_isobmff::{HeifFile, ItemId};

use super::{SAVE_RGB, Survey, Trouble, take};
use crate::encoding::{Encoding, from_code_points};

/// How deep derived pictures (grid of tiles, rotation of a picture) may nest; the decoder's own bound.
const MAX_DEPTH: usize = 4;

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
