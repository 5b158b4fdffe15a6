//! The invented cases: a re-closed pack, a pack whose bottom is hidden, a genuine-looking pack, a
//! box that was never made, a lot of three.

use std::collections::BTreeMap;

use casebook::case::{CaseFile, OfferFacts, Prior, Request, RequestState, ReturnTerms};
use casebook::finding::{Expected, FactOutcome, Feature, Finding, Lack, Missing, Place, Reading, Seeing};
use casebook::hypothesis::State;
use casebook::money::Money;
use casebook::names::{FaceId, PhotoHash, Slug};
use casebook::opinion::{
    Action, AgainstState, Contribution, DecidingView, Decision, EXAMINATION_SCHEMA, Examination, ItemReport,
    OfferReport, Opinion, PhotoReport, PlacedFace, RankedRequest, SpecimenCount, Stance, StateShare,
    StateWeight, VerbalStep, WeightInterval, Without,
};
use casebook::specimen::Origin;
use casebook::units::Bans;

use super::{Invented, art};

pub fn slug(text: &str) -> Slug {
    text.parse().unwrap()
}

pub fn euros(amount: &str) -> Money {
    serde_json::from_value(serde_json::json!({ "amount": amount, "currency": "EUR" })).unwrap()
}

fn weight(value: f64) -> WeightInterval {
    WeightInterval {
        value: Bans(value),
        low: Bans(value - 0.4 - 0.1 * value.abs()),
        high: Bans(value + 0.4 + 0.1 * value.abs()),
    }
}

fn measured(
    item: &str,
    examiner: &str,
    quantity: &str,
    question: &str,
    says: &str,
    group: &str,
    reading: (f64, f64, &str),
    expected: Option<(f64, f64)>,
) -> Finding {
    Finding {
        examiner: slug(examiner),
        item: slug(item),
        place: Place { face: Some(slug("front")), part: Some("both-end-seals".to_owned()), rect_mm: None },
        quantity: slug(quantity),
        question: question.to_owned(),
        reading: Reading::Measured {
            value: reading.0,
            standard_uncertainty: reading.1,
            unit: reading.2.to_owned(),
        },
        expected: expected.map(|(low, high)| Expected {
            low,
            high,
            basis: "middle 95 % of 24 genuine specimens".to_owned(),
        }),
        features: vec![Feature {
            name: slug(quantity),
            value: reading.0,
            standard_uncertainty: reading.1,
            unit: reading.2.to_owned(),
        }],
        seeing: Seeing {
            px_per_mm: Some(14.2),
            angle_deg: Some(11.0),
            blur_px: Some(0.82),
            glare: Some(0.031),
            covered: Some(0.0),
            usable: Some(0.94),
        },
        group: slug(group),
        photos: vec!["01.jpg".parse().unwrap()],
        pictures: vec![],
        says: says.to_owned(),
    }
}

fn unread(item: &str, quantity: &str, question: &str, lack: Lack, words: &str, wants: &str) -> Finding {
    let mut finding = measured(
        item,
        "end-seal",
        quantity,
        question,
        "The bottom end seal cannot be read.",
        "end-seals",
        (0.0, 1.0, "1"),
        None,
    );
    finding.reading = Reading::CannotTell {
        missing: vec![Missing { lack, words: words.to_owned(), wants: wants.to_owned() }],
    };
    finding.features.clear();
    finding.place.part = Some("bottom-end-seal".to_owned());
    finding
}

fn fact(item: &str, outcome: FactOutcome, question: &str, says: &str, source: &str) -> Finding {
    let mut finding =
        measured(item, "existence", "product-exists", question, says, "existence", (0.0, 1.0, "1"), None);
    finding.reading = Reading::Fact { outcome, error_rate: 0.01, source: source.to_owned() };
    finding.place = Place::default();
    finding.seeing = Seeing::default();
    finding.photos.clear();
    finding
}

fn contribution(group: &str, findings: &[&Finding], weights: [f64; 3], says: &str) -> Contribution {
    let pairs = State::ALTERNATIVES.into_iter().zip(weights);
    Contribution {
        group: slug(group),
        findings: findings.iter().map(|f| f.key()).collect(),
        weights: pairs.map(|(state, w)| StateWeight { state, weight: weight(w) }).collect(),
        basis: "normal distributions fitted on 24 genuine and 30 other rendered specimens; bounded by their number".to_owned(),
        says: says.to_owned(),
    }
}

