//! A case from its upload to an opinion, and what people change of it, over real connections.

use std::path::Path;

use crate::support::{Server, photo, start};
use casebook::case::{CaseFile, RequestState};

fn added(desk: &Server, files: &[(&str, &[u8])]) -> String {
    let answer = desk.upload("/offers", files);
    assert_eq!(answer.status, 200, "{}", answer.text());
    let said: serde_json::Value = serde_json::from_slice(&answer.body).unwrap();
    said["case"].as_str().unwrap().to_owned()
}

fn case(desk: &Server, id: &str) -> CaseFile {
    casebook::document::read(&desk.data.join("offers").join(id).join("case.toml")).unwrap()
}

/// A library with the demo's catalogue of one release, and no specimen: nothing has to be measured.
fn with_products(desk: &Server) {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo");
    let mut library = casebook::library::Library::open(&desk.data.join("library")).unwrap();
    let file = demo.join("catalogue/kelpwright/night-dredge.toml");
    library.add_catalogue(&file, &demo.join("faces"), jiff::Timestamp::now()).unwrap();
}

#[test]
fn an_upload_becomes_a_case_with_an_opinion_and_changes_can_be_undone() {
    let desk = start();
    with_products(&desk);
    let (one, two) = (photo("pf-2055/01.jpg"), photo("pf-2055/02.jpg"));
    let id = added(&desk, &[("front.jpg", &one), ("back.jpg", &two)]);
    let page = desk.wait_for(&format!("/case/{id}"), "Findings, heaviest first");
    assert!(page.contains("Beside the reference") || page.contains("Product not known"), "{page}");
    assert!(desk.get("/").text().contains(&id));
    assert!(desk.get(&format!("/case/{id}/report")).text().contains("Examination report"));

    let answer = desk.form(
        &format!("/case/{id}/do/terms"),
        &[
            ("title", "A pack"),
            ("price", "12,50"),
            ("currency", "eur"),
            ("returns", "accepted"),
            ("days", "14"),
            ("ends", "2030-01-01T10:00"),
        ],
    );
    assert_eq!(answer.status, 303, "{}", answer.text());
    let offer = case(&desk, &id).offer.unwrap();
    assert_eq!(offer.price.unwrap().to_string(), "12.50 EUR");
    assert_eq!(offer.returns.unwrap().days, Some(14));
    let answer = desk.form(
        &format!("/case/{id}/do/worth"),
        &[("sealed", "40"), ("resealed", "5"), ("currency", "EUR"), ("refund", "50")],
    );
    assert_eq!(answer.status, 303, "{}", answer.text());
    let answer = desk.form(&format!("/case/{id}/do/prior"), &[("sealed", "70"), ("resealed", "30")]);
    assert_eq!(answer.status, 303);
    assert!((case(&desk, &id).prior.unwrap().sealed - 0.7).abs() < 1e-12);
    let wants = "a photo of the top end seal";
    assert_eq!(
        desk.form(&format!("/case/{id}/do/request"), &[("wants", wants), ("state", "declined")]).status,
        303
    );
    assert_eq!(case(&desk, &id).requests[0].state, RequestState::Declined);
    assert_eq!(desk.form(&format!("/case/{id}/do/note"), &[("text", "seen <b>twice</b>")]).status, 303);
    assert!(desk.get(&format!("/case/{id}")).text().contains("seen &lt;b&gt;twice&lt;/b&gt;"));
    assert_eq!(
        desk.form(&format!("/case/{id}/do/outcome"), &[("course", "bought"), ("state", "sealed")]).status,
        422,
        "says how it is known"
    );
    assert_eq!(
        desk.form(
            &format!("/case/{id}/do/outcome"),
            &[("course", "bought"), ("state", "sealed"), ("known_by", "opened by me")]
        )
        .status,
        303
    );

    for left in [6, 5, 4] {
        assert_eq!(desk.form(&format!("/case/{id}/do/undo"), &[]).status, 303, "{left}");
    }
    let now = case(&desk, &id);
    assert!(now.outcome.is_none() && now.notes.is_empty() && now.requests.is_empty());
    assert!(now.prior.is_some(), "only the last three were undone");

    // Wrong input changes nothing and names the field.
    for (act, pairs, words) in [
        ("terms", vec![("price", "many")], "price"),
        ("terms", vec![("currency", "XXZ")], "currency"),
        ("prior", vec![("sealed", "-1")], "sealed"),
        ("prior", vec![("sealed", "nan")], "sealed"),
        (
            "corners",
            vec![("item", "a"), ("face", "front"), ("photo", "front.jpg"), ("corners", "[[1,2]]")],
            "corners",
        ),
        (
            "corners",
            vec![
                ("item", "a"),
                ("face", "front"),
                ("photo", "none.jpg"),
                ("corners", "[[0,0],[9,0],[9,9],[0,9]]"),
            ],
            "photo",
        ),
        ("item", vec![("item", "../x"), ("product", "")], "item"),
        ("photo", vec![("photo", "front.jpg"), ("group", "other")], "group"),
    ] {
        let before = case(&desk, &id);
        let answer = desk.form(&format!("/case/{id}/do/{act}"), &pairs);
        assert_eq!(answer.status, 422, "{act}: {}", answer.text());
        assert!(answer.text().to_lowercase().contains(words), "{act}: {}", answer.text());
        assert_eq!(before, case(&desk, &id));
    }
    assert_eq!(desk.form(&format!("/case/{id}/do/burn"), &[]).status, 404);

    // The library's trail names every change and still holds together.
    let library = casebook::library::Library::open(&desk.data.join("library")).unwrap();
    assert!(library.check().unwrap().is_empty());
    assert!(library.trail_of(&id).unwrap().len() >= 10);
}

