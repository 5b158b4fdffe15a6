//! How much a single photo may ask for. A header is checked against these before anything is
//! allocated by its numbers.

/// Bounds on one photo; the defaults suit phones and cameras and keep a hostile file harmless.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Most pixels, width × height. Default 64 million.
    pub max_pixels: u64,
    /// Longest side in pixels. Default 20,000.
    pub max_side: u32,
    /// Shortest side in pixels that is worth examining. Default 64: below it no seal has ridges.
    pub min_side: u32,
    /// Most bytes of the file itself. Default 64 MiB.
    pub max_bytes: u64,
    /// Most bytes that decoding may take, raster and working memory together, as estimated from the
    /// header. Default 768 MiB.
    pub max_memory: u64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            max_pixels: 64_000_000,
            max_side: 20_000,
            min_side: 64,
            max_bytes: 64 << 20,
            max_memory: 768 << 20,
        }
    }
}
