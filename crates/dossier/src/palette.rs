//! The report's colours, for light and dark surroundings, and the CSS variables made from them.
//!
//! In: nothing. Out: CSS. Never here: a colour that means something by itself; whatever a colour
//! sets apart is also set apart by words, shape or pattern.
//!
//! Outside check: `tests/contrast_wcag.rs` computes the contrast of every pair that is used.

/// One set of colours, each `#rrggbb`.
struct Palette {
    /// Behind everything.
    paper: &'static str,
    /// Behind tables' heads, notes and every second step of the scale.
    panel: &'static str,
    /// Text.
    ink: &'static str,
    /// Captions and units.
    muted: &'static str,
    /// Lines that carry meaning: axes, borders of fields.
    rule: &'static str,
    /// Links, first curve, bars towards `sealed`.
    first: &'static str,
    /// Second curve, bars towards the alternatives.
    second: &'static str,
}

const LIGHT: Palette = Palette {
    paper: "#fcfbf8",
    panel: "#f1eee7",
    ink: "#1b2430",
    muted: "#4a5462",
    rule: "#7c828c",
    first: "#1c5470",
    second: "#7b4a0e",
};

const DARK: Palette = Palette {
    paper: "#12171c",
    panel: "#1d252c",
    ink: "#e6e8ea",
    muted: "#b0b9c2",
    rule: "#7d8792",
    first: "#8cc4e0",
    second: "#e3b778",
};

impl Palette {
    fn variables(&self) -> String {
        format!(
            "--paper:{};--panel:{};--ink:{};--muted:{};--rule:{};--first:{};--second:{}",
            self.paper, self.panel, self.ink, self.muted, self.rule, self.first, self.second
        )
    }
}

/// The variables for light, dark and print, as CSS rules.
pub(crate) fn css() -> String {
    let (light, dark) = (LIGHT.variables(), DARK.variables());
    format!(
        ":root{{color-scheme:light dark;{light}}}\n\
         @media (prefers-color-scheme:dark){{:root{{{dark}}}}}\n\
         @media print{{:root{{color-scheme:light;{light}}}}}\n"
    )
}

/// The same variables for a page whose reader may choose light or dark, by `data-theme` on its root.
pub(crate) fn chosen_css() -> String {
    let (light, dark) = (LIGHT.variables(), DARK.variables());
    format!(
        ":root{{color-scheme:light dark;{light}}}\n\
         @media screen and (prefers-color-scheme:dark){{:root:not([data-theme=light]){{{dark}}}}}\n\
         @media screen{{:root[data-theme=dark]{{color-scheme:dark;{dark}}}:root[data-theme=light]{{color-scheme:light}}}}\n\
         @media print{{:root{{color-scheme:light}}}}\n"
    )
}