#[test]
fn corners_by_hand_are_kept_and_the_case_is_looked_at_again() {
    let desk = start();
    with_products(&desk);
    let id = added(&desk, &[("front.jpg", &photo("pf-2055/01.jpg"))]);
    desk.wait_for(&format!("/case/{id}"), "Findings, heaviest first");
    let corners = "[[100,80],[500,80],[500,700],[100,700]]";
    let pairs = [
        ("item", "a"),
        ("face", "front"),
        ("photo", "front.jpg"),
        ("product", "kelpwright/night-dredge/pack"),
        ("corners", corners),
    ];
    let answer = desk.form(&format!("/case/{id}/do/corners"), &pairs);
    assert_eq!(answer.status, 303, "{}", answer.text());
    assert_eq!(case(&desk, &id).photos[0].shows[0].corners_px.unwrap()[2], [500.0, 700.0]);
    desk.wait_for(&format!("/case/{id}/photo/1"), "set by hand");
    assert_eq!(desk.form(&format!("/case/{id}/do/undo"), &[]).status, 303);
    assert!(case(&desk, &id).photos[0].shows.is_empty());
}

#[test]
fn a_seller_can_be_forgotten_for_good() {
    let desk = start();
    let toml = "schema = \"untorn.case/1\"\nid = \"x\"\n[offer]\ntitle = \"One pack\"\nseller = { name = \"gearwife\" }\n";
    let id = added(&desk, &[("case.toml", toml.as_bytes()), ("a.jpg", &photo("pf-2041/01.jpg"))]);
    assert_eq!(id, "x");
    assert_eq!(desk.form("/case/x/do/note", &[("text", "a note")]).status, 303);
    assert!(!desk.get("/").text().contains("gearwife"), "the queue names nobody");
    assert!(desk.get("/case/x").text().contains("gearwife"));
    assert_eq!(desk.form("/case/x/do/forget-seller", &[]).status, 303);
    for file in ["offers/x/case.toml", "desk/desk.sqlite", "desk/desk.sqlite-journal"] {
        let Ok(bytes) = std::fs::read(desk.data.join(file)) else { continue };
        assert!(!bytes.windows(8).any(|w| w == b"gearwife"), "{file}");
    }
    assert!(!desk.get("/case/x").text().contains("gearwife"));
    assert_eq!(desk.form("/case/x/do/undo", &[]).status, 422, "no earlier state is left");
}

#[test]
fn a_second_desk_on_the_folder_is_refused() {
    let desk = start();
    let words = desk::Desk::open(&desk.data, 0, jiff::Timestamp::now).unwrap_err().to_string();
    assert!(words.contains("another desk"), "{words}");
}

#[test]
fn pages_without_anything_say_what_to_do() {
    let desk = start();
    for (path, words) in [
        ("/", "No offer yet"),
        ("/library", "The library is empty"),
        ("/library/specimens", "No specimen yet"),
        ("/boards", "No board yet"),
        ("/library/add", "Add a catalogue first"),
    ] {
        let answer = desk.get(path);
        assert_eq!(answer.status, 200, "{path}");
        assert!(answer.text().contains(words), "{path}");
    }
}

#[test]
fn catalogue_specimen_and_regions_come_in_by_the_browser() {
    let desk = start();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo");
    let toml = std::fs::read(demo.join("catalogue/kelpwright/night-dredge.toml")).unwrap();
    let catalogue: casebook::catalogue::Catalogue =
        casebook::document::read(&demo.join("catalogue/kelpwright/night-dredge.toml")).unwrap();
    let mut files: Vec<(String, Vec<u8>)> = vec![("night-dredge.toml".to_owned(), toml)];
    for (_, _, face) in catalogue.faces() {
        let name = face.reference.to_string();
        if !files.iter().any(|(own, _)| *own == name) {
            files.push((name.clone(), std::fs::read(demo.join("faces").join(&name)).unwrap()));
        }
    }
    let borrowed: Vec<(&str, &[u8])> =
        files.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect();
    let answer = desk.upload("/library/catalogue", &borrowed[..1]);
    assert_eq!(answer.status, 422, "its pictures are missing: {}", answer.text());
    let answer = desk.upload("/library/catalogue", &borrowed);
    assert_eq!(answer.status, 200, "{}", answer.text());
    let product = "kelpwright/night-dredge/pack";
    let page = desk.get(&format!("/library/product/{product}"));
    assert_eq!(page.status, 200);
    assert!(page.text().contains("What this should look like"));
    let regions = r#"[{"name":"corner","kind":"art","rect_mm":{"x":1,"y":2,"width":10,"height":5}}]"#;
    let path = format!("/library/product/{product}/face/front/regions");
    let body = format!("{{\"token\":\"{}\",\"regions\":{regions}}}", desk.token);
    assert_eq!(
        desk.send(&path, &[("Accept", "application/json")], "application/json", body.as_bytes()).status,
        200
    );
    assert!(desk.get(&format!("/library/product/{product}/face/front")).text().contains("corner"));
    let outside = regions.replace("\"width\":10", "\"width\":1000");
    assert_eq!(desk.form(&path, &[("regions", &outside)]).status, 422, "a region that leaves its face");

    let fields = [
        ("token", desk.token.as_str()),
        ("id", "mine-1"),
        ("product", product),
        ("state", "sealed"),
        ("known_by", "opened by me"),
        ("sitting", "one"),
    ];
    let body = crate::support::multipart(&fields, &[("front.jpg", &photo("pf-2055/01.jpg"))]);
    let answer = desk.send("/library/specimen", &[], "multipart/form-data; boundary=XX", &body);
    assert_eq!(answer.status, 303, "{}", answer.text());
    assert!(desk.get("/library/specimen/mine-1").text().contains("opened by me"));
}
