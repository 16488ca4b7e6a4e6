//! The engine behind wasm-bindgen, as the tablet's worker runs it.
//!
//! Knows: which documents are open, and how to pass calls on. Must not know: storage, sockets, clocks (the worker
//! passes times, frames and stored bytes in) and anything the engine can decide. Everything that leaves as JSON has
//! its type in `crownweir_engine::view`.
//!
//! One rule runs through it: nothing is *accepted* before the worker has stored it. `propose` and `link_receive`
//! stage on a fork and hand out the bytes; the worker stores them strictly and then calls `accept` or `link_settle`.

mod desk;
#[cfg(target_family = "wasm")]
mod face;

pub use desk::{Desk, DeskError, Session};
