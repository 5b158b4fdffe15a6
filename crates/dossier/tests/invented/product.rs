//! The page of an invented product, with one text in every place that a stranger's bundle may fill.

use casebook::catalogue::Catalogue;
use casebook::finding::Reading;
use casebook::opinion::MeasuredSpecimen;
use casebook::specimen::{Origin, SpecimenFile};
use dossier::{FacePicture, ProductInput};

use super::cases::slug;

/// The page; `text` is put wherever people or bundles write.
pub fn page(text: &str) -> String {
    let t = |usual: &str| if text.is_empty() { usual.to_owned() } else { text.to_owned() };
    let catalogue = serde_json::json!({
        "schema": "untorn.catalogue/1",
        "line": { "id": "kelpwright", "name": t("Kelpwright") },
        "release": { "id": "brass-estuary", "name": t("Brass Estuary"), "year": 2023, "language": t("en"), "source": t("invented") },
        "products": [{
            "id": "pack", "name": t("Kelpwright Brass Estuary pack"), "form": "pack",
            "size_mm": [{ "value": 63.5, "tolerance": 1.5 }, { "value": 112.0, "tolerance": 1.5 }, { "value": 5.0, "tolerance": 1.0 }],
            "mass_g": { "value": 21.5, "tolerance": 0.8 },
            "gtins": ["2004173000117"],
            "faces": [
                { "id": "front", "size_mm": [63.0, 110.0], "reference": "front.jpg", "regions": [
                    { "name": t("wordmark"), "kind": "wordmark", "rect_mm": { "x": 6.0, "y": 13.0, "width": 50.0, "height": 11.0 }, "text": t("Kelpwright") },
                    { "name": t("emblem"), "kind": "emblem", "rect_mm": { "x": 20.0, "y": 48.0, "width": 24.0, "height": 24.0 } }
                ] },
                { "id": "back", "size_mm": [63.0, 110.0], "reference": "back.jpg" }
            ],
            "makes": [
                { "id": "quay", "note": t("Quay works"), "source": t("invented"),
                  "end_seal": { "height_mm": { "value": 9.0, "tolerance": 1.0 }, "ridge_direction": "along", "pitch_mm": { "value": 1.1, "tolerance": 0.05 } },
                  "cut_edge": { "shape": "toothed", "pitch_mm": { "value": 1.6, "tolerance": 0.1 }, "depth_mm": { "value": 0.8, "tolerance": 0.1 } },
                  "fin_seal": { "centre_mm": { "value": 32.5, "tolerance": 2.5 }, "width_mm": { "value": 10.0, "tolerance": 1.0 } } },
                { "id": "north", "source": t("invented"),
                  "end_seal": { "height_mm": { "value": 8.0, "tolerance": 1.0 }, "ridge_direction": "across", "pitch_mm": { "value": 0.9, "tolerance": 0.05 } },
                  "cut_edge": { "shape": "straight" },
                  "film": { "printed_mark": true, "mark_repeat_mm": { "value": 41.0, "tolerance": 2.0 } } }
            ]
        }],
        "never_made": [{ "form": "tin", "source": t("invented"), "date": "2026-01-02" }]
    });
    let catalogue: Catalogue = serde_json::from_value(catalogue).unwrap();
    let specimen = |id: &str, state: &str| -> SpecimenFile {
        serde_json::from_value(serde_json::json!({
            "schema": "untorn.specimen/1", "id": id, "product": "kelpwright/brass-estuary/pack", "make": "quay",
            "state": state, "known_by": t("rendered so"), "origin": "rendered",
            "photos": [{ "file": "01.jpg" }], "notes": [t("bottom end: glue")]
        }))
        .unwrap()
    };
    let specimens = [specimen("one", "sealed"), specimen("two", "resealed")];
    let findings = super::cases::reclosed().examination.items[0].findings.clone();
    let measured: Vec<MeasuredSpecimen> = specimens
        .iter()
        .map(|s| MeasuredSpecimen {
            specimen: s.id.clone(),
            product: s.product.clone(),
            make: s.make.clone(),
            state: s.state,
            origin: Origin::Rendered,
            sitting: slug("s1"),
            opened_ends: None,
            findings: findings
                .iter()
                .cloned()
                .map(|mut f| {
                    if let Reading::Measured { unit, .. } = &mut f.reading
                        && !text.is_empty()
                    {
                        *unit = text.to_owned();
                    }
                    f
                })
                .collect(),
        })
        .collect();
    let thumb = super::art::thumb("front.jpg");
    let faces = [FacePicture {
        face: slug("front"),
        media_type: "image/png",
        bytes: thumb.bytes,
        width: thumb.width,
        height: thumb.height,
    }];
    let product = &catalogue.products[0];
    dossier::product_page(&ProductInput {
        catalogue: &catalogue,
        product,
        id: &catalogue.product_id(product).unwrap(),
        faces: &faces,
        specimens: &specimens,
        measured: &measured,
        generated_at: Some("25 November 2026, 09:00 UTC"),
        program: "untorn 0.1.0",
    })
}
