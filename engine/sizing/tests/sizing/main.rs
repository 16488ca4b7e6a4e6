//! Published and independently computed values for the rest of the arithmetic; sources stand in the data files or beside.

mod air;
mod common;
mod demand;
mod gas;
mod host;
#[path = "../inp/mod.rs"]
mod inp;
mod network;
mod pipes;
mod vents;