fn view(name: &str, read: bool, words: &str, request: Option<&str>) -> DecidingView {
    DecidingView { view: name.to_owned(), read, words: words.to_owned(), request: request.map(str::to_owned) }
}

fn photo(file: &str, item: &str, face: &str) -> PhotoReport {
    PhotoReport {
        file: file.parse().unwrap(),
        hash: Some(PhotoHash::of(file.as_bytes())),
        size_px: Some([1440, 1920]),
        faces: vec![PlacedFace {
            item: slug(item),
            face: FaceId { product: "kelpwright/brass-estuary/pack".parse().unwrap(), face: slug(face) },
            mm_to_px: [[11.4, 0.0, 360.0], [0.0, 11.6, 320.0], [0.0, 0.0, 1.0]],
            corner_uncertainty_mm: 0.087,
            px_per_mm: 11.5,
            angle_deg: 9.4,
            by_hand: false,
        }],
        problem: None,
        note: None,
    }
}

fn opinion(
    item: &str,
    words: &str,
    stance: Stance,
    mix: f64,
    against: [f64; 3],
    contributions: Vec<Contribution>,
    coverage: Vec<DecidingView>,
) -> Opinion {
    let shares = [0.55, 0.43, 0.02];
    let without = contributions
        .iter()
        .map(|c| Without { group: c.group.clone(), place: None, weight: Bans(mix * 0.4) })
        .collect();
    Opinion {
        item: slug(item),
        product: Some("kelpwright/brass-estuary/pack".parse().unwrap()),
        words: words.to_owned(),
        stance,
        weight: weight(mix),
        against: State::ALTERNATIVES.into_iter().zip(against).zip(shares).map(|((state, w), share)| AgainstState { state, share, weight: weight(w) }).collect(),
        coverage,
        contributions,
        without,
        conflicts: vec![],
        posterior: State::ALL.into_iter().zip([0.031, 0.95, 0.017, 0.002]).map(|(state, share)| StateShare { state, share }).collect(),
        calibration: vec![
            SpecimenCount { state: State::Sealed, origin: Origin::Rendered, count: 24 },
            SpecimenCount { state: State::Resealed, origin: Origin::Rendered, count: 18 },
            SpecimenCount { state: State::Counterfeit, origin: Origin::Rendered, count: 12 },
        ],
        wording_capped: Some("The wording stops at 'moderate support', because no physical specimen of this product stands in the library.".to_owned()),
    }
}

const ALL_READ: [(&str, &str); 4] = [
    ("front", "read from 01.jpg at 11.5 px/mm"),
    ("back", "read from 02.jpg at 11.1 px/mm"),
    ("top-end-seal", "read from 01.jpg at 14.2 px/mm"),
    ("bottom-end-seal", "read from 01.jpg at 14.0 px/mm"),
];

fn case(id: &str, title: &str) -> CaseFile {
    let mut case = CaseFile::of_photos(id).unwrap();
    case.offer = Some(OfferFacts {
        title: title.to_owned(),
        description: "From a smoke-free drawer. Never opened as far as I know, please see the photos."
            .to_owned(),
        venue: Some("Pennyferry Market".to_owned()),
        price: Some(euros("14.50")),
        shipping: Some(euros("3.90")),
        returns: Some(ReturnTerms { accepted: true, days: Some(14), buyer_pays_postage: true }),
        seller: serde_json::from_value(serde_json::json!({ "name": "harbour-attic-77" })).unwrap(),
        bids: vec![],
        captured: None,
        ends: None,
    });
    case.prior = Some(Prior { sealed: 0.7, resealed: 0.2, counterfeit: 0.08, never_made: 0.02 });
    case
}

fn examination(id: &str, title: &str, photos: Vec<PhotoReport>, items: Vec<ItemReport>) -> Examination {
    Examination {
        schema: EXAMINATION_SCHEMA.to_owned(),
        program: "0.1.0".to_owned(),
        case: slug(id),
        title: Some(title.to_owned()),
        photos,
        offer: Some(offer(&items)),
        items,
        cautions: dossier::CAUTIONS.map(str::to_owned).to_vec(),
    }
}

