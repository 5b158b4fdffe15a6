//! Which placed face belongs to which item of the case.
//!
//! In: per photo, the faces found in it. Out: per item, its product and faces. A photo shows a pack
//! from one side only, so every placed pack face is another pack; a box shows up to three faces at
//! once, so only a repeated face is another box. A collage is several photos in one file: front and back
//! of one product in two of its tiles are one pack, as in two files, unless the case lists several items.
//!
//! Rules, in this order:
//! 1. What a person pointed out ([`casebook::case::Shown`]) stands.
//! 2. When no photo shows more than one thing, the case has one item; its product is the one with
//!    the most support over all photos.
//! 3. Else the photo that shows the most things names them in reading order. Another photo with
//!    as many things of the same products in the same order shows the same ones in that order (claimed, as all
//!    photos of an offer are); a photo of one thing whose product is unique in the case belongs to it.
//!    Every other photo stays unlinked, and the report says so: guessing could join two items.

use casebook::case::CaseFile;
use casebook::catalogue::Form;
use casebook::names::{ProductId, Slug};

/// One face found in one photo, as far as the assignment needs it.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// The product.
    pub product: ProductId,
    /// The product's form.
    pub form: Form,
    /// The face.
    pub face: Slug,
    /// Centre in the photo, pixels.
    pub centre_px: [f64; 2],
    /// Height in the photo, pixels; faces within half of it share a row.
    pub height_px: f64,
    /// How much speaks for it (agreeing features).
    pub support: f64,
    /// The item that a person said it is.
    pub pointed_out: Option<Slug>,
    /// Which tile of a collage it lies in as a whole; `None` in a single photo or across a seam.
    pub tile: Option<usize>,
}

/// One item with the faces that show it.
#[derive(Debug, Clone, PartialEq)]
pub struct AssignedItem {
    /// Its name.
    pub item: Slug,
    /// Its product, when the case or the photos tell.
    pub product: Option<ProductId>,
    /// Indices (photo, face within the photo's list).
    pub faces: Vec<(usize, usize)>,
}

/// The items of a case, and the photos that could not be linked to one.
#[derive(Debug, Clone, PartialEq)]
pub struct Assignment {
    /// At least one.
    pub items: Vec<AssignedItem>,
    /// Photos that show something that could not be linked.
    pub unlinked: Vec<usize>,
}

/// Things in one photo: each a list of faces (one for a pack, up to three for a box).
type Thing = (ProductId, Vec<usize>);

/// Assigns every found face.
///
/// # Input
/// `case`: items that people listed, if any. `photos`: the faces found, photo by photo (stock
/// pictures give an empty list).
#[must_use]
pub fn assign(case: &CaseFile, photos: &[Vec<Found>]) -> Assignment {
    let things: Vec<Vec<Thing>> = photos.iter().map(|faces| things(case, faces)).collect();
    let most = things.iter().map(Vec::len).max().unwrap_or(0);
    let mut assignment = if most <= 1 && case.items.len() <= 1 {
        one_item(case, photos)
    } else {
        several_items(case, photos, &things)
    };
    for (photo, faces) in photos.iter().enumerate() {
        for (face, found) in faces.iter().enumerate() {
            let Some(name) = &found.pointed_out else { continue };
            for item in &mut assignment.items {
                item.faces.retain(|place| *place != (photo, face));
            }
            if let Some(item) = assignment.items.iter_mut().find(|item| item.item == *name) {
                item.faces.push((photo, face));
                item.product.get_or_insert_with(|| found.product.clone());
            }
        }
        if faces.iter().all(|found| found.pointed_out.is_some()) {
            assignment.unlinked.retain(|unlinked| *unlinked != photo);
        }
    }
    for item in &mut assignment.items {
        item.faces.sort_unstable();
    }
    assignment
}

/// The name of the item at that place of the case, listed or made: a, b, …, z, item-27, …
fn item_name(case: &CaseFile, place: usize) -> Option<Slug> {
    if let Some(item) = case.items.get(place) {
        return Some(item.id.clone());
    }
    let letter = u8::try_from(place).ok().filter(|p| *p < 26).map(|p| char::from(b'a' + p).to_string());
    letter.unwrap_or_else(|| format!("item-{}", place + 1)).parse().ok()
}

