//! What the fuzz targets share.

pub mod edits;
pub mod parsers;