/// The offer of these items: its first decision, and every request ranked.
fn offer(items: &[ItemReport]) -> OfferReport {
    let wants =
        || items.iter().flat_map(|i| i.decision.requests.iter().map(|r| (i.opinion.item.clone(), r.clone())));
    let mut requests: Vec<RankedRequest> = wants()
        .enumerate()
        .map(|(at, (item, wants))| RankedRequest {
            item,
            wants,
            view: (at == 0).then(|| "bottom-end-seal".to_owned()),
            worth: (at == 0).then(|| euros("3.15")),
            information_bits: 0.62 - 0.25 * at as f64,
            simulated: 200,
        })
        .collect();
    if let Some(last) = requests.last_mut() {
        last.simulated = 0;
    }
    let mut decision = items[0].decision.clone();
    decision.requests = wants().map(|(_, wants)| wants).collect();
    OfferReport {
        total: Some(euros("18.40")),
        message: requests.iter().enumerate().map(|(at, r)| format!("{}. {}\n", at + 1, r.wants)).collect(),
        decision,
        requests,
        expected_loss: Some(euros("2.25")),
    }
}

fn item_reclosed(item: &str) -> ItemReport {
    let mut evenness = measured(
        item,
        "end-seal",
        "ridge-evenness",
        "Are the ridges of both end seals equally even?",
        "The bottom seal's ridges change in spacing and depth from left to right; the top seal's do not.",
        "end-seals",
        (0.31, 0.024, "1"),
        Some((0.0, 0.11)),
    );
    evenness.pictures = ["top", "bottom", "profile"].map(|end| format!("{item}/end-seal/{end}")).to_vec();
    let pitch = measured(
        item,
        "end-seal",
        "pitch-difference",
        "Do both end seals have the same ridge pitch?",
        "The bottom seal's ridges are 0.10 mm further apart than the top seal's.",
        "end-seals",
        (0.103, 0.011, "mm"),
        Some((-0.02, 0.02)),
    );
    let mut cut = measured(
        item,
        "cut-edge",
        "edge-wander",
        "How straight is the cut?",
        "The bottom cut wanders by about a millimetre.",
        "cut-edges",
        (0.92, 0.08, "mm"),
        Some((0.05, 0.40)),
    );
    cut.place.part = Some("bottom-end-seal".to_owned());
    let mut print = measured(
        item,
        "print",
        "emblem-difference",
        "Do the printed colours match the reference?",
        "After one camera response is removed, no region differs by more than genuine packs do.",
        "print",
        (2.1, 0.4, "ΔE00"),
        Some((0.6, 3.4)),
    );
    print.place.part = Some("emblem".to_owned());
    print.pictures =
        ["reference", "offered", "difference"].map(|p| format!("{item}/print/front/{p}")).to_vec();
    let exists = fact(
        item,
        FactOutcome::AsGenuine,
        "Was this product ever made?",
        "The catalogue lists a Brass Estuary pack.",
        "catalogue of Kelpwright, publisher's price list 1998",
    );
    let open = unread(
        item,
        "gloss",
        "Does the film shine as genuine film does?",
        Lack::NotExaminedYet,
        "no examiner for gloss exists yet",
        "",
    );
    let contributions = vec![
        contribution("end-seals", &[&evenness, &pitch], [-1.6, -0.3, 0.0], &evenness.says),
        contribution("cut-edges", &[&cut], [-0.7, -0.2, 0.0], &cut.says),
        contribution("print", &[&print], [0.1, 1.3, 0.2], &print.says),
        contribution("existence", &[&exists], [0.0, 0.0, 1.9], &exists.says),
    ];
    let coverage = ALL_READ.iter().map(|(name, words)| view(name, true, words, None)).collect();
    let mut opinion = opinion(
        item,
        "The photos give moderate support for resealed over sealed: they are about 100 times more likely if the pack was opened and closed again.",
        Stance::AgainstSealed { most: State::Resealed, step: VerbalStep::Moderate },
        -1.9,
        [-2.0, 0.8, 2.1],
        contributions,
        coverage,
    );
    opinion.conflicts = vec!["The print looks genuine while the end seals do not: a genuine wrapper that was closed again would show both.".to_owned()];
    ItemReport {
        findings: vec![evenness, pitch, cut, print, exists, open],
        opinion,
        decision: Decision {
            action: Action::Pass,
            reason: "At any price above EUR 4.10 you would expect to lose.".to_owned(),
            flips_at: Some(euros("4.10")),
            requests: vec![],
        },
    }
}