fn one_item(case: &CaseFile, photos: &[Vec<Found>]) -> Assignment {
    let claimed = case.items.first().and_then(|item| item.product.clone());
    let product = best_supported(photos).or(claimed);
    let faces = photos
        .iter()
        .enumerate()
        .flat_map(|(photo, faces)| faces.iter().enumerate().map(move |(face, found)| (photo, face, found)))
        .filter(|(_, _, found)| Some(&found.product) == product.as_ref())
        .map(|(photo, face, _)| (photo, face))
        .collect();
    let items = item_name(case, 0).map(|item| AssignedItem { item, product, faces }).into_iter().collect();
    Assignment { items, unlinked: Vec::new() }
}

fn best_supported(photos: &[Vec<Found>]) -> Option<ProductId> {
    let mut totals: Vec<(ProductId, f64)> = Vec::new();
    for found in photos.iter().flatten() {
        match totals.iter_mut().find(|(product, _)| *product == found.product) {
            Some((_, total)) => *total += found.support,
            None => totals.push((found.product.clone(), found.support)),
        }
    }
    // The first of equals wins, so the order of photos decides and nothing else.
    let mut best: Option<(ProductId, f64)> = None;
    for (product, total) in totals {
        if best.as_ref().is_none_or(|(_, most)| total > *most) {
            best = Some((product, total));
        }
    }
    best.map(|(product, _)| product)
}

fn several_items(case: &CaseFile, photos: &[Vec<Found>], things: &[Vec<Thing>]) -> Assignment {
    let mut template = 0;
    for (photo, list) in things.iter().enumerate() {
        if list.len() > things.get(template).map_or(0, Vec::len) {
            template = photo;
        }
    }
    let named = things.get(template).map_or(&[] as &[Thing], Vec::as_slice);
    let mut items: Vec<AssignedItem> = (0..named.len().max(case.items.len()))
        .filter_map(|place| {
            let seen = named.get(place).map(|(product, _)| product.clone());
            let claimed = case.items.get(place).and_then(|item| item.product.clone());
            Some(AssignedItem { item: item_name(case, place)?, product: seen.or(claimed), faces: Vec::new() })
        })
        .collect();
    let mut unlinked = Vec::new();
    for (photo, list) in things.iter().enumerate() {
        if list.is_empty() {
            continue;
        }
        let same_row = list.len() == named.len() && list.iter().zip(named).all(|(a, b)| a.0 == b.0);
        if same_row {
            for (item, (_, faces)) in items.iter_mut().zip(list) {
                item.faces.extend(faces.iter().map(|face| (photo, *face)));
            }
            continue;
        }
        let mut linked = true;
        for (product, faces) in list {
            let alone = list.iter().filter(|(other, _)| other == product).count() == 1;
            let mut owners = items.iter_mut().filter(|item| item.product.as_ref() == Some(product));
            match (owners.next(), owners.next()) {
                (Some(only), None) if alone => only.faces.extend(faces.iter().map(|face| (photo, *face))),
                _ => linked = false,
            }
        }
        if !linked && photos.get(photo).is_some_and(|faces| !faces.is_empty()) {
            unlinked.push(photo);
        }
    }
    Assignment { items, unlinked }
}

/// The physical things in one photo, in reading order.
fn things(case: &CaseFile, faces: &[Found]) -> Vec<Thing> {
    let mut things: Vec<Thing> = Vec::new();
    for index in reading_order(faces) {
        let found = &faces[index];
        let sides_of_one_pack = case.items.len() <= 1 && as_many_of_each_side(faces, &found.product);
        let partner = things.iter_mut().find(|(product, members)| {
            *product == found.product
                && members.iter().all(|member| faces[*member].face != found.face)
                && (found.form != Form::Pack
                    || sides_of_one_pack && members.iter().all(|member| in_two_tiles(&faces[*member], found)))
        });
        match partner {
            Some((_, members)) => members.push(index),
            None => things.push((found.product.clone(), vec![index])),
        }
    }
    things
}

