//! The arithmetic of the trade: quantities in, bounds rounded outward out.
//!
//! For: formulas that a rule may call on (expansion of heated water and its tank) and that sizing work needs
//! (friction, demand by a code's table). Every result is a [`Bounds`] that surely contains the exact value of the formula
//! for every value within the inputs, so that a verdict at a limit is never decided by a rounding error.
//!
//! Must not know: rules, records, files, clocks, browsers, and no number of any code. A code's table is an
//! argument ([`DemandTable`]); what stands here as a constant is physics or the definition of a unit, with its source.
//!
//! Entry points: [`expansion_tank`], [`expansion`], [`friction_loss`], [`velocity`], [`DemandTable`],
//! [`water_density`].
//!
//! Invariants: pure functions, the same bits on every target (`+ - * /` of IEEE 754 and `libm`, never the
//! platform's own functions), no panic on any input.

mod bounds;
mod demand;
mod expansion;
mod friction;
mod water;

pub use bounds::Bounds;
pub use demand::{DemandTable, LookupError, TableError};
pub use expansion::{ExpansionError, expansion, expansion_tank};
pub use friction::{FrictionError, friction_loss, velocity};
pub use water::{DENSITY_ERROR, WaterError, water_density};