fn item_hidden(item: &str) -> ItemReport {
    let mut print = measured(
        item,
        "print",
        "emblem-difference",
        "Do the printed colours match the reference?",
        "After one camera response is removed, no region differs by more than genuine packs do.",
        "print",
        (1.7, 0.5, "ΔE00"),
        Some((0.6, 3.4)),
    );
    print.pictures =
        ["reference", "offered", "difference"].map(|p| format!("{item}/print/front/{p}")).to_vec();
    let bottom = unread(
        item,
        "ridge-evenness",
        "Are the ridges of both end seals equally even?",
        Lack::Resolution,
        "the bottom end is seen at 2.1 px per ridge; 2.5 are needed",
        "a sharp photo of the bottom end seal, straight on, filling the frame",
    );
    let back = unread(
        item,
        "fin-seal-place",
        "Where does the back seam run?",
        Lack::NotShown,
        "no photo shows the back",
        "a photo of the whole back",
    );
    let contributions = vec![contribution("print", &[&print], [0.1, 1.1, 0.2], &print.says)];
    let coverage = vec![
        view("front", true, "read from 01.jpg at 11.5 px/mm", None),
        view("back", false, "no photo shows it", Some("a photo of the whole back")),
        view("top-end-seal", true, "read from 01.jpg at 14.2 px/mm", None),
        view(
            "bottom-end-seal",
            false,
            "seen at 2.1 px per ridge; 2.5 are needed",
            Some("a sharp photo of the bottom end seal, straight on, filling the frame"),
        ),
    ];
    ItemReport {
        findings: vec![print, bottom, back],
        opinion: opinion(
            item,
            "The photos cannot tell: the back and the bottom end seal could not be read.",
            Stance::CannotTell,
            0.3,
            [0.1, 1.1, 0.2],
            contributions,
            coverage,
        ),
        decision: Decision {
            action: Action::Ask,
            reason: "Two deciding views are missing; the bottom end seal would tell most.".to_owned(),
            flips_at: None,
            requests: vec![
                "a sharp photo of the bottom end seal, straight on, filling the frame".to_owned(),
                "a photo of the whole back".to_owned(),
            ],
        },
    }
}

fn item_plausible(item: &str) -> ItemReport {
    let mut report = item_reclosed(item);
    let swap = |f: &mut Finding, v: f64, says: &str| {
        if let Reading::Measured { value, .. } = &mut f.reading {
            *value = v;
        }
        says.clone_into(&mut f.says);
    };
    swap(&mut report.findings[0], 0.05, "Both seals' ridges are equally even.");
    swap(&mut report.findings[1], 0.004, "Both seals have the same pitch within the uncertainty.");
    swap(&mut report.findings[2], 0.21, "Both cuts are straight.");
    let f = &report.findings;
    let contributions = vec![
        contribution("end-seals", &[&f[0], &f[1]], [1.2, 0.6, 0.0], &f[0].says),
        contribution("print", &[&f[3]], [0.1, 1.3, 0.2], &f[3].says),
        contribution("cut-edges", &[&f[2]], [0.4, 0.3, 0.0], &f[2].says),
        contribution("existence", &[&f[4]], [0.0, 0.0, 1.9], &f[4].says),
    ];
    let coverage = ALL_READ.iter().map(|(name, words)| view(name, true, words, None)).collect();
    report.opinion = opinion(
        item,
        "The photos give moderate support for sealed over the stated alternatives: they are about 60 times more likely if the pack is genuine and factory-closed.",
        Stance::ForSealed { step: VerbalStep::Moderate },
        1.8,
        [1.7, 2.2, 2.1],
        contributions,
        coverage,
    );
    report.opinion.posterior = State::ALL
        .into_iter()
        .zip([0.985, 0.012, 0.002, 0.001])
        .map(|(state, share)| StateShare { state, share })
        .collect();
    report.decision = Decision {
        action: Action::Buy { up_to: euros("23.80") },
        reason: "Below this total price you would expect to gain, returns included.".to_owned(),
        flips_at: Some(euros("23.80")),
        requests: vec![],
    };
    report
}