/// Whether both lie in tiles of a collage, and not in the same.
fn in_two_tiles(a: &Found, b: &Found) -> bool {
    a.tile.zip(b.tile).is_some_and(|(a, b)| a != b)
}

/// Whether each side of a product that is seen is seen equally often. Where it is not, which of the
/// fronts a back belongs to would be a guess, and a guess could join two packs.
fn as_many_of_each_side(faces: &[Found], product: &ProductId) -> bool {
    let of_product = || faces.iter().filter(|found| found.product == *product);
    let count = |face: &Slug| of_product().filter(|found| found.face == *face).count();
    let mut counts = of_product().map(|found| count(&found.face));
    let first = counts.next();
    counts.all(|count| Some(count) == first)
}

/// Row by row, left to right. A row holds what lies within half a face's height of its first member.
fn reading_order(faces: &[Found]) -> Vec<usize> {
    let mut rest: Vec<usize> = (0..faces.len()).collect();
    rest.sort_by(|a, b| faces[*a].centre_px[1].total_cmp(&faces[*b].centre_px[1]).then(a.cmp(b)));
    let mut order = Vec::new();
    while let Some(&first) = rest.first() {
        let limit = faces[first].centre_px[1] + faces[first].height_px / 2.0;
        let (mut row, below): (Vec<usize>, Vec<usize>) =
            rest.iter().partition(|index| faces[**index].centre_px[1] <= limit);
        row.sort_by(|a, b| faces[*a].centre_px[0].total_cmp(&faces[*b].centre_px[0]).then(a.cmp(b)));
        order.extend(row);
        rest = below;
    }
    order
}

#[cfg(test)]
mod tests {
    use casebook::case::ItemFacts;

    use super::*;

    fn found(product: &str, form: Form, face: &str, x: f64, y: f64, support: f64) -> Found {
        Found {
            product: format!("kelpwright/{product}").parse().unwrap(),
            form,
            face: face.parse().unwrap(),
            centre_px: [x, y],
            height_px: 400.0,
            support,
            pointed_out: None,
            tile: None,
        }
    }

    fn pack(product: &str, face: &str, x: f64, y: f64) -> Found {
        found(&format!("{product}/pack"), Form::Pack, face, x, y, 50.0)
    }

    fn case() -> CaseFile {
        CaseFile::of_photos("x").unwrap()
    }

    #[test]
    fn one_pack_from_two_sides_is_one_item() {
        let photos = [vec![pack("a-b", "front", 500.0, 500.0)], vec![pack("a-b", "back", 400.0, 500.0)]];
        let got = assign(&case(), &photos);
        assert_eq!(got.items.len(), 1);
        assert_eq!(got.items[0].faces, [(0, 0), (1, 0)]);
    }

    #[test]
    fn a_stray_product_does_not_make_a_second_item() {
        let mut stray = pack("other", "front", 0.0, 0.0);
        stray.support = 9.0;
        let photos = [vec![pack("a-b", "front", 0.0, 0.0)], vec![stray]];
        let got = assign(&case(), &photos);
        assert_eq!(got.items.len(), 1);
        assert_eq!(got.items[0].faces, [(0, 0)]);
        assert_eq!(got.items[0].product.as_ref().unwrap().as_str(), "kelpwright/a-b/pack");
    }

    #[test]
    fn three_faces_of_a_box_are_one_item_and_the_same_face_twice_is_two() {
        let face = |name: &str, x: f64| found("r/box", Form::Box, name, x, 300.0, 40.0);
        let one = assign(&case(), &[vec![face("front", 100.0), face("top", 150.0), face("left", 50.0)]]);
        assert_eq!(one.items.len(), 1);
        assert_eq!(one.items[0].faces.len(), 3);
        let two = assign(&case(), &[vec![face("front", 100.0), face("front", 900.0)]]);
        assert_eq!(two.items.len(), 2);
    }

