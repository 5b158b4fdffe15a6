//! An opinion about one item, the decision that follows, and the file of a whole examination.
//!
//! In: what `opinion` computed. Out: JSON with a schema. Never here: how it was computed.
//!
//! Sources: `enfsi2015` (verbal scale), `good1985` (weight of evidence).

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::finding::Finding;
use crate::hypothesis::State;
use crate::money::Money;
use crate::names::{FaceId, PhotoFile, PhotoHash, ProductId, Slug};
use crate::specimen::Origin;
use crate::units::Bans;

/// Version mark of an examination file.
pub const EXAMINATION_SCHEMA: &str = "untorn.examination/2";

/// What everybody who reads an opinion must know; stands on every report.
pub const CAUTIONS: [&str; 6] = [
    "This is an opinion about the item in these photos. It says nothing about the item that may arrive: \
     compare that one with these photos before you open it.",
    "Sealed does not mean untouched value: packs can be weighed or picked out without being opened.",
    "This report is no certificate and no appraisal, and it must not be offered as one.",
    "It states how much the photos support one explanation over others. It is not a statement about \
     anybody's conduct or intent: a seller may not know what happened to an item before.",
    "In a dispute, turn to the venue's own process, to the consumer law of where you live, and to a \
     qualified examiner who holds the item. Keep the photos, the listing and the parcel.",
    "The weights rest on the specimens named. An item unlike all of them can mislead the program.",
];

/// A whole case, examined.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Examination {
    /// Always [`EXAMINATION_SCHEMA`].
    pub schema: String,
    /// Version of the program.
    pub program: String,
    /// The case.
    pub case: Slug,
    /// The listing's title, when there is one.
    #[serde(default)]
    pub title: Option<String>,
    /// The photos, in the case's order.
    pub photos: Vec<PhotoReport>,
    /// The items.
    pub items: Vec<ItemReport>,
    /// What follows for the offer as a whole. Absent in files of the first version with several items,
    /// whose prices were divided among the items and not meant for the whole.
    #[serde(default)]
    pub offer: Option<OfferReport>,
    /// What to know before relying on it; fixed text.
    pub cautions: Vec<String>,
}

/// What became of one photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PhotoReport {
    /// Its file.
    pub file: PhotoFile,
    /// BLAKE3 of its bytes, when it could be read.
    #[serde(default)]
    pub hash: Option<PhotoHash>,
    /// Width and height in pixels, upright.
    #[serde(default)]
    pub size_px: Option<[u32; 2]>,
    /// The faces found or pointed out in it.
    #[serde(default)]
    pub faces: Vec<PlacedFace>,
    /// Why it could not be used, with the remedy.
    #[serde(default)]
    pub problem: Option<String>,
    /// What else to know about it.
    #[serde(default)]
    pub note: Option<String>,
}

/// One face placed in one photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlacedFace {
    /// The item.
    pub item: Slug,
    /// The face.
    pub face: FaceId,
    /// Millimetres → pixels, row by row.
    pub mm_to_px: [[f64; 3]; 3],
    /// Standard uncertainty of the worst corner, mm on the face.
    pub corner_uncertainty_mm: f64,
    /// Pixels per millimetre at the centre.
    pub px_per_mm: f64,
    /// Angle of view at the centre, degrees.
    pub angle_deg: f64,
    /// Whether a person set the corners.
    pub by_hand: bool,
}

/// Everything about one item.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ItemReport {
    /// Its findings, in the order of the examiners.
    pub findings: Vec<Finding>,
    /// The opinion.
    pub opinion: Opinion,
    /// What follows for the user.
    pub decision: Decision,
}

/// What follows for an offer as a whole: it is bought or left as one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OfferReport {
    /// Price and shipping together, when both are known and in one currency.
    #[serde(default)]
    pub total: Option<Money>,
    /// What to do. Prices in it are for all items together, shipping included.
    pub decision: Decision,
    /// What could be asked for, the most useful first.
    #[serde(default)]
    pub requests: Vec<RankedRequest>,
    /// A message to the seller that asks for what the decision wants, ready to be copied and changed; empty
    /// when nothing is wanted. The program sends nothing itself.
    #[serde(default)]
    pub message: String,
    /// What is expected to be lost by buying now at `total` without asking further: the mean over the
    /// posterior of what is paid beyond the worth, refunds counted.
    #[serde(default)]
    pub expected_loss: Option<Money>,
}

/// One photo or fact that could be asked for, and what it would bring.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RankedRequest {
    /// The item that it is about.
    pub item: Slug,
    /// What to ask for, in words.
    pub wants: String,
    /// The deciding view that it would show, when it is one.
    #[serde(default)]
    pub view: Option<String>,
    /// Expected value of sample information: by how much the answer is expected to better the decision
    /// between buying at the asking price and passing. Absent without values or price.
    #[serde(default)]
    pub worth: Option<Money>,
    /// Expected information of the answer about the item's state, bits.
    pub information_bits: f64,
    /// Simulated answers behind both; 0 when the specimens do not allow any.
    pub simulated: u32,
}

