//! The arithmetic of the trade: quantities in, bounds rounded outward out.
//!
//! For: formulas that a rule may call on and that sizing work needs. Every result is a [`Bounds`] (or a quantity that is
//! one) that surely contains the exact value of the formula for every value within the inputs, so that a verdict at a
//! limit is never decided by a rounding error. What a formula itself leaves out is said beside it.
//!
//! Must not know: rules, records, files, clocks, browsers, and no number of any code. A code's table is an argument; what
//! stands here as a constant is physics, the definition of a unit or a published formula, with its source.
//!
//! # Map
//! | for | see |
//! | --- | --- |
//! | fixture units of a house; steady flow in drainage units | [`FixtureTable`], [`ContinuousFlow`] |
//! | demand: by a table, Hunter's binomial, convolution | [`DemandTable`], [`running_at_once`], [`house_demand`] |
//! | one pipe: Hazen-Williams, Darcy-Weisbach, fittings | [`Pipe`], [`Law`], [`FittingTable`], [`friction_loss`] |
//! | a house's piping, meters, reducing valves, pressure left | [`Network`], [`LossCurve`] |
//! | pipe size | [`suggest_size`], [`Network::suggest_sizes`] |
//! | gas pipe by equation, by table, over a tree | [`gas_capacity_low`], [`gas_capacity_high`], [`GasTable`], [`size_gas_sections`] |
//! | vents, combustion air | [`VentTable`], [`combustion_air_volume`], [`combustion_air_volume_known_rate`] |
//! | expansion of heated water and its tank | [`expansion`], [`expansion_tank`] |
//! | pump head, static head, recovery of a heater | [`pump_head`], [`static_head`], [`heater_recovery`] |
//! | water itself | [`water_density`], [`water_viscosity`], [`Water`] |
//!
//! Quantities carry their unit in the type ([`Feet`], [`Pascals`]) and convert by `into()`. Tables are read in their own
//! units, so that what lies on a row reads that row.
//!
//! # By name, for rules
//! [`host`] offers flat functions of SI bounds: `expansion`, `expansion_tank`, `hazen_williams_loss`, `darcy_loss`,
//! `pipe_speed`, `flow_at_speed`, `static_head`, `pump_head`, `gas_capacity_low`, `gas_capacity_high`, `gas_drop_low`,
//! `gas_factor`, `gas_flow`, `combustion_air_volume`, `combustion_air_volume_known_rate`, `combustion_opening`,
//! `heater_recovery`; [`host::FUNCTIONS`] lists them with their parameters' types and the formula to show.
//!
//! # Example
//! ```
//! use crownweir_sizing::{Feet, GasForm, Inches, InchesOfWater, Bounds, gas_capacity_low};
//! // 3/4 in. schedule 40, 60 ft, half an inch of water lost, natural gas.
//! let q = gas_capacity_low(
//!     Inches::exactly(0.824), Feet::exactly(60.0), InchesOfWater::exactly(0.5), Bounds::exactly(0.6094), GasForm::Diameter,
//! )?;
//! assert!((q.bounds().middle() - 137.4).abs() < 0.05);
//! # Ok::<(), crownweir_sizing::GasError>(())
//! ```
//!
//! Invariants: pure functions, the same bits on every target (`+ - * /`, square root of IEEE 754 and `libm`, never the
//! platform's own functions), no panic on any input.

mod bounds;
mod combustion;
mod convolution;
mod darcy;
mod demand;
mod device;
mod expansion;
mod fitting;
mod friction;
mod gas;
mod gas_table;
mod gas_tree;
pub mod host;
mod hunter;
mod network;
mod pipe;
mod pump;
mod quantity;
mod units;
mod vent;
mod viscosity;
mod water;

pub use bounds::Bounds;
pub use combustion::{
    VolumeRate, combustion_air_volume, combustion_air_volume_known_rate, combustion_opening,
};
pub use convolution::{ConvolutionError, Demand, Draws, house_demand};
pub use demand::{DemandTable, LookupError, TableError};
pub use device::{CurveError, LossCurve, Points};
pub use expansion::{ExpansionError, expansion, expansion_tank};
pub use fitting::{FittingError, FittingTable};
pub use friction::{FrictionError, friction_loss, velocity};
pub use gas::{
    GasError, GasForm, gas_capacity_high, gas_capacity_low, gas_diameter_low, gas_drop_low, gas_factor,
};
pub use gas_table::{GasLookupError, GasTable, GasTableError, Suspect};
pub use gas_tree::{GasMethod, GasSection, GasTreeError, SizedSection, gas_sections, size_gas_sections};
pub use hunter::{Convention, HunterError, MOST_FIXTURES, binomial_at_most, hunter_demand, running_at_once};
pub use network::{
    Link, LinkState, MOST_PARTS, MOST_RING_NODES, MOST_SIZED, Network, NetworkError, Node, NodeState, Part,
    PipeSize, Solution, SuggestError, Suggestion, suggest_size,
};
pub use pipe::{HazenWilliams, Law, Pipe, PipeLoss};
pub use pump::{heater_recovery, pump_head, static_head};
pub use quantity::*;
pub use units::{ContinuousFlow, ContinuousFlowError, FixtureError, FixtureTable, FixtureUnits, Fixtures};
pub use vent::{VentCapacity, VentError, VentReading, VentRow, VentTable, connector_factor};
pub use viscosity::{STANDARD_GRAVITY, Water, water_viscosity};
pub use water::{DENSITY_ERROR, WaterError, water_density};