fn item_never_made(item: &str) -> ItemReport {
    let exists = fact(
        item,
        FactOutcome::Points { to: State::NeverMade },
        "Was this product ever made?",
        "The catalogue says that Night Dredge was sold in packs only; no box of it was made.",
        "publisher's price list, 1999-04-01",
    );
    let open = unread(
        item,
        "overwrap",
        "Is the film the factory's?",
        Lack::NotExaminedYet,
        "film on boxes is not examined yet",
        "",
    );
    let contributions = vec![contribution("existence", &[&exists], [0.0, 0.0, -2.0], &exists.says)];
    let coverage = ["front", "back", "left", "right", "top", "bottom"]
        .map(|f| {
            view(
                f,
                f == "front",
                if f == "front" { "read from 01.jpg" } else { "no photo shows it" },
                (f != "front").then_some("a photo of this face"),
            )
        })
        .to_vec();
    let mut opinion = opinion(
        item,
        "The listing gives moderate support for never-made over sealed: Night Dredge was sold in packs only, says the catalogue.",
        Stance::AgainstSealed { most: State::NeverMade, step: VerbalStep::Moderate },
        -1.9,
        [0.0, 0.0, -2.0],
        contributions,
        coverage,
    );
    opinion.product = Some("kelpwright/night-dredge/box".parse().unwrap());
    ItemReport {
        findings: vec![exists, open],
        opinion,
        decision: Decision {
            action: Action::Pass,
            reason: "No price makes up for a box that was never made.".to_owned(),
            flips_at: None,
            requests: vec![],
        },
    }
}

fn pictures(items: &[(&str, bool, bool)]) -> Vec<casebook::picture::Picture> {
    items
        .iter()
        .flat_map(|(item, seals, uneven)| {
            let mut all = art::aligned_front(item);
            if *seals {
                all.extend(art::seals(item, *uneven));
            }
            all
        })
        .collect()
}

fn names() -> BTreeMap<casebook::names::ProductId, String> {
    [("kelpwright/brass-estuary/pack".parse().unwrap(), "Kelpwright Brass Estuary pack".to_owned())].into()
}

pub fn reclosed() -> Invented {
    let title = "Kelpwright Brass Estuary sealed pack, vintage";
    Invented {
        examination: examination(
            "reclosed",
            title,
            vec![photo("01.jpg", "a", "front"), photo("02.jpg", "a", "back")],
            vec![item_reclosed("a")],
        ),
        case: Some(case("reclosed", title)),
        pictures: pictures(&[("a", true, true)]),
        photos: vec![art::thumb("01.jpg"), art::thumb("02.jpg")],
        names: names(),
    }
}

pub fn hidden() -> Invented {
    let title = "Brass Estuary pack from old collection";
    let mut case = case("hidden", title);
    case.requests = vec![Request { wants: "a photo of the side".to_owned(), state: RequestState::Declined }];
    case.prior = None;
    let mut broken = photo("02.jpg", "a", "front");
    broken.faces.clear();
    broken.hash = None;
    broken.size_px = None;
    broken.problem = Some("02.jpg: ends after 1200 of 80311 bytes; download or send it again".to_owned());
    Invented {
        examination: examination(
            "hidden",
            title,
            vec![photo("01.jpg", "a", "front"), broken],
            vec![item_hidden("a")],
        ),
        case: Some(case),
        pictures: pictures(&[("a", false, false)]),
        photos: vec![art::thumb("01.jpg")],
        names: names(),
    }
}

pub fn plausible() -> Invented {
    let mut it = reclosed();
    it.examination.case = slug("plausible");
    it.examination.items = vec![item_plausible("a")];
    it.examination.offer = Some(offer(&it.examination.items));
    it.pictures = pictures(&[("a", true, false)]);
    it
}

pub fn never_made() -> Invented {
    let title = "RARE Night Dredge booster box factory sealed!!";
    Invented {
        examination: examination(
            "never-made",
            title,
            vec![photo("01.jpg", "a", "front")],
            vec![item_never_made("a")],
        ),
        case: Some(case("never-made", title)),
        pictures: vec![],
        photos: vec![art::thumb("01.jpg")],
        names: names(),
    }
}

pub fn lot() -> Invented {
    let title = "Lot of three Brass Estuary packs";
    let items = vec![item_plausible("a"), item_reclosed("b"), item_hidden("c")];
    Invented {
        examination: examination(
            "lot",
            title,
            vec![photo("01.jpg", "a", "front"), photo("02.jpg", "b", "front")],
            items,
        ),
        case: Some(case("lot", title)),
        pictures: pictures(&[("a", true, false), ("b", true, true), ("c", false, false)]),
        photos: vec![art::thumb("01.jpg"), art::thumb("02.jpg")],
        names: names(),
    }
}

pub fn all() -> Vec<Invented> {
    vec![reclosed(), hidden(), plausible(), never_made(), lot()]
}