/// The opinion about one item.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Opinion {
    /// The item.
    pub item: Slug,
    /// The product it shows or claims to be.
    #[serde(default)]
    pub product: Option<ProductId>,
    /// The opinion in words.
    pub words: String,
    /// Where it stands.
    pub stance: Stance,
    /// log10 likelihood ratio of `sealed` against the mix of alternatives.
    pub weight: WeightInterval,
    /// The same against each alternative alone.
    pub against: Vec<AgainstState>,
    /// Which views decide, and whether they were read.
    pub coverage: Vec<DecidingView>,
    /// How the weight adds up, heaviest first.
    pub contributions: Vec<Contribution>,
    /// What the weight would be without each group.
    pub without: Vec<Without>,
    /// Groups that point in opposite directions, in words.
    #[serde(default)]
    pub conflicts: Vec<String>,
    /// What follows from the user's prior: probability of each state.
    pub posterior: Vec<StateShare>,
    /// How many specimens the weights rest on.
    pub calibration: Vec<SpecimenCount>,
    /// Why the wording stops where it stops, when it does.
    #[serde(default)]
    pub wording_capped: Option<String>,
}

impl Opinion {
    /// What its weights rest on, in words: "calibrated on 52 rendered and 0 physical specimens".
    #[must_use]
    pub fn calibrated_on(&self) -> String {
        let of =
            |origin| -> u32 { self.calibration.iter().filter(|c| c.origin == origin).map(|c| c.count).sum() };
        format!(
            "calibrated on {} rendered and {} physical specimens",
            of(Origin::Rendered),
            of(Origin::Physical)
        )
    }
}

/// Where an opinion stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Stance {
    /// A deciding view is unread and nothing read says enough.
    CannotTell,
    /// The library has no such product.
    NotCovered,
    /// What was read fits no class of specimens.
    OutsideLibrary,
    /// Read; neither side is supported.
    Neither,
    /// The photos support `sealed`.
    ForSealed {
        /// How much.
        step: VerbalStep,
    },
    /// The photos support an alternative over `sealed`.
    AgainstSealed {
        /// Which one most.
        most: State,
        /// How much.
        step: VerbalStep,
    },
}

/// Steps of the verbal scale for likelihood ratios. Source: `enfsi2015`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum VerbalStep {
    /// 2 to 10.
    Weak,
    /// 10 to 100.
    Moderate,
    /// 100 to 1,000.
    ModeratelyStrong,
    /// 1,000 to 10,000.
    Strong,
    /// 10,000 to 1,000,000.
    VeryStrong,
    /// Over 1,000,000.
    ExtremelyStrong,
}

/// A weight with the interval that its calibration leaves.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WeightInterval {
    /// Best estimate, bans, positive for `sealed`.
    pub value: Bans,
    /// Lower end of the 90 % interval.
    pub low: Bans,
    /// Upper end.
    pub high: Bans,
}

/// The weight against one alternative.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AgainstState {
    /// The alternative.
    pub state: State,
    /// Its share in the mix of alternatives.
    pub share: f64,
    /// log10 likelihood ratio of `sealed` against it.
    pub weight: WeightInterval,
}

/// One deciding view.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DecidingView {
    /// `front`, `back`, `top-end-seal`, …
    pub view: String,
    /// Whether it was read.
    pub read: bool,
    /// Why not, or from which photo.
    pub words: String,
    /// The photo to ask for when it was not.
    #[serde(default)]
    pub request: Option<String>,
}

/// What one group of findings adds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Contribution {
    /// The dependence group.
    pub group: Slug,
    /// Keys of its findings.
    pub findings: Vec<String>,
    /// The group's weight against each alternative.
    pub weights: Vec<StateWeight>,
    /// What it rests on and how it was bounded, in words.
    pub basis: String,
    /// What is seen, in one sentence.
    pub says: String,
}

/// A weight against one alternative.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StateWeight {
    /// The alternative.
    pub state: State,
    /// log10 likelihood ratio of `sealed` against it.
    pub weight: WeightInterval,
}

/// What the weight would be without one group.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Without {
    /// The group left out.
    pub group: Slug,
    /// Only this part of the group's findings was left out: `top-end-seal`.
    #[serde(default)]
    pub place: Option<String>,
    /// The weight then.
    pub weight: Bans,
}

/// A share or probability of one state.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StateShare {
    /// The state.
    pub state: State,
    /// 0 to 1.
    pub share: f64,
}

/// How many specimens of a kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SpecimenCount {
    /// Their known status.
    pub state: State,
    /// Rendered or physical.
    pub origin: Origin,
    /// How many.
    pub count: u32,
}

/// What follows for the user.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Decision {
    /// What to do.
    pub action: Action,
    /// Why, in one sentence.
    pub reason: String,
    /// The price at which buying and passing are worth the same, when values are known.
    #[serde(default)]
    pub flips_at: Option<Money>,
    /// Photos or facts to ask for, the most useful first.
    #[serde(default)]
    pub requests: Vec<String>,
}

/// What to do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "do", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Action {
    /// Leave it.
    Pass,
    /// Ask for the first request before deciding.
    Ask,
    /// Buy up to a total price.
    Buy {
        /// Highest total price, shipping included.
        up_to: Money,
    },
    /// Nothing in it speaks against buying, but the user gave no values to compute a price from.
    YourCall,
    /// An item of a lot against which nothing speaks: the lot is bought or left as a whole.
    WithTheLot,
}

/// The findings of one specimen, as the library keeps them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MeasuredSpecimen {
    /// The specimen.
    pub specimen: Slug,
    /// What it is or pretends to be.
    pub product: ProductId,
    /// Its make, when known.
    #[serde(default)]
    pub make: Option<Slug>,
    /// Its known status.
    pub state: State,
    /// Rendered or physical.
    pub origin: Origin,
    /// The sitting these findings come from; one specimen may have several.
    pub sitting: Slug,
    /// Of a re-closed pack: whether its top and its bottom were opened, where that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub opened_ends: Option<[bool; 2]>,
    /// What the examiners read from its photos.
    pub findings: Vec<Finding>,
}
