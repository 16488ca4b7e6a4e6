//! Being laid.