    fn in_tile(tile: usize, mut found: Found) -> Found {
        found.tile = Some(tile);
        found
    }

    #[test]
    fn front_and_back_in_two_tiles_of_a_collage_are_one_pack() {
        let collage =
            vec![in_tile(0, pack("r", "front", 300.0, 500.0)), in_tile(1, pack("r", "back", 900.0, 510.0))];
        let got = assign(&case(), &[collage.clone(), vec![pack("r", "front", 500.0, 500.0)]]);
        assert_eq!(got.items.len(), 1);
        assert_eq!(got.items[0].faces, [(0, 0), (0, 1), (1, 0)]);
        // Where the case lists two, a seam does not make them one.
        let mut listed = case();
        let item = |id: &str| ItemFacts { id: id.parse().unwrap(), product: None, inside: None };
        listed.items = vec![item("first"), item("second")];
        let got = assign(&listed, &[collage]);
        assert_eq!(got.items.iter().map(|item| item.faces.len()).collect::<Vec<_>>(), [1, 1]);
    }

    #[test]
    fn front_and_back_in_one_tile_are_two_packs() {
        let [front, back] = [pack("r", "front", 300.0, 500.0), pack("r", "back", 900.0, 510.0)];
        for tiles in [[None, None], [Some(1), Some(1)], [Some(0), None]] {
            let photo = [(front.clone(), tiles[0]), (back.clone(), tiles[1])];
            let photo = photo.map(|(found, tile)| Found { tile, ..found }).to_vec();
            assert_eq!(assign(&case(), &[photo]).items.len(), 2, "{tiles:?}");
        }
    }

    #[test]
    fn a_seam_never_joins_two_fronts_or_guesses_whose_back_it_is() {
        let mut collage =
            vec![in_tile(0, pack("r", "front", 300.0, 500.0)), in_tile(1, pack("r", "front", 900.0, 510.0))];
        assert_eq!(assign(&case(), &[collage.clone()]).items.len(), 2);
        collage.push(in_tile(2, pack("r", "back", 1_500.0, 500.0)));
        assert_eq!(assign(&case(), &[collage.clone()]).items.len(), 3);
        collage.push(in_tile(3, pack("r", "back", 2_100.0, 500.0)));
        let two = assign(&case(), &[collage]);
        assert_eq!(
            two.items.iter().map(|item| item.faces.clone()).collect::<Vec<_>>(),
            [vec![(0, 0), (0, 2)], vec![(0, 1), (0, 3)]]
        );
    }

    #[test]
    fn a_row_of_packs_keeps_its_order_over_photos() {
        let row = |face: &str| {
            vec![pack("r", face, 900.0, 510.0), pack("r", face, 100.0, 500.0), pack("r", face, 500.0, 505.0)]
        };
        let got = assign(&case(), &[row("front"), row("back"), vec![pack("r", "front", 500.0, 500.0)]]);
        assert_eq!(got.items.iter().map(|i| i.item.as_str()).collect::<Vec<_>>(), ["a", "b", "c"]);
        assert_eq!(got.items[0].faces, [(0, 1), (1, 1)]);
        assert_eq!(got.items[2].faces, [(0, 0), (1, 0)]);
        assert_eq!(got.unlinked, [2], "one of three alike cannot be told apart");
    }

    #[test]
    fn what_a_person_pointed_out_stands() {
        let mut second = pack("r", "front", 500.0, 500.0);
        second.pointed_out = Some("b".parse().unwrap());
        let row = vec![pack("r", "front", 100.0, 500.0), pack("r", "front", 900.0, 500.0)];
        let got = assign(&case(), &[row, vec![second]]);
        assert_eq!(got.items[1].faces, [(0, 1), (1, 0)]);
        assert!(got.unlinked.is_empty());
    }

    #[test]
    fn nothing_found_is_still_one_item() {
        let got = assign(&case(), &[vec![], vec![]]);
        assert_eq!(got.items.len(), 1);
        assert_eq!(got.items[0].product, None);
    }
}
